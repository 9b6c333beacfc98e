"""What is known of a lot, as plain values: no table, no clock, no station behind it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from typing import Protocol

from drydown.way.matter import Matter
from drydown.way.names import lot

__all__ = ["LotState", "Note", "Past", "Placed", "Read", "Stage", "Stay", "at_place", "read_at"]


NOTHING = Matter(0, 0)


class Stage:
    """Names of the stages that other rooms ask for; a step may lead to one of its own."""

    GATHERING = "gathering"
    FLOATED = "floated"
    PULPED = "pulped"
    FERMENTING = "fermenting"
    WASHED = "washed"
    DRYING = "drying"
    STORED = "stored"
    HULLED = "hulled"
    SORTED = "sorted"
    ROASTED = "roasted"
    GONE = "gone"


class Placed(Protocol):
    """Whatever says where a lot stands on its way."""

    @property
    def route(self) -> str:
        """Name of the route."""

    @property
    def stage(self) -> str:
        """Name of the stage."""

    @property
    def known_wb(self) -> float | None:
        """Moisture last read, fraction wet basis; None where it was never read."""


@dataclass(frozen=True, slots=True)
class Read:
    """Moisture known of a lot: fraction wet basis, when, and by what method (empty: as it came)."""

    moisture_wb: float
    at: datetime
    method: str = ""


@dataclass(frozen=True, slots=True)
class Stay:
    """A place a lot is at: kind ("bed", "tank", "store"), name, and the share of the lot there."""

    kind: str
    name: str
    share: float = 1.0


@dataclass(frozen=True, slots=True)
class LotState:
    """A lot: species, route, stage, whole grams, where it is, what was last read.

    load_kg_m2 [kg as first spread per m2]; costs, what it has cost, by currency in the smallest coin;
    spread_at and moved_at aware.
    """

    code: str
    species: str
    route: str
    stage: str = Stage.GATHERING
    matter: Matter = NOTHING
    stays: tuple[Stay, ...] = ()
    load_kg_m2: float | None = None
    spread_at: datetime | None = None
    moved_at: datetime | None = None
    reads: tuple[Read, ...] = ()
    costs: tuple[tuple[str, int], ...] = ()

    @property
    def account(self) -> str:
        """Name of its account."""
        return lot(self.code)

    @property
    def held_kg(self) -> float:
        """Mass by the books, kg."""
        return self.matter.mass / 1000.0

    @property
    def known_wb(self) -> float | None:
        """Moisture last read, fraction wet basis."""
        return self.reads[-1].moisture_wb if self.reads else None

    @property
    def known_at(self) -> datetime | None:
        """When it was last read."""
        return self.reads[-1].at if self.reads else None

    def at(self, kind: str) -> str:
        """Name of the place of a kind that most of the lot is at; empty where it is at none."""
        found = [s for s in self.stays if s.kind == kind]
        return max(found, key=lambda s: s.share).name if found else ""

    def cost(self, currency: str) -> int:
        """What it has cost, smallest coin."""
        return dict(self.costs).get(currency, 0)


def at_place(state: LotState, kind: str, name: str) -> LotState:
    """The lot, whole, at a place of a kind; an empty name takes it away from places of that kind."""
    stays = tuple(s for s in state.stays if s.kind != kind)
    return replace(state, stays=(*stays, Stay(kind, name)) if name else stays)


def read_at(state: LotState, moisture_wb: float, at: datetime, method: str = "") -> LotState:
    """The lot read once more; a reading from before the last one changes nothing known."""
    if state.known_at is not None and at < state.known_at:
        return state
    return replace(state, reads=(*state.reads, Read(moisture_wb, at, method))[-8:])


@dataclass(frozen=True, slots=True)
class Note:
    """A step that was noted: its kind and when."""

    kind: str
    at: datetime


@dataclass(frozen=True, slots=True)
class Past:
    """What a lot's history says that its state does not carry.

    fruit_kg, ripe fruit behind it by its shares; family_kg, all fruit it could have come of; weighed,
    whether a scale has spoken of it (or of all it came of); felt, what the last test of the tank said;
    window_h, hours in the mould window while it dried.
    """

    fruit_kg: float = 0.0
    family_kg: float = 0.0
    weighed: bool = False
    first_fruit_at: datetime | None = None
    last_note: Note | None = None
    felt: str = ""
    window_h: float = 0.0
