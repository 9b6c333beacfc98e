"""The yard as one picture: places as rows on one axis of time, a lot a bar that thins out as it dries.

A bar is solid so far, then as tall as the chance that the lot is still wet: nine tenths at early, half at
the middle, a tenth at late. A hundred units of drawing are a day.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from drydown.desk.taper import SHARES, outline
from drydown.desk.yardrows import Moment, Row
from drydown.station.model import Station
from drydown.way.order import stage
from drydown.way.state import Stage
from drydown.way.yard import Spot, Yard

__all__ = ["BEFORE", "DAYS", "Axis", "Bar", "Day", "PlaceRows", "axis_of", "picture_of"]

DAYS, BEFORE = 24, 7
UNITS = 100.0
END = DAYS * UNITS
MANY = 60
"""Above so many lots, places where nothing is due are folded."""
SOON = timedelta(days=3)
LETTERS = 215.0
"""Units that the figure of a reading takes on a narrow screen."""


@dataclass(frozen=True, slots=True)
class Day:
    """A day of the axis."""

    letter: str
    number: int
    sunday: bool
    few: bool
    """Left out where the screen is narrow."""
    at: datetime


@dataclass(frozen=True, slots=True)
class Axis:
    """The days that are drawn, and where now is."""

    begin: datetime
    now: datetime
    days: tuple[Day, ...]

    def x(self, at: datetime) -> float:
        """Units from the start of the axis."""
        return (at - self.begin) / timedelta(days=1) * UNITS

    @property
    def now_x(self) -> float:
        """Where now is, units."""
        return round(self.x(self.now), 1)

    @property
    def now_at(self) -> int:
        """Where now is, whole per cent."""
        return round(100 * self.now_x / END)

    @property
    def lines(self) -> str:
        """A hair line for each day."""
        return "".join(f"M{d * UNITS:.0f} 0V10" for d in range(DAYS + 1))

    @property
    def weeks(self) -> str:
        """A firmer line before each Monday."""
        return "".join(f"M{i * UNITS:.0f} 0V10" for i, d in enumerate(self.days) if d.at.weekday() == 0)


@dataclass(frozen=True, slots=True)
class Bar:
    """A lot's row of the picture: paths by class, the words on the bar, the date at its end."""

    row: Row
    paths: tuple[tuple[str, str], ...]
    told: str = ""
    told_at: int = 0
    """Where the reading ends on the bar, or before a bar too short for it, whole per cent of the axis."""
    told_out: bool = False
    beside: str = ""
    date: str = ""


@dataclass(frozen=True, slots=True)
class PlaceRows:
    """A place with its bars and its free room by day."""

    name: str
    bars: tuple[Bar, ...]
    used: str = ""
    free: tuple[str, ...] = ()
    """Free m2 for each day from today, every other one empty."""
    soon: str = ""
    """The same in a sentence, for narrow screens."""
    quiet: str = ""
    """Why it is folded, if it is."""
    over: bool = False


def axis_of(station: Station, now: datetime) -> Axis:
    """Twenty-four days, from a week back, by the station's clock."""
    here = now.astimezone(station.place.site().zone)
    begin = here.replace(hour=0, minute=0, second=0, microsecond=0) - timedelta(days=BEFORE)
    days = (begin + timedelta(days=d) for d in range(DAYS))
    return Axis(begin, here, tuple(
        Day(date_format(d, "D")[:1], d.day, d.weekday() == 6, (i - BEFORE) % 3 != 0, d)
        for i, d in enumerate(days)
    ))  # fmt: skip


def picture_of(rows: Sequence[Row], shown: Sequence[Row], places: Yard, axis: Axis) -> list[list[PlaceRows]]:
    """Places in two columns of about the same height: those that wait and tanks first, then beds.

    Args: rows, every lot of the yard, by which area gets free; shown, those that are drawn.
    """
    everything, rows = rows, shown
    many = len(rows) > MANY
    groups = [
        _group(_("Waiting"), [r for r in rows if stage(r.lot.stage).lies not in {"bed", "tank"}], axis),
        _group(_("Tanks"), [r for r in rows if stage(r.lot.stage).lies == "tank"], axis),
    ]
    if groups[1].bars:
        taken = sum(1 for t in places.tanks.values() if t.lots)
        used = _("%(n)d of %(all)d") % {"n": taken, "all": len(places.tanks)}
        groups[1] = PlaceRows(groups[1].name, groups[1].bars, used)
    on_beds = [r for r in rows if stage(r.lot.stage).lies == "bed"]
    for spot in places.beds.values():
        lies = [r for r in everything if r.place == spot.name and stage(r.lot.stage).lies == "bed"]
        groups.append(_place(spot, [r for r in on_beds if r.place == spot.name], lies, axis, many))
    lost = [r for r in on_beds if r.place not in places.beds]
    groups.append(_group(_("Place not in the station file"), lost, axis))
    narrowed = len(rows) < len(everything)
    return _columns([g for g in groups if g.bars or (g.free and not narrowed)])


def _columns(groups: list[PlaceRows]) -> list[list[PlaceRows]]:
    """Two columns: those that wait and tanks first, then the largest place into the lower column."""
    first = [g for g in groups if not g.free]
    beds = sorted((g for g in groups if g.free), key=_height, reverse=True)
    columns: list[list[PlaceRows]] = [first, []]
    for group in beds:
        min(columns, key=lambda column: sum(map(_height, column))).append(group)
    return [column for column in columns if column]


def _height(group: PlaceRows) -> float:
    """Rows that a place takes, its heading among them."""
    return 2.5 + (2 if group.quiet else len(group.bars))


def _group(name: str, rows: Sequence[Row], axis: Axis) -> PlaceRows:
    return PlaceRows(name, tuple(_bar(r, axis) for r in rows))


def _soonest(row: Row) -> tuple[bool, float]:
    return row.middle is None, row.middle.timestamp() if row.middle else 0.0


def _place(spot: Spot, rows: list[Row], lies: Sequence[Row], axis: Axis, many: bool) -> PlaceRows:
    """A drying place: its lots, the soonest dry first, and its free area by day."""
    rows = sorted(rows, key=_soonest)
    free = _free_by_day(spot, lies, axis)
    soon = _("free m²: now %(now).0f") % {"now": free[0]}
    for ahead in (2, 4, 7):
        day = axis.days[BEFORE + ahead].at
        soon += f", {date_format(day, 'D')} {day.day}: {free[ahead]:.0f}"
    return PlaceRows(
        spot.name, tuple(_bar(r, axis) for r in rows),
        _("%(used).0f of %(size).0f") % {"used": spot.used, "size": spot.size},
        tuple(f"{f:.0f}" if i % 2 == 0 else "" for i, f in enumerate(free)),
        soon, _quiet(rows, axis.now) if many else "", spot.over,
    )  # fmt: skip


def _free_by_day(spot: Spot, rows: Sequence[Row], axis: Axis) -> list[float]:
    """Area free at the start of each day from today: the middle, before any new lot.

    A lot past its date keeps its area until someone takes it up; so does one without a date.
    """
    found = [spot.free]
    for day in axis.days[BEFORE + 1 :]:
        leaves = sum(r.m2 for r in rows if r.middle is not None and axis.now <= r.middle <= day.at)
        found.append(min(spot.size, max(0.0, spot.size - spot.used + leaves)))
    return found


def _quiet(rows: Sequence[Row], now: datetime) -> str:
    """Words for a place where nothing is due, none where something is."""
    if not rows or any(r.endangered or r.trouble for r in rows):
        return ""
    first = min((r.middle for r in rows if r.middle is not None), default=None)
    if first is None or first < now + SOON:
        return ""
    return _("%(n)d lots, none due before %(day)s") % {"n": len(rows), "day": date_format(first, "j M")}


# ---- a bar ----


def _bar(row: Row, axis: Axis) -> Bar:
    if row.lot.stage == Stage.DRYING:
        return _drying(row, axis)
    since = row.lot.moved_at or axis.now
    x = _held(axis.x(since))
    paths = (("bp" if row.place else "bn", _box(x, axis.now_x)),)
    return Bar(row, paths, beside=row.todo, date=row.place)


def _drying(row: Row, axis: Axis) -> Bar:
    """Solid so far, then thinner as the chance that it is still wet; hatched past its date."""
    now = axis.now_x
    start = _held(axis.x(row.lot.spread_at or row.lot.moved_at or axis.now))
    early, middle, late = (None if m is None else axis.x(m) for m in row.dry_on)
    solid = now if early is None else min(now, max(early, start))
    unread = row.lot.known_wb is None
    paths = [("bn" if unread else "bp", _box(start, solid))]
    if row.forecast is not None:
        paths.append(("ba", _taper(solid, early, middle, late)))
    if middle is not None and middle < now:
        paths.append(("bo", _box(max(middle, start), now)))
    if middle is not None:
        paths.append(("bt", f"M{middle:.0f} 0V14") if middle <= END else ("bk", "M2340 1L2394 7 2340 13Z"))
    told = "" if unread else f"{100 * (row.lot.known_wb or 0):.1f}"
    short = solid - start < LETTERS
    at = round((start if short else solid) / END * 100)
    return Bar(row, tuple(paths), told, at, short, date=_date(row, axis.now))


def _date(row: Row, now: datetime) -> str:
    if row.waiting:
        return _("reckoning")
    if row.middle is None:
        return _("no date") if row.trouble else _("later")
    here = row.middle.astimezone(now.tzinfo)
    return f"{date_format(here, 'D j')} {date_format(here, 'M')}"


def _held(x: float) -> float:
    return min(max(x, 0.0), END)


def _box(start: float, end: float) -> str:
    return f"M{start:.0f} 2H{max(end, start + 4):.0f}V12H{start:.0f}Z"


def _taper(start: float, early: Moment | float, middle: Moment | float, late: Moment | float) -> str:
    """Points of the thinning end: full height where it starts, .9, .5 and .1 of it at the three moments."""
    ends = [
        (m, share) for m, share in zip((early, middle, late), SHARES, strict=True) if isinstance(m, float)
    ]
    points, share = [(start, 1.0 if not ends or ends[0][0] > start else 0.9)], 1.0
    for x, share in ends:
        points.append((max(x, start), share))
    if len(ends) < 3:
        points.append((END + 40, max(share - 0.1, 0.1) if ends else 1.0))
    return outline([(round(min(x, END + 40)), s) for x, s in points], 7.0)
