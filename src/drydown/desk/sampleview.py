"""What the bench's pages and the report show of a sample: figures, screens, grade, causes."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from drydown.books.bench.contracts import known_scheme
from drydown.books.bench.roasts import BrewTold, GrindTold, RoastTold
from drydown.books.bench.sheets import DensityTold, MoistureTold, latest, sheet_for, sheets_of
from drydown.books.lots.past import record_of
from drydown.books.models import BenchSheet, Happening
from drydown.books.numbers import parse_decimal
from drydown.desk.roastview import brew_figures, grind_figures, roast_figures
from drydown.errors import InputError
from drydown.figures import Figure
from drydown.quality.causes import likely_causes
from drydown.quality.grade import Verdict, grade_sheet
from drydown.quality.photo import Bean, photo_screens
from drydown.quality.screens import ShareAbove, mean_bean_g, sheet_shares
from drydown.quality.sure import Advice, another_sample, grade_probabilities, total_figure
from drydown.station.model import Station
from drydown.words import say

__all__ = ["BenchView", "Graded", "bench_view", "sheet_words"]

BEAN_G = 0.15
"""A bean's mass where no hundred was weighed (0.12 to 0.25 g): it sets only how wide an interval is."""


@dataclass(frozen=True, slots=True)
class Graded:
    """A sample held against a scheme."""

    verdict: Verdict
    total: Figure | None
    chances: dict[str, float]
    causes: list[tuple[Any, list[tuple[str, str]]]]
    advice: Advice | None = None
    trouble: str = ""
    """Why the prices do not serve."""

    @property
    def likely(self) -> list[tuple[str, int]]:
        """Grades with a chance of a hundredth or more, in per cent."""
        return [(name, round(100 * p)) for name, p in self.chances.items() if p >= 0.01]

    @property
    def limits(self) -> list[Any]:
        """The limits shown, with the scheme's general condition."""
        return [*self.best.limits, *filter(None, (self.verdict.condition,))]

    @property
    def best(self) -> Any:
        """The grade whose limits are shown: the best that is kept, else the lowest."""
        return self.verdict.best or self.verdict.tried[-1]


@dataclass(frozen=True, slots=True)
class BenchView:
    """Everything a sample's page shows."""

    sample: Happening
    sheets: list[BenchSheet]
    figures: dict[str, Figure] = field(default_factory=dict)
    screens: list[tuple[str, float, ShareAbove]] = field(default_factory=list)
    screens_by: str = ""
    slots: list[tuple[str, float, ShareAbove]] = field(default_factory=list)
    peaberry_percent: float | None = None
    photo: BenchSheet | None = None
    photo_rows: list[Any] = field(default_factory=list)
    graded: Graded | None = None
    bean_g: float | None = None
    """Mass of a bean that the intervals were reckoned with, where none was weighed."""
    trouble: str = ""
    """Why the sample is not graded by the scheme chosen."""
    cup_words: tuple[str, ...] = ()
    """What its roast, grind and brew are said of."""


def _figures(number: int) -> dict[str, Figure]:
    found: dict[str, Figure] = {}
    wet = latest(number, "moisture")
    if wet is not None:
        found["moisture"] = MoistureTold.model_validate(wet.told).figure()
    for sheet in reversed(sheets_of(number)):
        if sheet.kind == "density" and not sheet.undone:
            for name, figure in DensityTold.model_validate(sheet.told).figures().items():
                found.setdefault(name, figure)
    return found


CUPPED: dict[str, Any] = {"roast": RoastTold, "grind": GrindTold, "brew": BrewTold}


def cupped(number: int, station: Station) -> tuple[dict[str, Figure], list[str]]:
    """What the last roast, grind and brew of a sample came to: figures and words."""
    found: dict[str, Figure] = {}
    words: list[str] = []
    for kind, shape in CUPPED.items():
        sheet = latest(number, kind)
        if sheet is None:
            continue
        told = shape.model_validate(sheet.told)
        more = (
            roast_figures(told, station) if kind == "roast"
            else grind_figures(told) if kind == "grind" else brew_figures(told)
        )  # fmt: skip
        found |= more[0]
        words += more[1]
    return found, words


def _shares(sheet: BenchSheet | None, bean_g: float) -> list[tuple[str, float, ShareAbove]]:
    """By screen, coarsest first: number, percent held, share on it and above with its interval."""
    if sheet is None:
        return []
    counted = sheet.told["by"] == "count"
    return sheet_shares(sheet.told["screens_g"], float(sheet.told["taken_g"]), 1.0 if counted else bean_g)


def _screens_by(sheet: BenchSheet | None) -> str:
    """Whose numbers a sieving has, and whether it was weighed or counted."""
    if sheet is None:
        return ""
    return str(sheet.told["table"]) + (", by count" if sheet.told["by"] == "count" else "")


def _photo_rows(sheet: BenchSheet | None) -> list[Any]:
    if sheet is None:
        return []
    pairs = zip(sheet.told["lengths_mm"], sheet.told["widths_mm"], strict=True)
    beans = [Bean(long, wide, 0.0, 0.0, (0.0, 0.0, 0.0), False) for long, wide in pairs]
    return list(photo_screens(beans, sheet.told["table"]).rows)


def _graded(
    sample: Happening, name: str, options: dict[str, str], prices: str, station: Station
) -> Graded | None:
    sheet = sheet_for(sample.entry_id, name)
    if sheet is None:
        return None
    rules = known_scheme(name)
    verdict = grade_sheet(sheet, rules, options)
    weights = {code: float(w) for code, w in rules.weights(dict(verdict.options)).items()}
    record = record_of(sample.lot, station)
    causes = [
        (found, [(ask, record[ask]) for ask in found.cause.looks_at if record.get(ask)])
        for found in likely_causes(rules, verdict.sheet.counts, weights)
    ]  # fmt: skip
    advice, trouble = _advice(verdict, prices)
    total = total_figure(verdict) if sheet.counts else None
    return Graded(verdict, total, grade_probabilities(verdict), causes, advice, trouble)


def _advice(verdict: Verdict, prices: str) -> tuple[Advice | None, str]:
    """Whether another sample is worth it, or why the prices typed do not say so."""
    if not prices.strip():
        return None, ""
    try:
        return another_sample(verdict, _prices(prices)), ""
    except InputError as error:
        return None, str(error)


def _prices(text: str) -> dict[str, float]:
    """Price per kg by grade, one a line."""
    found = {}
    for line in filter(None, (part.strip() for part in text.replace(";", "\n").split("\n"))):
        name, _mark, value = line.rpartition("=")
        if not name.strip():
            raise InputError(say("'{value}' is not grade = price.", value=line[:60]), "prices")
        found[name.strip()] = float(parse_decimal(value, say("price of {value}", value=name.strip()[:40])))
    return found


def bench_view(
    sample: Happening, station: Station, scheme_name: str = "", options: dict[str, str] | None = None,
    prices: str = "",
) -> BenchView:  # fmt: skip
    """Put a sample's page together; graded where a scheme is named and there is something to grade."""
    number = sample.entry_id
    figures = _figures(number)
    more, cup_words = cupped(number, station)
    figures |= more
    hundred = figures.get("mass_of_100_beans")
    bean_g = mean_bean_g(hundred.value) if hundred else BEAN_G
    sieved, slots, photo = (
        latest(number, "screens", sieve="round"), latest(number, "screens", sieve="slotted"),
        latest(number, "photo"),
    )  # fmt: skip
    apart = next((s for s in (slots, sieved) if s and s.told["peaberry_g"] is not None), None)
    graded, trouble = None, ""
    try:
        graded = _graded(sample, scheme_name, options or {}, prices, station) if scheme_name else None
    except InputError as error:
        trouble = str(error)
    weighed = sieved is not None and sieved.told["by"] == "mass"
    assumed = BEAN_G if weighed and hundred is None else None
    return BenchView(
        sample, sheets_of(number), figures, _shares(sieved, bean_g), _screens_by(sieved),
        _shares(slots, bean_g), 100 * apart.told["peaberry_g"] / apart.told["taken_g"] if apart else None,
        photo, _photo_rows(photo), graded, assumed, trouble, tuple(cup_words),
    )  # fmt: skip


def sheet_words(sheet: BenchSheet) -> str:
    """A sheet in one line."""
    told = sheet.told
    lines = {
        "count": "{scheme}: {pieces} pieces in {sample_g:g} g",
        "screens": "{sieve} holes, {taken_g:g} {unit}",
        "moisture": "{readings} % wb, {method}", "photo": "{beans} beans at {px_per_mm:.1f} pixels per mm",
        "density": "{fillings} fillings, {hundreds} counts of a hundred",
        "handed": "{part}, {mass_g:g} g to {to} {mark}",
        "roast": "{green_g:g} g on {roaster}, out at {drop_s:.0f} s, {count} readings",
        "grind": "{grinder} at {setting:g}, {sieves} sieves",
        "brew": "{brewer}: {dose_g:g} g in {water_g:g} g",
    }  # fmt: skip
    more = {
        "unit": "pieces" if told.get("by") == "count" else "g",
        "pieces": sum(told.get("counts", {}).values()), "beans": len(told.get("widths_mm", ())),
        "readings": ", ".join(f"{v:g}" for v in told.get("replicates", ())),
        "fillings": len(told.get("masses_g", ())), "hundreds": len(told.get("hundred_g", ())),
        "count": len(told.get("readings", ())), "sieves": len(told.get("sieves_g", ())),
    }  # fmt: skip
    return lines[sheet.kind].format(**{**told, **more}).strip() if sheet.kind in lines else ""
