"""What can hurt at a step, and at the places it is done at."""

from __future__ import annotations

from drydown.outlook.cautions import Caution, at_other, cautions, place_row
from drydown.way.order import steps

__all__ = ["at_step"]


def at_step(kind: str, *places: str) -> tuple[Caution, ...]:
    """What can hurt at a step, and at the kinds of places it is done at (`raised_bed`, `tank`, ...).

    What is done beside the way of a lot (the gate, a reading, a tasting ...) has its row in
    `cautions.toml`.
    """
    known = steps().get(kind)
    named = [*known.hurts] if known else at_other(kind)
    for name in places:
        named += place_row(name)
    return cautions(*named)
