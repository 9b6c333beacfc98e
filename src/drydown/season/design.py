"""A station as a season meets it: lots it makes, hours people are there, routes by species; never filled
in."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from drydown.errors import InputError, RangeError
from drydown.season.chain import Chain, chain_of
from drydown.station.model import Station
from drydown.station.work import DAYS
from drydown.words import say

__all__ = ["Design", "Hours", "design_of", "hands_by_hour"]

Mix = Mapping[str, tuple[tuple[str, float], ...]]
PULPER_H = 1.0
"""A lot is at most so many hours of the quickest pulper (own choice: pulping begins while fruit still
comes)."""
PLACE_SHARE = 0.5
"""A lot is at most so much of the largest drying place (own choice)."""


@dataclass(frozen=True, slots=True)
class Hours:
    """When fruit comes, and how old it is: gate hours from and until [h of the day], hours from the tree to
    the gate; minutes a delivery takes at the scale and its mass [kg], 0 where the gate is not looked at;
    mtbf_h and mttr_h, hours of work between breakdowns of a pulper and to mend it, 0 without."""

    from_h: float = 12.0
    until_h: float = 18.0
    picked_before_h: float = 4.0
    delivery_min: float = 0.0
    delivery_kg: float = 40.0
    mtbf_h: float = 0.0
    mttr_h: float = 0.0

    def __post_init__(self) -> None:
        if not 0.0 <= self.from_h < self.until_h <= 24.0:
            raise RangeError("must end after they begin, within a day.", "gate hours")
        if (
            min(self.picked_before_h, self.delivery_min, self.mtbf_h, self.mttr_h) < 0.0
            or self.delivery_kg <= 0.0
        ):
            raise RangeError("must be zero or more; a delivery weighs something.", "hours of the gate")


@dataclass(frozen=True, slots=True)
class Design:
    """A station and how it is run. mix, routes of each species with their shares; chains by (species, route);
    lot_kg, the largest lot of each [kg of fruit]; hands (hour of the week), people there, -1 any number."""

    station: Station
    mix: Mix
    hours: Hours
    chains: Mapping[tuple[str, str], Chain]
    lot_kg: Mapping[tuple[str, str], float]
    hands: NDArray[np.int64]
    notes: tuple[str, ...] = field(default=())


def hands_by_hour(station: Station) -> NDArray[np.int64]:
    """People who are there in each hour of the week, Monday first; -1 where no shift is stated.

    Args: station. Returns: (168,). Valid range: any. Source: as the station states its shifts.
    """
    shifts = station.work.shifts
    if not shifts:
        return np.full(168, -1, np.int64)
    found = np.zeros(168, np.int64)
    for shift in shifts:
        for d, name in enumerate(DAYS):
            if name in shift.days:
                found[24 * d + int(shift.from_h) : 24 * d + int(np.ceil(shift.until_h))] += shift.people
    return found


def design_of(station: Station, hours: Hours, mix: Mix | None = None) -> Design:
    """A station as a season meets it.

    Args: station; hours of its gate; mix, routes of each species with shares that add up to one (else the
    first of the station's routes that it can take). Returns: `Design`, with notes of what is not stated and
    so left out. Raises `InputError` where a species has no route here. Valid range: any station. Source: the
    station file.
    """
    chosen: dict[str, tuple[tuple[str, float], ...]] = {}
    chains: dict[tuple[str, str], Chain] = {}
    for name in station.species:
        wanted = (mix or {}).get(name) or ((_usual(station, name), 1.0),)
        if abs(sum(s for _r, s in wanted) - 1.0) > 1e-6 or min(s for _r, s in wanted) < 0.0:
            raise InputError("must add up to the whole.", say("routes of {species}", species=name))
        chosen[name] = tuple((r, s) for r, s in wanted if s > 0.0)
        for route, _share in chosen[name]:
            chains[name, route] = chain_of(station, name, route)
    lot = {key: _largest(station, chain) for key, chain in chains.items()}
    return Design(station, chosen, hours, chains, lot, hands_by_hour(station), tuple(_left_out(station)))


def _usual(station: Station, species: str) -> str:
    for route in station.routes:
        try:
            chain = chain_of(station, species, route)
        except InputError:
            continue
        things = station.equipment
        if (not chain.pulps or things.pulpers) and (not chain.ferments or things.tanks):
            return route
    raise InputError(
        say("no route of the station can take {species}.", species=species), "routes",
        "State a pulper and a tank, or add natural.",
    )  # fmt: skip


def _largest(station: Station, chain: Chain) -> float:
    """The largest lot of a route [kg of fruit]."""
    things = station.equipment
    if chain.pulps and not things.pulpers:
        raise InputError(say("{r} needs a pulper.", r=chain.route.replace("_", " ")), "equipment")
    if chain.ferments and not things.tanks:
        raise InputError(say("{r} needs a tank.", r=chain.route.replace("_", " ")), "equipment")
    beds = [b.area_m2 for b in things.beds]
    most = PLACE_SHARE * max(beds) / chain.m2
    if station.gate.lot_max_kg is not None:
        most = min(most, station.gate.lot_max_kg)
    if chain.pulps:
        most = min(most, PULPER_H * max(p.capacity_kg_h for p in things.pulpers))
    if chain.ferments:
        most = min(most, max(t.volume_l for t in things.tanks) / chain.tank_l)
    return most


def _left_out(station: Station) -> list[str]:
    found: list[str] = []
    if not station.work.shifts:
        found.append(say("no shift is stated: people are there at any hour, in any number"))
    if not station.equipment.hullers:
        found.append(say("no huller is stated: coffee stays in the store as it was dried"))
    if not station.equipment.stores:
        found.append(say("no store is stated: it is never full"))
    return found
