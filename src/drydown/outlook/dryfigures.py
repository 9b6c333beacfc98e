"""Figures of a drying ensemble: days, mould window, spread, heat, regain, fuel."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from drydown.air.series import Site
from drydown.figures import Band, Figure, Source, Status
from drydown.outlook.case import DryingCase
from drydown.outlook.machine import machine_inputs, machine_rows, machine_sources
from drydown.outlook.rules import window_levels
from drydown.steps.dry.data import Form
from drydown.steps.dry.run import DryingRun
from drydown.words import say

__all__ = ["PERCENTS", "drying_figures"]

Array = NDArray[np.float64]
PERCENTS = (10.0, 50.0, 90.0)
CAP_SOURCE = Source(
    "Wintgens (ed.), Coffee: Growing, Processing, Sustainable Production, 2004: 40 C arabica parchment, "
    "naturals 5 C more, as quoted by others",
    Status.SECOND_HAND,
)
Row = tuple[Array, str, str]


def drying_figures(
    case: DryingCase, kind: Form, run: DryingRun, words: str, parameters: Mapping[str, Array], site: Site
) -> dict[str, Figure]:
    """All figures of a run, P50 with P10 and P90 over the members.

    Args: case; kind of form; run; words for the weather; the drawn parameters; site.
    Returns: name -> `Figure`.
    Valid range: any run. Source: columns of the run; each figure says its rule.
    """
    sources = (*kind.sources(), Source("equations in docs/drying.md", Status.DERIVED))
    inputs = _inputs(case, kind, run, words)
    drying, last = _while_drying(run)
    hot = run.column("bean_temp_high_c").max(axis=1)
    rows = _time_rows(kind, run, drying, last) | {
        "hottest_bean_c": (hot, "C", "hottest layer at any hour end")
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
    kind: Form, run: DryingRun, drying: NDArray[np.bool_], last: NDArray[np.int64]
) -> dict[str, Row]:
    members, (low, high) = np.arange(last.size), window_levels()
    aw = run.column("surface_aw")[:, 1:]
    wb = run.moisture_wb()
    gap = run.column("moisture_db_high") - run.column("moisture_db_low")
    cap = kind.cap_c
    over = ((run.column("bean_temp_high_c")[:, 1:] > cap) & drying).sum(axis=1)
    return {
        "dry_days": (run.done_h / 24.0, "days", "first moment the lot's mean moisture meets the target"),
        "mould_window_h": (
            ((aw >= low) & (aw <= high) & drying).sum(axis=1),
            "h",
            say(
                "hours with the wettest surface at water activity {low:.2f} to {high:.2f}", low=low, high=high
            ),
        ),
        "very_wet_h": (
            ((aw > high) & drying).sum(axis=1),
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
