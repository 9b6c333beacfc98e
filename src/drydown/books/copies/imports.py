"""Bring in growers, plots and past deliveries from a spreadsheet: look first, then keep.

Every row is read and judged before anything is written; a row that is wrong is named with its
number, its column and what to do.
"""

from __future__ import annotations

import uuid
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta, timezone
from decimal import Decimal
from typing import Any

from django.db.models import Q
from django.utils import timezone as clock

from drydown.books.copies.tablefile import MOST_BYTES, MOST_ROWS, Row, check_columns, read_table, row_of
from drydown.books.journal.write import Who, writing
from drydown.books.lots.gate import MAX_DELIVERY_G, Weighing, receive
from drydown.books.models import Delivery, Grower
from drydown.books.numbers import parse_decimal, parse_grams
from drydown.books.people.register import note_change
from drydown.errors import InputError
from drydown.numerals import number as written
from drydown.station.model import Station
from drydown.trade.coins import to_minor
from drydown.words import say

__all__ = ["COLUMNS", "Preview", "keep", "preview"]

COLUMNS: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "growers": (("name",), ("number", "village", "language")),
    "plots": (("grower", "plot", "latitude", "longitude"), ("area_ha",)),
    "deliveries": (
        ("at", "grower", "species", "route", "gross_kg", "tare_kg", "price_per_kg"),
        ("ripe_percent", "float_percent"),
    ),
}
BLOCK = 200
NEAR_DEG = 3.0
_SPACE = uuid.UUID("6f1d0c8e-5b1c-4a53-9a45-0d6f6a1f7b11")


@dataclass(slots=True)
class Preview:
    """What a file holds: rows that can be kept, and what is wrong with the others."""

    kind: str
    good: list[tuple[int, Any]] = field(default_factory=list)
    wrong: list[tuple[int, str]] = field(default_factory=list)
    known: int = 0


def preview(kind: str, name: str, content: bytes, station: Station) -> Preview:
    """Read and judge every row of a file; nothing is written.

    Args: kind, a key of `COLUMNS`; name, of the file; content; the station.
    Raises `InputError` when the file as a whole cannot be read.
    """
    if kind not in COLUMNS:
        raise InputError(
            say("'{kind}' cannot be brought in.", kind=kind),
            fix=say("One of {columns}.", columns=", ".join(COLUMNS)),
        )
    if len(content) > MOST_BYTES:
        raise InputError(
            say("is larger than {most_bytes} MB.", most_bytes=MOST_BYTES // 1000000), name, "Split it."
        )
    head, rows = read_table(name, content)
    check_columns(name, head, *COLUMNS[kind])
    found = Preview(kind)
    judge: Callable[[Row, Station], Any] = {
        "growers": _grower, "plots": _plot, "deliveries": _delivery
    }[kind]  # fmt: skip
    seen: set[Any] = set()
    for number, cells in enumerate(rows, 2):
        if not any(c.strip() for c in cells):
            continue
        if number > MOST_ROWS:
            raise InputError(
                say("has more than {written} rows.", written=written(MOST_ROWS)), name, "Split it."
            )
        try:
            row = row_of(head, cells)
            made = judge(row, station)
        except InputError as error:
            found.wrong.append((number, str(error)))
            continue
        if made is None:
            found.known += 1
        elif seen & set(made.same()):
            found.wrong.append((number, "the same row, or its number, stands above already."))
        else:
            seen |= set(made.same())
            found.good.append((number, made))
    return found


def _count(text: str, where: str, most: int) -> int:
    if not text.isascii() or not text.isdecimal() or not 0 < int(text) <= most:
        raise InputError(
            say(
                "'{value}' is not a whole number from 1 to {written}.", value=text[:40], written=written(most)
            ),
            where,
        )
    return int(text)


@dataclass(frozen=True, slots=True)
class NewGrower:
    """A grower to add."""

    number: int | None
    name: str
    village: str
    language: str

    def same(self) -> Any:
        """What makes two rows the same."""
        named = ("name", self.name.casefold(), self.village.casefold())
        return (named, ("number", self.number)) if self.number else (named,)


def _grower(row: Row, _station: Station) -> NewGrower | None:
    name, village = " ".join(row["name"].split()), row.get("village", "")
    if not name:
        raise InputError("is empty.", "name")
    if len(name) > 80 or len(village) > 80:
        raise InputError("is longer than 80 characters.", "name or village")
    text = row.get("number", "")
    number = _count(text, "number", 10**8) if text else None
    twin = Grower.objects.filter(number=number).first() if number else None
    if twin and twin.name.casefold() != name.casefold():
        raise InputError(say("{number} is {name}'s.", number=number, name=twin.name), "number")
    if twin or Grower.objects.filter(name__iexact=name, village__iexact=village).exists():
        return None
    return NewGrower(number, name, village, row.get("language", "")[:8])


@dataclass(frozen=True, slots=True)
class NewPlot:
    """A plot of a grower."""

    grower: int
    plot: str
    latitude: float
    longitude: float
    area_ha: float | None

    def same(self) -> Any:
        """What makes two rows the same."""
        return ((self.grower, self.plot.casefold()),)


def _degrees(text: str, where: str, most: float) -> float:
    plain = text.replace(",", ".")
    try:
        value = float(plain)
    except ValueError as error:
        raise InputError(
            say("'{value}' is not a number of degrees.", value=text[:40]), where, "Write -3.412345."
        ) from error
    if not -most <= value <= most:
        raise InputError(
            say(
                "{value:g} is not from -{most:g} to {most_2:g} degrees.", value=value, most=most, most_2=most
            ),
            where,
            _SWAPPED,
        )
    return value


_SWAPPED = "Are latitude and longitude swapped?"


def _plot(row: Row, station: Station) -> NewPlot | None:
    number = _count(row["grower"], "grower", 10**8)
    grower = Grower.objects.filter(number=number).first()
    if grower is None:
        raise InputError(
            say("No grower has the number {number}.", number=number), "grower", "Bring in growers first."
        )
    if not row["plot"]:
        raise InputError("is empty.", "plot", "Name it, such as: upper field.")
    latitude = _degrees(row["latitude"], "latitude", 90)
    longitude = _degrees(row["longitude"], "longitude", 180)
    place = station.place
    off = abs(latitude - place.latitude_deg) + abs(longitude - place.longitude_deg)
    if off > NEAR_DEG:
        turned = abs(longitude - place.latitude_deg) + abs(latitude - place.longitude_deg)
        hint = _SWAPPED if turned <= NEAR_DEG else "Check both, and their signs."
        raise InputError(
            say(
                "{latitude:g}, {longitude:g} is more than {near_deg:g} degrees from the station.",
                latitude=latitude,
                longitude=longitude,
                near_deg=NEAR_DEG,
            ),
            "latitude, longitude",
            hint,
        )
    area = float(parse_decimal(row["area_ha"], "area_ha")) if row.get("area_ha") else None
    if any(p["plot"].casefold() == row["plot"].casefold() for p in grower.plots):
        return None
    return NewPlot(number, row["plot"][:80], latitude, longitude, area)


@dataclass(frozen=True, slots=True)
class NewDelivery:
    """A past delivery."""

    weighing: Weighing

    def same(self) -> Any:
        """What makes two rows the same: everything."""
        return (self.weighing.key,)


def _moment(text: str, station: Station) -> datetime:
    zone = timezone(timedelta(hours=station.place.utc_offset_h))
    try:
        at = datetime.fromisoformat(text)
    except ValueError as error:
        raise InputError(
            say("'{value}' is not a time.", value=text[:40]), "at", "Write 2026-05-04 09:30."
        ) from error
    if not 1 < at.year < 9999:
        raise InputError(say("the year {year} is before 2000.", year=at.year), "at")
    at = at if at.tzinfo else at.replace(tzinfo=zone)
    if at.year < 2000:
        raise InputError(say("the year {year} is before 2000.", year=at.year), "at")
    if at > clock.now():
        raise InputError(say("{at:%Y-%m-%d %H:%M} is in the future.", at=at), "at")
    return at.astimezone(zone)


def _share(text: str, where: str) -> int | None:
    if not text:
        return None
    value = parse_decimal(text, where)
    if value > 100:
        raise InputError(say("must be from 0 to 100, got {value:g}.", value=value), where)
    return round(value)


def _delivery(row: Row, station: Station) -> NewDelivery | None:
    number = _count(row["grower"], "grower", 10**8)
    grower = Grower.objects.filter(number=number).first()
    if grower is None:
        raise InputError(
            say("No grower has the number {number}.", number=number), "grower", "Bring in growers first."
        )
    if row["species"] not in station.species:
        raise InputError(say("'{value}' is not received here.", value=row["species"][:30]), "species")
    route = row["route"].replace(" ", "_")
    if route not in station.routes:
        raise InputError(say("'{value}' is not a route here.", value=row["route"][:30]), "route")
    gross, tare = parse_grams(row["gross_kg"], "gross_kg"), parse_grams(row["tare_kg"] or "0", "tare_kg")
    if tare >= gross:
        raise InputError("the empty weight is not below the full one.", "tare_kg", "Were the two swapped?")
    price = parse_decimal(row["price_per_kg"], "price_per_kg")
    at, money = _moment(row["at"], station), station.money
    if gross > MAX_DELIVERY_G:
        raise InputError(say("{gross:g} kg is above 30 000 kg.", gross=gross / 1000), "gross_kg")
    if Delivery.objects.filter(grower=grower, happened_at=at, net_g=gross - tare, undone=False).exists():
        return None
    moment = at.astimezone(UTC).isoformat()
    key = uuid.uuid5(_SPACE, "|".join((moment, str(number), row["species"], route, str(gross), str(tare))))
    if Delivery.objects.filter(entry__key=key).exists():
        return None
    coins = to_minor(Decimal(price), money.decimals)
    return NewDelivery(Weighing(
        key, grower, row["species"], route, gross, tare, coins, money.currency, money.decimals, at,
        at.date(), _share(row.get("ripe_percent", ""), "ripe_percent"),
        _share(row.get("float_percent", ""), "float_percent"),
    ))  # fmt: skip


def keep(found: Preview, who: Who) -> int:
    """Write the good rows of a preview, a block at a time so that the gate goes on; returns how many.

    Stopped in between, importing the same list again keeps the rest: every row is judged once more under
    the lock, so what is known by then, from another tab or another import, is not kept twice.
    """
    kept = 0
    rows = sorted((made for _number, made in found.good), key=lambda m: getattr(m, "number", 0) is None)
    for start in range(0, len(rows), BLOCK):
        with writing():
            for made in rows[start : start + BLOCK]:
                if isinstance(made, NewGrower):
                    kept += _keep_grower(made)
                elif isinstance(made, NewPlot):
                    kept += _keep_plot(made)
                else:
                    kept += not Delivery.objects.filter(entry__key=made.weighing.key).exists()
                    receive(_signed(made.weighing, who))
    note_change(who, f"{found.kind} imported", f"{kept} rows")
    return kept


def _signed(w: Weighing, who: Who) -> Weighing:
    return replace(w, who=who)


def _keep_grower(made: NewGrower) -> bool:
    known = Q(name__iexact=made.name, village__iexact=made.village)
    if made.number:
        known |= Q(number=made.number)
    if Grower.objects.filter(known).exists():
        return False
    top = Grower.objects.order_by("-number").values_list("number", flat=True).first() or 100
    Grower.objects.create(
        number=made.number or top + 1, name=made.name, village=made.village, language=made.language
    )
    return True


def _keep_plot(made: NewPlot) -> bool:
    grower = Grower.objects.select_for_update().get(number=made.grower)
    plot = {
        "plot": made.plot, "latitude_deg": f"{made.latitude:.6f}", "longitude_deg": f"{made.longitude:.6f}",
        "area_ha": made.area_ha,
    }  # fmt: skip
    if any(p["plot"] == made.plot for p in grower.plots):
        return False
    grower.plots = [*grower.plots, plot]
    grower.save()
    return True
