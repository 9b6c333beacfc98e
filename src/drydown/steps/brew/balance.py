"""Balances of a brew: percolation (water runs through) and immersion (all liquid stays with the grounds)."""

from __future__ import annotations

from dataclasses import dataclass

from drydown.errors import RangeError
from drydown.figures import Source, Status
from drydown.words import say

__all__ = ["BOX", "BOX_SOURCE", "RETAINED", "Brew", "immersion", "percolation", "recipe", "tds_of_brix"]

RETAINED = (1.5, 2.0, 2.1)
"""Water held by spent grounds, g/g: as the old control chart printed it, and today (2.0 to 2.1, from
memory)."""
BOX = {"strength": (1.15, 1.35), "extraction": (18.0, 22.0)}
BOX_SOURCE = Source(
    "Lockhart 1957, as quoted: 1.15 to 1.35 % and 18 to 22 %; others 1.20 to 1.45 and 1.30 to 1.55 %; later "
    "work finds no such ideal, only what changes with both (Sci. Rep. 2021, s41598-021-85787-1)",
    Status.SECOND_HAND,
)
BRIX = {"low": 0.832, "usual": 0.85, "high": 0.907}
"""Dissolved share over degrees Brix: sources differ by concentration (second-hand)."""


@dataclass(frozen=True, slots=True)
class Brew:
    """A brew: dose and water [g], strength [% of the liquid], extraction [% of the dose], beverage [g]."""

    dose_g: float
    water_g: float
    strength: float
    extraction: float
    beverage_g: float

    def inside(self) -> dict[str, bool]:
        """Which published bounds it is inside of."""
        return {
            "strength": BOX["strength"][0] <= self.strength <= BOX["strength"][1],
            "extraction": BOX["extraction"][0] <= self.extraction <= BOX["extraction"][1],
        }


def _check(dose_g: float, water_g: float) -> None:
    if not (0.1 <= dose_g <= 1e6 and 0.5 <= water_g / dose_g <= 100.0):
        raise RangeError(say("must be: a dose above 0.1 g, water of 0.5 to 100 times it."), "brew")


def percolation(dose_g: float, water_g: float, strength: float, retained: float = 2.0) -> Brew:
    """Drip, pour-over, espresso: the beverage is what ran through.

    Equation: E = S (water - r dose)/dose. Args: dose_g, water_g [g]; strength [%]; retained r [g/g]. Returns:
    `Brew`. Valid range: strength of 0.1 to 30 %. Source: conservation of mass; r as `RETAINED`.

    >>> made = percolation(60.0, 1000.0, 1.35)
    >>> made.beverage_g, round(made.extraction, 2)
    (880.0, 19.8)
    """
    _check(dose_g, water_g)
    if not 0.1 <= strength <= 30.0 or not 0.0 <= retained <= 4.0 or retained * dose_g >= water_g:
        words = (
            "must be: strength of 0.1 to 30 % (got {s:g}), less water held than poured ({h:g} of {w:g} g)."
        )
        raise RangeError(say(words, s=strength, h=retained * dose_g, w=water_g), "brew")
    out = water_g - retained * dose_g
    return Brew(dose_g, water_g, strength, strength * out / dose_g, out)


def immersion(
    dose_g: float, water_g: float, strength: float | None = None, extraction: float | None = None
) -> Brew:
    """Cupping, press, cold brew: all the liquid counts, also what the grounds hold.

    Equation: E = S R/(1 - S) with R = water/dose, S and E as fractions; S = E/(R + E). Args: dose_g,
    water_g [g];
    one of strength and extraction [%]. Returns: `Brew`, beverage all liquid. Valid range: as `percolation`.
    Source: conservation of mass (Liang, Chan and Ristenpart 2021).

    >>> round(immersion(8.25, 150.0, extraction=21.0).strength, 4)
    1.1418
    """
    _check(dose_g, water_g)
    if (strength is None) == (extraction is None):
        raise RangeError("needs either the strength or the extraction.", "brew")
    ratio = water_g / dose_g
    if strength is not None:
        part = strength / 100.0
        extraction = 100.0 * part * ratio / (1.0 - part)
    else:
        strength = 100.0 * (extraction or 0.0) / 100.0 / (ratio + (extraction or 0.0) / 100.0)
    if not 0.05 <= strength <= 30.0 or not 0.1 <= (extraction or 0.0) <= 40.0:
        words = (
            "must be: strength of 0.05 to 30 % (got {s:g}), extraction of 0.1 to 40 % (this gives {e:.1f})."
        )
        raise RangeError(say(words, s=strength, e=extraction or 0.0), "brew")
    return Brew(
        dose_g,
        water_g,
        strength,
        float(extraction or 0.0),
        water_g + dose_g * float(extraction or 0.0) / 100.0,
    )


def recipe(litres: float, ratio: float, retained: float) -> tuple[float, float]:
    """Dose and water for a volume in the cup.

    Equation: dose = cup/(R - r), water = R dose; 1 L of beverage as 1000 g. Args: litres [L]; ratio R [g
    water/g];
    retained r, 0 for immersion drunk off the grounds [g/g]. Returns: dose, water [g]. Valid range: R above r.
    Source: conservation of mass.

    >>> [round(x) for x in recipe(0.88, 1000.0 / 60.0, 2.0)]
    [60, 1000]
    """
    if not (0.01 <= litres <= 1000.0 and retained < ratio <= 100.0):
        raise RangeError(say("must be: 0.01 to 1000 L, more water than the grounds hold."), "recipe")
    dose = 1000.0 * litres / (ratio - retained)
    return dose, ratio * dose


def tds_of_brix(brix: float, slope: float | None = None) -> tuple[float, float, float]:
    """Strength from a refractometer's degrees Brix, low, usual, high [%].

    Equation: S = k Brix. Args: brix [degrees]; slope k of one's own calibration (oven-dried, filtered
    samples).
    Returns: [%]. Valid range: 0 to 30. Source: k of 0.83 to 0.91 by concentration (second-hand).

    >>> tds_of_brix(10.0)[1]
    8.5
    """
    if not 0.0 <= brix <= 30.0:
        raise RangeError(say("must be from 0 to 30, got {b:g}.", b=brix), "Brix")
    if slope is not None:
        if not 0.5 <= slope <= 1.5:
            raise RangeError(say("must be from 0.5 to 1.5, got {k:g}.", k=slope), "own slope")
        return (slope * brix,) * 3
    return BRIX["low"] * brix, BRIX["usual"] * brix, BRIX["high"] * brix
