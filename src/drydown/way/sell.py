"""Sell: coffee to the buyer, its price owed by the buyer, its cost apart."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from decimal import Decimal
from fractions import Fraction
from typing import Any

from drydown.trade.coins import to_minor
from drydown.way.ask import kilograms, number_of, text_of, yes
from drydown.way.keep import CODEX, TOO_WET
from drydown.way.matter import Matter, taken_off
from drydown.way.mould import findings
from drydown.way.names import AIR, DIFFERENCE, DRY, WATER, Line, buyer, sales, sold
from drydown.way.state import LotState, Stage
from drydown.way.step import SLACK, Doing, Finding, Step, grams, more_than_held
from drydown.words import say

__all__ = ["STEPS", "cost_of_sales"]


def cost_of_sales(sold_cost: int, cost_left: int, mass_left_g: int) -> int:
    """Cost that sales are held against, smallest coin: the one rule for lots, routes and pages.

    The part of the cost that went with what was sold; what was put to the lot later (second payments,
    late costs) counts in full once nothing of the lot is left.
    """
    return sold_cost + (0 if mass_left_g else cost_left)


def _refuse(doing: Doing) -> None:
    more_than_held(doing, "mass_kg", "mass weighed", SLACK * doing.state.held_kg, needed=True)


def _settle(doing: Doing) -> Mapping[str, Any]:
    """A sale of all that is held empties the lot, whether or not that was ticked."""
    if (grams(doing.details, "mass_kg") or 0) >= doing.has.mass:
        return {**doing.details, "all_gone": True}
    return doing.details


def _moves(doing: Doing) -> list[Line]:
    """Coffee to the buyer; what the scale did not find is shown apart."""
    told, money, state, has = doing.details, doing.station.money, doing.state, doing.has
    to, mass = buyer(str(told["buyer"])), grams(told, "mass_kg") or 0
    value = to_minor(Decimal(mass) / 1000 * Decimal(str(told["price_per_kg"])), money.decimals)
    lines: list[Line] = [(to, money.currency, value), (sales(state.code), money.currency, -value)]
    lines += _cost(state, mass, money.currency, bool(told.get("all_gone")))
    if not told.get("all_gone"):
        return taken_off(has, state.account, mass, to) + lines
    sold_dry = round(mass * has.dry / has.mass) if has.mass else 0
    went = Matter(sold_dry, mass - sold_dry)
    rest = Matter(has.dry - went.dry, has.water - went.water)
    return [
        *went.lines(to), *has.lines(state.account, -1), (DIFFERENCE, DRY, rest.dry),
        (AIR, WATER, rest.water), *lines,
    ]  # fmt: skip


def _cost(state: LotState, mass_g: int, currency: str, everything: bool) -> list[Line]:
    """The part of the lot's cost that goes with what was sold, so that it does not move on with the rest."""
    cost, held = state.cost(currency), state.matter.mass
    part = cost if everything or not held else round(Fraction(cost * mass_g, held))
    return [(state.account, currency, -part), (sold(state.code), currency, part)]


def _then(state: LotState, details: Mapping[str, Any], _at: datetime) -> LotState:
    return replace(state, stage=Stage.GONE) if details.get("all_gone") else state


def _odd(doing: Doing) -> list[Finding]:
    known, passed = doing.state.known_wb, findings(doing.past.window_h)
    if known is None or known <= TOO_WET:
        return passed
    words = say("Last read at {p:.1f} % wb, outside the rule of 12.5 %.", p=known * 100)
    return [Finding(words, CODEX), *passed]


STEPS = (
    Step(
        "sell", "Sell", "sold", None,
        (
            text_of("buyer", "buyer"), kilograms("mass_kg", "mass weighed, kg"),
            number_of("price_per_kg", "price per kg", 0, 1e9, "", "per kg"),
            yes("all_gone", "nothing of the lot is left"),
        ),
        settle=_settle, refuse=_refuse, moves=_moves, then=_then, odd=_odd, hurts=("mould", "lifting"),
        area="lots.sales", on_reading=True, on_cost=True,
    ),
)  # fmt: skip
