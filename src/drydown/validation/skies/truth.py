"""Generated weather held against measured weather inside the marks; and what lots make of both."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from drydown.air.generator import generate
from drydown.air.learn import WholeDays, learn_from
from drydown.air.moist import dew_point_c
from drydown.air.series import HourlyWeather
from drydown.air.sun import cloud_of_clearness, sky_longwave_wm2
from drydown.errors import InputError
from drydown.steps.dry.data import form, place
from drydown.steps.dry.draws import typical_parameters
from drydown.steps.dry.routine import Routine
from drydown.steps.dry.run import dry
from drydown.tables import table
from drydown.validation.skies.records import Record, from_weather, normals_of
from drydown.validation.skies.stats import statistics

__all__ = ["Compared", "compare", "known_from", "lots_under", "made_like", "summary"]

Array = NDArray[np.float64]
YEARS, SEED = 30, 3
LOTS = {"parchment": (12.0, 25), "cherry": (25.0, 45)}
"""Load as spread [kg/m2] and days looked ahead of the lots that are dried under both weathers."""
LOT_TARGET_WB, LOT_MEMBERS, LOT_EVERY_DAYS = 0.115, 49, 12


@dataclass(frozen=True, slots=True)
class Compared:
    """One statistic of one site: measured, generated, and whether they lie within the mark."""

    site: str
    kind: str
    group: str
    name: str
    measured: float
    made: float
    inside: bool


def made_like(record: Record, known: Mapping[str, float] | None = None) -> Record:
    """Thirty generated years from a record's own normals, one after the other, as a record.

    Args: record; known, climate numbers (`air/climate.py`), none for their spreads. Returns: `Record`.
    Valid range: any record. Source: `air/generator.py`.
    """
    start = datetime(2021, 1, 1, tzinfo=record.site.zone)
    air = generate(record.site, normals_of(record), start, 365 * 24, YEARS, SEED, known)
    parts = [from_weather(air, record.name, "made", m) for m in range(YEARS)]

    def joined(name: str) -> Array:
        return np.concatenate([getattr(p, name) for p in parts])

    dates = tuple(d for p in parts for d in p.dates)
    names = ("tmax_c", "tmin_c", "sun_kwh", "rain_mm", "temp_c", "rh", "ghi_wm2", "wind_ms", "rain_hour_mm")
    # The record's own gaps laid over the generated years: a gap ends a spell in both alike.
    good = np.resize(record.good, len(dates))
    return Record(record.name, record.site, "made", dates, good, *map(joined, names))


def compare(record: Record, made: Record) -> list[Compared]:
    """Every statistic that both can give and a mark stands for."""
    measured, found = statistics(record), statistics(made)
    rows = []
    for group, marks in table("drydown.validation.skies", "marks.toml").items():
        for name, mark in marks.items():
            if name in measured and name in found:
                allowed = mark["add"] if "add" in mark else mark["share"] * abs(measured[name])
                near = abs(found[name] - measured[name]) <= allowed
                rows.append(
                    Compared(record.name, record.kind, group, name, measured[name], found[name], near)
                )
    return rows


def known_from(others: Sequence[Record]) -> dict[str, float]:
    """Climate numbers learnt from other hourly records, their mean; what none tells is left to its spread."""
    told: dict[str, list[float]] = {}
    for record in others:
        for name, found in learn_from(_good_days(record), record.site).items():
            told.setdefault(name, []).append(found.value)
    return {name: float(np.mean(values)) for name, values in told.items()}


def _good_days(record: Record) -> WholeDays:
    """The good days of a record, each with its own month."""
    if record.temp_c is None or record.rh is None or record.ghi_wm2 is None:
        raise InputError("has no hours.", record.name)
    g = record.good
    wind, rain = np.asarray(record.wind_ms), np.asarray(record.rain_hour_mm)
    clear = record.site.clear_days_wm2[record.months]
    return WholeDays(
        record.temp_c[g], record.rh[g], record.ghi_wm2[g], wind[g], rain[g], clear[g], record.months[g]
    )


def _weather(record: Record, days: NDArray[np.int64]) -> HourlyWeather:
    s = record.site
    t, rh = record.temp_c[days], np.clip(record.rh[days], 0.05, 1.0)  # type: ignore[index]
    clear = s.clear_days_wm2[record.months[days]]
    share = record.sun_kwh[days] * 1000.0 / clear.sum(axis=1)
    cloud = cloud_of_clearness(share)[:, None]
    sky = sky_longwave_wm2(t, dew_point_c(t, rh), np.arange(24.0) + 0.5, cloud, s.pressure_pa)
    first = record.dates[int(days[0])]
    columns = {
        "temp_c": t.ravel(), "rh": rh.ravel(), "ghi_wm2": record.ghi_wm2[days].ravel(),  # type: ignore[index]
        "wind_ms": record.wind_ms[days].ravel(), "rain_mm": record.rain_hour_mm[days].ravel(),  # type: ignore[index]
        "sky_wm2": np.clip(sky, 121.0, 559.0).ravel(),
    }  # fmt: skip
    return HourlyWeather.of(s, datetime(first.year, first.month, first.day, tzinfo=s.zone), columns)


def lots_under(record: Record, name: str, where: str) -> tuple[Array, Array]:
    """Typical lots under measured weather against an ensemble from the same record's normals.

    Args: record, hourly; name of the form; where, kind of place. Returns: rank of each measured lot in its
    ensemble [0 to 1], and the ensemble's middle over the measured hours.
    Valid range: stretches without a gap. Source: the drying engine, typical properties, pace 1.
    """
    load, days = LOTS[name]
    kind, spot, plain = form(name), place(where), typical_parameters(form(name))
    many = {k: np.repeat(v, LOT_MEMBERS) for k, v in plain.items()}
    normals, ranks, ratios, day = normals_of(record), [], [], 0
    while day < len(record.dates) - days:
        if not record.good[day : day + days].all():
            day += 1
            continue
        air = _weather(record, np.arange(day, day + days))
        start = air.start + timedelta(hours=8)
        args = (Routine(), kind.dry_load(load), LOT_TARGET_WB)
        real = float(dry(plain, spot, air.window(start, air.hours - 8), *args).done_h[0])
        future = generate(record.site, normals, start, (days + 15) * 24, LOT_MEMBERS, SEED + 4)
        hours = dry(many, spot, future, *args).done_h
        hours = np.where(np.isnan(hours), np.inf, hours)
        if np.isfinite(real):
            ranks.append(float((hours < real).mean() + 0.5 * (hours == real).mean()))
            ratios.append(float(np.median(hours) / real))
        day += LOT_EVERY_DAYS
    return np.array(ranks), np.array(ratios)


def summary(rows: Sequence[Compared]) -> list[str]:
    """Markdown: inside and all, by group and by kind of record."""
    kinds = [k for k in ("hourly", "daily", "typical") if any(r.kind == k for r in rows)]
    lines = ["| | " + " | ".join(kinds) + " |", "|---|" + "---|" * len(kinds)]
    groups = list(dict.fromkeys(r.group for r in rows))
    for group in [*groups, "all"]:
        cells = []
        for kind in kinds:
            mine = [r.inside for r in rows if r.kind == kind and group in {r.group, "all"}]
            cells.append(f"{sum(mine)} of {len(mine)}" if mine else "")
        lines.append(f"| {group} | " + " | ".join(cells) + " |")
    return lines
