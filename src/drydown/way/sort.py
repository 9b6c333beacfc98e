"""Sort: rejects leave by weight."""

from __future__ import annotations

from drydown.way.ask import kilograms
from drydown.way.matter import taken_off
from drydown.way.names import Line, by_product
from drydown.way.state import Stage
from drydown.way.step import Doing, Standing, Step, grams, more_than_held

__all__ = ["STEPS"]


def _refuse(doing: Doing) -> None:
    more_than_held(doing, "rejects_kg", "rejects", doing.state.held_kg)


def _moves(doing: Doing) -> list[Line]:
    off = grams(doing.details, "rejects_kg")
    return taken_off(doing.has, doing.state.account, off, by_product("rejects")) if off else []


STEPS = (
    Step(
        "sort", "Sort", "sorted", Standing(Stage.SORTED, "sorted", lies="store", readable=True, dry=True),
        (kilograms("rejects_kg", "rejects taken out, kg", "kg rejects"),), refuse=_refuse, moves=_moves,
        hurts=("machine", "dust"),
    ),
)  # fmt: skip
