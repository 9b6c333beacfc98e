"""Hull: green stays in the lot; husk or hulls leave; the rest is dust, loss or estimate."""

from __future__ import annotations

from drydown.errors import RangeError
from drydown.figures import Source, Status
from drydown.matter.species import Range, species
from drydown.way.ask import kilograms, pick
from drydown.way.keep import KEPT_IN, MOISTURE, chain_of, outside, reading_of
from drydown.way.matter import hulled
from drydown.way.mould import findings
from drydown.way.names import Line, by_product
from drydown.way.needs import Setting, Takes, by_machine
from drydown.way.state import LotState, Stage
from drydown.way.step import Doing, Finding, Standing, Step, grams, kg_text, more_than_held
from drydown.words import say

__all__ = ["STEPS"]

_HUSK = Source(
    "ICO factor 0.5 dried cherry to green (ITC Coffee Guide); 15 % either side is our own estimate",
    Status.PUBLISHED,
)
_LABEL = "green coffee"


def _refuse(doing: Doing) -> None:
    held = doing.state.held_kg
    more_than_held(doing, "green_kg", _LABEL, held, needed=True)
    both = doing.typed("green_kg") + doing.typed("husk_kg")
    if both > 1.05 * held:
        words = say(
            "green and husk weigh {both}, the lot held {held}.", both=kg_text(both), held=kg_text(held)
        )
        raise RangeError(words, "hull")


def _moves(doing: Doing) -> list[Line]:
    shell = "husk" if chain_of(doing.state.route) == "natural" else "parchment hull"
    moisture = doing.typed("moisture_percent") / 100.0
    green, husk = grams(doing.details, "green_kg") or 0, grams(doing.details, "husk_kg")
    return hulled(doing.has, doing.state.account, green, husk, moisture, by_product(shell))


def _odd(doing: Doing) -> list[Finding]:
    state = doing.state
    if not state.held_kg:
        return findings(doing.past.window_h)
    share = doing.typed("green_kg") / state.held_kg
    if chain_of(state.route) == "natural":
        found = outside(share, Range(0.5, 0.425, 0.575, _HUSK), "kg green per kg dry cherry")
    else:
        hull = species(state.species).hull_share
        span = Range(1 - hull.typical, 1 - hull.high - 0.03, 1 - hull.low, hull.source)
        unit = "kg green per kg dry parchment (huller loss up to 3 % allowed)"
        found = outside(share, span, unit)
    return [*found, *findings(doing.past.window_h)]


def _takes(state: LotState, setting: Setting) -> Takes:
    return by_machine(setting.station, "huller", state.held_kg)


STEPS = (
    Step(
        "hull", "Hull", "hulled", Standing(Stage.HULLED, "hulled", lies="store", readable=True, dry=True),
        (
            kilograms("green_kg", "green coffee, kg", "kg green"),
            kilograms("husk_kg", "husk or hulls, kg", "kg husk").optional(), MOISTURE,
            pick("huller", "huller").optional(), KEPT_IN.optional(),
        ),
        refuse=_refuse, moves=_moves, then=reading_of, odd=_odd, takes=_takes,
        hurts=("machine", "dust", "noise", "wet_electric"), scale=True, on_reading=True,
    ),
)  # fmt: skip
