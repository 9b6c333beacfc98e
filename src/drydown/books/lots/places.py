"""What stands where: how full each bed, dryer, tank and store is, and what each machine takes."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from drydown.books.journal.write import DRY, WATER
from drydown.books.lots.drying import spread_m2
from drydown.books.lots.flows import Matter
from drydown.books.models import Happening, Holding, Lot
from drydown.figures import Source, Status
from drydown.matter.density import WET_PULPED_KG_M3
from drydown.numerals import number
from drydown.station.model import Station

__all__ = ["SLACK", "Spot", "Yard", "machine_hours", "tank_of", "yard_of"]

SLACK = 1.02
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
        return self.used > SLACK * self.size

    @property
    def free(self) -> float:
        """What is left; never below zero."""
        return max(0.0, self.size - self.used)

    def words(self) -> str:
        """The name with what is free, for a menu."""
        if self.over:
            return f"{self.name} (over-full: {self.share:.0f} %)"
        whose = f", {', '.join(self.lots)} in it" if self.unit == "L" and self.lots else ""
        return f"{self.name} ({number(self.free)} {self.unit} free{whose})"


@dataclass(frozen=True, slots=True)
class Yard:
    """All places of the station by name."""

    beds: dict[str, Spot]
    tanks: dict[str, Spot]
    stores: dict[str, Spot]

    def over(self, lot: Lot) -> Spot | None:
        """The over-full place that a lot stands in, if it does."""
        found = next((s for s in (*self.tanks.values(), *self.beds.values()) if lot.code in s.lots), None)
        return found if found is not None and found.over else None


def tank_of(lot: Lot) -> str:
    """The tank a fermenting lot was put into last; empty where nobody said."""
    if lot.stage != Lot.Stage.FERMENTING:
        return ""
    last = lot.happenings.filter(kind="ferment", undone=False).order_by("-entry_id").first()
    return str(last.details.get("tank", "")) if last else ""


def litres(matter: Matter) -> float:
    """Room that pulped coffee takes in a tank, L."""
    return matter.mass / 1000.0 / WET_PULPED_KG_M3 * 1000.0


def _matter(lots: Iterable[Lot]) -> dict[str, Matter]:
    rows = Holding.objects.filter(account__name__in=[lot.account for lot in lots], commodity__in=(DRY, WATER))
    found: dict[str, list[int]] = {}
    for name, commodity, amount in rows.values_list("account__name", "commodity", "amount"):
        found.setdefault(name, [0, 0])[commodity == WATER] = amount
    return {name: Matter(*pair) for name, pair in found.items()}


def _tanks(lots: list[Lot]) -> dict[str, str]:
    """Tank by lot code, for lots that ferment."""
    inside = [lot.pk for lot in lots if lot.stage == Lot.Stage.FERMENTING]
    rows = Happening.objects.filter(lot__in=inside, kind="ferment", undone=False).order_by("entry_id")
    return {h.lot.code: str(h.details.get("tank", "")) for h in rows.select_related("lot")}


def yard_of(station: Station, without: Lot | None = None) -> Yard:
    """How full every place is now; `without` leaves one lot out, as when it is about to move."""
    things = station.equipment
    beds = {
        name: Spot(name, spot.label, area, "m2") for name, (spot, area) in station.drying_places().items()
    }
    tanks = {t.name: Spot(t.name, "tank", t.volume_l, "L") for t in things.tanks}
    stores = {s.name: Spot(s.name, "store", s.holds_kg, "kg") for s in things.stores}
    stages = (Lot.Stage.DRYING, Lot.Stage.FERMENTING, Lot.Stage.STORED, Lot.Stage.HULLED, Lot.Stage.SORTED)
    lots = [lot for lot in Lot.objects.filter(stage__in=stages) if without is None or lot.pk != without.pk]
    matter, inside = _matter(lots), _tanks(lots)
    for lot in lots:
        has = matter.get(lot.account, Matter(0, 0))
        if lot.stage == Lot.Stage.DRYING:
            if lot.load_kg_m2:
                _put(beds.get(lot.bed), lot, spread_m2(lot, station, has.dry, lot.load_kg_m2))
        elif lot.stage == Lot.Stage.FERMENTING:
            _put(tanks.get(inside.get(lot.code, "")), lot, litres(has))
        else:
            _put(stores.get(lot.store), lot, has.mass / 1000.0)
    return Yard(beds, tanks, stores)


def _put(spot: Spot | None, lot: Lot, amount: float) -> None:
    if spot is not None:
        spot.used += amount
        spot.lots.append(lot.code)


def machine_hours(station: Station, kind: str, kg: float) -> dict[str, float]:
    """Hours each pulper (or huller) needs for a mass at the capacity the station states."""
    things = station.equipment.pulpers if kind == "pulper" else station.equipment.hullers
    return {m.name: kg / m.capacity_kg_h for m in things}
