"""Bring in growers, plots and past deliveries from a spreadsheet: look first, then keep.

Every row is read and judged before anything is written; a row that is wrong is named with its
number, its column and what to do.
"""

from __future__ import annotations

import csv
import io
import uuid
import zipfile
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta, timezone
from decimal import Decimal
from typing import Any

from django.db.models import Q
from django.utils import timezone as clock

from drydown.books.journal.write import Who, writing
from drydown.books.lots.gate import MAX_DELIVERY_G, Weighing, receive
from drydown.books.models import Delivery, Grower
from drydown.books.numbers import parse_decimal, parse_grams
from drydown.books.people.register import note_change
from drydown.errors import InputError
from drydown.numerals import number as written
from drydown.station.model import Station
from drydown.trade.coins import to_minor

__all__ = ["COLUMNS", "Preview", "keep", "preview"]

COLUMNS: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "growers": (("name",), ("number", "village", "language")),
    "plots": (("grower", "plot", "latitude", "longitude"), ("area_ha",)),
    "deliveries": (
        ("at", "grower", "species", "route", "gross_kg", "tare_kg", "price_per_kg"),
        ("ripe_percent", "float_percent"),
    ),
}
MOST_BYTES, MOST_ROWS, MOST_CELL, MOST_COLUMNS = 8_000_000, 50_000, 400, 40
BLOCK = 200
NEAR_DEG = 3.0
_SPACE = uuid.UUID("6f1d0c8e-5b1c-4a53-9a45-0d6f6a1f7b11")

Row = dict[str, str]


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
        raise InputError(f"'{kind}' cannot be brought in.", fix=f"One of {', '.join(COLUMNS)}.")
    if len(content) > MOST_BYTES:
        raise InputError(f"is larger than {MOST_BYTES // 1_000_000} MB.", name, "Split it.")
    head, rows = _xlsx(name, content) if content[:2] == b"PK" else _csv(name, content)
    _columns(kind, name, head)
    found = Preview(kind)
    judge: Callable[[Row, Station], Any] = {
        "growers": _grower, "plots": _plot, "deliveries": _delivery
    }[kind]  # fmt: skip
    seen: set[Any] = set()
    for number, cells in enumerate(rows, 2):
        if not any(c.strip() for c in cells):
            continue
        if number > MOST_ROWS:
            raise InputError(f"has more than {written(MOST_ROWS)} rows.", name, "Split it.")
        try:
            row = _row(head, cells)
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


def _csv(name: str, content: bytes) -> tuple[list[str], list[list[str]]]:
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        raise InputError(f"is not UTF-8 text (line {line}).", name, "Save it as CSV UTF-8.") from error
    if "\x00" in text:
        raise InputError("is not a text file.", name, "Save it as CSV UTF-8 or XLSX.")
    first = text.partition("\n")[0]
    mark = max(",;\t", key=first.count)
    try:
        rows = [list(row) for row in csv.reader(io.StringIO(text, newline=""), delimiter=mark, strict=True)]
    except csv.Error as error:
        raise InputError(f"is not a table: {error}.", name, "Save it as CSV UTF-8.") from error
    return _head(name, rows)


def _xlsx(name: str, content: bytes) -> tuple[list[str], list[list[str]]]:
    from openpyxl import load_workbook  # noqa: PLC0415 (only where a workbook comes)

    try:
        with zipfile.ZipFile(io.BytesIO(content)) as box:
            if sum(part.file_size for part in box.infolist()) > 20 * MOST_BYTES:
                raise InputError("unpacks to far more than a list of rows.", name)
        book = load_workbook(io.BytesIO(content), read_only=True, data_only=True)
        sheet = book.worksheets[0]
        cells = sheet.iter_rows(values_only=True, max_row=MOST_ROWS + 2, max_col=MOST_COLUMNS + 1)
        rows = [[_text(v) for v in row] for row in cells]
        if (sheet.max_column or 0) > MOST_COLUMNS or any(len(r) > MOST_COLUMNS and r[-1] for r in rows):
            words = f"has something beyond column {MOST_COLUMNS}."
            raise InputError(words, name, "Leave only the columns that are asked for.")
        rows = [_trimmed(row) for row in rows]
    except InputError:
        raise
    except Exception as error:
        raise InputError("cannot be read as a workbook.", name, "Save it as XLSX or CSV UTF-8.") from error
    return _head(name, rows)


def _trimmed(row: list[str]) -> list[str]:
    """A row without the empty cells behind it."""
    while row and not row[-1]:
        row.pop()
    return row


def _text(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, datetime):
        return value.isoformat(sep=" ", timespec="minutes")
    if isinstance(value, float):
        return f"{value:.10g}"
    return str(value)


def _head(name: str, rows: list[list[str]]) -> tuple[list[str], list[list[str]]]:
    if not rows:
        raise InputError("is empty.", name)
    return [cell.strip().lower().replace(" ", "_") for cell in rows[0]], rows[1:]


def _columns(kind: str, name: str, head: list[str]) -> None:
    needed, optional = COLUMNS[kind]
    missing = [c for c in needed if c not in head]
    if missing:
        raise InputError(
            f"has no column '{missing[0]}'.", name, f"The first row must name: {', '.join(needed)}."
        )
    odd = [c for c in head if c and c not in needed + optional]
    if odd:
        raise InputError(f"has a column '{odd[0]}' that is not known.", name, "Take it out or rename it.")
    if len(set(head)) < len(head):
        raise InputError("names a column twice.", name)


def _row(head: list[str], cells: list[str]) -> Row:
    if len(cells) > len(head) and any(c.strip() for c in cells[len(head) :]):
        raise InputError(f"has {len(cells)} cells, the first row names {len(head)} columns.")
    long = next((h for h, c in zip(head, cells, strict=False) if len(c) > MOST_CELL), None)
    if long:
        raise InputError(f"is longer than {MOST_CELL} characters.", long)
    return {h: c.strip() for h, c in zip(head, cells, strict=False)} | dict.fromkeys(head[len(cells) :], "")


def _count(text: str, where: str, most: int) -> int:
    if not text.isascii() or not text.isdecimal() or not 0 < int(text) <= most:
        raise InputError(f"'{text[:40]}' is not a whole number from 1 to {written(most)}.", where)
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
        raise InputError(f"{number} is {twin.name}'s.", "number")
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
        raise InputError(f"'{text[:40]}' is not a number of degrees.", where, "Write -3.412345.") from error
    if not -most <= value <= most:
        raise InputError(f"{value:g} is not from -{most:g} to {most:g} degrees.", where, _SWAPPED)
    return value


_SWAPPED = "Are latitude and longitude swapped?"


def _plot(row: Row, station: Station) -> NewPlot | None:
    number = _count(row["grower"], "grower", 10**8)
    grower = Grower.objects.filter(number=number).first()
    if grower is None:
        raise InputError(f"No grower has the number {number}.", "grower", "Bring in growers first.")
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
            f"{latitude:g}, {longitude:g} is more than {NEAR_DEG:g} degrees from the station.",
            "latitude, longitude", hint,
        )  # fmt: skip
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
        raise InputError(f"'{text[:40]}' is not a time.", "at", "Write 2026-05-04 09:30.") from error
    if not 1 < at.year < 9999:
        raise InputError(f"the year {at.year} is before 2000.", "at")
    at = at if at.tzinfo else at.replace(tzinfo=zone)
    if at.year < 2000:
        raise InputError(f"the year {at.year} is before 2000.", "at")
    if at > clock.now():
        raise InputError(f"{at:%Y-%m-%d %H:%M} is in the future.", "at")
    return at.astimezone(zone)


def _share(text: str, where: str) -> int | None:
    if not text:
        return None
    value = parse_decimal(text, where)
    if value > 100:
        raise InputError(f"must be from 0 to 100, got {value:g}.", where)
    return round(value)


def _delivery(row: Row, station: Station) -> NewDelivery | None:
    number = _count(row["grower"], "grower", 10**8)
    grower = Grower.objects.filter(number=number).first()
    if grower is None:
        raise InputError(f"No grower has the number {number}.", "grower", "Bring in growers first.")
    if row["species"] not in station.species:
        raise InputError(f"'{row['species'][:30]}' is not received here.", "species")
    route = row["route"].replace(" ", "_")
    if route not in station.routes:
        raise InputError(f"'{row['route'][:30]}' is not a route here.", "route")
    gross, tare = parse_grams(row["gross_kg"], "gross_kg"), parse_grams(row["tare_kg"] or "0", "tare_kg")
    if tare >= gross:
        raise InputError("the empty weight is not below the full one.", "tare_kg", "Were the two swapped?")
    price = parse_decimal(row["price_per_kg"], "price_per_kg")
    at, money = _moment(row["at"], station), station.money
    if gross > MAX_DELIVERY_G:
        raise InputError(f"{gross / 1000:g} kg is above 30 000 kg.", "gross_kg")
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
