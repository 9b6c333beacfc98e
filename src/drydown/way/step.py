"""A step of a lot as one record: the same questions, answered the same way for every step."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any

from drydown.errors import RangeError
from drydown.figures import Source
from drydown.numerals import number
from drydown.station.model import Station
from drydown.way.ask import Ask
from drydown.way.matter import Matter
from drydown.way.names import Line
from drydown.way.needs import Setting, Takes
from drydown.way.state import LotState, Past
from drydown.way.yard import Yard
from drydown.words import say, sentence

__all__ = ["SLACK", "Doing", "Finding", "Standing", "Step", "grams", "kg_text", "more_than_held", "not_more"]

SLACK = 1.02
"""Scales differ: a sale may be this much above what the books hold."""


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing to look at again, by which rule and source."""

    words: str
    source: Source

    def __post_init__(self) -> None:
        object.__setattr__(self, "words", sentence(self.words))


@dataclass(frozen=True, slots=True)
class Standing:
    """A stage a lot can be at: its name and words, and what other rooms ask of it.

    lies: kind of place it is at ("bed", "tank", "store", or empty); waits: wet coffee that stands
    between two steps; readable: a moisture reading belongs to it; dry: whether it counts as dry coffee.
    """

    name: str
    words: str
    lies: str = ""
    waits: bool = False
    readable: bool = False
    dry: bool = False


@dataclass(frozen=True, slots=True)
class Doing:
    """All that a step is told: the lot as it stands, what was typed, when, and where it happens."""

    state: LotState
    details: Mapping[str, Any]
    at: datetime
    station: Station
    yard: Yard
    past: Past = field(default_factory=Past)

    @property
    def has(self) -> Matter:
        """What the lot holds before the step."""
        return self.state.matter

    def typed(self, name: str) -> float:
        """A number that was typed; 0 where the field was left empty."""
        return float(self.details.get(name) or 0.0)


def _nothing(_doing: Doing) -> None:
    return None


def _no_lines(_doing: Doing) -> list[Line]:
    return []


def _no_findings(_doing: Doing) -> list[Finding]:
    return []


def _as_it_was(state: LotState, _details: Mapping[str, Any], _at: datetime) -> LotState:
    return state


def _as_typed(doing: Doing) -> Mapping[str, Any]:
    return doing.details


def _assumes_nothing(_doing: Doing) -> dict[str, float]:
    return {}


def _always(_state: LotState, _station: Station) -> bool:
    return True


def _unknown(_state: LotState, _setting: Setting) -> Takes:
    return Takes()


def _where_it_lies(_state: LotState, _station: Station) -> tuple[str, ...]:
    return ()


@dataclass(frozen=True, slots=True)
class Step:
    """A step. `leads_to` None leaves the stage; `shapes` is False for notes that move nothing.

    can: whether it can succeed at this station; asks, some only where asked_if says so; settle: what was
    typed, completed; refuse: raises for what cannot be; assumes: what the books take as known without
    being told; moves: postings; then: the next state beside stage, time and moisture; odd: findings;
    takes: machine, room, water, hours; at: kinds of the places it is done at; hurts: names of cautions;
    area: what a role must be allowed; scale: whether a scale speaks of the lot; on_reading, on_cost:
    whether a reading (or a cost) before it can no longer be taken back.
    """

    kind: str
    words: str
    past: str
    leads_to: Standing | None = None
    asks: tuple[Ask, ...] = ()
    asked_if: Mapping[str, Callable[[LotState], bool]] = field(default_factory=dict)
    shapes: bool = True
    can: Callable[[LotState, Station], bool] = _always
    settle: Callable[[Doing], Mapping[str, Any]] = _as_typed
    refuse: Callable[[Doing], None] = _nothing
    assumes: Callable[[Doing], dict[str, float]] = _assumes_nothing
    moves: Callable[[Doing], list[Line]] = _no_lines
    then: Callable[[LotState, Mapping[str, Any], datetime], LotState] = _as_it_was
    odd: Callable[[Doing], list[Finding]] = _no_findings
    takes: Callable[[LotState, Setting], Takes] = _unknown
    at: Callable[[LotState, Station], tuple[str, ...]] = _where_it_lies
    hurts: tuple[str, ...] = ()
    area: str = "lots.way"
    scale: bool = False
    on_reading: bool = False
    on_cost: bool = False

    def fields(self, state: LotState) -> tuple[Ask, ...]:
        """The fields it asks of a lot in a state."""
        return tuple(a for a in self.asks if a.name not in self.asked_if or self.asked_if[a.name](state))

    def after(self, state: LotState, details: Mapping[str, Any], at: datetime) -> LotState:
        """The lot's state once the step is done; what it holds is in the postings."""
        if not self.shapes:
            return state
        stage = self.leads_to.name if self.leads_to else state.stage
        return self.then(replace(state, stage=stage, moved_at=at), details, at)


def grams(details: Mapping[str, Any], name: str) -> int | None:
    """A weight in whole grams; None where the field was left empty."""
    value = details.get(name)
    return None if value is None else round(value * 1000)


def kg_text(value: float) -> str:
    """Kilograms as a message shows them."""
    return f"{number(value, 0 if value >= 1000 and value == int(value) else 1)} kg"


def not_more(value: float, most: float, than: str, label: str) -> None:
    """Refuse a weight above what can be; `than` says what that is."""
    if value > most:
        raise RangeError(
            say("{weight} is more than {than}.", weight=kg_text(value), than=than), label,
            "Check the weight, or weigh the lot again.",
        )  # fmt: skip


def more_than_held(doing: Doing, name: str, label: str, most: float, needed: bool = False) -> None:
    """Refuse nothing where something must be, and more than `most` kg of what the lot holds."""
    value = doing.details.get(name)
    if value is None:
        return
    if needed and value == 0:
        raise RangeError(say("must be more than nothing."), label, "Check the weight.")
    not_more(value, most, say("the lot holds ({held})", held=kg_text(doing.state.held_kg)), label)
