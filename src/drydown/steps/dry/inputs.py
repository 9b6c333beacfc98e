"""What the kernel is handed: each member's parameters, and the air as a bed meets it hour by hour."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from drydown.air.moist import magnus_pa
from drydown.air.series import HourlyWeather
from drydown.steps.dry.constants import WIND_TO_BED
from drydown.steps.dry.data import Place
from drydown.steps.dry.layout import PARAMETERS, column
from drydown.steps.dry.routine import Routine
from drydown.units import STEFAN_BOLTZMANN, ZERO_C_K

__all__ = ["hourly_air", "pace_of", "parameter_table"]

Array = NDArray[np.float64]


def parameter_table(
    parameters: Mapping[str, Array], place: Place, load_dm_kg_m2: float | Array, weather: HourlyWeather,
    members: int,
    ground_c: Array | None = None,
) -> Array:  # fmt: skip
    """Each member's parameters at a place and load, axes (member, `PARAMETERS`).

    A member's pace s (`draws.py`) makes all its rates s times as quick: load and dry matter a volume over s,
    diffusivity and hull times s.
    """
    pace = pace_of(parameters, members)
    paced = {
        "dm_wet_kg_m3": 1.0 / pace,
        "dm_dry_kg_m3": 1.0 / pace,
        "d40_m2_s": pace,
        "hull_kg_m2_s_pa": pace,
    }
    fixed: dict[str, float | Array] = {
        "film_m": 2e-5,
        "film_hold_m": 1e-4,
        "load_dm_kg_m2": load_dm_kg_m2 / pace,
        "emissivity": 0.0 if (place.machine and not place.over) or place.always_covered else 0.93,
        "open_below": float(place.open_below),
        "pressure_pa": weather.site.pressure_pa,
        "slab_absorptance": place.slab_absorptance,
        "ground_c": weather.temp_c.mean(axis=1) if ground_c is None else ground_c,
        "vent_m_s": place.vent_m_s,
        "cover_w_m2k": place.cover_w_m2k,
        "floor_gain": place.floor_gain,
        "air_m_s": 0.0 if place.over else place.air_m_s,
        "air_set_c": place.air_set_c
        if place.machine and place.air_set_c > 0.0 and not place.over
        else -np.inf,
        "bean_cap_c": place.bean_cap_c,
        "recirculated": place.recirculated,
        "slab_k_w_mk": place.slab_k_w_mk,
        "slab_j_m3k": place.slab_j_m3k,
    }
    table = np.empty((members, len(PARAMETERS)))
    for name in PARAMETERS:
        key = {"x_wet": "x_full", "x_soak": "x_bean"}.get(name, name)
        table[:, column(name)] = fixed[key] if key in fixed else parameters[key] * paced.get(key, 1.0)
    return table


def _heated(place: Place, temp_c: Array, rh: Array) -> tuple[Array, Array, Array, Array]:
    """Air of a dryer that blows over its shelves: heated, its vapour kept, walls as warm as the air."""
    hot = np.maximum(temp_c, min(place.air_set_c, place.bean_cap_c) if place.air_set_c > 0.0 else temp_c)
    drier = np.clip(rh * magnus_pa(temp_c) / magnus_pa(hot), 0.0, 1.0)
    wind = np.full_like(hot, place.air_m_s / WIND_TO_BED)
    return hot, drier, wind, STEFAN_BOLTZMANN * (hot + ZERO_C_K) ** 4


def pace_of(parameters: Mapping[str, Array], members: int) -> Array:
    """Pace of each member, 1 where none was drawn."""
    return np.broadcast_to(parameters.get("pace", np.ones(1)), members)


def hourly_air(place: Place, weather: HourlyWeather, routine: Routine) -> tuple[Array, Array]:
    """Weather as the bed meets it, (members, hours, `HOURLY`), see `lanes.read_air`; and rakes (hours,)."""
    hour = weather.local_hours()
    rain = np.zeros_like(weather.rain_mm) if place.keeps_rain_off else weather.rain_mm
    if place.vent_m_s > 0.0:  # a closed tunnel is the cover; only what is said apart covers lots in it
        routine = replace(routine, cover_from=None, rain_cover_mm=None)
    covered = routine.covered(hour, rain)
    if place.always_covered or place.machine:
        covered = np.full_like(covered, place.always_covered)
    light = weather.ghi_wm2 * place.light * ~routine.shaded(hour)
    body = STEFAN_BOLTZMANN * (weather.temp_c + ZERO_C_K) ** 4
    sky = place.sky_share * weather.sky_wm2 + (1.0 - place.sky_share) * body
    wind = weather.wind_ms * place.wind_share
    heaped = covered & (not (place.always_covered or place.machine))
    hidden = np.where(heaped, 1.0 - routine.heap_share, 0.0)
    fifth = np.where(covered, hidden, rain)  # rain, or the part of its surface that a heap hides
    temp, rh = weather.temp_c, weather.rh
    if place.over:
        temp, rh, wind, sky = _heated(place, temp, rh)
    rows = (temp, rh, light, wind, fifth, sky, covered.astype(float))
    raked = np.full(hour.size, 2.0) if place.mixed_always else routine.raked(hour)
    return np.ascontiguousarray(np.stack(rows, axis=2)), raked
