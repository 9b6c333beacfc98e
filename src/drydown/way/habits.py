"""How the station dries a lot: its form, its habits, its target."""

from __future__ import annotations

from typing import Protocol

from drydown.matter.routes import form_of_route
from drydown.station.model import Drying, Station

__all__ = ["Routed", "habits_of", "lot_form", "target_wb"]


class Routed(Protocol):
    """Whatever goes a route."""

    @property
    def route(self) -> str:
        """Name of the route."""


def lot_form(lot: Routed) -> str:
    """What lies on the bed for the lot's route; a blend of routes goes by its dry form."""
    return form_of_route(lot.route)


def habits_of(lot: Routed, station: Station) -> Drying | None:
    """The drying table of the lot's form, where the station has one."""
    return station.drying.get(lot_form(lot))


def target_wb(lot: Routed, station: Station) -> float:
    """Moisture the lot is dried to, fraction wb; 11 % where the station has no table for the form."""
    habits = habits_of(lot, station)
    return habits.target_wb if habits else 0.11
