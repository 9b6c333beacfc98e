"""Keep: bagged and stored, shifted to another store, weighed again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from typing import Any

from drydown.errors import InputError
from drydown.figures import Source, Status
from drydown.matter.routes import route, route_names
from drydown.matter.species import Range, species
from drydown.outlook.cautions import cautions
from drydown.station.model import Station
from drydown.steps.keep import bag_names
from drydown.way.ask import choices, kilograms, number_of, pick, yes
from drydown.way.dry import its_place
from drydown.way.habits import target_wb
from drydown.way.matter import weighed
from drydown.way.mould import findings
from drydown.way.names import Line
from drydown.way.needs import Setting, Takes
from drydown.way.state import LotState, Read, Stage, at_place
from drydown.way.step import SLACK, Doing, Finding, Standing, Step, grams, kg_text, more_than_held, not_more
from drydown.words import say

__all__ = [
    "CODEX",
    "KEPT_IN",
    "MOISTURE",
    "STEPS",
    "TOO_WET",
    "bagged_wet",
    "chain_of",
    "in_store",
    "outside",
    "reading_of",
]

TOO_WET = 0.125
"""Codex Alimentarius CXC 69-2009: 12.5 % wb or below in store."""
CODEX = Source("Codex Alimentarius CXC 69-2009: moisture 12.5 % wb or below", Status.PUBLISHED)
_ASSUMED = Source("assumption of the books", Status.OWN_ESTIMATE)
MASS = kilograms("mass_kg", "mass weighed, kg")
MOISTURE = number_of("moisture_percent", "moisture, % wet basis", 3, 60, "% wb")
KEPT_IN = choices("kept_in", "kept in", *bag_names())
_LABEL = "mass weighed"


def bagged_wet(known_wb: float | None) -> bool:
    """Whether bagging a lot needs an explicit yes: read above the rule, or never read at all."""
    return known_wb is None or known_wb > TOO_WET


def chain_of(name: str) -> str:
    """The chain of stages behind a route; a blend counts as washed."""
    return route(name).balance if name in route_names() else "washed"


def reading_of(state: LotState, details: Mapping[str, Any], at: datetime) -> LotState:
    """The lot with the moisture that was typed beside a weight, and the store that was named."""
    percent, store = details.get("moisture_percent"), details.get("store")
    if percent is not None:
        state = replace(state, reads=(*state.reads, Read(percent / 100.0, at, ""))[-8:])
    return state if store is None else at_place(state, "store", str(store))


def in_store(state: LotState, station: Station) -> tuple[str, ...]:
    """The kind of place a step in store is done at; where a lot still dries, its drying place."""
    return its_place(state, station) if state.stage == Stage.DRYING else ("store",)


def outside(value: float, span: Range, unit: str) -> list[Finding]:
    """A finding where a value lies outside a published range."""
    if span.low <= value <= span.high:
        return []
    words = say(
        "{value:.3f} {unit}: outside the published {low:g} to {high:g}. Check the weight.",
        value=value, unit=unit, low=span.low, high=span.high,
    )  # fmt: skip
    return [Finding(words, span.source)]


def _wet_is_said(doing: Doing) -> None:
    """Refuse to bag wet or unread coffee that nobody says is wet."""
    known = doing.state.known_wb
    if not bagged_wet(known) or doing.details.get("wet"):
        return
    read = say("it was never read") if known is None else say("it was read at {p:.1f} % wb", p=100 * known)
    caution = cautions("wet_bag")[0]
    raise InputError(
        say(
            "{read}; the rule is {rule:g} % or below. {caution} [{source}]", read=read, rule=100 * TOO_WET,
            caution=caution.text, source=caution.source.text,
        ),
        doing.state.code, "Read or dry it first, or tick 'yes, bag it wet'.",
    )  # fmt: skip


def _most_bagged_kg(doing: Doing) -> float:
    """The most a lot can weigh as it is bagged.

    The first weighing rules over the estimate: only what the fruit behind the lot cannot give is
    impossible (half of the fruit as dried cherry, 0.35 as parchment: above any published share).
    """
    family, known = doing.past.family_kg, doing.state.known_wb
    if not family:
        return SLACK * doing.state.held_kg
    share = 0.5 if chain_of(doing.state.route) == "natural" else 0.35
    wet = 1.0 if known is None else max(1.0, (1.0 - TOO_WET) / (1.0 - known))
    return share * wet * family


def _refuse_bag(doing: Doing) -> None:
    _wet_is_said(doing)
    fruit = doing.past.family_kg or doing.state.held_kg
    more_than_held(doing, "mass_kg", _LABEL, float("inf"), needed=True)
    than = say("can come of {fruit} of fruit", fruit=kg_text(fruit))
    not_more(doing.typed("mass_kg"), _most_bagged_kg(doing), than, _LABEL)


def _refuse_weigh(doing: Doing) -> None:
    held = doing.state.held_kg
    fruit = doing.past.family_kg or held
    most = 1.5 * held if doing.past.weighed else max(1.5 * held, 0.5 * fruit)
    more_than_held(doing, "mass_kg", _LABEL, most, needed=True)


def _assumes(doing: Doing) -> dict[str, float]:
    """Moisture that was not read when the lot was bagged: the target, and said to be so."""
    if doing.state.known_wb is not None:
        return {}
    return {"moisture_wb": target_wb(doing.state, doing.station)}


def _moves(doing: Doing) -> list[Line]:
    percent, known = doing.details.get("moisture_percent"), doing.state.known_wb
    moisture = known if percent is None else percent / 100.0
    if moisture is None:
        moisture = target_wb(doing.state, doing.station)
    return weighed(doing.has, doing.state.account, grams(doing.details, "mass_kg") or 0, moisture)


def _odd(doing: Doing) -> list[Finding]:
    found, known = [], doing.state.known_wb
    if known is None:
        found.append(Finding(say("No moisture was read: the books take the target as reached."), _ASSUMED))
    elif known > TOO_WET:
        words = say(
            "Bagged at {p:.1f} % wb, outside the rule of 12.5 %: it can grow mould in the bag.", p=known * 100
        )
        found.append(Finding(words, CODEX))
    if doing.past.fruit_kg:
        found += _outturn(doing, known or 0.11)
    return [*found, *findings(doing.past.window_h)]


def _outturn(doing: Doing, moisture: float) -> list[Finding]:
    """Green that will come of it, per kg fruit, beside the published range."""
    kind, chain = species(doing.state.species), chain_of(doing.state.route)
    c = kind.typical()
    shell = c.hull_dm if chain == "washed" else c.hull_dm + c.mucilage_dm
    if chain == "natural":
        shell = shell + c.pulp_dm
    bean = float(c.bean_dm / (c.bean_dm + shell))
    outturn = doing.typed("mass_kg") * (1.0 - moisture) * bean / 0.89 / doing.past.fruit_kg
    return outside(outturn, kind.outturn_published, "kg green at 11 % wb per kg fruit")


def _takes(state: LotState, _setting: Setting) -> Takes:
    return Takes(store_kg=state.held_kg, why=say("it stays until it is hulled or sold"))


def _another_store(state: LotState, station: Station) -> bool:
    return any(s.name != state.at("store") for s in station.equipment.stores)


STEPS = (
    Step(
        "bag", "Bag and store", "bagged and stored",
        Standing(Stage.STORED, "bagged and stored", lies="store", readable=True, dry=True),
        (MASS, pick("store", "store").optional(), KEPT_IN.optional(), yes("wet", "yes, bag it wet")),
        {"wet": lambda state: bagged_wet(state.known_wb)}, refuse=_refuse_bag, assumes=_assumes,
        moves=_moves, then=reading_of, odd=_odd, takes=_takes, at=in_store,
        hurts=("wet_bag", "mould", "lifting", "dust"), scale=True, on_reading=True,
    ),
    Step(
        "shift", "Shift to another store", "shifted", None, (pick("store", "store"),), can=_another_store,
        then=reading_of, takes=_takes, at=in_store, hurts=("stack", "lifting", "fumigant"),
    ),
    Step(
        "rebag", "Put in other bags", "put in other bags", None, (KEPT_IN,), shapes=False, at=in_store,
        hurts=("lifting", "dust"),
    ),
    Step(
        "weigh", "Weigh again", "weighed again", None, (MASS, MOISTURE), refuse=_refuse_weigh, moves=_moves,
        then=reading_of, at=in_store, hurts=("lifting", "dust", "stack"), scale=True, on_reading=True,
    ),
)  # fmt: skip
