"""What a step takes: machines, room, water, people, and for how long, as a distribution."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from drydown.air.normals import MonthNormals
from drydown.air.series import HourlyWeather
from drydown.errors import RangeError
from drydown.figures import Source, Status
from drydown.station.model import Station
from drydown.words import say

__all__ = ["Hours", "Setting", "Takes", "machine_hours", "whole_way_people_h"]

Weather = HourlyWeather | tuple[MonthNormals, ...]


@dataclass(frozen=True, slots=True)
class Hours:
    """How long something takes: draws [h], one a future (inf where it never ends), and their source."""

    draws: NDArray[np.float64]
    source: Source

    def at(self, share: float) -> float:
        """Hours that are enough in a share of the futures.

        Args: share [0 to 1]. Returns: [h], inf where not even the longest look ahead is enough.
        """
        if not 0.0 <= share <= 1.0:
            raise RangeError(say("must be from 0 to 1, got {share:g}.", share=share), "share of futures")
        return float(np.quantile(self.draws, share, method="higher"))

    @classmethod
    def exactly(cls, hours: float, source: Source) -> Hours:
        """The same in every future."""
        return cls(np.array([hours]), source)

    @classmethod
    def between(cls, low: float, middle: float, high: float, source: Source, members: int = 200) -> Hours:
        """A triangle, its futures spread evenly over it. Args: low, middle, high [h]."""
        even = (np.arange(members) + 0.5) / members
        bend = (middle - low) / (high - low) if high > low else 0.5
        left = low + np.sqrt(even * (high - low) * (middle - low))
        right = high - np.sqrt((1.0 - even) * (high - low) * (high - middle))
        return cls(np.where(even < bend, left, right), source)


@dataclass(frozen=True, slots=True)
class Setting:
    """Where and when a step would be done, and the air of that place."""

    station: Station
    start: datetime
    weather: Weather | None = None
    details: Mapping[str, object] = field(default_factory=dict)
    members: int = 80
    seed: int = 1


@dataclass(frozen=True, slots=True)
class Takes:
    """What a step takes of the station; hours None: not known, or as long as it stays there.

    machine_h, hours by each machine that could do it; tank_l [L]; area_m2 [m2]; store_kg [kg]; water_l
    [L of clean water]; people_h [person-hours], None where no figure is known.
    """

    hours: Hours | None = None
    machine_h: Mapping[str, float] = field(default_factory=dict)
    tank_l: float = 0.0
    area_m2: float = 0.0
    store_kg: float = 0.0
    water_l: float = 0.0
    people_h: float | None = None
    why: str = ""


STATED = Source("capacity as the station states it", Status.STATED)


def machine_hours(station: Station, kind: str, kg: float) -> dict[str, float]:
    """Hours each pulper (or huller) needs for a mass at the capacity the station states.

    Args: station; kind, "pulper" or "huller"; kg. Returns: hours by name. Source: stated capacity.
    """
    things = station.equipment.pulpers if kind == "pulper" else station.equipment.hullers
    return {m.name: kg / m.capacity_kg_h for m in things}


def by_machine(station: Station, kind: str, kg: float) -> Takes:
    """What a step at a machine takes: the quickest one's hours, and all of them side by side."""
    hours = machine_hours(station, kind, kg)
    if not hours:
        return Takes(why=say("no {kind} is stated", kind=kind))
    return Takes(Hours.exactly(min(hours.values()), STATED), hours)


def whole_way_people_h(fruit_kg: float) -> tuple[Hours, Source]:
    """Person-hours from the gate to the sorted lot, all steps together.

    Equation: 8 h a day over 300 to 500 kg of fruit a person and day. Args: fruit_kg [kg].
    Returns: [person-hours] as draws, and the source. Valid range: a station of any size.
    Source: from memory: 1 person per 0.3 to 0.5 t of fruit a day, drying and sorting included; no
    published figure was found, and none for single steps.
    """
    source = Source(
        "1 person per 0.3 to 0.5 t of fruit a day, drying and sorting included", Status.FROM_MEMORY
    )
    low, high = 8.0 * fruit_kg / 500.0, 8.0 * fruit_kg / 300.0
    return Hours.between(low, (low + high) / 2.0, high, source), source
