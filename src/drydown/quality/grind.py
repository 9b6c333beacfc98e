"""Grind by sieves: fractions that add up, the Rosin-Rammler law, medians and span with intervals, bands by
brew."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from drydown.errors import InputError, RangeError
from drydown.figures import Source, Status
from drydown.words import say

__all__ = [
    "BANDS",
    "BAND_SOURCE",
    "Grind",
    "fit_grind",
    "passing",
    "percentile_um",
    "setting_for",
    "sieve_tolerance_um",
    "span",
]

Array = NDArray[np.float64]
CLOSES = 0.01
"""Fractions must add up to the charge within this (from memory: the usual rule of sieving)."""
BLIND_UM = 300.0
TELLS = 0.002
"""A sieve that holds (or passes) less than this share tells nothing of the law."""
DRAWS = 400
BANDS = {
    "Turkish": (40.0, 220.0), "espresso": (200.0, 300.0), "moka": (250.0, 500.0), "pour-over": (400.0, 750.0),
    "drip machine": (500.0, 800.0), "French press": (1000.0, 1400.0), "cold brew": (1000.0, 1500.0),
}  # fmt: skip
BAND_SOURCE = Source(
    "common practice, no source: three lists that differ, their outer ends; no standard table is known",
    Status.COMMON_PRACTICE,
)


@dataclass(frozen=True, slots=True)
class Grind:
    """A ground sample by the Rosin-Rammler law: size x' [um] at which 36.8 % is coarser, n; d10, d50, d90
    [um] and
    span, each P5, middle, P95; worst, how far the law lies from a sieve at most [fraction of the mass];
    notes."""

    size_um: float
    n: float
    d10: tuple[float, float, float]
    d50: tuple[float, float, float]
    d90: tuple[float, float, float]
    span: tuple[float, float, float]
    worst: float
    notes: tuple[str, ...]

    def methods(self) -> list[str]:
        """Ways of brewing whose band holds its median."""
        return [name for name, (low, high) in BANDS.items() if low <= self.d50[1] <= high]


def passing(size_um: float | Array, scale_um: float, n: float) -> Array:
    """Share finer than a size.

    Equation: 1 - exp(-(x/x')^n). Args: sizes [um]. Returns: [fraction]. Valid range: above 0. Source:
    Rosin and
    Rammler 1933.

    >>> passing(1000.0, 1000.0, 2.0).round(4).item()
    0.6321
    """
    return np.asarray(1.0 - np.exp(-((np.asarray(size_um) / scale_um) ** n)))


def percentile_um(share: float, scale_um: float, n: float) -> float:
    """Size below which a share of the mass lies.

    Args: share [fraction]; scale_um; n. Returns: [um]. Valid range: 0 to 1. Source: as `passing`.

    >>> round(percentile_um(0.5, 1000.0, 2.0), 2)
    832.55
    """
    return float(scale_um * (-np.log(1.0 - share)) ** (1.0 / n))


def span(scale_um: float, n: float) -> float:
    """(d90 - d10)/d50. Args: scale_um; n. Returns: [-]. Valid range: above 0. Source: definition.

    >>> round(span(1000.0, 2.0), 4)
    1.4327
    """
    low, middle, high = (percentile_um(p, scale_um, n) for p in (0.1, 0.5, 0.9))
    return (high - low) / middle


def sieve_tolerance_um(aperture_um: float) -> float:
    """How far the mean aperture of a sieve may lie from its name.

    Equation: w^0.98/27 + 1.6. Args: aperture_um [um]. Returns: [um]. Valid range: 20 to 5000. Source: ISO
    3310-1,
    from memory.

    >>> round(sieve_tolerance_um(500.0))
    18
    """
    if not 20.0 <= aperture_um <= 5000.0:
        raise RangeError(say("must be from 20 to 5000 um, got {w:g}.", w=aperture_um), "sieve")
    return float(aperture_um**0.98 / 27.0 + 1.6)


def fit_grind(retained_g: Mapping[float, float], pan_g: float, charge_g: float, seed: int = 1) -> Grind:
    """The law through sieved fractions.

    Equation: straight line of ln(-ln R) over ln x, weighed by the mass between; interval by drawing every
    sieve
    within its tolerance and every weighing within 0.1 g. Args: retained_g, grams on each sieve by its
    aperture
    [um]; pan_g; charge_g. Returns: `Grind`; one sieve gives the median only with n taken as 1.3 to 2.5,
    and says
    so. Raises `InputError` where fractions do not add up. Valid range: 1 to 12 sieves, 5 to 1000 g.
    Source: Rosin
    and Rammler 1933; ISO 3310-1 tolerances.

    >>> made = fit_grind({1000.0: 36.788, 500.0: 41.092}, 22.12, 100.0)
    >>> round(made.size_um), round(made.n, 2)
    (1000, 2.0)
    """
    if not retained_g or len(retained_g) > 12 or not 5.0 <= charge_g <= 1000.0:
        raise InputError("needs one to twelve sieves and 5 to 1000 g.", "grind")
    whole = sum(retained_g.values()) + pan_g
    if min([*retained_g.values(), pan_g]) < 0.0 or abs(whole - charge_g) > CLOSES * charge_g:
        raise InputError(
            say("{w:g} g on sieves and pan, {c:g} g went on.", w=whole, c=charge_g), "grind",
            "They must add up within 1 %: weigh again, brush the sieves.",
        )  # fmt: skip
    sizes = np.array(sorted(retained_g))
    grams = np.array([retained_g[s] for s in sizes] + [pan_g])
    rng = np.random.default_rng([seed, 139])
    notes = []
    if sizes.min() < BLIND_UM:
        notes.append(str(say("Sieves below 300 um clog with oil and fines: brush, small charge.")))
    if sizes.size == 1:
        notes.append(
            str(say("One sieve tells one share: how even the grind is was taken as n of 1.3 to 2.5."))
        )
    drawn = [_line(sizes, grams, whole, None)]
    for _k in range(DRAWS):
        moved = sizes + rng.standard_normal(sizes.size) * [0.5 * sieve_tolerance_um(s) for s in sizes]
        weighed = np.maximum(grams + 0.1 * rng.standard_normal(grams.size), 1e-3)
        drawn.append(_line(moved, weighed, float(weighed.sum()), rng))
    scale, n = drawn[0]
    told = {
        p: tuple(float(x) for x in np.percentile([percentile_um(p, a, b) for a, b in drawn[1:]], (5, 95)))
        for p in (0.1, 0.5, 0.9)
    }
    wide = tuple(float(x) for x in np.percentile([span(a, b) for a, b in drawn[1:]], (5, 95)))
    law = 1.0 - passing(sizes, scale, n)
    seen = np.array([grams[k:-1].sum() for k in range(sizes.size)]) / whole
    worst = float(np.abs(law - seen).max())
    if worst > 0.05:
        notes.append(
            str(
                say(
                    "The law lies {w:.0f} % of the mass off a sieve: two humps, as of espresso?",
                    w=100 * worst,
                )
            )
        )

    def three(p: float) -> tuple[float, float, float]:
        return told[p][0], percentile_um(p, scale, n), told[p][1]

    return Grind(
        scale, n, three(0.1), three(0.5), three(0.9), (wide[0], span(scale, n), wide[1]), worst, tuple(notes)
    )


def _line(sizes: Array, grams: Array, whole: float, rng: np.random.Generator | None) -> tuple[float, float]:
    """Scale and n of one set of sieves."""
    coarser = np.clip(np.cumsum(grams[:-1][::-1])[::-1] / whole, 1e-4, 1.0 - 1e-4)
    told = (coarser > TELLS) & (coarser < 1.0 - TELLS)
    if not told.any():
        raise InputError("sieves hold all or nothing.", "grind", "Choose sieves that part the grind.")
    x, y, left = np.log(sizes[told]), np.log(-np.log(coarser[told])), coarser[told]
    if x.size == 1:
        n = 1.8 if rng is None else float(rng.uniform(1.3, 2.5))
        return float(np.exp(x[0] - y[0] / n)), n
    weight = np.sqrt(left * (1.0 - left)) * -np.log(left)  # a weighing counts where the curve is steep
    n, b = np.polyfit(x, y, 1, w=weight)
    if n <= 0.1:
        raise InputError("the fractions do not fall as a grind's do.", "grind", "Check which sieve is which.")
    return float(np.exp(-b / n)), float(n)


def setting_for(known: Mapping[float, float], target_um: float) -> tuple[float, str]:
    """A grinder's setting for a median, from its own sieved settings.

    Equation: straight line of ln d50 over the setting between the nearest two. Args: known, median [um] by
    setting, two or more; target_um. Returns: setting, and a word of caution where it lies outside what was
    sieved.
    Raises `InputError` for fewer, or medians that do not rise or fall all along. Valid range: any grinder.
    Source:
    own method.

    >>> setting_for({2.0: 400.0, 6.0: 900.0}, 600.0)[0]
    4.0
    """
    if len(known) < 2:
        raise InputError("two sieved settings are needed.", "grinder", "Sieve another setting.")
    at = np.array(sorted(known))
    ln = np.log([known[s] for s in at])
    if not (np.diff(ln) > 0.0).all() and not (np.diff(ln) < 0.0).all():
        raise InputError(
            "medians do not go one way with the setting.", "grinder", "Sieve again; burrs clean?"
        )
    order = np.argsort(ln)
    wanted = np.log(target_um)
    k = int(np.clip(np.searchsorted(ln[order], wanted), 1, at.size - 1))
    (a, b), (sa, sb) = ln[order][[k - 1, k]], at[order][[k - 1, k]]
    found = float(sa + (wanted - a) / (b - a) * (sb - sa))
    inside = ln.min() <= wanted <= ln.max()
    return found, "" if inside else str(say("outside what was sieved: sieve it before you trust it"))
