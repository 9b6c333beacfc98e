"""What stands where: how full each bed, dryer, tank and store is."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np

from drydown.figures import Source, Status
from drydown.matter.balance import route_balance
from drydown.matter.density import WET_PULPED_KG_M3
from drydown.matter.practice import Drawn
from drydown.matter.routes import route_names
from drydown.matter.species import species
from drydown.numerals import number
from drydown.station.model import Station
from drydown.way.matter import Matter
from drydown.way.state import LotState
from drydown.words import say

__all__ = [
    "CROWDED",
    "VOLUME_SOURCE",
    "Spot",
    "Yard",
    "dry_matter_of",
    "litres",
    "room_of",
    "spread_m2",
    "yard_of",
]

CROWDED = 1.02
"""A place counts as over-full from this share on: areas and volumes are reckoned, not measured."""
VOLUME_SOURCE = Source(
    "826 kg/m3 of freshly pulped coffee, as it lies (Oliveros and Roa, cv. Caturra)", Status.PUBLISHED
)


@dataclass(slots=True)
class Spot:
    """A place with what it can take, what is in it, and whose: m2, litres or kg."""

    name: str
    kind: str
    size: float
    unit: str
    used: float = 0.0
    lots: list[str] = field(default_factory=list)

    @property
    def share(self) -> float:
        """Per cent that is taken."""
        return 100.0 * self.used / self.size

    @property
    def over(self) -> bool:
        """More than it can take."""
        return self.used > CROWDED * self.size

    @property
    def free(self) -> float:
        """What is left; never below zero."""
        return max(0.0, self.size - self.used)

    def words(self) -> str:
        """The name with what is free, for a menu."""
        if self.over:
            return f"{self.name} (over-full: {self.share:.0f} %)"
        whose = say(", {lots} in it", lots=", ".join(self.lots)) if self.unit == "L" and self.lots else ""
        return f"{self.name} ({number(self.free)} {self.unit} free{whose})"


@dataclass(frozen=True, slots=True)
class Yard:
    """All places of the station by name."""

    beds: dict[str, Spot]
    tanks: dict[str, Spot]
    stores: dict[str, Spot]

    def over(self, code: str) -> Spot | None:
        """The over-full place that a lot stands in, if it does."""
        found = next((s for s in (*self.tanks.values(), *self.beds.values()) if code in s.lots), None)
        return found if found is not None and found.over else None


def litres(matter: Matter) -> float:
    """Room that pulped coffee takes in a tank, L."""
    return matter.mass / 1000.0 / WET_PULPED_KG_M3 * 1000.0


def dry_matter_of(species_name: str, route: str, station: Station, fruit_kg: float) -> int:
    """Dry matter that fruit brings to the bed by the typical balance of its route, g.

    Args: species_name; route; station; fruit_kg [kg]. Returns: [g]. Source: `matter.balance`.
    """
    name = route if route in route_names() else "washed"
    made = route_balance(species(species_name).typical(), station.practice().typical(), name, fruit_kg, 0.11)
    wet = next(stage for stage in made.stages if stage.name == "dry").inputs["wet"]
    return round(1000.0 * float(np.asarray(wet.dm)))


def spread_m2(route: str, species_name: str, station: Station, dry_g: int, load_kg_m2: float) -> float:
    """Area that dry matter takes at a load, which counts kilograms as first spread, m2.

    Args: route; species_name; station; dry_g [g]; load_kg_m2 [kg as first spread per m2].
    Returns: [m2], as spread by the typical balance of its route.
    """
    name = route if route in route_names() else "washed"
    return dry_g / 1000.0 * _wet_over_dry(species_name, name, station.practice().typical()) / load_kg_m2


@lru_cache(maxsize=64)
def _wet_over_dry(species_name: str, route: str, practice: Drawn) -> float:
    """Mass as spread over its dry matter, by the typical balance of a route."""
    made = route_balance(species(species_name).typical(), practice, route, 1000.0, 0.11)
    wet = next(stage for stage in made.stages if stage.name == "dry").inputs["wet"]
    return float(np.asarray(wet.mass / wet.dm))


def room_of(state: LotState, lies: str, station: Station) -> float:
    """Room a lot takes where it lies: m2 of a bed, L of a tank, kg of a store."""
    if lies == "bed":
        load = state.load_kg_m2
        return spread_m2(state.route, state.species, station, state.matter.dry, load) if load else 0.0
    return litres(state.matter) if lies == "tank" else state.held_kg


def yard_of(station: Station, lots: Iterable[tuple[LotState, str]]) -> Yard:
    """How full every place is.

    Args: station; lots, each with the kind of place it lies in ("bed", "tank", "store", or empty).
    Returns: `Yard`; a place that the station no longer has is left out.
    """
    things = station.equipment
    beds = {
        name: Spot(name, spot.label, area, "m2") for name, (spot, area) in station.drying_places().items()
    }
    tanks = {t.name: Spot(t.name, "tank", t.volume_l, "L") for t in things.tanks}
    stores = {s.name: Spot(s.name, "store", s.holds_kg, "kg") for s in things.stores}
    found = {"bed": beds, "tank": tanks, "store": stores}
    for state, lies in lots:
        for stay in state.stays:
            spot = found[lies].get(stay.name) if lies and stay.kind == lies else None
            if spot is not None and (lies != "bed" or state.load_kg_m2):
                spot.used += stay.share * room_of(state, lies, station)
                spot.lots.append(state.code)
    return Yard(beds, tanks, stores)
