"""Lots that were dried: how many days each took, beside what the model says from its spreading."""

from __future__ import annotations

import time
from dataclasses import dataclass
from datetime import datetime, timedelta

from drydown.books.lots.drying import kept_forecast, lot_forecast
from drydown.books.models import Happening, Lot, Reading
from drydown.errors import DrydownError
from drydown.outlook.case import DryingCase
from drydown.outlook.forecast import DryingForecast
from drydown.station.model import Station
from drydown.way.dry import drying_case
from drydown.way.habits import target_wb
from drydown.way.order import stages
from drydown.way.state import LotState, Stage, Stay

__all__ = ["Dried", "dried_lots"]


@dataclass(frozen=True, slots=True)
class Dried:
    """Days a lot took from spreading to its first reading at the target, and its forecast, in days."""

    code: str
    species: str
    route: str
    place: str
    spread_at: datetime
    days: float
    early: float
    middle: float | None
    late: float | None

    @property
    def inside(self) -> bool:
        """Whether it dried between early and late, the days of the readings being half a day unsure."""
        return self.days >= self.early - 0.5 and (self.late is None or self.days <= self.late + 0.5)


def dried_lots(station: Station, most: int = 40, budget_s: float = 2.0) -> tuple[list[Dried], int]:
    """The latest lots that were dried in one place, and how many wait to be reckoned.

    Args: station; most, lots looked at; budget_s, seconds for forecasts that are not kept.
    Returns: lots, the latest first; the number of those left for the next time. A lot that was moved
    while it dried, or never read at its target, is left out.
    """
    names = [s.name for s in stages().values() if s.dry or s.name == Stage.GONE]
    found, waiting, until = [], 0, time.monotonic() + budget_s
    for lot in Lot.objects.filter(stage__in=names).order_by("-opened_on", "-pk")[:most]:
        told = _case(lot, station)
        if told is None:
            continue
        case, spread, dry_at = told
        try:
            made = kept_forecast(case, station)
            if made is None and time.monotonic() < until:
                made = lot_forecast(case, station)
        except DrydownError:
            continue
        if made is None:
            waiting += 1
            continue
        found.append(_dried(lot, case, spread, dry_at, made))
    return found, waiting


def _case(lot: Lot, station: Station) -> tuple[DryingCase, datetime, datetime] | None:
    """The case from spreading, when it was spread, and when it was first read at its target."""
    spreads = list(Happening.objects.filter(lot=lot, undone=False, kind__in=("spread", "move")))
    if len(spreads) != 1:
        return None
    details, at = spreads[0].details, spreads[0].happened_at
    reads = Reading.objects.filter(lot=lot, undone=False, happened_at__gte=at)
    dry = reads.filter(moisture_wb__lte=target_wb(lot, station) + 1e-9).order_by("happened_at").first()
    if dry is None:
        return None
    state = LotState(
        lot.code, lot.species, lot.route, Stage.DRYING, stays=(Stay("bed", str(details.get("bed", ""))),),
        load_kg_m2=float(details.get("load_kg_m2", 0.0)) or None, spread_at=at,
    )  # fmt: skip
    case = drying_case(state, station)
    return None if case is None else (case, at, dry.happened_at)


def _dried(lot: Lot, case: DryingCase, at: datetime, dry_at: datetime, made: DryingForecast) -> Dried:
    day = timedelta(days=1)
    early, middle, late = ((m - at) / day if m else None for m in made.dry_on())
    return Dried(
        lot.code, lot.species, lot.route_words(), case.where().name, at, (dry_at - at) / day,
        0.0 if early is None else early, middle, late,
    )  # fmt: skip
