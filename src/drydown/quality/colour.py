"""Colour by open measures: XYZ, CIE L*a*b*, sRGB; degree of roast by the station's own anchors."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from drydown.errors import InputError, RangeError
from drydown.words import say

__all__ = ["WHITE_D65", "Anchor", "by_anchors", "lab_of_linear", "lab_of_xyz", "xyz_of_linear"]

Array = NDArray[np.float64]
WHITE_D65 = np.array([0.3127 / 0.3290, 1.0, (1.0 - 0.3127 - 0.3290) / 0.3290])
"""White of D65, 2 degree observer, x 0.3127, y 0.3290, by which sRGB is defined (IEC 61966-2-1)."""
SRGB_TO_XYZ = np.array(
    [
        [0.41239080, 0.35758434, 0.18048079],
        [0.21263901, 0.71516868, 0.07219232],
        [0.01933082, 0.11919478, 0.95053215],
    ]
)


def lab_of_xyz(xyz: Array, white: Array = WHITE_D65) -> Array:
    """CIE L*a*b* of tristimulus values.

    Equation: L = 116 f(Y/Yn) - 16, a = 500 (f(X/Xn) - f(Y/Yn)), b = 200 (f(Y/Yn) - f(Z/Zn)). Args: xyz
    (..., 3),
    white with Y = 1. Returns: (..., 3). Valid range: 0 and more. Source: ISO/CIE 11664-4.

    >>> lab_of_xyz(WHITE_D65).round(6).tolist()
    [100.0, 0.0, 0.0]
    """
    t = np.asarray(xyz, dtype=float) / white
    d = 6.0 / 29.0
    f = np.where(t > d**3, np.cbrt(t), t / (3.0 * d * d) + 4.0 / 29.0)
    x, y, z = f[..., 0], f[..., 1], f[..., 2]
    return np.stack([116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z)], axis=-1)


def xyz_of_linear(rgb: Array) -> Array:
    """Tristimulus values of linear sRGB light. Args: rgb (..., 3), 0 to 1. Returns: (..., 3). Valid range:
    0 to 1.
    Source: IEC 61966-2-1.

    >>> xyz_of_linear(np.ones(3)).round(4).tolist()
    [0.9505, 1.0, 1.0891]
    """
    return np.asarray(np.asarray(rgb) @ SRGB_TO_XYZ.T)


def lab_of_linear(rgb: Array) -> Array:
    """CIE L*a*b* of linear sRGB light. Args, Valid range and Source: as `xyz_of_linear`. Returns: (..., 3).

    >>> lab_of_linear(np.ones(3)).round(2).tolist()[0]
    100.0
    """
    return lab_of_xyz(xyz_of_linear(rgb))


@dataclass(frozen=True, slots=True)
class Anchor:
    """One of a station's own reference roasts: its words and its L*."""

    words: str
    lightness: float


def by_anchors(lightness: float, doubt: float, anchors: Sequence[Anchor]) -> str:
    """A lightness in the station's own words.

    Args: lightness L*; doubt, how far it may lie off; anchors, two or more. Returns: the nearest anchor,
    or both
    it lies between; with a doubt that reaches the next, that is said. Raises `InputError` for fewer. Valid
    range:
    0 to 100. Source: the station's own references; no names of roasts are shipped.

    >>> by_anchors(26.0, 1.0, [Anchor("as for tasting", 30.0), Anchor("as the shop sells", 22.0)])
    'between as the shop sells and as for tasting'
    """
    if len(anchors) < 2:
        raise InputError("two reference roasts of your own are needed.", "colour", "Measure and name them.")
    if not 0.0 <= lightness <= 100.0:
        raise RangeError(say("must be from 0 to 100, got {v:g}.", v=lightness), "L*")
    order = sorted(anchors, key=lambda a: a.lightness)
    near = min(order, key=lambda a: abs(a.lightness - lightness))
    if abs(near.lightness - lightness) <= max(doubt, 0.5):
        return near.words
    if lightness < order[0].lightness:
        return str(say("darker than {a}", a=order[0].words))
    if lightness > order[-1].lightness:
        return str(say("lighter than {a}", a=order[-1].words))
    below = max((a for a in order if a.lightness <= lightness), key=lambda a: a.lightness)
    above = min((a for a in order if a.lightness > lightness), key=lambda a: a.lightness)
    return str(say("between {a} and {b}", a=below.words, b=above.words))
