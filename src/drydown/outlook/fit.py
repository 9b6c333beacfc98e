"""Fit a station's own drying to its past lots: few parameters, with intervals, or a refusal.

Two numbers are fitted: a factor on diffusivity and the absorptance for sun. Never on days
alone: each lot needs its moisture readings and the weather it dried in. Where the data
cannot tell the two apart, that is said and nothing is returned.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import OptimizeResult, least_squares
from scipy.stats import t as student_t

from drydown.air.series import HourlyWeather
from drydown.errors import InputError
from drydown.figures import Band, Figure, Source, Status
from drydown.steps.dry.data import Form, Place
from drydown.steps.dry.routine import Routine
from drydown.steps.dry.run import DryStage, dry_stages, typical_parameters
from drydown.words import say

__all__ = ["PastLot", "StationFit", "fit_station"]

Array = NDArray[np.float64]
READING_SD_WB = 0.006
"""Spread of a field reading, fraction wb: 0.59-0.77 point against the oven (Oliveros 2010)."""
METER_SD_WB = 0.006
"""What one meter reads off in all lots alike: the same figure, as its share is not known apart."""
PULLS = 3
LEAST_READINGS, LEAST_LOTS = 8, 3
Z90 = 1.645
MOST_CORRELATION = 0.95
MOST_RESIDUAL_WB = 0.018


@dataclass(frozen=True, slots=True)
class PastLot:
    """A lot that has dried: where, how, in which weather, and its readings.

    The weather begins when the lot was spread; hours [h from then] and moisture_wb [fraction]
    of the readings; start_wb [fraction] when spread, None for the form's fresh moisture.
    """

    name: str
    place: Place
    routine: Routine
    load_dm_kg_m2: float
    weather: HourlyWeather
    hours: Array
    moisture_wb: Array
    start_wb: float | None = None


@dataclass(frozen=True, slots=True)
class StationFit:
    """Fitted numbers with 90 % intervals, residual spread, and the correlation of the two."""

    diffusivity_factor: Figure
    absorptance: Figure
    residual_points: float
    correlation: float
    lots: int
    readings: int


def fit_station(kind: Form, lots: Sequence[PastLot]) -> StationFit:
    """Fit diffusivity factor and absorptance of a form to past lots.

    Equation: least squares of (model + b - reading)/s over all readings, weakly held to the
    priors of the form; b is what the meter reads off in every lot alike, with a spread of 0.6
    point. Readings of one lot share its beans, load and weather, so the interval is the wider
    of the curvature (1.645 sd) and of what leaving one lot out at a time does (jackknife over
    lots, Student's t by the lots that carry the number).
    Args: kind, the form; lots. Returns: `StationFit`.
    Valid range: at least 3 lots and 8 readings of 4 to 75 % wb; `InputError` where the data
    cannot tell the two numbers apart (correlation above 0.95).
    Source: the drying step; reading error Oliveros et al. 2010, Cenicafe 61(2).
    """
    count = sum(lot.hours.size for lot in lots)
    _refuse(lots, count)
    prior = kind.ranges["absorptance"]
    spread = (prior.high - prior.low) / 3.29

    def gaps(q: Array) -> Array:
        wide = [_model(kind, lot, q) + METER_SD_WB * q[2] - lot.moisture_wb for lot in lots]
        pulls = np.array([np.log(q[0]), (q[1] - prior.typical) / (3.0 * spread), q[2]])
        return np.concatenate([*(w / READING_SD_WB for w in wide), pulls])

    begin, bounds = np.array([1.0, prior.typical, 0.0]), ([0.15, 0.2, -4.0], [6.0, 0.98, 4.0])
    found = least_squares(gaps, begin, bounds=bounds, diff_step=5e-3, x_scale=[0.3, 0.1, 1.0])
    residual = float(np.sqrt(np.mean((found.fun[:-PULLS] * READING_SD_WB) ** 2)))
    scale = max(residual / READING_SD_WB, 1.0)
    covariance = np.linalg.inv(found.jac.T @ found.jac) * scale**2
    sd = np.maximum(np.sqrt(np.diag(covariance)), _between_lots(found, lots) / Z90)
    correlation = float(covariance[0, 1] / np.sqrt(covariance[0, 0] * covariance[1, 1]))
    _refuse_blur(correlation, found.x, sd, spread)
    _refuse_poor(found.x, residual, prior.low, prior.high)
    return _result(found.x, sd, residual, correlation, len(lots), count)


def _between_lots(found: OptimizeResult, lots: Sequence[PastLot]) -> Array:
    """Half width of a 90 % interval from leaving each lot out in turn, linearised at the fit.

    Student's t with as many degrees as lots that carry the number, less one: where two lots out
    of many decide, two count.
    """
    whole = found.jac.T @ found.jac
    edges = np.cumsum([0, *(lot.hours.size for lot in lots)])
    moved, weight = [], []
    for first, last in pairwise(edges):
        jac, gap = found.jac[first:last], found.fun[first:last]
        moved.append(np.linalg.solve(whole - jac.T @ jac, jac.T @ gap))
        weight.append(np.diag(np.linalg.solve(whole, np.linalg.solve(whole, jac.T @ jac).T)))
    away = np.array(moved) - np.mean(moved, axis=0)
    sd = np.sqrt((len(lots) - 1) / len(lots) * np.sum(away**2, axis=0))
    carried = np.sum(weight, axis=0) ** 2 / np.sum(np.array(weight) ** 2, axis=0)
    return np.asarray(sd * student_t.ppf(0.95, np.maximum(carried - 1.0, 1.0)))


def _refuse(lots: Sequence[PastLot], count: int) -> None:
    if len(lots) < LEAST_LOTS or count < LEAST_READINGS:
        raise InputError(
            say(
                "{lots} lots with {count} readings are too few; {least_lots} lots and "
                "{least_readings} readings are needed.",
                lots=len(lots),
                count=count,
                least_lots=LEAST_LOTS,
                least_readings=LEAST_READINGS,
            ),
            "fit",
        )
    if all(lot.place.light > 0.0 for lot in lots):
        raise InputError(
            "lots dried in the sun only cannot tell diffusivity from absorptance.",
            "fit",
            "Add a lot dried without sun (heated air), or log the bed's temperature.",
        )
    for lot in lots:
        if lot.hours.size != lot.moisture_wb.size or np.any(np.diff(lot.hours) <= 0):
            raise InputError("readings need increasing hours, one for each moisture.", lot.name)
        if not lot.hours.size or lot.hours[-1] <= 0:
            raise InputError("needs a reading after it was spread.", lot.name)
        if lot.hours[-1] > lot.weather.hours or lot.hours[0] < 0:
            why = "A lot is never fitted on days alone."
            raise InputError("a reading lies outside the weather given.", lot.name, why)
        if not (np.isfinite(lot.moisture_wb).all() and np.isfinite(lot.hours).all()):
            raise InputError("a reading is not a finite number.", lot.name)
        if np.any((lot.moisture_wb < 0.04) | (lot.moisture_wb > 0.75)):
            raise InputError("readings must be from 4 to 75 per cent wet basis.", lot.name)


def _refuse_blur(correlation: float, q: Array, sd: Array, spread: float) -> None:
    if abs(correlation) > MOST_CORRELATION or sd[0] > 0.6 * q[0] or sd[1] > 2.0 * spread:
        raise InputError(
            say(
                "these readings cannot tell diffusivity from absorptance (correlation "
                "{correlation:.2f}; 90 % half widths {z90:.2f} and {z90_2:.2f}).",
                correlation=correlation,
                z90=Z90 * sd[0],
                z90_2=Z90 * sd[1],
            ),
            "fit",
            "Add lots, some of them dried without sun (heated air), or log the bed's temperature.",
        )


def _refuse_poor(q: Array, residual: float, low: float, high: float) -> None:
    """A fit that misses its own readings, or lands far from all that is published, is no fit."""
    if residual > MOST_RESIDUAL_WB:
        raise InputError(
            say(
                "the readings lie {residual:.1f} points from the best fit; the model does not "
                "describe these lots.",
                residual=100 * residual,
            ),
            "fit",
            "Check loads, places, spreading times, meter and weather.",
        )
    if not (0.4 <= q[0] <= 2.5 and low - 0.2 <= q[1] <= min(high + 0.2, 0.97)):
        raise InputError(
            say(
                "the best fit (diffusivity x {value:.2f}, absorptance {value_2:.2f}) is far from "
                "anything published.",
                value=q[0],
                value_2=q[1],
            ),
            "fit",
            "Check loads, places, spreading times, meter and weather.",
        )


def _model(kind: Form, lot: PastLot, q: Array) -> Array:
    """Moisture at the readings, run from spreading."""
    parameters = typical_parameters(kind)
    parameters["d40_m2_s"] = parameters["d40_m2_s"] * q[0]
    parameters["absorptance"] = np.array([q[1]])
    start = None if lot.start_wb is None else lot.start_wb / (1.0 - lot.start_wb)
    air = lot.weather.window(lot.weather.start, int(np.ceil(lot.hours[-1])))
    stage = DryStage(lot.place, lot.routine, lot.load_dm_kg_m2, 0.05)
    run = dry_stages(parameters, [stage], air, start, threads=1)
    return np.asarray(np.interp(lot.hours, np.arange(run.values.shape[1]), run.moisture_wb()[0]))


def _result(q: Array, sd: Array, residual: float, correlation: float, lots: int, count: int) -> StationFit:
    sources = (
        Source(
            say("fitted to {lots} of the station's lots, {count} readings", lots=lots, count=count),
            Status.DERIVED,
        ),
    )
    rule = "least squares on moisture readings; 90 % interval, lots left out in turn or curvature, the wider"
    relative = Z90 * sd[0] / q[0]
    low, high = q[0] * np.exp(-relative), q[0] * np.exp(relative)
    factor = Figure(
        float(q[0]), "times the form's", float(low), float(high), Band.INTERVAL_90, rule, {}, sources
    )
    half = Z90 * float(sd[1])
    taken = float(q[1])
    absorbed = Figure(
        taken, "of the sun", taken - half, min(taken + half, 1.0), Band.INTERVAL_90, rule, {}, sources
    )
    return StationFit(factor, absorbed, 100.0 * residual, correlation, lots, count)
