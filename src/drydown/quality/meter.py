"""Moisture and density at the bench: replicates, the meter's own calibration, mass of a hundred beans."""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from drydown.errors import InputError, RangeError
from drydown.figures import Band, Figure, Source, Status
from drydown.words import say

__all__ = [
    "Calibration", "bulk_density", "calibrate", "mass_of_hundred", "moisture_figure", "moisture_methods",
    "oven_percent",
]  # fmt: skip
MEMBERS_APART = 0.8
"""Replicates of moisture further apart than this many points are told of (own estimate)."""
LAST_DIGIT = 0.05
"""Half of the last digit of a meter or scale that shows tenths: equal readings are no surer than that."""


@cache
def _methods() -> dict[str, dict[str, Any]]:
    text = (files("drydown.quality") / "moisture.toml").read_text(encoding="utf-8")
    found: dict[str, dict[str, Any]] = tomllib.loads(text)["methods"]
    return found


def moisture_methods() -> dict[str, str]:
    """Methods of moisture: name and words, with the edition."""
    return {name: row["words"] for name, row in _methods().items()}


def oven_percent(dish_g: float, dish_wet_g: float, dish_dry_g: float) -> float:
    """Moisture from three weighings of a dish.

    Equation: 100 (wet - dry) / (wet - dish). Args: dish_g, dish_wet_g, dish_dry_g [g].
    Returns: [% wet basis]. Valid range: dish < dry <= wet. Source: ISO 6673, calculation.
    """
    if not 0 <= dish_g < dish_dry_g <= dish_wet_g:
        raise RangeError(
            say(
                "weighings {dish_g:g}, {dish_wet_g:g}, {dish_dry_g:g} g are not in order.",
                dish_g=dish_g,
                dish_wet_g=dish_wet_g,
                dish_dry_g=dish_dry_g,
            ),
            "oven",
            "Write the empty dish, then with wet coffee, then after drying.",
        )
    return 100.0 * (dish_wet_g - dish_dry_g) / (dish_wet_g - dish_g)


@dataclass(frozen=True, slots=True)
class Calibration:
    """A meter's line: oven = offset + slope x meter, with all that its doubt needs."""

    slope: float
    offset: float
    spread: float
    """Spread of single readings about the line, points."""
    pairs: int
    free: int
    middle: float
    squares: float
    """Sum of squares of the readings about their mean; infinite for a mere difference."""
    low: float
    high: float
    """The meter readings it was made from, % wet basis."""

    def corrected(self, meter_percent: float) -> float:
        """The oven's figure for a meter's reading, % wet basis."""
        return self.offset + self.slope * meter_percent

    def half(self, meter_percent: float, readings: int) -> float:
        """Half of the 95 % interval of the oven's figure for a mean of so many readings, points."""
        share = 1 / readings + 1 / self.pairs + (meter_percent - self.middle) ** 2 / self.squares
        return float(stats.t.ppf(0.975, self.free) * self.spread * share**0.5)


def calibrate(pairs: Sequence[tuple[float, float]]) -> Calibration:
    """A meter's calibration from readings beside the oven.

    Equation: least squares line through 5 pairs or more that span 2 points; with fewer, the mean
    difference only. Args: pairs of (meter, oven) [% wb]. Returns: `Calibration`.
    Valid range: 3 pairs or more, 5 to 60 % wb, slope 0.5 to 2, corrections up to 8 points; they
    hold within the readings they came from. Source: ordinary least squares.
    """
    if len(pairs) < 3:
        raise RangeError(
            say("three pairs or more make a calibration, not {pairs}.", pairs=len(pairs)), "calibration"
        )
    meter, oven = (np.array(column, dtype=float) for column in zip(*pairs, strict=True))
    if not ((meter >= 5) & (meter <= 60) & (oven >= 5) & (oven <= 60)).all():
        raise RangeError("readings must be from 5 to 60 % wet basis.", "calibration")
    line = len(pairs) >= 5 and np.ptp(meter) >= 2.0
    if line:
        fit = stats.linregress(meter, oven)
        slope, offset = float(fit.slope), float(fit.intercept)
    else:
        slope, offset = 1.0, float((oven - meter).mean())
    if not 0.5 <= slope <= 2.0:
        raise RangeError(
            say("the line's slope is {slope:.2f}; the pairs do not belong together.", slope=slope),
            "calibration",
        )
    if float(np.abs(oven - meter).max()) > 8.0:
        raise RangeError("meter and oven differ by more than 8 points.", "calibration", "Check the pairs.")
    free = len(pairs) - (2 if line else 1)
    spread = float(np.sqrt(((oven - offset - slope * meter) ** 2).sum() / free))
    squares = float(((meter - meter.mean()) ** 2).sum()) if line else float("inf")
    return Calibration(
        slope, offset, spread, len(pairs), free, float(meter.mean()), squares, float(meter.min()),
        float(meter.max()),
    )  # fmt: skip


def moisture_figure(
    replicates: Sequence[float], method: str, calibration: Calibration | None = None
) -> Figure:
    """Moisture of a sample from its replicates.

    Equation: mean of the replicates, by the meter's line where there is one; 95 % band = t x s x
    sqrt(1/m + 1/n + (x - mean)2/Sxx) of that line, else the t interval of the replicates; never
    narrower than half of the last digit. Args: replicates [% wb]; method, one of
    `moisture_methods()`; calibration, for a meter only. Returns: figure [% wb]; one reading without
    calibration has no band, and says so. Valid range: 3 to 60 % wb, corrected or not.
    Source: the method's; Student 1908; prediction from a fitted line.
    """
    if method not in _methods():
        raise InputError(
            say("method '{method}' is not known.", method=method),
            fix=say("One of: {methods}.", methods=", ".join(_methods())),
        )
    values = np.array(replicates, dtype=float)
    if not len(values) or not ((values >= 3) & (values <= 60)).all():
        raise RangeError("replicates must be from 3 to 60 % wet basis, one or more.", "moisture")
    if float(np.ptp(values)) > 8.0:
        raise RangeError(
            "replicates lie more than 8 points apart.", "moisture", "Mix the sample and read again."
        )
    if calibration is not None and method != "meter":
        raise InputError("only a meter is corrected by pairs.", "moisture", "Leave the pairs out.")
    row = _methods()[method]
    inputs = {"method": row["words"], "replicates": ", ".join(f"{v:g}" for v in values)}
    mean, half = float(values.mean()), _half(values)
    if calibration is not None:
        inputs |= _said(calibration, mean)
        half = max(calibration.half(mean, len(values)), LAST_DIGIT)
        mean = calibration.corrected(mean)
        if not 3.0 <= mean <= 60.0:
            raise RangeError(
                say("comes out at {mean:.1f} %, which cannot be.", mean=mean), "moisture", "Check the pairs."
            )
    if len(values) > 1 and float(np.ptp(values)) > MEMBERS_APART:
        inputs["replicates lie apart"] = say(
            "{ptp:.1f} points: mix the sample and read again", ptp=float(np.ptp(values))
        )
    if "below_reference" in row:
        inputs["against ISO 1446"] = f"about {mean + row['below_reference']:.1f} %"
    if "note" in row:
        inputs["note"] = row["note"]
    band = Band.INTERVAL_95 if half else Band.UNKNOWN
    source = Source(row["source"], Status.STATED if method == "meter" else Status.PUBLISHED)
    return Figure(mean, "% wb", mean - half, mean + half, band, "mean of the replicates", inputs, (source,))


def _said(line: Calibration, mean: float) -> dict[str, str]:
    """The meter's line in words, and whether it reaches as far as this reading."""
    found = {"meter's own line": f"{line.offset:+.2f} + {line.slope:.3f} x reading, {line.pairs} pairs"}
    if not line.low - 1 <= mean <= line.high + 1:
        found["outside the calibration"] = f"{line.low:g} to {line.high:g} %"
    return found


def _half(values: NDArray[np.float64]) -> float:
    """Half of the 95 % interval of a mean; 0 where one value tells nothing of it."""
    if len(values) < 2:
        return 0.0
    half = float(stats.t.ppf(0.975, len(values) - 1) * values.std(ddof=1) / len(values) ** 0.5)
    return max(half, LAST_DIGIT)


def _mean_figure(values: Sequence[float], unit: str, rule: str, source: Source, **inputs: str) -> Figure:
    found = np.array(values, dtype=float)
    mean, half = float(found.mean()), _half(found)
    band = Band.INTERVAL_95 if half else Band.UNKNOWN
    return Figure(mean, unit, mean - half, mean + half, band, rule, inputs, (source,))


def bulk_density(volume_l: float, masses_g: Sequence[float]) -> Figure:
    """Free-flow bulk density from fillings of one vessel.

    Equation: mass / volume, mean of the fillings, t interval. Args: volume_l [L]; masses_g [g].
    Returns: figure [kg/m3]. Valid range: 0.05 to 20 L; 250 to 900 kg/m3, or it is refused.
    Source: ISO 6669:1995 (routine method; free flow into a vessel).
    """
    if not 0.05 <= volume_l <= 20:
        raise RangeError(
            say("the vessel must hold 0.05 to 20 L, not {volume_l:g}.", volume_l=volume_l), "density"
        )
    found = [m / volume_l for m in masses_g]
    if not found or not all(250 <= d <= 900 for d in found):
        raise RangeError("bulk density comes out of 250 to 900 kg/m3.", "density", "Check volume and masses.")
    source = Source("ISO 6669:1995", Status.PUBLISHED)
    return _mean_figure(found, "kg/m3", "mass over volume, free flow", source, vessel=f"{volume_l:g} L",
                        fillings=", ".join(f"{m:g} g" for m in masses_g))  # fmt: skip


def mass_of_hundred(masses_g: Sequence[float]) -> Figure:
    """Mass of 100 beans from one or more counts of a hundred.

    Equation: mean, t interval. Args: masses_g [g]. Returns: figure [g]. Valid range: 5 to 60 g each.
    Source: common practice.
    """
    if not masses_g or not all(5 <= m <= 60 for m in masses_g):
        raise RangeError("100 beans weigh 5 to 60 g.", "mass of 100 beans")
    source = Source("common practice, no source", Status.COMMON_PRACTICE)
    return _mean_figure(
        masses_g, "g", "mean of the counts", source, counts=", ".join(f"{m:g}" for m in masses_g)
    )
