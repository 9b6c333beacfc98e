"""The thinning end of a bar: as tall as the chance that a lot is still wet."""

from __future__ import annotations

from collections.abc import Sequence

__all__ = ["SHARES", "outline"]

SHARES = (0.9, 0.5, 0.1)
"""Chance that it is still wet at early, middle and late (P10, P50, P90)."""
HALF = 5.0
"""Half of the full height, units of the drawing."""


def outline(points: Sequence[tuple[float, float]], line: float) -> str:
    """A path round points of (x, share of the full height), lying on a line."""
    above = " ".join(f"{x:g} {line - HALF * s:.1f}" for x, s in points)
    below = " ".join(f"{x:g} {line + HALF * s:.1f}" for x, s in reversed(points))
    return f"M{above}L{below}Z"
