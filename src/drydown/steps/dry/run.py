"""Run a drying lot: parameters and weather in, arrays with named axes out."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from drydown.air.series import HourlyWeather
from drydown.errors import BalanceError, InputError, RangeError
from drydown.steps.dry.begin import Joined, join
from drydown.steps.dry.begin import start as start_of
from drydown.steps.dry.block import run_block
from drydown.steps.dry.bounds import MOST_LEFT_OUT, Bounds, met_by
from drydown.steps.dry.compiled import keep_compiled
from drydown.steps.dry.data import Place
from drydown.steps.dry.inputs import hourly_air, pace_of, parameter_table
from drydown.steps.dry.lanes import OUT_COLUMNS
from drydown.steps.dry.layout import (
    BED_LAYERS,
    LANES,
    MACHINE_LAYERS,
    SHELLS,
)
from drydown.steps.dry.routine import Routine
from drydown.steps.dry.state import DryState, mixed, spread_over
from drydown.words import say

__all__ = ["DryStage", "DryingRun", "Joined", "dry", "dry_stages"]

Array = NDArray[np.float64]
STEP_TOLERANCE = 4e-3
CLOSURE = 1e-6
SUMS = [OUT_COLUMNS.index(c) for c in ("evaporated_kg_m2", "rain_held_kg_m2", "burner_mj_m2")]
PACED = [OUT_COLUMNS.index(c) for c in ("evaporated_kg_m2", "rain_held_kg_m2", "free_water_kg_m2")]
"""Columns per m2 of a member whose load the kernel was handed divided by its pace."""


@dataclass(frozen=True, slots=True)
class DryingRun:
    """Result of a drying run.

    `values` has axes (member, hour, column); hour 0 is the start, columns are `columns`.
    `done_h` (member) is the hour the target was met, nan where it was not; `end` carries the run on.
    Members that could not be followed or broke a bound (`bounds.py`) are nan in all and `left_out`.
    """

    start: datetime
    values: Array
    columns: tuple[str, ...]
    done_h: Array
    steps: int
    end: DryState | None = None
    left_out: NDArray[np.bool_] | None = None

    def sound(self) -> tuple[DryingRun, NDArray[np.int64]]:
        """The run without members left out, and which members those are that stayed."""
        out = np.zeros(len(self.done_h), dtype=bool) if self.left_out is None else self.left_out
        kept = np.flatnonzero(~out)
        return replace(self, values=self.values[kept], done_h=self.done_h[kept], left_out=None), kept

    def column(self, name: str) -> Array:
        """One column, axes (member, hour)."""
        return np.asarray(self.values[:, :, self.columns.index(name)])

    def moisture_wb(self) -> Array:
        """Mean moisture of the lot, wet basis, axes (member, hour)."""
        x = self.column("moisture_db")
        return np.asarray(x / (1.0 + x))


@dataclass(frozen=True, slots=True)
class DryStage:
    """One stay at one place: until the moisture is met, or for some hours, whichever is first.

    load_dm_kg_m2 [kg dry matter/m2]; until_wb [fraction]; hours [h], None without limit;
    joined, another lot put on the same bed as the stay begins.
    """

    place: Place
    routine: Routine
    load_dm_kg_m2: float
    until_wb: float
    hours: int | None = None
    joined: Joined | None = None

    def __post_init__(self) -> None:
        deep = (self.place.machine and not self.place.over) or self.place.always_covered
        most = 400.0 if deep else 60.0
        if not 0.5 <= self.load_dm_kg_m2 <= most:
            raise RangeError(
                say(
                    "load must be from 0.5 to {most:g} kg dry matter per m2 here, got {load_dm_kg_m2:g}.",
                    most=most,
                    load_dm_kg_m2=self.load_dm_kg_m2,
                ),
                self.place.name,
            )
        if not 0.05 <= self.until_wb <= 0.60:
            raise RangeError(
                say("target must be from 0.05 to 0.60 wet basis, got {until_wb:g}.", until_wb=self.until_wb),
                fix="Write 11 % as 0.11.",
            )
        if self.hours is not None and not 1 <= self.hours <= 9000:
            raise RangeError(
                say("hours must be from 1 to 9000, got {hours}.", hours=self.hours), self.place.name
            )


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
    """Dry a lot on one place under hourly weather, for every member.

    Args: parameters (name -> (members,)); place; weather with 1 or as many members; routine;
    load_dm_kg_m2 [kg dry matter/m2]; target_wb [fraction]; start_db [kg/kg, one or (members,)]
    mean moisture now, None for fresh from the mill; tolerance [kg/kg] of the step; threads
    [count]. Returns: `DryingRun`, axes (member, hour, column).
    Valid range: load 0.5 to 60 kg dry matter/m2 (400 in a machine); target 0.05 to 0.60 wb.
    Water and heat close to 1e-6 in every member or `BalanceError` is raised. Members with an impossible
    answer are left out; above one in twenty `RangeError` is raised.
    Source: the equations of `kernel.py`; checks in docs/drying.md.

    >>> from datetime import datetime, timezone
    >>> from drydown.air.series import Site
    >>> from drydown.steps.dry.data import form, place
    >>> from drydown.steps.dry.draws import typical_parameters
    >>> hours = {"temp_c": [20.0] * 48, "rh": [0.6] * 48, "ghi_wm2": [400.0] * 48, "wind_ms": [1.0] * 48}
    >>> hours |= {"rain_mm": [0.0] * 48, "sky_wm2": [330.0] * 48}
    >>> here = Site(-3.4, 45.0, 1690.0, 3.0)
    >>> air = HourlyWeather.of(here, datetime(2026, 5, 4, tzinfo=timezone.utc), hours)
    >>> run = dry(typical_parameters(form("parchment")), place("raised_bed"), air, Routine(), 5.6, 0.11)
    >>> run.values.shape == (1, 49, len(run.columns))
    True
    """
    stage = DryStage(place, routine, load_dm_kg_m2, target_wb)
    return dry_stages(parameters, [stage], weather, start_db, tolerance, threads)


def dry_stages(
    parameters: Mapping[str, Array],
    stages: Sequence[DryStage],
    weather: HourlyWeather,
    start_db: float | Array | None = None,
    tolerance: float = STEP_TOLERANCE,
    threads: int | None = None,
    begin: DryState | None = None,
    ground_c: float | None = None,
    bounded: bool = True,
) -> DryingRun:
    """Dry a lot through several places in turn; moving mixes the layers.

    Args: as `dry`, with stages in order. Each member moves on when its own stage is over. begin, the
    `end` of an earlier run, carries that run on: layer by layer where place and load are the same,
    mixed where they are not; instead of start_db. ground_c [C] half a metre below a floor; without it the
    mean of the weather given (or of the run that is carried on); bounded False for a run that is a step on
    the way to another and shown to nobody: then only members that cannot be followed are left out.
    Returns: `DryingRun`; done_h is when the last stage met its moisture; `end` carries it on.
    Valid range: as `dry`. Source: as `dry`.

    >>> from datetime import datetime, timezone
    >>> from drydown.air.series import Site
    >>> from drydown.steps.dry.data import form, place
    >>> from drydown.steps.dry.draws import typical_parameters
    >>> hours = {"temp_c": [20.0] * 24, "rh": [0.6] * 24, "ghi_wm2": [400.0] * 24, "wind_ms": [1.0] * 24}
    >>> hours |= {"rain_mm": [0.0] * 24, "sky_wm2": [330.0] * 24}
    >>> here = Site(-3.4, 45.0, 1690.0, 3.0)
    >>> air = HourlyWeather.of(here, datetime(2026, 5, 4, tzinfo=timezone.utc), hours)
    >>> stage = DryStage(place("raised_bed"), Routine(), 5.6, 0.11)
    >>> run = dry_stages(typical_parameters(form("parchment")), [stage], air)
    >>> bool(abs(run.end.moisture_wb()[0] - run.moisture_wb()[0, -1]) < 1e-12)
    True
    """
    if not stages:
        raise InputError("at least one stage is needed.")
    keep_compiled()
    members = _refuse(parameters, weather)
    hours = weather.hours
    values = np.zeros((members, hours + 1, len(OUT_COLUMNS)))
    offset, steps = np.zeros(members, dtype=np.int64), 0
    done, state = np.full(members, np.nan), begin
    if begin is not None and (start_db is not None or begin.rows.shape[0] != members):
        raise InputError("carry on with the same members, without a moisture of its own.", "drying run")
    ground = _ground(weather, begin, ground_c, members)
    pace, bounds = pace_of(parameters, members), None
    load = stages[0].load_dm_kg_m2 / pace
    fresh = start_of(parameters, load, start_db, members) if begin is None else None
    for number, stage in enumerate(stages):
        ratio = stage.load_dm_kg_m2 / stages[max(number - 1, 0)].load_dm_kg_m2
        going_on = number == 0 and state is not None
        rows = _rows(fresh, state, stage, parameters, _air_c(weather, offset), going_on)
        air = state.air if going_on and state is not None and state.place == stage.place else None
        table = parameter_table(parameters, stage.place, stage.load_dm_kg_m2, weather, members, ground)
        hourly, raked = hourly_air(stage.place, weather, stage.routine)
        met, tried = _stage(
            table, pace, stage, hourly, raked, rows, offset, values, ratio, tolerance, threads, air
        )
        steps += tried
        if bounded:
            bounds = met_by(stage.place, table, hourly).widened(bounds)
        spent = np.where(met >= 0, np.ceil(met), stage.hours or hours).astype(np.int64)
        over = np.where(met >= 0, offset + met, np.nan)
        done = over if number == len(stages) - 1 else done
        offset = np.minimum(offset + spent, hours)
        state = DryState(
            rows, layers_of(stage.place), stage.place, stage.load_dm_kg_m2, offset.copy(), ground,
            _last_air(hourly, offset), pace,
        )  # fmt: skip
    out = _left_out(values, bounds, parameters) if bounded else np.asarray(np.isnan(values).any(axis=(1, 2)))
    values[out], done[out] = np.nan, np.nan
    return DryingRun(weather.start, values, OUT_COLUMNS, done, steps, state, out if out.any() else None)


def _ground(weather: HourlyWeather, begin: DryState | None, said: float | None, members: int) -> Array:
    """Ground temperature of each member: as said, as in the run before, else the mean of the weather."""
    if said is not None:
        return np.full(members, said)
    return np.broadcast_to(weather.temp_c.mean(axis=1), members) if begin is None else begin.ground_c


def _last_air(hourly: Array, offset: NDArray[np.int64]) -> Array:
    """The air of each member's last hour at its place, (member, `HOURLY`)."""
    source = np.arange(offset.size) if hourly.shape[0] > 1 else np.zeros(offset.size, dtype=int)
    return np.asarray(hourly[source, np.maximum(offset - 1, 0)])


def layers_of(place: Place) -> int:
    """Layers that a lot has at a place.

    Args: place. Returns: [count]. Valid range: any place. Source: own choice, docs/drying.md.

    >>> from drydown.steps.dry.data import place
    >>> layers_of(place("raised_bed")), layers_of(place("static_bin"))
    (4, 10)
    """
    return MACHINE_LAYERS if place.machine and not (place.mixed_always or place.over) else BED_LAYERS


def _rows(
    fresh: Array | None, state: DryState | None, stage: DryStage, parameters: Mapping[str, Array],
    air_c: Array, going_on: bool,
) -> Array:  # fmt: skip
    """The state a stage begins with: as it was where the lot stays, mixed where it moves."""
    layers = layers_of(stage.place)
    if state is None:
        mean = np.hstack([fresh, air_c[:, None], air_c[:, None]]) if fresh is not None else np.empty(0)
    else:
        same = state.place == stage.place and state.load_dm_kg_m2 == stage.load_dm_kg_m2
        if going_on and same and stage.joined is None:
            return state.rows.copy()
        mean = mixed(state.rows, state.layers)
        mean[:, SHELLS + 1] *= stage.load_dm_kg_m2 / state.load_dm_kg_m2  # per m2 of the new place
        if state.place != stage.place:
            mean[:, SHELLS + 3] = air_c  # a floor that the lot has not warmed
    if stage.joined is not None:
        join(mean, stage.joined, parameters["x_bean"], air_c)
    return spread_over(mean, layers)


def _air_c(weather: HourlyWeather, offset: NDArray[np.int64]) -> Array:
    """The air's temperature in each member's hour."""
    rows = np.arange(len(offset)) if weather.members > 1 else np.zeros(len(offset), dtype=int)
    return np.asarray(weather.temp_c[rows, np.minimum(offset, weather.hours - 1)])


def _stage(
    table: Array,
    pace: Array,
    stage: DryStage,
    hourly: Array,
    raked: Array,
    begin: Array,
    offset: NDArray[np.int64],
    values: Array,
    ratio: float,
    tolerance: float,
    threads: int | None,
    last_air: Array | None,
) -> tuple[Array, int]:
    """Run one stage of every member from its own hour; fill `values` from there on.

    `ratio` carries sums per m2 of the place before over to m2 of this one; last_air (member, `HOURLY`) is
    the hour before the first of `hourly`, where a run is carried on at its place.
    """
    members, hours = values.shape[0], hourly.shape[1]
    layers = layers_of(stage.place)
    before = np.take_along_axis(values, offset[:, None, None], axis=1)[:, 0, :].copy()
    met = np.full(members, np.nan)
    span = min(stage.hours or hours, hours - int(offset.min()))
    if span <= 0:
        return met, 0

    def one(first: int) -> int:
        lanes = np.minimum(np.arange(first, first + LANES), members - 1)
        index = np.clip(offset[lanes][:, None] + np.arange(-1, span), 0, hours - 1)
        source = lanes if hourly.shape[0] > 1 else np.zeros(LANES, dtype=int)
        air = np.ascontiguousarray(hourly[source[:, None], index].transpose(1, 2, 0))
        if last_air is not None:
            air[0] = last_air[lanes].T
        out = np.zeros((LANES, span + 1, len(OUT_COLUMNS)))
        ready, state = np.empty(LANES), np.ascontiguousarray(begin[lanes].T)
        steps = run_block(
            np.ascontiguousarray(table[lanes].T), air, np.ascontiguousarray(raked[index[:, 1:]].T), state,
            stage.until_wb / (1.0 - stage.until_wb), tolerance, layers, out, ready,
        )  # fmt: skip
        for lane in range(min(LANES, members - first)):
            m = first + lane
            left = min(span, hours - offset[m])
            out[lane][:, PACED] *= pace[m]
            out[lane, :, SUMS] += ratio * before[m, SUMS][:, None]
            values[m, offset[m] : offset[m] + left + 1] = out[lane, : left + 1]
            values[m, offset[m] + left + 1 :] = out[lane, left]
            met[m] = ready[lane] if 0.0 <= ready[lane] <= left else np.nan
            begin[m] = state[:, lane]
        return int(steps)

    return met, sum(_share_out(one, range(0, members, LANES), threads))


def _share_out(one: Callable[[int], int], firsts: range, threads: int | None) -> list[int]:
    """Blocks over threads; each block is alone, so the answer does not depend on threads."""
    count = threads or min(os.cpu_count() or 1, 8)
    if count == 1 or len(firsts) == 1:
        return [one(first) for first in firsts]
    with ThreadPoolExecutor(count) as pool:
        return list(pool.map(one, firsts))


def _refuse(parameters: Mapping[str, Array], weather: HourlyWeather) -> int:
    members = len(next(iter(parameters.values())))
    if weather.members not in {1, members}:
        raise InputError(
            say(
                "{members} weathers do not fit {members_2} parameter sets.",
                members=weather.members,
                members_2=members,
            )
        )
    return members


def _left_out(values: Array, bounds: Bounds | None, parameters: Mapping[str, Array]) -> NDArray[np.bool_]:
    """Members with an impossible answer, (member,); too many are no answer, open balances an error."""
    isotherm = np.broadcast_to(parameters["isotherm_scale"], values.shape[0])
    out = np.zeros(values.shape[0], bool) if bounds is None else bounds.broken(values, isotherm)
    if out.mean() > MOST_LEFT_OUT:
        raise RangeError(
            "cannot be followed: the air is too hot or too strong for so thin a load.",
            "drying run",
            "Load more, blow less, or set the air cooler.",
        )
    for what in ("water", "heat"):
        worst = np.abs(values[~out, :, OUT_COLUMNS.index(f"{what}_residual")]).max()
        if not worst <= CLOSURE:
            raise BalanceError(
                say("the drying run leaves {worst:.1e} of the {what} unaccounted.", worst=worst, what=what)
            )
    return out
