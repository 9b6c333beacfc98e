"""Roast: green in, roasted out by weight; the lot's water to the air, organic loss to an account of its
own."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from typing import Any

from drydown.errors import RangeError
from drydown.figures import Source, Status
from drydown.station.model import Station
from drydown.way.ask import kilograms, number_of, text_of
from drydown.way.keep import TOO_WET
from drydown.way.matter import roasted
from drydown.way.mould import findings
from drydown.way.names import Line
from drydown.way.state import LotState, Stage, at_place
from drydown.way.step import Doing, Finding, Standing, Step, grams, kg_text, more_than_held
from drydown.words import say

__all__ = ["STEPS"]

LEAST_SHARE, MOST_ORGANIC = 0.55, 0.14
_LOSS = Source("organic loss 4 to 6 % usually (Fernandes 2019), to 12 % very dark (Clarke 1987), as quoted",
               Status.SECOND_HAND)  # fmt: skip
_WET = Source("own estimate: green above the store's rule roasts unevenly", Status.OWN_ESTIMATE)
_LABEL = "roasted coffee"


def _refuse(doing: Doing) -> None:
    held = doing.state.held_kg
    more_than_held(doing, "roasted_kg", _LABEL, held, needed=True)
    if doing.typed("roasted_kg") < LEAST_SHARE * held:
        words = say("{r} of {h} green cannot be: more than 45 % would be gone.",
                    r=kg_text(doing.typed("roasted_kg")), h=kg_text(held))  # fmt: skip
        fix = "Roast a part? Split the lot first, then weigh what came out."
        raise RangeError(words, _LABEL, fix)


def _moves(doing: Doing) -> list[Line]:
    moisture = doing.typed("roasted_percent") / 100.0
    return roasted(doing.has, doing.state.account, grams(doing.details, "roasted_kg") or 0, moisture)


def _odd(doing: Doing) -> list[Finding]:
    """An organic loss that no roast has; green that should not have been roasted."""
    found = list(findings(doing.past.window_h))
    known = doing.state.known_wb
    if known is not None and known > TOO_WET:
        found.append(Finding(say("The green was read at {p:.1f} % wb.", p=100 * known), _WET))
    dry = doing.typed("roasted_kg") * (1.0 - doing.typed("roasted_percent") / 100.0)
    organic = 1.0 - dry / max(doing.has.dry / 1000.0, 1e-9)
    if not 0.0 <= organic <= MOST_ORGANIC:
        words = say("{o:.1f} % of the dry matter gone: check both weights and moistures.", o=100 * organic)
        found.append(Finding(words, _LOSS))
    return found


def _then(state: LotState, details: Mapping[str, Any], _at: datetime) -> LotState:
    store = str(details.get("store") or "")
    return replace(state, reads=()) if not store else at_place(replace(state, reads=()), "store", store)


def _has_roaster(_state: LotState, station: Station) -> bool:
    return bool(station.equipment.roasters)


STEPS = (
    Step(
        "roast", "Roast", "roasted", Standing(Stage.ROASTED, "roasted", lies="store"),
        (
            kilograms("roasted_kg", "roasted out, kg", "kg roasted"),
            number_of("roasted_percent", "its moisture, % wet basis (usually 1 to 3)", 0.2, 10, "% wb"),
            text_of("roast", "which roast, in your words").optional(),
        ),
        can=_has_roaster, refuse=_refuse, moves=_moves, then=_then, odd=_odd,
        hurts=("roaster", "degassing", "toxin", "never_taste"), scale=True, on_reading=True,
    ),
)  # fmt: skip
