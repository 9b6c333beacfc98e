"""Many lots that lie at once, each from its own hour, in weathers of their own: one day after the other.

The same kernel as `run.py`, its blocks filled with whatever lies. What a lot shares its block with depends on
the order in which lots were laid down, never on threads: the same lots give the same bytes.
"""

from __future__ import annotations

from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from drydown.air.series import HourlyWeather
from drydown.errors import InputError
from drydown.matter.sorption import OSWIN
from drydown.steps.dry.begin import start as start_of
from drydown.steps.dry.block import LEFT_OUT, run_block
from drydown.steps.dry.compiled import compiled, keep_compiled
from drydown.steps.dry.data import Place
from drydown.steps.dry.inputs import hourly_air, pace_of, parameter_table
from drydown.steps.dry.lanes import HOURLY, OUT_COLUMNS
from drydown.steps.dry.layout import LANES, PARAMETERS, column
from drydown.steps.dry.routine import Routine
from drydown.steps.dry.run import STEP_TOLERANCE, layers_of
from drydown.steps.dry.state import spread_over
from drydown.words import say

__all__ = ["SUMS", "Lying", "Sky"]

Array = NDArray[np.float64]
Index = NDArray[np.int64]
SPAN_H = 24
"""Hours that lots are carried on at a time: a lot that is dry leaves its block at the next of them."""
SUMS = ("window_h", "burner_mj_m2", "evaporated_kg_m2", "rain_held_kg_m2")
"""What is added up for each lot: hours in the mould window, heat of a burner, water off, rain held."""
_MEAN, _TEMP, _AW, _BURNER, _OFF, _RAIN = (
    OUT_COLUMNS.index(c)
    for c in ("moisture_db", "bean_temp_c", "surface_aw", "burner_mj_m2", "evaporated_kg_m2",
              "rain_held_kg_m2")
)  # fmt: skip
_ISO, _COLUMNS, _HOURLY = column("isotherm_scale"), len(OUT_COLUMNS), len(HOURLY)
_A, _B, _C = OSWIN.a, OSWIN.b, OSWIN.c


@compiled
def _window(row: Array, scale: float, low: float, high: float) -> bool:
    """Whether the wettest surface, or the bean in the mean, stands in the mould window at an hour's end."""
    odds = (max(row[_MEAN], 0.01) * 100.0 / ((_A + _B * row[_TEMP]) * scale)) ** _C
    inner = odds / (1.0 + odds)
    return bool(low <= row[_AW] <= high or low <= inner <= high)


@compiled
def _carry_on(
    first: int, last: int, chosen: Index, table: Array, state: Array, kind: Index, season: Index, at: Index,
    hourly: Array, raked: Array, target: float, tol: float, layers: int, span: int, low: float, high: float,
    done: Array, sums: Array,
) -> int:  # fmt: skip
    """Carry blocks first to last of the chosen lots on by `span` hours; done [h from its start] and sums."""
    count, rows, parameters = chosen.shape[0], state.shape[1], table.shape[1]
    hours = hourly.shape[2]
    own, begin = np.empty((parameters, LANES)), np.empty((rows, LANES))
    air, turned = np.empty((span + 1, _HOURLY, LANES)), np.empty((span, LANES))
    out, ready = np.empty((LANES, span + 1, _COLUMNS)), np.empty(LANES)
    taken = 0
    for block in range(first, last):
        for lane in range(LANES):
            i = chosen[min(block * LANES + lane, count - 1)]
            own[:, lane] = table[i]
            begin[:, lane] = state[i]
            for h in range(span + 1):
                hour = min(max(at[i] - 1 + h, 0), hours - 1)
                for c in range(_HOURLY):
                    air[h, c, lane] = hourly[kind[i], season[i], hour, c]
                if h > 0:
                    turned[h - 1, lane] = raked[kind[i], hour]
        out[:] = 0.0
        taken += run_block(own, air, turned, begin, target, tol, layers, out, ready)
        for lane in range(LANES):
            if block * LANES + lane >= count:
                continue
            i = chosen[block * LANES + lane]
            state[i] = begin[:, lane]
            done[i] = ready[lane]
            until = int(np.ceil(ready[lane])) if ready[lane] >= 0.0 else span
            for h in range(1, until + 1):
                if _window(out[lane, h], own[_ISO, lane], low, high):
                    sums[i, 0] += 1.0
            sums[i, 1] += out[lane, span, _BURNER]
            sums[i, 2] += out[lane, span, _OFF]
            sums[i, 3] += out[lane, span, _RAIN]
    return taken


@dataclass(frozen=True, slots=True)
class Sky:
    """Air as lots meet it at places: (place and routine, season, hour, `HOURLY`), rakes (place, hour)."""

    hourly: Array
    raked: Array
    air_c: Array
    ground_c: Array

    @classmethod
    def over(cls, weather: HourlyWeather, kinds: list[tuple[Place, Routine]]) -> Sky:
        """The air of each place under each routine, of every season of the weather."""
        made = [hourly_air(place, weather, routine) for place, routine in kinds]
        return cls(
            np.ascontiguousarray(np.stack([m[0] for m in made])), np.stack([m[1] for m in made]),
            weather.temp_c, weather.temp_c.mean(axis=1),
        )  # fmt: skip


@dataclass(slots=True)
class Lying:
    """Lots of one target and number of layers that lie on places, and how far each is.

    weather, of every season (member, hour); sky, the air of it at the places; target_wb [fraction]; layers;
    window, water activities of the mould window. Lots are known by the number they got when laid down.
    """

    weather: HourlyWeather
    sky: Sky
    target_wb: float
    layers: int
    window: tuple[float, float]
    table: Array = field(default_factory=lambda: np.empty((0, len(PARAMETERS))))
    state: Array = field(default_factory=lambda: np.empty((0, 0)))
    kind: Index = field(default_factory=lambda: np.empty(0, np.int64))
    season: Index = field(default_factory=lambda: np.empty(0, np.int64))
    begun: Index = field(default_factory=lambda: np.empty(0, np.int64))
    at: Index = field(default_factory=lambda: np.empty(0, np.int64))
    done_h: Array = field(default_factory=lambda: np.empty(0))
    sums: Array = field(default_factory=lambda: np.empty((0, len(SUMS))))
    pace: Array = field(default_factory=lambda: np.empty(0))
    hours_run: int = 0

    def lay(
        self, parameters: Mapping[str, Array], place: Place, kind: int, load_dm_kg_m2: Array,
        season: Index, hour: Index,
    ) -> Index:  # fmt: skip
        """Lay lots down, fresh from the mill.

        Args: parameters, name -> (lot,); place; kind, its row of the sky; load_dm_kg_m2 (lot,) [kg dry
        matter/m2];
        season and hour (lot,) [h from the weather's start]. Returns: their numbers. Valid range: as
        `run.dry`.
        Source: as `run.dry`.
        """
        if layers_of(place) != self.layers:
            raise InputError(say("'{p}' has another number of layers.", p=place.name), "drying place")
        count = season.size
        ground = self.sky.ground_c[season]
        table = parameter_table(parameters, place, load_dm_kg_m2, self.weather, count, ground)
        pace = pace_of(parameters, count).copy()
        wet = start_of(parameters, load_dm_kg_m2 / pace, None, count)
        air_c = self.sky.air_c[season, hour]
        rows = spread_over(np.hstack([wet, air_c[:, None], air_c[:, None]]), self.layers)
        first = self.kind.size
        self.table = np.vstack([self.table, table])
        self.state = np.vstack([self.state, rows]) if self.state.size else rows
        self.kind = np.concatenate([self.kind, np.full(count, kind, np.int64)])
        self.season, self.begun = np.concatenate([self.season, season]), np.concatenate([self.begun, hour])
        self.at = np.concatenate([self.at, hour])
        self.done_h = np.concatenate([self.done_h, np.full(count, np.nan)])
        self.sums = np.vstack([self.sums, np.zeros((count, len(SUMS)))])
        self.pace = np.concatenate([self.pace, pace])
        return np.arange(first, first + count)

    def carry_on(self, until: int, threads: int = 1) -> Index:
        """Carry all lots on that are not dry and not so far yet, a day at a time.

        Args: until [h from the weather's start]; threads. Returns: numbers of lots that became dry (or could
        not be followed: done_h minus one), in order. Valid range: any hour of the weather. Source: as
        `run.dry`.
        """
        keep_compiled()
        found = []
        last = min(until, self.weather.hours)
        while True:
            chosen = np.flatnonzero(np.isnan(self.done_h) & (self.at < last))
            if not chosen.size:
                break
            found.append(self._a_day(chosen, threads))
        return np.sort(np.concatenate(found)) if found else np.empty(0, np.int64)

    def _a_day(self, chosen: Index, threads: int) -> Index:
        blocks = (chosen.size + LANES - 1) // LANES
        done = np.full(self.kind.size, np.nan)
        share = np.linspace(0, blocks, min(threads, blocks) + 1).astype(int)

        def part(k: int) -> int:
            return int(_carry_on(
                share[k], share[k + 1], chosen, self.table, self.state, self.kind, self.season, self.at,
                self.sky.hourly, self.sky.raked, self.target_wb / (1.0 - self.target_wb), STEP_TOLERANCE,
                self.layers, SPAN_H, *self.window, done, self.sums,
            ))  # fmt: skip

        if share.size == 2:
            part(0)
        else:
            with ThreadPoolExecutor(share.size - 1) as pool:
                list(pool.map(part, range(share.size - 1)))
        told = done[chosen]
        over = chosen[~np.isnan(told)]
        since = (self.at[over] - self.begun[over]).astype(float)
        self.done_h[over] = np.where(done[over] >= 0.0, since + done[over], LEFT_OUT)
        self.at[chosen] += SPAN_H
        self.hours_run += SPAN_H * chosen.size
        return np.asarray(over)
