"""One published result run again: the same load and air, many members."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from drydown.air.generator import generate
from drydown.air.moist import rh_from_vapour_pressure
from drydown.air.series import HourlyWeather, Site
from drydown.outlook.dryfigures import sun_hours
from drydown.steps.dry.data import Form, form
from drydown.steps.dry.draws import draw_parameters
from drydown.steps.dry.routine import Routine
from drydown.steps.dry.run import DryStage, dry_stages
from drydown.units import STEFAN_BOLTZMANN, ZERO_C_K
from drydown.validation.cases import Case, CaseSite

__all__ = ["hours_of", "with_start"]

Array = NDArray[np.float64]
SEED = 17
INDOORS = Site(0.0, 0.0, 1000.0, 0.0, "indoors")
COLLECTOR_VAPOUR_PA, NIGHT_C = 2000.0, 22.0
BEGIN_HOUR = 8
MOST_DAYS = {"cherry": 75, "mucilage": 60, "parchment": 45, "green": 30}


def hours_of(case: Case, members: int, parameters: Mapping[str, Array] | None = None) -> Array:
    """Hours (or their ratio) that the forecast gives for a case, (member,), nan where never dry.

    Args: case; members [count]; parameters, drawn from the shipped form if not given. Returns: [h].
    Valid range: any case. Source: `steps/dry`.
    """
    kind = form(case.form, case.species)
    drawn = dict(parameters) if parameters is not None else draw_parameters(kind, members, SEED)
    if not case.ratio:
        return _hours(case, kind, drawn, members)
    other = replace(case, where=case.where.set_to(air_m_s=case.air_m_s_other), air_m_s_other=None)
    here = replace(case, air_m_s_other=None)
    return _hours(here, kind, drawn, members) / _hours(other, kind, drawn, members)


def _hours(case: Case, kind: Form, drawn: dict[str, Array], members: int) -> Array:
    drawn, start_db = with_start(case, drawn)
    stage = DryStage(case.where, Routine(), case.load_kg_m2 / (1.0 + _fresh_db(case, kind)), case.target_wb)
    days = 10 if case.where.machine else 20
    while True:
        air = _air(case, days * 24, members)
        run = dry_stages(drawn, [stage], air, start_db)
        if not np.isnan(run.done_h).any() or days >= MOST_DAYS[case.form]:
            return run.done_h if case.unit != "sun_h" else sun_hours(air.ghi_wm2, run.done_h)
        days = min(2 * days, MOST_DAYS[case.form])


def _fresh_db(case: Case, kind: Form) -> float:
    """Moisture that a load as spread is counted at."""
    if case.start_wb is None:
        return kind.ranges["x_full"].typical
    return case.start_wb / (1.0 - case.start_wb)


def with_start(case: Case, drawn: Mapping[str, Array]) -> tuple[dict[str, Array], Array | None]:
    """Members that begin at the moisture of the case: fresh ones even inside, the rest with a profile."""
    drawn = dict(drawn)
    if case.start_wb is None:
        return drawn, None
    start = np.full_like(drawn["x_full"], case.start_wb / (1.0 - case.start_wb))
    if case.part_dried:
        drawn["x_full"] = np.maximum(drawn["x_full"], start)
        return drawn, start
    drawn["x_bean"] = np.minimum(drawn["x_bean"] * np.minimum(start / drawn["x_full"], 1.0), start)
    drawn["x_full"] = start
    return drawn, None


def _air(case: Case, hours: int, members: int) -> HourlyWeather:
    if case.site is not None:
        return _season(case.site, hours, members)
    if case.collector_c is not None:
        return _collector(case.collector_c, hours)
    out = case.outside
    temp = np.full(hours, out.get("outside_c", 25.0))
    rh = np.full(hours, out.get("outside_rh", 0.70))
    site = replace(INDOORS, elevation_m=out.get("elevation_m", 1000.0))
    return _still(site, temp, rh, 0.0)


@lru_cache(maxsize=256)
def _season(at: CaseSite, hours: int, members: int) -> HourlyWeather:
    start = datetime(2025, at.month, 5, BEGIN_HOUR, tzinfo=at.site.zone)
    return generate(at.site, (at.normals,) * 12, start, hours, members, SEED + 1000)


def _collector(warmest_c: float, hours: int) -> HourlyWeather:
    """Air of a solar collector: a half sine by day up to its warmest, no sun on the lot, nights outside."""
    hour = (np.arange(hours) + BEGIN_HOUR + 0.5) % 24
    day = np.clip(np.sin(np.pi * (hour - 7.0) / 11.0), 0.0, None) * ((hour > 7) & (hour < 18))
    temp = NIGHT_C + (warmest_c - NIGHT_C) * day
    rh = np.clip(rh_from_vapour_pressure(temp, np.full(hours, COLLECTOR_VAPOUR_PA)), 0.05, 0.98)
    return _still(INDOORS, temp, rh, 1.0)


def _still(site: Site, temp: Array, rh: Array, wind: float) -> HourlyWeather:
    zero = np.zeros_like(temp)
    columns = {
        "temp_c": temp, "rh": rh, "ghi_wm2": zero, "wind_ms": zero + wind, "rain_mm": zero,
        "sky_wm2": np.minimum(STEFAN_BOLTZMANN * (temp + ZERO_C_K) ** 4, 560.0),
    }  # fmt: skip
    return HourlyWeather.of(site, datetime(2025, 6, 5, BEGIN_HOUR, tzinfo=site.zone), columns)
