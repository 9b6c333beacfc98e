"""How the station dries a lot: its form, its habits, its target."""

from __future__ import annotations

from drydown.books.models import Lot
from drydown.station.model import Drying, Station
from drydown.steps.dry.data import FORM_OF_ROUTE

__all__ = ["habits_of", "lot_form", "target_wb"]


def lot_form(lot: Lot) -> str:
    """What lies on the bed for the lot's route; a blend of routes goes by its dry form."""
    return FORM_OF_ROUTE.get(lot.route, "parchment")


def habits_of(lot: Lot, station: Station) -> Drying | None:
    """The drying table of the lot's form, where the station has one."""
    return station.drying.get(lot_form(lot))  # type: ignore[call-overload, no-any-return]


def target_wb(lot: Lot, station: Station) -> float:
    """Moisture the lot is dried to, fraction wb; 11 % where the station has no table for the form."""
    habits = habits_of(lot, station)
    return habits.target_wb if habits else 0.11
