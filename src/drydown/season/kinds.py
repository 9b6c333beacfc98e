"""Generic kinds of things, and a station with more of them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from drydown.errors import InputError
from drydown.figures import Source, Status
from drydown.station.building import Option
from drydown.station.model import Bed, Dryer, Machine, Station, Store, Tank
from drydown.tables import table
from drydown.words import say

__all__ = ["Kind", "kind_of", "kinds", "with_bought"]


@dataclass(frozen=True, slots=True)
class Kind:
    """A thing one can build or buy. capacity in its unit: kg/h, L, m2 or kg; people it takes; life
    [years]."""

    name: str
    thing: str
    label: str
    kind: str
    capacity: float
    power_kw: float
    people: int
    life_years: float
    source: Source
    holds_kg: float = 0.0

    @property
    def unit(self) -> str:
        """Unit of its capacity."""
        return {"pulper": "kg/h", "huller": "kg/h", "tank": "L", "bed": "m2", "dryer": "m2", "store": "kg"}[
            self.thing
        ]


def kinds() -> dict[str, Kind]:
    """All kinds by name. Source: `kinds.toml`, a source a row."""
    rows = table("drydown.season", "kinds.toml")
    return {
        name: Kind(
            name, r["thing"], r["label"], r["kind"], r["capacity"], r["power_kw"], r["people"],
            r["life_years"],
            Source(r["source"], Status(r["status"])), r.get("holds_kg", 0.0),
        )
        for name, r in rows.items()
    }  # fmt: skip


def kind_of(name: str) -> Kind:
    """A kind by name; refuse what is none, with the list."""
    found = kinds().get(name)
    if found is None:
        raise InputError(
            say("'{k}' is not a kind.", k=name), "build.options", say("Choose: {n}.", n=", ".join(kinds()))
        )
    return found


def with_bought(station: Station, options: Mapping[str, Option], counts: Mapping[str, int]) -> Station:
    """The station with so many more of each kind.

    Args: station; options by kind; counts by kind. Returns: a `Station`; what is bought is named by its kind
    and number. Valid range: counts of 0 to 50. Source: none.

    >>> from importlib.resources import files
    >>> from drydown.station.load import parse_station
    >>> here = parse_station((files("drydown.station") / "example.toml").read_text(encoding="utf-8"))
    >>> more = with_bought(here, {o.kind: o for o in here.build.options}, {"tank": 2})
    >>> len(more.equipment.tanks) - len(here.equipment.tanks)
    2
    """
    e = station.equipment
    made: dict[str, list[object]] = {
        k: [] for k in ("pulpers", "hullers", "tanks", "beds", "dryers", "stores")
    }
    for name, count in counts.items():
        row, option = kind_of(name), options[name]
        size = option.size or row.capacity
        for k in range(count):
            called = say("new {label} {n}", label=row.label, n=k + 1)
            if row.thing == "bed":
                made["beds"].append(Bed(name=called, place=row.kind, area_m2=size))
            elif row.thing == "dryer":
                holds = row.holds_kg * size / row.capacity
                made["dryers"].append(Dryer(name=called, kind=row.kind, area_m2=size, holds_kg=holds))
            elif row.thing == "tank":
                made["tanks"].append(Tank(name=called, volume_l=size))
            elif row.thing == "store":
                made["stores"].append(Store(name=called, holds_kg=size))
            else:
                machine = Machine(name=called, kind=row.kind, capacity_kg_h=size)
                made["pulpers" if row.thing == "pulper" else "hullers"].append(machine)
    whole = e.model_copy(update={k: (*getattr(e, k), *v) for k, v in made.items() if v})
    return station.model_copy(update={"equipment": whole})
