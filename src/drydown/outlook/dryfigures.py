"""Figures of a drying ensemble: days, mould window, spread, heat, regain, fuel."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from drydown.air.series import HourlyWeather, Site
from drydown.figures import Band, Figure, Source, Status
from drydown.matter.sorption import oswin_erh
from drydown.outlook.case import DryingCase
from drydown.outlook.machine import machine_inputs, machine_rows, machine_sources
from drydown.outlook.rules import window_levels
from drydown.steps.dry.data import Form
from drydown.steps.dry.run import DryingRun
from drydown.words import say

__all__ = ["PERCENTS", "drying_figures", "sun_hours", "sun_of", "window_hours"]

Array = NDArray[np.float64]
PERCENTS = (10.0, 50.0, 90.0)
CAP_SOURCE = Source(
    "Wintgens (ed.), Coffee: Growing, Processing, Sustainable Production, 2004: 40 C arabica parchment, "
    "naturals 5 C more, as quoted by others",
    Status.SECOND_HAND,
)
Row = tuple[Array, str, str]
SUNSHINE_WM2 = 120.0
"""Sun on level ground from which an hour counts as sunny; recorders of sunshine ask as much of direct sun."""


def drying_figures(
    case: DryingCase,
    kind: Form,
    run: DryingRun,
    words: str,
    parameters: Mapping[str, Array],
    site: Site,
    sun: Array,
) -> dict[str, Figure]:
    """All figures of a run, P50 with P10 and P90 over the members.

    Args: case; kind of form; run; words for the weather; the drawn parameters; site; sun (1 or member, hour)
    [W/m2].
    Returns: name -> `Figure`.
    Valid range: any run. Source: columns of the run; each figure says its rule.
    """
    sources = (*kind.sources(), Source("equations in docs/drying.md", Status.DERIVED))
    inputs = _inputs(case, kind, run, words)
    drying, last = _while_drying(run)
    hot = run.column("bean_temp_high_c").max(axis=1)
    rows = _time_rows(kind, run, drying, last, parameters) | {
        "hottest_bean_c": (hot, "C", "hottest layer at any hour end"),
        _counted(case): _hours_of_drying(case, run, sun),
    }
    if case.where().machine:
        inputs |= machine_inputs(case.where())
        sources = (*sources, *machine_sources(case.where()))
        rows |= machine_rows(case, kind, run, last, parameters, site)
    made = {key: _figure(v, unit, rule, inputs, sources) for key, (v, unit, rule) in rows.items()}
    cap = made["over_cap_h"]
    made["over_cap_h"] = Figure(
        cap.value, cap.unit, cap.low, cap.high, cap.band, cap.rule, cap.inputs, (*sources, CAP_SOURCE)
    )
    return made


def window_hours(
    run: DryingRun, parameters: Mapping[str, Array]
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Hours inside the mould window and hours wetter than it, each (member, hour) without the start.

    Inside is where the wettest surface, or the bean in the mean, stands at a water activity of the window: a
    surface that dries by day does not hide a wet core. Wetter is where the surface stands above it.
    Args: run; parameters of its members (the isotherm's scale). Valid range: any run. Source: `rules.toml`;
    the mean's water activity by the engine's own isotherm (`matter.sorption`).
    """
    low, high = window_levels()
    surface, mean = run.column("surface_aw")[:, 1:], run.column("moisture_db")[:, 1:]
    scale = np.broadcast_to(parameters["isotherm_scale"], run.done_h.shape)[:, None]
    inner = oswin_erh(run.column("bean_temp_c")[:, 1:], np.maximum(mean, 0.01) / scale)
    skin = (surface >= low) & (surface <= high)
    core = (inner >= low) & (inner <= high)
    return skin | core, (surface > high) & ~core


def sun_of(air: HourlyWeather, members: NDArray[np.int64]) -> Array:
    """Sun that each of these members meets, (1 or member, hour) [W/m2]."""
    return air.ghi_wm2 if air.members == 1 else air.ghi_wm2[members]


def sun_hours(sun: Array, until_h: Array) -> Array:
    """Hours with more than `SUNSHINE_WM2` until each member's hour, the last one in part, (member,) [h].

    Args: sun (1 or member, hour) [W/m2]; until_h (member,) [h], nan stays nan.
    """
    sums = np.cumsum(sun > SUNSHINE_WM2, axis=1)
    sums = np.broadcast_to(np.insert(sums, 0, 0, axis=1), (until_h.size, sums.shape[1] + 1))
    hours = np.arange(sums.shape[1])
    return np.array([np.interp(h, hours, s) for h, s in zip(until_h, sums, strict=True)])


def _counted(case: DryingCase) -> str:
    return "warm_air_hours" if case.where().machine and not case.stops else "sun_hours"


def _hours_of_drying(case: DryingCase, run: DryingRun, sun: Array) -> Row:
    """Hours of sun, or of warm air, until each member is dry: what people count besides days."""
    if _counted(case) == "warm_air_hours":
        return run.done_h, "h", "hours of warm air until the lot's mean moisture meets the target"
    words = say("hours with more than {sun:g} W/m2 of sun until then", sun=SUNSHINE_WM2)
    return sun_hours(sun, run.done_h), "h", words


def _inputs(case: DryingCase, kind: Form, run: DryingRun, words: str) -> dict[str, str]:
    inputs = {
        "form": kind.label,
        "place": case.where().label,
        "load": say("{load_kg_m2:g} kg/m2 as spread", load_kg_m2=case.load_kg_m2),
        "target": f"{case.target_wb * 100:g} % wb",
        "weather": words,
        "members": str(run.values.shape[0]),
    }
    for number, stop in enumerate(case.stops, 1):
        inputs[f"before, {number}"] = f"{stop.spot.label}, {stop.load_kg_m2:g} kg/m2, {stop.hours} h"
    if case.moisture_wb_now is not None:
        inputs["moisture now"] = f"{case.moisture_wb_now * 100:.1f} % wb"
    return inputs


def _while_drying(run: DryingRun) -> tuple[NDArray[np.bool_], NDArray[np.int64]]:
    """Hours in which each member is still drying, and the hour it ends."""
    hours = np.arange(1, run.values.shape[1])
    end = np.where(np.isnan(run.done_h), np.inf, np.ceil(run.done_h))
    last = np.minimum(np.where(np.isinf(end), hours[-1], end), hours[-1]).astype(np.int64)
    return hours[None, :] <= end[:, None], last


def _time_rows(
    kind: Form, run: DryingRun, drying: NDArray[np.bool_], last: NDArray[np.int64],
    parameters: Mapping[str, Array],
) -> dict[str, Row]:  # fmt: skip
    members, (low, high) = np.arange(last.size), window_levels()
    inside, wetter = window_hours(run, parameters)
    wb = run.moisture_wb()
    gap = run.column("moisture_db_high") - run.column("moisture_db_low")
    cap = kind.cap_c
    over = ((run.column("bean_temp_high_c")[:, 1:] > cap) & drying).sum(axis=1)
    return {
        "dry_days": (run.done_h / 24.0, "days", "first moment the lot's mean moisture meets the target"),
        "mould_window_h": (
            (inside & drying).sum(axis=1),
            "h",
            say(
                "hours with the wettest surface, or the bean in the mean, at water activity "
                "{low:.2f} to {high:.2f}",
                low=low,
                high=high,
            ),
        ),
        "very_wet_h": (
            (wetter & drying).sum(axis=1),
            "h",
            say("hours with the wettest surface above water activity {high:.2f}", high=high),
        ),
        "regain_points": (
            100.0 * _largest_rise(wb, drying),
            "points wb",
            "largest rise of the mean moisture in any run of hours without drying",
        ),
        "layer_spread": (
            100.0 * gap[members, last],
            "points db",
            "wettest less driest layer when the target is met",
        ),
        "core_to_skin": (
            100.0 * run.column("core_minus_surface_db")[members, last],
            "points db",
            "core less skin of a bean when the target is met: a reading then under-reads the core",
        ),
        "over_cap_h": (
            over,
            "h",
            say(
                "hours with the hottest layer above the quoted cap of {cap:g} C (a setting; sources differ)",
                cap=cap,
            ),
        ),
    }


def _largest_rise(wb: Array, drying: NDArray[np.bool_]) -> Array:
    """Largest climb from a low to a later high with no lower value between."""
    rise, best = np.zeros(wb.shape[0]), np.zeros(wb.shape[0])
    for h in range(drying.shape[1]):
        step = np.where(drying[:, h], wb[:, h + 1] - wb[:, h], 0.0)
        rise = np.maximum(rise + step, 0.0)
        best = np.maximum(best, rise)
    return best


def _figure(
    values: Array, unit: str, rule: str, inputs: dict[str, str], sources: tuple[Source, ...]
) -> Figure:
    """P50 with P10 and P90; members that never dry leave nan where a percentile falls on them."""
    filled = np.where(np.isnan(values), np.inf, values)
    low, middle, high = np.percentile(filled, PERCENTS, method="higher")
    out = [float(v) if np.isfinite(v) else float("nan") for v in (low, middle, high)]
    return Figure(out[1], unit, out[0], out[2], Band.P10_P90, rule, inputs, sources)
