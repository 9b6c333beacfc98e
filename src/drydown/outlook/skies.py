"""The air a lot has met and will meet: measured hours first, then what was said of a day, then futures."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from drydown.air.generator import generate
from drydown.air.normals import MonthNormals
from drydown.air.ownyears import blended
from drydown.air.series import RANGES, HourlyWeather, Site
from drydown.errors import InputError
from drydown.figures import Source, Status
from drydown.words import say

__all__ = ["DAY_SOURCE", "DAY_WORDS", "NUDGE_SOURCE", "Felt", "LotAir", "ReadAir", "Skies", "lot_air"]

Array = NDArray[np.float64]
DAY_WORDS = ("dry", "showers", "rain")
"""What can be said of a day: dry; showers; rain all day."""
WET_MM, LONG_H = 1.0, 6
DAY_SOURCE = Source(
    "own choice: dry is less than 1 mm; rain all day is rain in 6 hours and more; showers lie between",
    Status.OWN_ESTIMATE,
)
BLOCK_DAYS = 32
FADES_H, REACHES_H = 5.0, 16
NUDGE_SOURCE = Source(
    "own estimate: what a reading of the air says fades by half in 3.5 h about it", Status.OWN_ESTIMATE
)


@dataclass(frozen=True, slots=True)
class Felt:
    """One quantity of the air by the hour from a start on, where a logger measures no more: "temp_c" or
    "rh"."""

    key: str
    start: datetime
    values: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class ReadAir:
    """The air as somebody read it outdoors at a moment: [C], [fraction]."""

    at: datetime
    temp_c: float
    rh: float


@dataclass(frozen=True, slots=True)
class Skies:
    """All that is known of a station's air.

    weather: twelve normals or a file; seen: measured hours by their dates, one member each; ahead: forecasts
    of the coming hours, later pieces rule; days: what was said of a day, one of `DAY_WORDS`.
    """

    site: Site
    weather: HourlyWeather | tuple[MonthNormals, ...]
    seen: tuple[HourlyWeather, ...] = ()
    ahead: tuple[HourlyWeather, ...] = ()
    days: Mapping[date, str] = field(default_factory=dict)
    trusted: float = 1.0
    """Share of the futures that take what is ahead (`skill.py`)."""
    felt: tuple[Felt, ...] = ()
    read: tuple[ReadAir, ...] = ()
    """Readings by hand, in order."""


@dataclass(frozen=True, slots=True)
class LotAir:
    """Air from a moment on; measured (hour,): which hours were; words for the source of the rest."""

    air: HourlyWeather
    measured: NDArray[np.bool_]
    words: str


def lot_air(skies: Skies, start: datetime, hours: int, members: int, seed: int) -> LotAir:
    """Air of a lot from `start`.

    Args: skies; start (aware); hours [h]; members; seed, the same for all lots of a station: on one date a
    member has one weather. Returns: `LotAir`. Valid range: as the generator. Source: as its parts.
    """
    measured = np.zeros(hours, dtype=bool)
    pieces = list(skies.seen)
    if isinstance(skies.weather, HourlyWeather):
        if skies.weather.start <= start < _end(skies.weather):
            pieces.insert(0, skies.weather)
        air, words = _by_file(skies.weather, start, hours, members, seed)
    else:
        words = say("{members} futures generated from the station's monthly normals", members=members)
        air = _generated(skies.site, skies.weather, start, hours, members, seed)
    air = _as_said(air, skies.days, seed)
    air = _nudged(air, skies.read)
    air = _felt(air, skies.felt)
    for piece in skies.ahead:
        before = air
        air, hit = _laid_over(air, piece, measured)
        if hit.any() and skies.trusted < 1.0 and members > 1:
            air = _trusted(before, air, skies.trusted, members, seed)
        words = (
            say("a forecast for {d:.1f} days, then {words}", d=hit.sum() / 24.0, words=words)
            if hit.any()
            else words
        )
    for piece in pieces:
        air, hit = _laid_over(air, piece, np.zeros(hours, bool))
        measured |= hit
    return LotAir(air, measured, words)


def _end(air: HourlyWeather) -> datetime:
    return air.start + timedelta(hours=air.hours)


def _by_file(
    weather: HourlyWeather, start: datetime, hours: int, members: int, seed: int
) -> tuple[HourlyWeather, str]:
    """Futures from a file: own years and generated ones, else the one series, as far as it reaches."""
    own = blended(weather, start, hours, members, seed)
    if own is not None:
        return own
    left = weather.hours_from(start)
    if left < 1:
        raise InputError(
            say("ends on {end:%Y-%m-%d}, before this lot.", end=_end(weather)), "the weather file",
            "Type the station's twelve months, or name a longer file.",
        )  # fmt: skip
    words = say("one weather series ({name}): band without weather", name=weather.site.name or "file")
    return weather.window(start, min(hours, left)), words


def _generated(
    site: Site, normals: tuple[MonthNormals, ...], start: datetime, hours: int, members: int, seed: int
) -> HourlyWeather:
    """Generated air in blocks of days that begin on fixed dates, so that lots of one station share them."""
    local = start.astimezone(site.zone)
    first, last = local.date().toordinal(), (local + timedelta(hours=hours)).date().toordinal()
    blocks = [
        _block(site, normals, number, members, seed)
        for number in range(first // BLOCK_DAYS, last // BLOCK_DAYS + 1)
    ]
    skip = (first - first // BLOCK_DAYS * BLOCK_DAYS) * 24 + local.hour
    cut = {
        key: np.concatenate([getattr(b, key) for b in blocks], axis=1)[:, skip : skip + hours]
        for key in RANGES
    }
    return HourlyWeather.of(site, start, cut)


@lru_cache(maxsize=4)
def _block(
    site: Site, normals: tuple[MonthNormals, ...], number: int, members: int, seed: int
) -> HourlyWeather:
    """Air of the days from number times BLOCK_DAYS on."""
    day = date.fromordinal(number * BLOCK_DAYS)
    begin = datetime(day.year, day.month, day.day, tzinfo=site.zone)
    return generate(site, normals, begin, BLOCK_DAYS * 24, members, seed)


def _laid_over(
    air: HourlyWeather, piece: HourlyWeather, keep: NDArray[np.bool_]
) -> tuple[HourlyWeather, NDArray[np.bool_]]:
    """The air with a piece laid over its hours by date, but for those to keep; and which hours it covered."""
    offset = int((piece.start - air.start) / timedelta(hours=1))
    first, last = max(offset, 0), min(offset + piece.hours, air.hours)
    hit = np.zeros(air.hours, dtype=bool)
    if first >= last:
        return air, hit
    hit[first:last] = True
    hit &= ~keep[: air.hours]
    rows = max(air.members, piece.members)
    if piece.members not in {1, rows}:
        raise InputError(
            say("a forecast of {a} members does not fit {b}.", a=piece.members, b=rows),
            "the weather forecast",
        )
    if hit.all() and piece.members == 1:  # nothing of the futures is left: one air for all
        cut = {key: getattr(piece, key)[:, first - offset : last - offset].copy() for key in RANGES}
        return HourlyWeather.of(air.site, air.start, cut, (*air.notes, *piece.notes)), hit
    columns = {}
    for key in RANGES:
        values = np.broadcast_to(getattr(air, key), (rows, air.hours)).copy()
        over = getattr(piece, key)[:, first - offset : last - offset]
        values[:, first:last] = np.where(hit[None, first:last], over, values[:, first:last])
        columns[key] = values
    return HourlyWeather.of(air.site, air.start, columns, (*air.notes, *piece.notes)), hit


def _nudged(air: HourlyWeather, read: tuple[ReadAir, ...]) -> HourlyWeather:
    """Every future drawn to what was read by hand: to it in that hour, less so before and after
    (`NUDGE_SOURCE`). Between two readings each hour takes the nearer one's most."""
    hours = [(int(np.floor((r.at - air.start) / timedelta(hours=1))), r) for r in read]
    there = [(h, r) for h, r in hours if 0 <= h < air.hours]
    if not there:
        return air
    columns = {"temp_c": air.temp_c.copy(), "rh": air.rh.copy()}
    for key, low, high in (("temp_c", -30.0, 55.0), ("rh", 0.02, 1.0)):
        plain, values = getattr(air, key), columns[key]
        share = np.zeros(air.hours)
        for hour, one in there:
            first, last = max(hour - REACHES_H, 0), min(hour + REACHES_H + 1, air.hours)
            weight = np.exp(-np.abs(np.arange(first, last) - hour) / FADES_H)
            nearer = weight > share[first:last]
            off = (getattr(one, key) - plain[:, hour])[:, None]
            moved = plain[:, first:last] + weight * off
            values[:, first:last] = np.where(nearer, moved, values[:, first:last])
            share[first:last] = np.maximum(share[first:last], weight)
        np.clip(values, low, high, out=values)
    whole = {key: columns[key] if key in columns else getattr(air, key) for key in RANGES}
    return HourlyWeather.of(air.site, air.start, whole, air.notes)


def _felt(air: HourlyWeather, felt: tuple[Felt, ...]) -> HourlyWeather:
    """Every future with the temperatures and humidities that were measured; sun, wind and rain stay its
    own."""
    columns: dict[str, Array] = {}
    for piece in felt:
        offset = round((piece.start - air.start) / timedelta(hours=1))
        first, last = max(offset, 0), min(offset + len(piece.values), air.hours)
        if first < last:
            values = columns.setdefault(piece.key, getattr(air, piece.key).copy())
            values[:, first:last] = np.asarray(piece.values)[first - offset : last - offset]
    if not columns:
        return air
    whole = {key: columns[key] if key in columns else getattr(air, key) for key in RANGES}
    return HourlyWeather.of(air.site, air.start, whole, air.notes)


def _trusted(own: HourlyWeather, told: HourlyWeather, share: float, members: int, seed: int) -> HourlyWeather:
    """A share of the futures with the forecast's hours, the others with their own."""
    takes = np.random.default_rng([seed, 71]).permutation(members) < round(share * members)
    columns = {}
    for key in RANGES:
        mine, theirs = (np.broadcast_to(getattr(a, key), (members, own.hours)) for a in (own, told))
        columns[key] = np.where(takes[:, None], theirs, mine)
    return HourlyWeather.of(own.site, own.start, columns, told.notes)


def _kind_of_day(rain: Array) -> NDArray[np.int64]:
    """Index in `DAY_WORDS` of days given by their hours of rain, (..., hour) [mm]."""
    wet = rain.sum(axis=-1) >= WET_MM
    long = (rain >= 0.1).sum(axis=-1) >= LONG_H
    return np.asarray(np.where(~wet, 0, np.where(long, 2, 1)))


def _as_said(air: HourlyWeather, days: Mapping[date, str], seed: int) -> HourlyWeather:
    """Futures in which each day is of the kind that was said: the others take that day from one that is."""
    if not days or air.members == 1:
        return air
    first, before, whole = air.whole_days()
    columns = None
    for day, word in sorted(days.items()):
        number = (day - first).days
        if not 0 <= number < whole:
            continue
        columns = columns or {key: getattr(air, key).copy() for key in RANGES}
        hours = slice(before + 24 * number, before + 24 * number + 24)
        kinds = _kind_of_day(columns["rain_mm"][:, hours])
        fit, other = (
            np.flatnonzero(kinds == DAY_WORDS.index(word)),
            np.flatnonzero(kinds != DAY_WORDS.index(word)),
        )
        if not fit.size:
            continue
        donors = fit[np.random.default_rng([seed, 73, day.toordinal()]).integers(0, fit.size, other.size)]
        for values in columns.values():
            values[other, hours] = values[donors, hours]
    return air if columns is None else HourlyWeather.of(air.site, air.start, columns, air.notes)
