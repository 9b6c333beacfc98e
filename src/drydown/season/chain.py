"""What a kilogram of fruit becomes and takes on its route: asked once of the steps themselves."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime

import numpy as np

from drydown.errors import BalanceError, InputError
from drydown.matter.balance import route_balance
from drydown.matter.routes import route as route_row
from drydown.matter.species import species as species_row
from drydown.station.model import Station
from drydown.way.habits import habits_of, lot_form
from drydown.way.matter import Matter, fruit, hulled, to_moisture
from drydown.way.names import DRAIN, DRY, SUPPLY, WATER, Line, by_product
from drydown.way.needs import Setting, whole_way_people_h
from drydown.way.order import step
from drydown.way.state import LotState
from drydown.way.step import Doing
from drydown.way.yard import Yard, litres, spread_m2
from drydown.words import say

__all__ = ["Chain", "chain_of"]

REFERENCE_KG = 1000.0
_AT = datetime(2026, 1, 1, tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class Chain:
    """A route for a species at a station, per kilogram of fruit that was floated.

    ends, grams of dry matter and of water that come to each account; tank_l, wash_h, m2 at the station's
    load, parchment or dried fruit as stored [kg], green [kg], pulp and wash water [L], effluent [L], people
    [h]: of the middle. Moisture target_wb [fraction]; load [kg as spread/m2].
    """

    species: str
    route: str
    form: str
    target_wb: float
    load_kg_m2: float
    pulps: bool
    ferments: bool
    ends: Mapping[str, tuple[float, float]]
    tank_l: float
    wash_h: float
    m2: float
    wet_kg: float
    stored_kg: float
    green_kg: float
    water_l: float
    effluent_l: float
    people_h: float

    def closure(self) -> tuple[float, float]:
        """What is left of dry matter and of water over what entered."""
        whole = [sum(end[c] for end in self.ends.values()) for c in (0, 1)]
        scale = [sum(abs(end[c]) for end in self.ends.values()) for c in (0, 1)]
        return abs(whole[0]) / scale[0], abs(whole[1]) / scale[1]


def chain_of(station: Station, species: str, route: str) -> Chain:
    """A route, walked by its own steps with a lot of a tonne.

    Args: station; species; route. Returns: `Chain`. Raises `InputError` where the station has no table for
    its
    form; `BalanceError` where the walk does not close. Valid range: known species and routes. Source: the
    records of `way/`, every gram of them.
    """
    has = fruit(species, round(1000 * REFERENCE_KG))
    state = LotState("S", species, route, matter=has)
    habits = habits_of(state, station)
    if habits is None:
        raise InputError(
            say("no table [drying.{form}] tells how it is dried.", form=lot_form(state)),
            route.replace("_", " ")
        )  # fmt: skip
    walk = _Walk(station, state, {"fruit": [-has.dry, -has.water]})
    kind = route_row(route).balance
    pulps, ferments = kind != "natural", kind == "washed"
    water = walk.take("pulp") if pulps else 0.0
    tank_l = litres(walk.state.matter) if ferments else 0.0
    wash_h = 0.0
    if ferments:
        washing = step("wash").takes(walk.state, Setting(station, _AT))
        wash_h = 0.0 if washing.hours is None else washing.hours.at(0.5)
        water += walk.take("wash")
    wet = walk.state.matter
    m2 = spread_m2(route, species, station, wet.dry, habits.load_kg_m2)
    walk.post(to_moisture(walk.state.matter, "lot/S", habits.target_wb))
    stored = walk.state.matter
    green = _green_share(station, species, route, habits.target_wb) * stored.mass
    shell = by_product("husk" if kind == "natural" else "parchment hull")
    walk.post(hulled(walk.state.matter, "lot/S", round(green), None, habits.target_wb, shell))
    walk.ends["green"] = [walk.state.matter.dry, walk.state.matter.water]
    drained = walk.ends.get(DRAIN, [0, 0])
    per = 1.0 / REFERENCE_KG
    made = Chain(
        species, route, lot_form(state), habits.target_wb, habits.load_kg_m2, pulps, ferments,
        {k: (per * d, per * w) for k, (d, w) in walk.ends.items()},
        per * tank_l, per * wash_h, per * m2, per * wet.mass / 1000.0, per * stored.mass / 1000.0,
        per * walk.state.matter.mass / 1000.0, per * water, per * sum(drained) / 1000.0,
        whole_way_people_h(1.0)[0].at(0.5),
    )  # fmt: skip
    if max(made.closure()) > 1e-9:
        raise BalanceError(say("the route leaves {w:.1e} of what entered.", w=max(made.closure())))
    return made


def _green_share(station: Station, species: str, route: str, target_wb: float) -> float:
    """Green coffee of what was stored, by the typical balance."""
    made = route_balance(
        species_row(species).typical(), station.practice().typical(), route, 1000.0, target_wb
    )
    out = next(s for s in made.stages if s.name == "hull")
    return float(np.asarray(out.outputs["green"].mass / out.inputs["dry"].mass))


@dataclass(slots=True)
class _Walk:
    """A lot on its way, and what came to each account [g]."""

    station: Station
    state: LotState
    ends: dict[str, list[int]]

    def take(self, kind: str) -> float:
        """Do a step; returns the litres it drew."""
        doing = Doing(self.state, {}, _AT, self.station, Yard({}, {}, {}))
        before = self.ends.get(SUPPLY, [0, 0])[1]
        self.post(step(kind).moves(doing))
        return (before - self.ends.get(SUPPLY, [0, 0])[1]) / 1000.0

    def post(self, lines: list[Line]) -> None:
        """Bring postings to the lot and to the other accounts."""
        dry, water = self.state.matter.dry, self.state.matter.water
        for account, commodity, grams in lines:
            if account == self.state.account:
                dry += grams if commodity == DRY else 0
                water += grams if commodity == WATER else 0
            else:
                end = self.ends.setdefault(account, [0, 0])
                end[0 if commodity == DRY else 1] += grams
        self.state = replace(self.state, matter=Matter(dry, water))
