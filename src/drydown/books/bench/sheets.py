"""The bench's sheets: checked, kept in the journal, and put together for a sample."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from datetime import datetime
from typing import Annotated, Any, Literal

from django.utils import timezone
from pydantic import Field, ValidationError

from drydown.books.bench.contracts import known_scheme
from drydown.books.bench.roasts import BrewTold, GrindTold, RoastTold
from drydown.books.bench.shape import Grams, Percent, Pieces, Told, Word
from drydown.books.journal.write import Draft, Who, write, writing
from drydown.books.lots.reading_off import read_off
from drydown.books.models import BenchSheet, Happening
from drydown.errors import InputError, RangeError
from drydown.figures import Figure
from drydown.quality.grade import grade_sheet
from drydown.quality.meter import bulk_density, calibrate, mass_of_hundred, moisture_figure
from drydown.quality.sample import Sheet, closes
from drydown.quality.screens import known_screens
from drydown.way.step import SLACK
from drydown.words import say

__all__ = [
    "SHAPES",
    "DensityTold",
    "MoistureTold",
    "latest",
    "lots_sampled",
    "record_sheet",
    "sample_of",
    "session_of",
    "sheet_for",
    "sheets_of",
]


class CountTold(Told):
    """Defects counted by one scheme."""

    scheme: Word
    sample_g: Annotated[float, Field(gt=0, le=100_000)]
    counts: Annotated[dict[str, Pieces], Field(max_length=60)]
    masses_g: Annotated[dict[str, Grams], Field(max_length=60)] = {}
    quakers: Annotated[int, Field(ge=0, le=10_000)] | None = None
    rest_none: bool = False
    """All other classes were looked for and none was found."""

    def check(self) -> None:
        """Every defect must be of the scheme; masses must fit into the sample."""
        rules = known_scheme(self.scheme)
        for code in (*self.counts, *self.masses_g):
            if not any(code in (d.code, d.group) for d in rules.defects):
                rules.defect(code)
        if not self.counts and not self.masses_g and self.quakers is None and not self.rest_none:
            raise InputError("nothing was counted.", "count", "Write 0 where you looked and found none.")
        if sum(self.counts.values()) > PIECES_PER_G * self.sample_g:
            raise RangeError(
                say(
                    "{sum} pieces do not fit in {sample_g:g} g.",
                    sum=sum(self.counts.values()),
                    sample_g=self.sample_g,
                ),
                "count",
            )
        species = rules.species[0] if rules.species else "arabica"
        grade_sheet(
            Sheet(sample_g=self.sample_g, counts=self.counts, masses_g=self.masses_g, species=species), rules
        )


class ScreensTold(Told):
    """Mass on each sieve, or pieces, where they were counted (then `taken_g` is pieces, too)."""

    sieve: Literal["round", "slotted"] = "round"
    table: Word = "iso"
    by: Literal["mass", "count"] = "mass"
    taken_g: Annotated[float, Field(gt=0, le=100_000)]
    screens_g: Annotated[dict[str, Grams], Field(min_length=2, max_length=20)]
    peaberry_g: Grams | None = None

    def check(self) -> None:
        """Known sieves, and what they hold must be what was put on."""
        known_screens(self.screens_g, self.table if self.sieve == "round" else "slots")
        closes(sum(self.screens_g.values()), self.taken_g)
        if self.by == "count" and any(n % 1 for n in (self.taken_g, *self.screens_g.values())):
            raise RangeError("pieces are whole numbers.", "screens")
        if self.peaberry_g is not None and self.peaberry_g > self.taken_g:
            raise RangeError("more peaberries than coffee was taken.", "peaberries")


class MoistureTold(Told):
    """Replicates of one method."""

    method: Word
    meter: Word = ""
    replicates: Annotated[list[Percent], Field(min_length=1, max_length=20)]
    pairs: Annotated[list[tuple[Percent, Percent]], Field(max_length=60)] = []
    bean_temp_c: Annotated[float, Field(ge=0, le=80)] | None = None

    def figure(self) -> Figure:
        """What the sheet says; refused where it cannot be."""
        if self.pairs and len(self.pairs) < 3:
            raise InputError("one or two pairs correct nothing.", "moisture", "Write three or more, or none.")
        return moisture_figure(self.replicates, self.method, calibrate(self.pairs) if self.pairs else None)

    def check(self) -> None:
        """A moisture must come out."""
        self.figure()


class DensityTold(Told):
    """Bulk density and mass of a hundred beans; either may be left out."""

    volume_l: Annotated[float, Field(ge=0.05, le=20)] | None = None
    masses_g: Annotated[list[Grams], Field(max_length=20)] = []
    hundred_g: Annotated[list[Annotated[float, Field(ge=5, le=60)]], Field(max_length=20)] = []

    def check(self) -> None:
        """Something must have been measured."""
        if bool(self.masses_g) != (self.volume_l is not None):
            raise InputError("needs the vessel's litres and the masses of its fillings.", "density")
        if not self.masses_g and not self.hundred_g:
            raise InputError("nothing was measured.", "density", "Write fillings, or counts of a hundred.")
        self.figures()

    def figures(self) -> dict[str, Figure]:
        """What the sheet says; refused where it cannot be."""
        found = {}
        if self.masses_g and self.volume_l is not None:
            found["bulk_density"] = bulk_density(self.volume_l, self.masses_g)
        if self.hundred_g:
            found["mass_of_100_beans"] = mass_of_hundred(self.hundred_g)
        return found


class PhotoTold(Told):
    """Beans sized by photo."""

    photo: Word
    table: Word
    widths_mm: Annotated[list[Annotated[float, Field(gt=0, le=40)]], Field(max_length=5000)]
    lengths_mm: Annotated[list[Annotated[float, Field(gt=0, le=60)]], Field(max_length=5000)]
    px_per_mm: float
    tilt_deg: float
    left_out: int
    colour: Annotated[dict[str, float], Field(max_length=8)]
    remarks: Annotated[list[Annotated[str, Field(max_length=300)]], Field(max_length=8)]


class HandedTold(Told):
    """A part of a sample that went into other hands."""

    part: Word
    mass_g: Grams
    to: Annotated[str, Field(min_length=1, max_length=80)]
    mark: Word = ""


class SessionTold(Told):
    """A tasting: samples in the order of their codes, orders by seat."""

    name: Word
    samples: list[int]
    codes: list[str]
    orders: list[list[str]]
    cups: int
    roast: Literal["light", "medium"]
    same: list[tuple[str, str]] = []


class TastingTold(Told):
    """One taster's sheet."""

    taster: Annotated[str, Field(min_length=1, max_length=60)]
    seat: Annotated[int, Field(ge=1, le=40)]
    marks: dict[str, dict[str, float]]
    off: dict[str, dict[str, dict[str, int]]]
    words: Annotated[dict[str, Annotated[str, Field(max_length=300)]], Field(max_length=14)] = {}


PIECES_PER_G = 20
"""No bean, and no piece of one that is counted, is lighter than a twentieth of a gram (own estimate)."""
SHAPES: dict[str, type[Told]] = {
    "count": CountTold, "screens": ScreensTold, "moisture": MoistureTold, "density": DensityTold,
    "photo": PhotoTold, "handed": HandedTold, "session": SessionTold, "tasting": TastingTold,
    "roast": RoastTold, "grind": GrindTold, "brew": BrewTold,
}  # fmt: skip


_BOUNDS = {"less_than_equal": "le", "less_than": "lt", "greater_than_equal": "ge", "greater_than": "gt"}
_WORDS = {"le": "at most", "lt": "below", "ge": "at least", "gt": "above"}


def said_plainly(error: ValidationError) -> str:
    """The first thing that is wrong with a sheet, in words of this trade."""
    first = error.errors()[0]
    spot = " ".join(str(p) for p in first["loc"]).replace("_", " ")
    if first["type"] in _BOUNDS:
        bound = _BOUNDS[first["type"]]
        return say(
            "{spot} must be {value} {value_2:g}, got {input}.",
            spot=spot,
            value=_WORDS[bound],
            value_2=first["ctx"][bound],
            input=first["input"],
        )
    if first["type"] == "too_short":
        return say(
            "{spot}: at least {min_length} are needed.", spot=spot, min_length=first["ctx"]["min_length"]
        )
    return f"{spot}: {first['msg']}."


def _read(kind: str, told: Mapping[str, Any]) -> Told:
    if kind not in SHAPES:
        raise InputError(say("'{kind}' is not a sheet of the bench.", kind=kind))
    try:
        made = SHAPES[kind].model_validate(told)
    except ValidationError as error:
        raise InputError(said_plainly(error), say("{kind} sheet", kind=kind)) from error
    made.check()
    return made


def sample_of(number: int) -> Happening:
    """The taking of a sample by its number; refused when there is none, or when it was taken back."""
    found = Happening.objects.filter(entry_id=number, kind="sample").select_related("lot").first()
    if found is None or found.undone:
        raise InputError(
            say("there is no sample {number}.", number=number),
            "bench",
            "Record 'Sample taken' on the lot's page first.",
        )
    return found


def record_sheet(
    kind: str, told: Mapping[str, Any], key: uuid.UUID, at: datetime | None, who: Who, *,
    sample: int | None = None, session: int | None = None, noted_by: str = "",
) -> BenchSheet:  # fmt: skip
    """Keep one sheet of the bench, once for each key; it moves nothing and balances trivially."""
    made = _read(kind, told)
    with writing():
        code = ""
        if sample is not None:
            taken = sample_of(sample)
            code = taken.lot.code
            _fits(made, taken, key)
        if session is not None:
            session_of(session)
        body = {
            "kind": kind, "code": code, "sample": sample, "session": session,
            "told": made.model_dump(mode="json"),
        }  # fmt: skip
        if noted_by:
            body["noted_by"] = noted_by
        entry, _new = write(Draft("bench", key, body, [], at or timezone.now(), who), read_off)
        kept = BenchSheet.objects.get(entry=entry)
        if kept.undone:
            raise InputError(
                "this sheet was kept and has been taken back since.", kind, "Open the page anew."
            )
        return kept


def _fits(made: Told, taken: Happening, key: uuid.UUID) -> None:
    """Refuse a sheet that speaks of more coffee than the sample holds."""
    has = float(taken.details["sample_g"])
    used = {
        CountTold: "sample_g", ScreensTold: "taken_g", HandedTold: "mass_g", RoastTold: "green_g",
    }.get(type(made))  # fmt: skip
    if used is None:
        return
    mass = float(getattr(made, used))
    if isinstance(made, ScreensTold) and made.by == "count":
        mass /= PIECES_PER_G
    if isinstance(made, HandedTold):
        rows = BenchSheet.objects.filter(sample_no=taken.entry_id, kind="handed", undone=False)
        mass += sum(float(r.told["mass_g"]) for r in rows.exclude(entry__key=key))
    if mass > SLACK * has:
        raise RangeError(
            say("{mass:g} g are more than the sample of {has:g} g.", mass=mass, has=has),
            "sample",
            "Check the mass.",
        )


def session_of(number: int) -> BenchSheet:
    """A tasting session that stands, by its number; refused when there is none."""
    found = BenchSheet.objects.filter(entry_id=number, kind="session", undone=False).first()
    if found is None:
        raise InputError(say("there is no tasting session {number}.", number=number), "tasting")
    return found


def sheets_of(sample: int) -> list[BenchSheet]:
    """All sheets of a sample, oldest first, those taken back included."""
    return list(BenchSheet.objects.filter(sample_no=sample).select_related("by", "entry"))


def latest(sample: int, kind: str, **told: Any) -> BenchSheet | None:
    """The standing sheet of a kind that was made last, of those whose `told` holds the given values.

    By the time it was made, not by when it came in: a phone may be late.
    """
    rows = BenchSheet.objects.filter(sample_no=sample, kind=kind, undone=False)
    rows = rows.order_by("-happened_at", "-entry_id")
    return next((r for r in rows if all(r.told.get(k) == v for k, v in told.items())), None)


def sheet_for(sample: int, scheme_name: str) -> Sheet | None:
    """The sheet a scheme is held against: the last count by it, last sieving and moisture.

    Sieved masses are brought to the counted mass, so that both stand for one sample. None when
    nothing was counted or weighed by the scheme and nothing was sieved.
    """
    happening, rules = sample_of(sample), known_scheme(scheme_name)
    names = (rules.name, *rules.formerly)
    counts = [found for name in names if (found := latest(sample, "count", scheme=name)) is not None]
    count = max(counts, key=lambda row: (row.happened_at, row.entry_id), default=None)
    screens = latest(sample, "screens", sieve="round", by="mass")
    moisture = latest(sample, "moisture")
    if count is None and screens is None:
        return None
    mass = float(count.told["sample_g"]) if count else float(screens.told["taken_g"]) if screens else 0.0
    sieved: dict[str, float] = {}
    if screens is not None:
        total = sum(screens.told["screens_g"].values())
        sieved = {k: v * mass / total for k, v in screens.told["screens_g"].items()}
    wet = _moisture(moisture)
    return Sheet(
        lot=happening.lot.code[:40], species=happening.lot.species, sample_g=mass,
        counts=count.told["counts"] if count else {}, masses_g=count.told["masses_g"] if count else {},
        quakers=count.told["quakers"] if count else None, screens_g=sieved, moisture_percent=wet,
        rest_none=bool(count and count.told.get("rest_none")),
        screens_table=screens.told["table"] if screens else "",
        moisture_method=moisture.told["method"] if moisture else "",
    )  # fmt: skip


def _moisture(sheet: BenchSheet | None) -> float | None:
    return None if sheet is None else MoistureTold.model_validate(sheet.told).figure().value


def lots_sampled(most: int = 200) -> list[Happening]:
    """Samples that stand, newest first."""
    rows = Happening.objects.filter(kind="sample", undone=False).select_related("lot", "by")
    return list(rows.order_by("-entry_id")[:most])
