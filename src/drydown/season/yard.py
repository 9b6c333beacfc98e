"""One season of one station: lots at the gate, pulper, tanks, washing, places, store and huller, hour by
hour."""

from __future__ import annotations

from dataclasses import dataclass, field
from heapq import heappop, heappush

import numpy as np
from numpy.typing import NDArray

from drydown.season.chain import Chain
from drydown.season.design import Design
from drydown.season.line import Line
from drydown.steps.dry.data import Place

__all__ = ["Lot", "Spot", "Spread", "YardRun"]

Array = NDArray[np.float64]
FLOAT_H_T = 0.6
"""Hours a tonne of fruit takes through a float tank (`way/float.py`)."""
THICKER, PATIENCE_H = 1.5, 12.0
"""After so many hours without room a lot is spread so much thicker (own choice, as the plan of a week)."""
GATED, FLOATED, PULPED, READY, WASHED, FREED, HULLED, TICK = range(8)


@dataclass(slots=True)
class Lot:
    """A lot of a season. Hours from the season's start, nan before they happen; place, its index; kg of fruit
    floated; why, what it waited for last before the pulper."""

    species: str
    route: str
    kg: float
    floaters_kg: float
    came: float
    day: int
    wanted: float = np.nan
    pulp_at: float = np.nan
    ready: float = np.nan
    wash_at: float = np.nan
    wet_since: float = np.nan
    spread: float = np.nan
    dry: float = np.nan
    stored: float = np.nan
    hulled: float = np.nan
    place: int = -1
    tank: int = -1
    area: float = 0.0
    thicker: bool = False
    why: str = ""
    window_h: float = 0.0
    burner_mj: float = 0.0
    rain_kg: float = 0.0


@dataclass(frozen=True, slots=True)
class Spread:
    """A lot that was laid on a place: its number in the season, place and hour."""

    lot: int
    place: int
    hour: int
    thicker: bool


@dataclass(slots=True)
class Spot:
    """A drying place as a season fills it. free [m2]; a machine holds one lot of at most holds_kg."""

    name: str
    place: Place
    area: float
    holds_kg: float = np.inf
    free: float = field(init=False)

    def __post_init__(self) -> None:
        self.free = self.area


def spots_of(design: Design) -> list[Spot]:
    """Drying places of a design, beds first."""
    things = design.station.equipment
    beds = [Spot(b.name, b.spot(), b.area_m2) for b in things.beds]
    return beds + [Spot(d.name, d.place(), d.area_m2, d.holds_kg) for d in things.dryers]


class YardRun:
    """A season under way. `a_day` does a day; what was spread in it is dried elsewhere and told the next."""

    def __init__(
        self, design: Design, first_weekday: int, tanks_20: Array, warmer: Array, air_day_c: Array,
        rng: np.random.Generator,
    ) -> None:  # fmt: skip
        things = design.station.equipment
        self.design, self.weekday, self.rng = design, first_weekday, rng
        self.tanks_20, self.warmer, self.air_day_c = tanks_20, warmer, air_day_c
        self.lots: list[Lot] = []
        self.spots = spots_of(design)
        self.tanks = [t.volume_l for t in things.tanks]
        self.tank_used = [False] * len(self.tanks)
        minutes = design.hours.delivery_min
        self.gate: Line[int] | None = Line([60.0 / minutes * design.hours.delivery_kg]) if minutes else None
        self.pulpers: Line[int] = Line([p.capacity_kg_h for p in things.pulpers])
        self.hullers: Line[int] = Line([h.capacity_kg_h for h in things.hullers])
        self.washing: list[int] = []
        self.waiting: list[int] = []
        self.events: list[tuple[float, int, int, int, int]] = []
        self.order = self.hands_used = 0
        self.laid: list[Spread] = []
        self.store_kg = 0.0
        work = design.station.work
        self.need_pulp, self.need_wash = work.pulping_people or 0, work.washing_people or 0
        self.gate_wait_h = 0.0

    # what is there ------------------------------------------------------------------------------------
    def hands(self, at: float) -> int:
        """People there at an hour, less those at work; a large number where no shift is stated."""
        there = int(self.design.hands[(24 * self.weekday + int(at)) % 168])
        return 10**6 if there < 0 else there - self.hands_used

    def open_for(self, at: float, hours: float) -> bool:
        """Whether people are there from an hour on for so long; a work longer than a shift may begin with
        it."""
        spot = (24 * self.weekday + int(at)) % 168
        end = (24 * self.weekday + int(np.ceil(at + hours - 1e-9)) - 1) % 168
        table = self.design.hands
        if table[spot] == 0:
            return False
        return bool(table[spot] < 0 or table[end] != 0 or (hours > 8.0 and table[spot - 1] == 0))

    def push(self, at: float, kind: int, lot: int, server: int = -1) -> None:
        """Something that will happen."""
        self.order += 1
        heappush(self.events, (at, self.order, kind, lot, server))

    def chain(self, lot: Lot) -> Chain:
        """Its route."""
        return self.design.chains[lot.species, lot.route]

    # a day --------------------------------------------------------------------------------------------
    def arrive(self, day: int, fruit: dict[str, float], floaters: float) -> None:
        """Fruit of a day, in lots that come through the hours of the gate."""
        h = self.design.hours
        for species, whole in fruit.items():
            for route, share in self.design.mix[species]:
                kg = whole * share
                if kg <= 0.0:
                    continue
                count = max(
                    int(np.ceil(kg * (1.0 - floaters) / self.design.lot_kg[species, route] - 1e-9)), 1
                )
                for k in range(count):
                    span = h.until_h - h.from_h
                    came = 24.0 * day + h.from_h + span * (k + 0.5) / count
                    lot = Lot(species, route, kg * (1.0 - floaters) / count, kg * floaters / count, came, day)
                    self.lots.append(lot)
                    closed = came + 0.5 * span / count
                    self.push(closed, GATED, len(self.lots) - 1)

    def a_day(self, day: int, dried: list[tuple[int, float]]) -> list[Spread]:
        """Do a day: lots that became dry (number, hour) leave their place when people are there next."""
        self.laid = []
        for number, at in dried:
            self.lots[number].dry = at
            self.push(self.next_open(max(at, 24.0 * day)), FREED, number)
        table = self.design.hands
        for hour in range(24):
            k = (24 * (self.weekday + day) + hour) % 168
            if table[k] > table[k - 1]:
                self.push(24.0 * day + hour, TICK, -1)
        end = 24.0 * (day + 1)
        while self.events and self.events[0][0] < end:
            at, _o, kind, lot, server = heappop(self.events)
            self.happen(at, kind, lot, server)
            if not (self.events and self.events[0][0] == at):
                self.dispatch(at)
        return self.laid

    def next_open(self, at: float) -> float:
        """The next hour that people are there."""
        while self.design.hands[(24 * self.weekday + int(at)) % 168] == 0:
            at = float(int(at) + 1)
        return at

    def happen(self, at: float, kind: int, number: int, server: int) -> None:
        """What an event does."""
        if kind == TICK:
            return
        lot = self.lots[number]
        if kind == GATED:
            self.gated(at, number, lot, server)
        elif kind == FLOATED and self.chain(lot).pulps:
            self.pulpers.join(number, lot.kg)
        elif kind == FLOATED:
            self.waiting.append(number)
        elif kind == PULPED:
            self.pulpers.end(server)
            self.hands_used -= self.need_pulp
            self.pulped(at, number, lot)
        elif kind == READY:
            self.washing.append(number)
        elif kind == WASHED:
            self.hands_used -= self.need_wash
            lot.wet_since = at
            self.waiting.append(number)
        elif kind == FREED:
            self.freed(at, number, lot)
        else:
            self.hullers.end(server)
            lot.hulled = at
            self.store_kg -= lot.kg * self.chain(lot).stored_kg

    def gated(self, at: float, number: int, lot: Lot, server: int) -> None:
        """To the scale where it is looked at, and from it to the float tank."""
        if self.gate is not None and server < 0:
            self.gate.join(number, lot.kg + lot.floaters_kg)
            lot.wanted = at
            return
        if self.gate is not None:
            self.gate.end(server)
        self.push(at + FLOAT_H_T * (lot.kg + lot.floaters_kg) / 1000.0, FLOATED, number)

    def pulped(self, at: float, number: int, lot: Lot) -> None:
        """Into its tank, or on to a place."""
        if not self.chain(lot).ferments:
            lot.wet_since = at
            self.waiting.append(number)
            return
        row = int(self.rng.integers(self.tanks_20.size))
        temp = float(np.clip(self.air_day_c[min(int(at // 24), self.air_day_c.size - 1)], 10.0, 35.0))
        lot.ready = at + float(self.tanks_20[row] * self.warmer[row] ** ((20.0 - temp) / 10.0))
        self.push(lot.ready, READY, number)

    def freed(self, at: float, number: int, lot: Lot) -> None:
        """Off its place, into the store, and to the huller."""
        spot = self.spots[lot.place]
        spot.free = spot.area if spot.place.machine else min(spot.free + lot.area, spot.area)
        lot.stored = at
        kg = lot.kg * self.chain(lot).stored_kg
        self.store_kg += kg
        if self.hullers.rates:
            self.hullers.join(number, kg)

    # who goes on --------------------------------------------------------------------------------------
    def dispatch(self, at: float) -> None:
        """Begin whatever can begin now: washing, spreading, pulping, hulling; first come, first served."""
        if self.gate is not None and self.gate.waits:
            for number, server, hours in self.gate.start(lambda _n, _h: True):
                self.gate_wait_h = max(self.gate_wait_h, at - self.lots[number].wanted)
                self.push(at + hours, GATED, number, server)
        if self.washing:
            self.wash(at)
        if self.waiting and self.open_for(at, 0.5):
            self.waiting = [n for n in self.waiting if not self.spread(at, n)]
        if self.pulpers.waits:
            self.pulp(at)
        if self.hullers.waits and self.open_for(at, 0.5):
            for number, server, hours in self.hullers.start(lambda _n, h: self.open_for(at, h)):
                self.push(at + hours, HULLED, number, server)

    def pulp(self, at: float) -> None:
        """Pulp what may be pulped; who waits for a machine only is told so."""
        for number, server, hours in self.pulpers.start(lambda n, h: self.may_pulp(at, n, h)):
            self.lots[number].pulp_at = at
            self.push(at + hours + self.broken(hours), PULPED, number, server)
        if self.pulpers.idle() is None:
            for number, _work in self.pulpers.waits:
                self.lots[number].why = "pulper"

    def wash(self, at: float) -> None:
        """Wash what is ready, as far as hands reach."""
        left = []
        for number in self.washing:
            lot = self.lots[number]
            hours = self.chain(lot).wash_h * lot.kg
            if self.hands(at) < max(self.need_wash, 1) or not self.open_for(at, hours):
                left.append(number)
                continue
            self.hands_used += self.need_wash
            lot.wash_at = at
            self.push(at + hours, WASHED, number)
        self.washing = left

    def may_pulp(self, at: float, number: int, hours: float) -> bool:
        """Whether people and, for what ferments, a tank are there; takes both."""
        lot = self.lots[number]
        if self.hands(at) < max(self.need_pulp, 1) or not self.open_for(at, hours):
            lot.why = "people"
            return False
        if self.chain(lot).ferments:
            litres = self.chain(lot).tank_l * lot.kg
            fits = [
                k for k, v in enumerate(self.tanks) if not self.tank_used[k] and v >= litres * (1.0 - 1e-9)
            ]
            if not fits:
                lot.why = "tank"
                return False
            lot.tank = min(fits, key=lambda k: (self.tanks[k], k))
            self.tank_used[lot.tank] = True
        self.hands_used += self.need_pulp
        return True

    def broken(self, hours: float) -> float:
        """Hours that a breakdown adds."""
        h = self.design.hours
        if not h.mtbf_h or self.rng.random() >= 1.0 - np.exp(-hours / h.mtbf_h):
            return 0.0
        return float(self.rng.exponential(h.mttr_h))

    def spread(self, at: float, number: int) -> bool:
        """Lay a lot on the place with most room; thicker after a while; False where there is none."""
        lot = self.lots[number]
        since = lot.wet_since if lot.wet_since == lot.wet_since else lot.came
        chain = self.chain(lot)
        for thicker in (False, True) if at - since >= PATIENCE_H else (False,):
            area = chain.m2 * lot.kg / (THICKER if thicker else 1.0)
            place = self.room(area, lot.kg * chain.wet_kg)
            if place is not None:
                self.lay(at, number, place, area, thicker)
                return True
        return False

    def room(self, area: float, kg: float) -> int | None:
        """A bed with room: one that keeps rain off before others, then the one with most; else a dryer
        that is
        empty and holds it."""
        beds = [k for k, s in enumerate(self.spots) if not s.place.machine and s.free >= area]
        if beds:
            return max(beds, key=lambda k: (self.spots[k].place.keeps_rain_off, self.spots[k].free, -k))
        idle = [
            k for k, s in enumerate(self.spots) if s.place.machine and s.free >= s.area and kg <= s.holds_kg
        ]
        return idle[0] if idle else None

    def lay(self, at: float, number: int, place: int, area: float, thicker: bool) -> None:
        """A lot lies from the next whole hour on."""
        lot, spot = self.lots[number], self.spots[place]
        lot.spread, lot.place, lot.thicker = at, place, thicker
        lot.area = spot.area if spot.place.machine else area
        spot.free = 0.0 if spot.place.machine else spot.free - area
        if lot.tank >= 0:
            self.tank_used[lot.tank] = False
        self.laid.append(Spread(number, place, int(np.ceil(at)), thicker))
        self.push(at, TICK, -1)  # a tank is free: who waits for one is asked again
