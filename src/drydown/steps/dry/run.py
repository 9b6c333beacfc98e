"""Run a drying lot: parameters and weather in, arrays with named axes out."""

from __future__ import annotations

import os
from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from drydown.air.series import HourlyWeather
from drydown.errors import BalanceError, InputError, RangeError
from drydown.steps.dry.data import Form, Place
from drydown.steps.dry.layout import PARAMETERS, column, shell_geometry
from drydown.steps.dry.member import OUT_COLUMNS, run_member
from drydown.steps.dry.routine import Routine
from drydown.units import STEFAN_BOLTZMANN, ZERO_C_K

__all__ = ["DryingRun", "draw_parameters", "dry", "typical_parameters"]

Array = NDArray[np.float64]
STEP_TOLERANCE = 4e-3
CLOSURE = 1e-6
PRIOR_SD = 1.645
"""low and high of a range are read as P5 and P95 of a normal (of the logarithm where above 0)."""


@dataclass(frozen=True, slots=True)
class DryingRun:
    """Result of a drying run.

    `values` has axes (member, hour, column); hour 0 is the start, columns are `columns`.
    `done_h` (member) is the hour the target was met, nan where it was not.
    """

    start: datetime
    values: Array
    columns: tuple[str, ...]
    done_h: Array
    steps: int

    def column(self, name: str) -> Array:
        """One column, axes (member, hour)."""
        return np.asarray(self.values[:, :, self.columns.index(name)])

    def moisture_wb(self) -> Array:
        """Mean moisture of the lot, wet basis, axes (member, hour)."""
        x = self.column("moisture_db")
        return np.asarray(x / (1.0 + x))


def typical_parameters(form: Form) -> dict[str, Array]:
    """One member at the typical values. Returns name -> array of length 1."""
    return {k: np.array([r.typical]) for k, r in form.ranges.items()}


def draw_parameters(form: Form, members: int, seed: int) -> dict[str, Array]:
    """Draw parameters from the ranges of a form.

    Args: form; members [count]; seed. Returns: name -> (members,) in the units of the form.
    Valid range: any. Source: ranges of `forms.toml`, low and high read as P5 and P95,
    lognormal, independent; the first member is the typical one.
    """
    rng = np.random.default_rng(seed)
    drawn = {}
    for key, r in form.ranges.items():
        spread = np.log(r.high / r.low) / (2.0 * PRIOR_SD) if r.high > r.low else 0.0
        values = r.typical * np.exp(spread * rng.standard_normal(members))
        values[0] = r.typical
        drawn[key] = np.clip(values, 0.5 * r.low, 1.5 * r.high)
    drawn["x_bean"] = np.minimum(drawn["x_bean"], drawn["x_full"])
    drawn["porosity"] = np.minimum(drawn["porosity"], 0.6)
    drawn["absorptance"] = np.minimum(drawn["absorptance"], 0.97)
    return drawn


def dry(
    parameters: Mapping[str, Array],
    place: Place,
    weather: HourlyWeather,
    routine: Routine,
    load_dm_kg_m2: float,
    target_wb: float,
    start_db: float | Array | None = None,
    tolerance: float = STEP_TOLERANCE,
    threads: int | None = None,
) -> DryingRun:
    """Dry a lot on a place under hourly weather, for every member.

    Args: parameters (name -> (members,)); place; weather with 1 or as many members; routine;
    load_dm_kg_m2 [kg dry matter/m2]; target_wb [fraction]; start_db [kg/kg, one or (members,)]
    mean moisture now, None for fresh from the mill; tolerance [kg/kg] of the step; threads [count].
    Returns: `DryingRun`, axes (member, hour, column).
    Valid range: load 0.5 to 60 kg dry matter/m2; target 0.05 to 0.30 wb. Water closes to
    1e-6 of what was in the bed in every member or `BalanceError` is raised.
    Source: the equations of `kernel.py`; checks in docs/drying.md.
    """
    members = _refuse(parameters, weather, load_dm_kg_m2, target_wb)
    table = _table(parameters, place, weather.site.pressure_pa, load_dm_kg_m2, members)
    hourly = _hourly(place, weather, routine)
    raked = routine.raked(weather.local_hours())
    bean, film = _start(parameters, load_dm_kg_m2, start_db, members)
    target_db = target_wb / (1.0 - target_wb)
    volumes, factors = shell_geometry()
    values = np.zeros((members, weather.hours + 1, len(OUT_COLUMNS)))
    done, steps = np.empty(members), np.zeros(members, dtype=np.int64)

    def one(m: int) -> None:
        air = hourly[m if hourly.shape[0] > 1 else 0]
        done[m], steps[m] = run_member(
            table[m], volumes, factors, air, raked, bean[m], film[m], air[0, 0], target_db,
            tolerance, values[m],
        )  # fmt: skip

    _share_out(one, members, threads)
    _check_closure(values)
    done[done < 0] = np.nan
    return DryingRun(weather.start, values, OUT_COLUMNS, done, int(steps.sum()))


def _share_out(one: object, members: int, threads: int | None) -> None:
    """Members over threads; each member is alone, so the answer does not depend on threads."""
    count = threads or min(os.cpu_count() or 1, 8)
    assert callable(one)  # noqa: S101
    if count == 1 or members == 1:
        for m in range(members):
            one(m)
        return
    with ThreadPoolExecutor(count) as pool:
        list(pool.map(one, range(members)))


def _refuse(parameters: Mapping[str, Array], weather: HourlyWeather, load: float, target: float) -> int:
    if not 0.5 <= load <= 60.0:
        raise RangeError(f"load must be from 0.5 to 60 kg dry matter per m2, got {load:g}.")
    if not 0.05 <= target <= 0.30:
        raise RangeError(
            f"target must be from 0.05 to 0.30 wet basis, got {target:g}.",
            fix="Write 11 % as 0.11.",
        )
    members = len(next(iter(parameters.values())))
    if weather.members not in {1, members}:
        raise InputError(f"{weather.members} weathers do not fit {members} parameter sets.")
    return members


def _table(
    parameters: Mapping[str, Array], place: Place, pressure: float, load: float, members: int
) -> Array:
    fixed = {
        "film_m": 2e-5,
        "film_hold_m": 1e-4,
        "load_dm_kg_m2": load,
        "emissivity": 0.93,
        "open_below": float(place.open_below),
        "pressure_pa": pressure,
        "slab_absorptance": place.slab_absorptance,
    }
    table = np.empty((members, len(PARAMETERS)))
    for name in PARAMETERS:
        key = "x_full" if name == "x_wet" else name
        table[:, column(name)] = fixed[key] if key in fixed else parameters[key]
    return table


def _hourly(place: Place, weather: HourlyWeather, routine: Routine) -> Array:
    """Weather as the bed meets it: (members, hours, 7), see `member.read_air`."""
    hour = weather.local_hours()
    rain = np.zeros_like(weather.rain_mm) if place.keeps_rain_off else weather.rain_mm
    covered = routine.covered(hour, rain)
    light = weather.ghi_wm2 * place.light * ~routine.shaded(hour)
    body = STEFAN_BOLTZMANN * (weather.temp_c + ZERO_C_K) ** 4
    sky = place.sky_share * weather.sky_wm2 + (1.0 - place.sky_share) * body
    wind = weather.wind_ms * place.wind_share
    rows = (weather.temp_c, weather.rh, light, wind, rain, sky, covered.astype(float))
    return np.ascontiguousarray(np.stack(rows, axis=2))


def _start(
    parameters: Mapping[str, Array], load: float, start_db: float | Array | None, members: int
) -> tuple[Array, Array]:
    """Moisture inside the beans and free water on them, at the start."""
    full, bean = parameters["x_full"], parameters["x_bean"]
    total = full if start_db is None else np.broadcast_to(np.asarray(start_db, float), members)
    if not np.all((total >= 0.03) & (total <= 4.0)):
        raise RangeError(f"moisture now must be from 0.03 to 4 kg/kg dry basis, got {start_db}.")
    inside = np.minimum(total, bean)
    return inside, (total - inside) * load


def _check_closure(values: Array) -> None:
    worst = np.abs(values[:, :, OUT_COLUMNS.index("water_residual")]).max()
    if not worst <= CLOSURE:
        raise BalanceError(f"the drying run leaves {worst:.1e} of the water unaccounted.")
