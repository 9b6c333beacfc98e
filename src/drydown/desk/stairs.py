"""Mass by screen as a staircase: each screen takes off its share, the coarsest first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

__all__ = ["Stair", "stairs"]

WIDTH, TOP, BOTTOM = 348.0, 24.0, 120.0


@dataclass(frozen=True, slots=True)
class Stair:
    """One screen's step of the drawing."""

    x: float
    width: float
    high: float
    low: float
    name: str
    held: float

    @property
    def path(self) -> str:
        """The block it takes off, from what was left above to what is left below."""
        right = self.x + self.width
        return f"M{self.x:.1f} {self.low:.1f}H{right:.1f}V{self.high:.1f}H{self.x:.1f}Z"

    @property
    def middle(self) -> float:
        """Where its words stand."""
        return self.x + self.width / 2

    @property
    def words_y(self) -> float:
        """Foot of its figure."""
        return self.high - 5.0


def stairs(rows: Sequence[tuple[str, float]]) -> list[Stair]:
    """Steps of a staircase.

    Args: rows, name and per cent held, the coarsest first. Returns: one step for each, up to the whole.
    """
    found, so_far = [], 0.0
    each = WIDTH / max(len(rows), 1)
    for i, (name, held) in enumerate(rows):
        low = BOTTOM - (BOTTOM - TOP) * so_far / 100.0
        so_far = min(so_far + max(held, 0.0), 100.0)
        high = BOTTOM - (BOTTOM - TOP) * so_far / 100.0
        found.append(Stair(4.0 + i * each, each, high, low, name, held))
    return found
