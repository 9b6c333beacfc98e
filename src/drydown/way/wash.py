"""Wash and drain: gas to the air, loose mucilage and washing water to the drain."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from drydown.figures import Source, Status
from drydown.station.model import Station
from drydown.way.ferment import not_ready
from drydown.way.matter import washed
from drydown.way.names import SUPPLY, WATER, Line
from drydown.way.needs import Hours, Setting, Takes
from drydown.way.state import LotState, Stage, at_place
from drydown.way.step import Doing, Finding, Standing, Step
from drydown.words import say

__all__ = ["STEPS"]

_TANK = Source("Codex CXC 69-2009, rules 27 and 29d, as quoted by others", Status.SECOND_HAND)
_PACE = Source("own estimate: 0.5 to 1.5 h for a tonne of pulped coffee by hand", Status.OWN_ESTIMATE)


def _moves(doing: Doing) -> list[Line]:
    state = doing.state
    return washed(doing.has, state.account, state.species, doing.station.practice().typical())


def _odd(doing: Doing) -> list[Finding]:
    why = not_ready(doing.state.moved_at, doing.past.felt, doing.at)
    return [Finding(say("Washed although {why}: is the mucilage gone?", why=why), _TANK)] if why else []


def _then(state: LotState, _details: Mapping[str, Any], _at: datetime) -> LotState:
    return at_place(state, "tank", "")


def _takes(state: LotState, setting: Setting) -> Takes:
    practice = setting.station.practice().typical()
    lines = washed(state.matter, state.account, state.species, practice)
    litres = -sum(a for name, c, a in lines if (name, c) == (SUPPLY, WATER)) / 1000.0
    tonnes = state.held_kg / 1000.0
    return Takes(Hours.between(0.5 * tonnes, tonnes, 1.5 * tonnes, _PACE), water_l=litres)


def _at_tank(_state: LotState, _station: Station) -> tuple[str, ...]:
    return ("tank",)


STEPS = (
    Step(
        "wash", "Wash and drain", "washed and drained", Standing(Stage.WASHED, "washed", waits=True),
        moves=_moves, then=_then, odd=_odd, takes=_takes, at=_at_tank,
        hurts=("tank", "effluent", "wet_electric"),
    ),
)  # fmt: skip
