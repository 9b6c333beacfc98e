"""Forecast of a drying lot: an ensemble over what is uncertain about the crop and the weather."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from drydown.air.normals import MonthNormals, generate, month_sun_kwh
from drydown.air.series import HourlyWeather, Site
from drydown.errors import InputError
from drydown.figures import Band, Figure, Source, Status
from drydown.steps.dry.data import Form, Place, form, place
from drydown.steps.dry.routine import Routine
from drydown.steps.dry.run import DryingRun, draw_parameters, dry

__all__ = ["DryingCase", "DryingForecast", "forecast"]

Array = NDArray[np.float64]
LIMIT_DAYS = {"parchment": 45, "mucilage": 60, "cherry": 75}
READING_SD_WB = 0.004
"""Spread of a moisture reading, fraction wb: about the 0.6-0.8 point error of field methods."""
PERCENTS = (10.0, 50.0, 90.0)


@dataclass(frozen=True, slots=True)
class DryingCase:
    """A lot to forecast. `moisture_wb_now` None means fresh from the mill."""

    species: str
    form: str
    place: str
    load_kg_m2: float
    target_wb: float
    start: datetime
    routine: Routine
    moisture_wb_now: float | None = None


@dataclass(frozen=True, slots=True)
class DryingForecast:
    """What comes out: figures, the curve with its band, and each member's hour of being dry."""

    case: DryingCase
    form: Form
    place: Place
    done_h: Array
    figures: dict[str, Figure]
    curve_wb: Array
    undried: float
    weather_words: str
    notes: tuple[str, ...]

    def dry_on(self) -> tuple[datetime | None, datetime | None, datetime | None]:
        """Early, middle and late moment the target is met (P10, P50, P90 of all members)."""
        found = []
        for percent in PERCENTS:
            hour = _percentile_with_never(self.done_h, percent)
            found.append(None if hour is None else self.case.start + timedelta(hours=hour))
        return found[0], found[1], found[2]

    def as_dict(self) -> dict[str, object]:
        """Plain data for `--json`, shape `drydown.dry/1` (docs/json.md)."""
        early, middle, late = (m.isoformat(timespec="minutes") if m else None for m in self.dry_on())
        case = self.case
        return {
            "shape": "drydown.dry/1",
            "species": case.species,
            "form": case.form,
            "place": case.place,
            "load_kg_m2": case.load_kg_m2,
            "target_wb": case.target_wb,
            "start": case.start.isoformat(timespec="minutes"),
            "weather": self.weather_words,
            "dry_on": {"p10": early, "p50": middle, "p90": late},
            "share_not_dry": self.undried,
            "figures": {k: f.as_dict() for k, f in self.figures.items()},
            "curve": {
                "hours": list(range(0, self.curve_wb.shape[1], 6)),
                "moisture_wb_p10": self.curve_wb[0, ::6].round(5).tolist(),
                "moisture_wb_p50": self.curve_wb[1, ::6].round(5).tolist(),
                "moisture_wb_p90": self.curve_wb[2, ::6].round(5).tolist(),
            },
            "notes": list(self.notes),
        }


def forecast(
    case: DryingCase,
    site: Site,
    weather: HourlyWeather | tuple[MonthNormals, ...],
    members: int = 100,
    seed: int = 1,
) -> DryingForecast:
    """Forecast a lot.

    Args: case; site; weather, a series (then the band holds the crop's uncertainty only) or
    twelve normals (then every member has its own generated weather); members; seed.
    Returns: `DryingForecast` with P10/P50/P90.
    Valid range: 2 to 2000 members; ranges of the drying step.
    Source: drying step; priors of forms.toml; weather generator.
    """
    if not 2 <= members <= 2000:
        raise InputError(f"members must be from 2 to 2000, got {members}.")
    kind = form(case.form, case.species)
    spot = place(case.place)
    parameters = draw_parameters(kind, members, seed)
    x_wet = kind.ranges["x_full"].typical
    load_dm = case.load_kg_m2 / (1.0 + x_wet)
    days = 20
    while True:
        air, words = _weather(case, site, weather, days * 24, members, seed)
        run = _run(case, spot, parameters, air, load_dm, seed)
        undried = float(np.isnan(run.done_h).mean())
        if undried <= 0.02 or days >= LIMIT_DAYS[case.form]:
            break
        days = min(days * 2, LIMIT_DAYS[case.form])
    notes = [*air.notes, *_sun_notes(site, weather), *([kind.note] if kind.note else [])]
    if undried > 0:
        share = "fewer than 1 %" if undried < 0.01 else f"{undried * 100:.0f} %"
        notes.append(f"{share} of the futures are not dry after {days} days")
    figures = _figures(case, kind, run, words)
    curve = np.percentile(run.moisture_wb(), PERCENTS, axis=0)
    return DryingForecast(case, kind, spot, run.done_h, figures, curve, undried, words, tuple(notes))


def _sun_notes(site: Site, weather: HourlyWeather | tuple[MonthNormals, ...]) -> list[str]:
    """Say where the sun of the normals was not measured."""
    if isinstance(weather, HourlyWeather):
        return []
    kinds = {month_sun_kwh(site, m, n)[1] for m, n in enumerate(weather, 1)} - {"measured sun"}
    return [f"sun of some months estimated from {kind}" for kind in sorted(kinds)]


def _weather(
    case: DryingCase,
    site: Site,
    weather: HourlyWeather | tuple[MonthNormals, ...],
    hours: int,
    members: int,
    seed: int,
) -> tuple[HourlyWeather, str]:
    if isinstance(weather, HourlyWeather):
        words = f"one weather series ({weather.site.name or 'file'}): band without weather"
        return weather.window(case.start, hours), words
    words = f"{members} futures generated from the station's monthly normals"
    return generate(site, weather, case.start, hours, members, seed + 1000), words


def _run(
    case: DryingCase,
    spot: Place,
    parameters: dict[str, Array],
    air: HourlyWeather,
    load_dm: float,
    seed: int,
) -> DryingRun:
    if case.moisture_wb_now is None:
        return dry(parameters, spot, air, case.routine, load_dm, case.target_wb)
    rng = np.random.default_rng(seed + 2000)
    members = len(parameters["x_full"])
    now = case.moisture_wb_now + READING_SD_WB * rng.standard_normal(members)
    now[0] = case.moisture_wb_now
    now = np.clip(now, 0.04, 0.75)
    start = now / (1.0 - now)
    return dry(parameters, spot, air, case.routine, load_dm, case.target_wb, start_db=start)


def _percentile_with_never(done_h: Array, percent: float) -> float | None:
    """Percentile over all members, those that never dry counted as last; None if it is never."""
    hours = np.where(np.isnan(done_h), np.inf, done_h)
    value = float(np.percentile(hours, percent, method="higher"))
    return value if np.isfinite(value) else None


def _figures(case: DryingCase, kind: Form, run: DryingRun, words: str) -> dict[str, Figure]:
    sources = (*kind.sources(), Source("equations in docs/drying.md", Status.DERIVED))
    inputs = {
        "form": kind.label,
        "load": f"{case.load_kg_m2:g} kg/m2 as spread",
        "target": f"{case.target_wb * 100:g} % wb",
        "weather": words,
        "members": str(run.values.shape[0]),
    }
    if case.moisture_wb_now is not None:
        inputs["moisture now"] = f"{case.moisture_wb_now * 100:.1f} % wb"
    aw = run.column("surface_aw")[:, 1:]
    hours = np.arange(1, aw.shape[1] + 1)
    drying = hours[None, :] <= np.where(np.isnan(run.done_h), np.inf, np.ceil(run.done_h))[:, None]
    window = ((aw >= 0.80) & (aw <= 0.95) & drying).sum(axis=1)
    gap = run.column("moisture_db_high") - run.column("moisture_db_low")
    last = np.where(np.isnan(run.done_h), aw.shape[1], np.ceil(run.done_h)).astype(int)
    spread = 100.0 * gap[np.arange(gap.shape[0]), np.minimum(last, aw.shape[1])]
    hot = run.column("bean_temp_high_c").max(axis=1)
    rows = {
        "dry_days": (
            run.done_h / 24.0,
            "days",
            "first moment the lot's mean moisture meets the target",
        ),
        "mould_window_h": (
            window,
            "h",
            "hours with the wettest surface at water activity 0.80 to 0.95",
        ),
        "layer_spread": (spread, "points db", "wettest less driest layer when the target is met"),
        "hottest_bean_c": (hot, "C", "hottest layer at any hour end"),
    }
    return {key: _figure(values, unit, rule, inputs, sources) for key, (values, unit, rule) in rows.items()}


def _figure(
    values: Array, unit: str, rule: str, inputs: dict[str, str], sources: tuple[Source, ...]
) -> Figure:
    """P50 with P10 and P90; members that never dry leave nan where a percentile falls on them."""
    filled = np.where(np.isnan(values), np.inf, values)
    low, middle, high = np.percentile(filled, PERCENTS, method="higher")
    out = [float(v) if np.isfinite(v) else float("nan") for v in (low, middle, high)]
    return Figure(out[1], unit, out[0], out[2], Band.P10_P90, rule, inputs, sources)
