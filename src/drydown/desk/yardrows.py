"""The lots of the yard as rows: what each holds, when it is dry, what presses, what comes next."""

from __future__ import annotations

import time
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime

from django.utils.translation import gettext as _

from drydown.books.lots.outlook import clock_known, kept_outlook, lot_outlook
from drydown.books.lots.states import states_of
from drydown.books.lots.watch import (
    READ_WORDS,
    Flag,
    Level,
    due,
    flags_of,
    held_back,
)
from drydown.books.lots.window import Clock, clock_of
from drydown.books.models import Lot
from drydown.desk.marks import Mark, mark_of
from drydown.errors import DrydownError
from drydown.outlook.corrected import Corrected
from drydown.outlook.forecast import DryingForecast
from drydown.station.model import Station
from drydown.way.order import stage, step
from drydown.way.state import LotState, Stage
from drydown.way.yard import Yard, room_of
from drydown.words import say

__all__ = ["Moment", "Row", "rows_of"]

Moment = datetime | None


@dataclass(frozen=True, slots=True)
class Row:
    """One lot of the yard, with all that its row and its bar show."""

    lot: Lot
    state: LotState
    fruit_g: int = 0
    m2: float = 0.0
    todo: str = ""
    flags: list[Flag] = field(default_factory=list)
    forecast: DryingForecast | None = None
    dry_on: tuple[Moment, Moment, Moment] = (None, None, None)
    window_h: float | None = None
    trouble: str = ""
    waiting: bool = False
    """Its forecast is not reckoned yet."""
    outlook: Corrected | None = None

    @property
    def place(self) -> str:
        """Where it lies: bed, tank or store."""
        lies = stage(self.lot.stage).lies
        return self.state.at(lies) if lies else ""

    @property
    def middle(self) -> Moment:
        """The middle moment it is dry."""
        return self.dry_on[1]

    @property
    def holds_kg(self) -> float:
        """Mass by the books, kg."""
        return self.state.held_kg

    @property
    def percent(self) -> float | None:
        """Moisture of the last reading, % wb."""
        return None if self.lot.known_wb is None else 100.0 * self.lot.known_wb

    @property
    def endangered(self) -> bool:
        """Whether something about it can hurt."""
        return any(f.level == Level.DANGER for f in self.flags)

    @property
    def weight(self) -> float:
        """How much the worst of its dangers presses."""
        return max((f.weight for f in self.flags if f.level == Level.DANGER), default=0.0)

    @property
    def marks(self) -> list[Mark]:
        """A mark for each thing that presses, once each."""
        found = {mark.symbol: mark for mark in map(mark_of, self.flags)}
        return list(found.values())


def rows_of(lots: Iterable[Lot], station: Station, places: Yard, now: datetime, budget_s: float) -> list[Row]:
    """Rows of lots, in their order.

    Args: lots, with `net`, their fruit in g; station; places; now; budget_s, seconds that may be
    spent on forecasts that are not kept yet: what is left after it is `waiting`.
    """
    found, until = list(lots), time.monotonic() + budget_s
    states = states_of(found)
    return [_row(lot, states[lot.code], station, places, now, until) for lot in found]


def _row(lot: Lot, state: LotState, station: Station, places: Yard, now: datetime, until: float) -> Row:
    fruit_g = int(getattr(lot, "net", 0) or 0)
    if lot.stage == Stage.GONE:
        return Row(lot, state, fruit_g)
    drying = lot.stage == Stage.DRYING
    outlook, trouble, waiting = _outlook(lot, station, now, until) if drying else (None, "", False)
    found = outlook.forecast if outlook else None
    clock = clock_of(lot, now, outlook) if drying else _dry_clock(lot, station, now, until)
    dates = found.dry_on() if found else (None, None, None)
    passed = dates[1] is not None and dates[1] < now
    kind = due(lot, station, now, passed=passed)
    flags = flags_of(lot, now, places, found, None if waiting else clock)
    held = held_back(lot, flags)
    todo = _(READ_WORDS) if kind == "read" else _(step(kind).words) if kind else ""
    return Row(
        lot, state, fruit_g, room_of(state, "bed", station) if drying else 0.0,
        held.todo if held else todo, flags, found, dates,
        None if clock is None or waiting else clock.whole_h, trouble, waiting, outlook,
    )  # fmt: skip


def _dry_clock(lot: Lot, station: Station, now: datetime, until: float) -> Clock | None:
    """The clock of a lot that is dry, by runs where there is time for them."""
    try:
        return clock_known(lot, station, now, reckon=time.monotonic() < until)
    except DrydownError:
        return None


def _outlook(lot: Lot, station: Station, now: datetime, until: float) -> tuple[Corrected | None, str, bool]:
    """A lot's outlook, or why there is none, or that it is still to be reckoned."""
    try:
        found, key = kept_outlook(lot, station, now)
        if not key:
            return None, say("no forecast: its place or its drying table is not in the station file"), False
        if found is None and time.monotonic() < until:
            found = lot_outlook(lot, station, now)
    except DrydownError as error:
        return None, str(error), False
    return found, "", found is None
