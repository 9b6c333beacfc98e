"""Float: what is light is taken off, by weight."""

from __future__ import annotations

from drydown.figures import Source, Status
from drydown.way.ask import kilograms
from drydown.way.matter import taken_off
from drydown.way.names import Line, by_product
from drydown.way.needs import Hours, Setting, Takes
from drydown.way.state import LotState, Stage
from drydown.way.step import Doing, Finding, Standing, Step, grams, kg_text, not_more
from drydown.words import say

__all__ = ["STEPS"]

_TYPICAL = Source("typical float 3-10 % of cherry, up to 20 % in a late crop", Status.FROM_MEMORY)
_PACE = Source("own estimate: 0.3 to 1 h for a tonne of fruit through a float tank", Status.OWN_ESTIMATE)
MOST_SHARE = 0.9
"""More than this share of floaters is no lot any more (own choice)."""


def _refuse(doing: Doing) -> None:
    fruit = doing.past.family_kg or doing.state.held_kg
    value = doing.details.get("floaters_kg")
    if value is not None:
        than = say("can come of {fruit} of fruit", fruit=kg_text(fruit))
        not_more(value, MOST_SHARE * fruit, than, "floaters")


def _moves(doing: Doing) -> list[Line]:
    off = grams(doing.details, "floaters_kg")
    return taken_off(doing.has, doing.state.account, off, by_product("floaters")) if off else []


def _odd(doing: Doing) -> list[Finding]:
    share = doing.typed("floaters_kg") / doing.past.fruit_kg if doing.past.fruit_kg else 0.0
    if share <= 0.20:
        return []
    words = say(
        "{percent:.0f} % floated, more than 20 %: scale, sorting or a sick crop?", percent=share * 100
    )
    return [Finding(words, _TYPICAL)]


def _takes(state: LotState, _setting: Setting) -> Takes:
    tonnes = state.held_kg / 1000.0
    return Takes(Hours.between(0.3 * tonnes, 0.6 * tonnes, tonnes, _PACE))


STEPS = (
    Step(
        "float", "Float: take the floaters off", "floated", Standing(Stage.FLOATED, "floated", waits=True),
        (kilograms("floaters_kg", "floaters taken off, kg", "kg floaters").optional(),),
        refuse=_refuse, moves=_moves, odd=_odd, takes=_takes, hurts=("lifting",),
    ),
)  # fmt: skip
