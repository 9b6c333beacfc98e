"""Fit a station's own drying to its past lots: few parameters, with intervals, or a refusal.

Two numbers are fitted, from where the published cases leave them: a factor on how quickly water leaves bean
and hull, and the absorptance for sun. Never on days alone: each lot needs its moisture readings and the
weather it dried in. Lots dried in the sun only do not tell the two apart; what they do tell is how quick
such lots are here, and that is returned as a third number.
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
from drydown.figures import TO_P95, Band, Figure, Source, Status, ln_sd
from drydown.steps.dry.data import Form, Place
from drydown.steps.dry.draws import typical_parameters
from drydown.steps.dry.routine import Routine
from drydown.steps.dry.run import DryStage, dry_stages
from drydown.words import say

__all__ = ["PastLot", "StationFit", "fit_station"]

Array = NDArray[np.float64]
READING_SD_WB = 0.006
"""Spread of a field reading, fraction wb: 0.59-0.77 point against the oven (Oliveros 2010)."""
METER_SD_WB = 0.006
"""What one meter reads off in all lots alike: the same figure, as its share is not known apart."""
PULLS = 3
LEAST_READINGS, LEAST_LOTS = 8, 3
APART = 0.90
"""Correlation of the two numbers from which they are not told apart."""
MOST_QUICK_SD = 0.25
"""Spread of ln quickness from which the readings tell nothing."""
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
    """Fitted numbers with 90 % intervals, residual spread, and the correlation of the two.

    inside_factor [times the form's diffusivity and hull]; absorptance [of the sun]; quickness [hours of the
    form's typical lot over hours here, for these lots]; told_apart, whether the first two are known singly.
    """

    inside_factor: Figure
    absorptance: Figure
    quickness: Figure
    told_apart: bool
    residual_points: float
    correlation: float
    lots: int
    readings: int


def fit_station(kind: Form, lots: Sequence[PastLot]) -> StationFit:
    """Fit how quickly water leaves the bean, and the absorptance, of a form to past lots.

    Equation: least squares of (model + b - reading)/s over all readings and the priors of the form (pace and
    the joint draws); b is what the meter reads off in every lot alike, with a spread of 0.6 point. Readings
    of one lot share its beans, load and weather, so the interval is the wider of the curvature (1.645 sd) and
    of what leaving one lot out at a time does (jackknife over lots, Student's t by the lots that carry it).
    Args: kind, the form; lots. Returns: `StationFit`.
    Valid range: at least 3 lots and 8 readings of 4 to 75 % wb; `InputError` where the data do not even
    tell how quick the lots are.
    Source: the drying step; reading error Oliveros et al. 2010, Cenicafe 61(2).
    """
    count = sum(lot.hours.size for lot in lots)
    _refuse(lots, count)
    prior, spread = kind.ranges["absorptance"], _prior_spread(kind)

    def gaps(q: Array) -> Array:
        wide = [_model(kind, lot, q) + METER_SD_WB * q[2] - lot.moisture_wb for lot in lots]
        pulls = np.array([np.log(q[0]) / spread[0], (q[1] - prior.typical) / spread[1], q[2]])
        return np.concatenate([*(w / READING_SD_WB for w in wide), pulls])

    begin, bounds = np.array([1.0, prior.typical, 0.0]), ([0.15, 0.2, -4.0], [6.0, 0.98, 4.0])
    found = least_squares(gaps, begin, bounds=bounds, diff_step=5e-3, x_scale=[0.3, 0.1, 1.0])
    residual = float(np.sqrt(np.mean((found.fun[:-PULLS] * READING_SD_WB) ** 2)))
    scale = max(residual / READING_SD_WB, 1.0)
    covariance = np.linalg.inv(found.jac.T @ found.jac) * scale**2
    slope = _ln_hours_slope(kind, lots, found.x)
    ways = np.vstack([np.eye(3), slope])  # each number, and their sum as it moves ln hours
    curved = np.sqrt(np.einsum("wi,ij,wj->w", ways, covariance, ways))
    sd = np.maximum(curved, _between_lots(found, lots, ways) / TO_P95)
    correlation = float(covariance[0, 1] / np.sqrt(covariance[0, 0] * covariance[1, 1]))
    _refuse_blur(sd[3])
    _refuse_poor(found.x, residual, prior.low, prior.high)
    quick = float(np.exp(_ln_hours(kind, lots, begin) - _ln_hours(kind, lots, found.x)))
    apart = abs(correlation) < APART and any(lot.place.light <= 0.0 for lot in lots)
    return _result(found.x, quick, sd, apart, residual, correlation, len(lots), count)


def _prior_spread(kind: Form) -> tuple[float, float]:
    """Spread of ln of the factor, and of the absorptance, before any lot of the station was seen."""
    ranges = kind.ranges
    pace, inner, dark = (ln_sd(ranges[k].low, ranges[k].high) for k in ("pace", "d40_m2_s", "absorptance"))
    return float(np.hypot(pace, inner)), float(dark * ranges["absorptance"].typical)


def _ln_hours(kind: Form, lots: Sequence[PastLot], q: Array) -> float:
    """Mean over lots of ln hours that the model needs to the moisture of each lot's last reading."""
    hours = []
    for lot in lots:
        curve = _curve(kind, lot, q, lot.weather.hours)
        below = np.flatnonzero(curve <= lot.moisture_wb[-1])
        at = int(below[0]) if below.size else curve.size - 1
        step = max(float(curve[at - 1] - curve[at]), 1e-9) if at else 1.0
        hours.append(at - (float(lot.moisture_wb[-1] - curve[at]) / step if at and below.size else 0.0))
    return float(np.mean(np.log(np.maximum(hours, 0.1))))


def _ln_hours_slope(kind: Form, lots: Sequence[PastLot], q: Array) -> Array:
    """How mean ln hours moves with each number at the fit."""
    slope = np.zeros(3)
    for i, step in ((0, 0.05 * q[0]), (1, 0.02)):
        ahead, behind = q.copy(), q.copy()
        ahead[i], behind[i] = q[i] + step, q[i] - step
        slope[i] = (_ln_hours(kind, lots, ahead) - _ln_hours(kind, lots, behind)) / (2.0 * step)
    return slope


def _between_lots(found: OptimizeResult, lots: Sequence[PastLot], ways: Array) -> Array:
    """Half width of a 90 % interval from leaving each lot out in turn, linearised at the fit, along `ways`.

    Student's t with as many degrees as lots that carry the number, less one: where two lots out
    of many decide, two count.
    """
    whole = found.jac.T @ found.jac
    edges = np.cumsum([0, *(lot.hours.size for lot in lots)])
    moved, weight = [], []
    for first, last in pairwise(edges):
        jac, gap = found.jac[first:last], found.fun[first:last]
        moved.append(ways @ np.linalg.solve(whole - jac.T @ jac, jac.T @ gap))
        carried = np.linalg.solve(whole, np.linalg.solve(whole, jac.T @ jac).T)
        weight.append(np.einsum("wi,ij,wj->w", ways, carried, ways))
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


def _refuse_blur(sd: float) -> None:
    if sd > MOST_QUICK_SD:
        raise InputError(
            say("these readings cannot tell how quick the lots are (ln hours +-{sd:.2f}).", sd=TO_P95 * sd),
            "fit",
            "Add lots, and readings from the whole of their drying.",
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
    if not (0.25 <= q[0] <= 4.0 and low - 0.2 <= q[1] <= min(high + 0.2, 0.97)):
        raise InputError(
            say(
                "the best fit (inside x {value:.2f}, absorptance {value_2:.2f}) is far from "
                "anything published.",
                value=q[0],
                value_2=q[1],
            ),
            "fit",
            "Check loads, places, spreading times, meter and weather.",
        )


def _model(kind: Form, lot: PastLot, q: Array) -> Array:
    """Moisture at the readings, run from spreading."""
    curve = _curve(kind, lot, q, int(np.ceil(lot.hours[-1])))
    return np.asarray(np.interp(lot.hours, np.arange(curve.size), curve))


def _curve(kind: Form, lot: PastLot, q: Array, hours: int) -> Array:
    """Moisture hour by hour, (hour,)."""
    parameters = typical_parameters(kind)
    for key in ("d40_m2_s", "hull_kg_m2_s_pa"):
        parameters[key] = parameters[key] * q[0]
    parameters["absorptance"] = np.array([q[1]])
    start = None if lot.start_wb is None else lot.start_wb / (1.0 - lot.start_wb)
    air = lot.weather.window(lot.weather.start, hours)
    stage = DryStage(lot.place, lot.routine, lot.load_dm_kg_m2, 0.05)
    return np.asarray(dry_stages(parameters, [stage], air, start, threads=1).moisture_wb()[0])


def _result(
    q: Array, quick: float, sd: Array, apart: bool, residual: float, correlation: float, lots: int, count: int
) -> StationFit:
    sources = (
        Source(
            say("fitted to {lots} of the station's lots, {count} readings", lots=lots, count=count),
            Status.DERIVED,
        ),
    )
    rule = "least squares on moisture readings; 90 % interval, lots left out in turn or curvature, the wider"

    def factor(value: float, relative: float, unit: str) -> Figure:
        low, high = value * np.exp(-relative), value * np.exp(relative)
        return Figure(value, unit, float(low), float(high), Band.INTERVAL_90, rule, {}, sources)

    half, taken = TO_P95 * float(sd[1]), float(q[1])
    absorbed = Figure(
        taken, "of the sun", taken - half, min(taken + half, 1.0), Band.INTERVAL_90, rule, {}, sources
    )
    inside = factor(float(q[0]), TO_P95 * float(sd[0] / q[0]), "times the form's")
    quickness = factor(quick, TO_P95 * float(sd[3]), "times as quick")
    return StationFit(inside, absorbed, quickness, apart, 100.0 * residual, correlation, lots, count)
