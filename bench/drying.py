"""Drying kernel against LSODA (scipy) and CVODE (scikit-sundae) on the same rates.

Prints error against a tight reference, member-hours per second, and cpu over wall beside
each parallel rate (a rate that ran on one core shows 1).
"""

from __future__ import annotations

import os
import resource
import time
from collections.abc import Callable
from functools import partial
from typing import Any

import numpy as np
from tests.dry.cases import fair_weather, one_member
from tests.dry.reference import integrate

from bench import c_twin
from drydown.steps.dry.begin import start as start_of
from drydown.steps.dry.block import run_block
from drydown.steps.dry.data import form, place
from drydown.steps.dry.draws import draw_parameters, typical_parameters
from drydown.steps.dry.inputs import hourly_air, parameter_table
from drydown.steps.dry.lanes import OUT_COLUMNS
from drydown.steps.dry.layout import BED_LAYERS, LANES
from drydown.steps.dry.routine import Routine
from drydown.steps.dry.run import dry
from drydown.steps.dry.state import spread_over

__all__ = ["main"]

OneMember = tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]
DAYS, LOAD = 10, 12 / 2.13


def main() -> None:
    """Run all parts."""
    best = equal_error()
    parallel(best)
    against_c()
    season()


def equal_error() -> float:
    """One member, one thread: error and speed of each solver; returns LSODA's rate."""
    weather, routine, where = fair_weather(DAYS), Routine(), place("raised_bed")
    parameters = typical_parameters(form("parchment"))
    args = one_member(parameters, where, weather, routine, LOAD)
    hours = weather.hours
    exact = integrate(*args, 1e-9, "LSODA")[0]
    print(f"one member, one thread, {DAYS} days of washed parchment; error in points wb")
    slow = 1.0
    for solver, rtol in (
        ("LSODA", 1e-2),
        ("LSODA", 3e-3),
        ("LSODA", 1e-3),
        ("CVODE", 1e-2),
        ("CVODE", 3e-3),
        ("CVODE", 1e-3),
    ):
        curve, seconds = _timed(partial(_curve, args, rtol, solver), 1)
        rate = hours / seconds
        slow = rate if (solver, rtol) == ("LSODA", 1e-3) else slow
        print(f"  {solver} rtol {rtol:g}: error {_points(curve, exact):.4f}, {rate:,.0f} member-h/s")
    for tolerance in (2e-3, 4e-3, 8e-3, 1.6e-2, 3.2e-2):
        run, seconds = _timed(
            partial(dry, parameters, where, weather, routine, LOAD, 0.05, None, tolerance, 1), 5
        )
        rate = hours / seconds
        error = _points(run.column("moisture_db")[0], exact)
        print(
            f"  Drydown tolerance {tolerance:g}: error {error:.4f}, {rate:,.0f} member-h/s, "
            f"{rate / slow:.0f} x LSODA at 1e-3, {run.steps / hours:.1f} steps an hour"
        )
    return slow


def parallel(slow: float) -> None:
    """Many members on one and two threads."""
    weather, where = fair_weather(14), place("raised_bed")
    drawn = draw_parameters(form("parchment"), 600, 1)
    print("600 members, 14 days, shipped tolerance")
    for threads in (1, 2):
        cpu = time.process_time()
        run, seconds = _timed(partial(dry, drawn, where, weather, Routine(), LOAD, 0.05, threads=threads), 1)
        busy = (time.process_time() - cpu) / 2 / seconds
        rate = run.values.shape[0] * weather.hours / seconds
        print(f"  {threads} threads: {rate:,.0f} member-h/s ({rate / slow:.0f} x LSODA), cpu/wall {busy:.2f}")


def against_c() -> None:
    """The same algorithm, translated to C at -O3, on the same blocks and one thread."""
    run = c_twin.build()
    if run is None:
        print("no C compiler here: the C twin was not measured")
        return
    blocks, hours = _blocks(40)
    raked, tolerance, target = blocks[0][2], 4e-3, 0.05 / 0.95

    def compiled() -> np.ndarray:
        made = []
        for table, hourly, _raked, start in blocks:
            out, done = np.zeros((LANES, hours + 1, len(OUT_COLUMNS))), np.zeros(LANES)
            run_block(table, hourly, raked, start.copy(), target, tolerance, BED_LAYERS, out, done)
            made.append(out[:, 1:, 0].T)
        return np.array(made)

    def translated() -> np.ndarray:
        return np.array([c_twin.run_members(run, t, h, raked, s.copy(), tolerance) for t, h, _r, s in blocks])

    ours, theirs = compiled(), translated()
    apart = 100.0 * np.abs(ours / (1 + ours) - theirs / (1 + theirs)).max()
    seconds = {"numba": _timed(compiled, 3)[1], "C": _timed(translated, 3)[1]}
    rate = {name: len(blocks) * LANES * hours / s for name, s in seconds.items()}
    print(
        f"same algorithm in C (-O3, blocks of {LANES}), one thread: C {rate['C']:,.0f} member-h/s, numba "
        f"{rate['numba']:,.0f}, ratio {rate['numba'] / rate['C']:.2f}; largest difference {apart:.1e} points"
    )


def _blocks(count: int) -> tuple[list[tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]], int]:
    """Blocks of members with drawn properties in one weather."""
    weather, where, routine = fair_weather(14), place("raised_bed"), Routine()
    made = []
    for seed in range(count):
        drawn = draw_parameters(form("parchment"), LANES, seed)
        table = parameter_table(drawn, where, LOAD, weather, LANES).T
        hourly, raked = hourly_air(where, weather, routine)
        air_c = np.repeat(weather.temp_c[:, :1], LANES, axis=0)
        start = spread_over(np.hstack([start_of(drawn, LOAD, None, LANES), air_c, air_c]), BED_LAYERS).T
        air = np.repeat(np.vstack([hourly[0][:1], hourly[0]])[:, :, None], LANES, axis=2)
        lanes = np.repeat(raked[:, None], LANES, axis=1)
        made.append(tuple(np.ascontiguousarray(a) for a in (table, air, lanes, start)))
    return made, weather.hours  # type: ignore[return-value]


def season() -> None:
    """60 lots x 300 members x 14 days, the size of a busy station's forecast."""
    weather, where = fair_weather(14), place("raised_bed")
    drawn = draw_parameters(form("parchment"), 300, 1)
    started = time.perf_counter()
    for _ in range(60):
        dry(drawn, where, weather, Routine(), LOAD, 0.05)
    seconds = time.perf_counter() - started
    week = fair_weather(7)
    drawn = draw_parameters(form("parchment"), 100, 1)
    began = time.perf_counter()
    for _ in range(60):
        dry(drawn, where, week, Routine(), LOAD, 0.05)
    print(f"60 lots x 100 members x 7 days left: {time.perf_counter() - began:.2f} s")
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"60 lots x 300 members x 14 days: {seconds:.1f} s on {os.cpu_count()} cores, peak {peak:.0f} MB")


def _curve(args: OneMember, rtol: float, solver: str) -> np.ndarray:
    table, hourly, raked, start = args
    return integrate(table, hourly, raked, start, rtol, solver)[0]


def _timed(run: Callable[[], Any], times: int) -> tuple[Any, float]:
    """Result and best seconds of some runs, after one that does not count."""
    result, best = run(), float("inf")
    for _ in range(times):
        started = time.perf_counter()
        result = run()
        best = min(best, time.perf_counter() - started)
    return result, best


def _points(one: np.ndarray, other: np.ndarray) -> float:
    return float(100.0 * np.abs(one / (1 + one) - other / (1 + other)).max())
