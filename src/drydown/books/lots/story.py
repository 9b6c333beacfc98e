"""A lot's whole story, gathered once: what its page, its report and its plan ask of the books."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import TypeVar

from drydown.books.lots.drying import lot_balance, lot_reasons
from drydown.books.lots.family import Kin, ancestors, descendants
from drydown.books.lots.holdings import BookView, book_view
from drydown.books.lots.keeping import keeping_of
from drydown.books.lots.nights import night_words
from drydown.books.lots.outlook import clock_known, lot_outlook
from drydown.books.lots.states import cherry_kg, states_of, yards_now
from drydown.books.lots.watch import Flag, due, flags_of, offered
from drydown.books.lots.window import Clock, clock_of
from drydown.books.models import Delivery, Happening, Lot, Reading
from drydown.errors import DrydownError
from drydown.figures import Figure, Source
from drydown.matter.report import BalanceReport
from drydown.matter.sorption import fit_note
from drydown.outlook.case import DryingCase
from drydown.outlook.corrected import Corrected
from drydown.outlook.forecast import DryingForecast
from drydown.outlook.keeping import Kept
from drydown.outlook.rules import RuleCheck, check_rules, window_state
from drydown.station.model import Station
from drydown.steps.dry.data import isotherm_of
from drydown.way.habits import lot_form
from drydown.way.order import stage
from drydown.way.state import LotState, Stage
from drydown.way.step import Step
from drydown.way.yard import Yard, room_of
from drydown.words import say

__all__ = ["DryingStory", "Story", "or_none", "story_of"]

Made = TypeVar("Made")
LATE = timedelta(hours=3)
"""So long after its date a lot is told to be read (own choice)."""


def or_none(make: Callable[[], Made]) -> Made | None:
    """An extra; where it cannot be made the rest goes on without it."""
    try:
        return make()
    except DrydownError:
        return None


@dataclass(frozen=True, slots=True)
class DryingStory:
    """What is known of a drying lot; `forecast` None where none can be made, with the trouble in words."""

    trouble: str = ""
    case: DryingCase | None = None
    outlook: Corrected | None = None
    passed: bool = False
    at_target: bool = False
    clock: Clock | None = None
    window_words: str = ""
    window_source: Source | None = None
    reasons: tuple[str, ...] | None = None
    nights: str = ""
    fuel: Figure | None = None

    @property
    def forecast(self) -> DryingForecast | None:
        """The forecast from the last reading on."""
        return self.outlook.forecast if self.outlook else None


@dataclass(frozen=True, slots=True)
class Story:
    """Everything about one lot, as of a moment."""

    lot: Lot
    now: datetime
    state: LotState
    yard: Yard
    whole_yard: Yard
    steps: list[Step]
    due: str
    flags: list[Flag]
    readable: bool
    fruit_g: int
    books: BookView
    drying: DryingStory
    rules: list[RuleCheck] | None
    balance: BalanceReport | None
    note: str
    kept: Kept | None = None
    above: list[Kin] = field(default_factory=list)
    below: list[Kin] = field(default_factory=list)
    deliveries: list[Delivery] = field(default_factory=list)
    way: list[Happening | Reading] = field(default_factory=list)

    @property
    def samples(self) -> list[Happening]:
        """Samples that were drawn of it and stand."""
        return [h for h in self.way if isinstance(h, Happening) and h.kind == "sample" and not h.undone]


def story_of(lot: Lot, station: Station, now: datetime) -> Story:
    """Gather a lot's story; an extra that cannot be made is left out, and never ends the rest."""
    state = states_of([lot])[lot.code]
    without, whole = yards_now(station, lot)
    drying = _drying(lot, state, station, now)
    fruit_g = round(cherry_kg(lot) * 1000)
    isotherm = "washed" if lot.route == "washed" else isotherm_of(lot_form(lot))
    known = lot.known_wb
    return Story(
        lot, now, state, without, whole, offered(lot, station),
        due(lot, station, now, passed=drying.passed),
        flags_of(lot, now, whole, drying.forecast, drying.clock), stage(lot.stage).readable, fruit_g,
        book_view(lot, station.money), drying,
        or_none(lambda: check_rules(known, station.store_c(lot.store), lot_form(lot), lot.species))
        if known else None,
        or_none(lambda: lot_balance(lot, station)) if fruit_g else None, fit_note(lot.species, isotherm),
        or_none(lambda: keeping_of([lot], station, now).get(lot.pk)),
        ancestors(lot), descendants(lot),
        list(lot.deliveries.filter(undone=False).select_related("grower")),
        [*lot.happenings.select_related("by"), *lot.readings.select_related("by")],
    )  # fmt: skip


def _drying(lot: Lot, state: LotState, station: Station, now: datetime) -> DryingStory:
    """Forecast, curve and window, where the lot is drying; its clock where it is dry."""
    if lot.stage != Stage.DRYING:
        return DryingStory(clock=or_none(lambda: clock_known(lot, station, now, reckon=True)))
    try:
        outlook = lot_outlook(lot, station, now)
    except DrydownError as error:
        return DryingStory(say("No forecast: {error}", error=str(error)), clock=clock_of(lot, now, None))
    if outlook is None:
        words = say("No forecast: its drying place or its drying table is not in the station file.")
        return DryingStory(words, clock=clock_of(lot, now, None))
    forecast, clock = outlook.forecast, clock_of(lot, now, outlook)
    told, source = window_state(
        clock.whole_h, clock.figure.high, outlook.very_wet_h, forecast.undried, forecast.case.target_wb
    )
    middle = forecast.dry_on()[1]
    return DryingStory(
        "", forecast.case, outlook, middle is not None and middle < now - LATE,
        lot.known_wb is not None and lot.known_wb <= forecast.case.target_wb, clock, told, source,
        or_none(lambda: lot_reasons(forecast.case, station)), night_words(lot, station, now),
        _fuel(state, station, forecast),
    )  # fmt: skip


def _fuel(state: LotState, station: Station, forecast: DryingForecast) -> Figure | None:
    """Fuel for the whole lot in a machine, where it burns any."""
    each = forecast.figures.get("fuel_kg_m2")
    if each is None or not state.load_kg_m2:
        return None
    area = room_of(state, "bed", station)
    unit, rule = each.unit.removesuffix("/m2"), "fuel of a square metre times the area this lot takes"
    return each.times(area, unit, rule, area=f"{area:.1f} m2")
