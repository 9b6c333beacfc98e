"""Seasons of a station, simulated together: every lot by its steps and by the drying engine itself.

Seasons are run in units of a fixed size, so that a unit gives the same bytes wherever and with whatever else
it is run. A day: all lots that lie are carried on by the engine, then each season's yard does its day.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import datetime, time, timedelta

import numpy as np
from numpy.typing import NDArray

from drydown.air.generator import generate
from drydown.air.normals import MonthNormals
from drydown.air.ownyears import blended
from drydown.air.series import HourlyWeather
from drydown.errors import InputError
from drydown.outlook.rules import window_levels
from drydown.outlook.tank import learnt_hours
from drydown.season.design import Design
from drydown.season.harvest import Fruit, Harvest, draw_fruit
from drydown.season.yard import Lot, Spot, Spread, YardRun, spots_of
from drydown.steps.dry.block import LEFT_OUT
from drydown.steps.dry.data import form
from drydown.steps.dry.draws import draw_parameters
from drydown.steps.dry.many import Lying, Sky
from drydown.steps.dry.run import layers_of

__all__ = ["TAIL_DAYS", "UNIT", "Seasons", "simulate", "unit"]

Array = NDArray[np.float64]
UNIT = 25
"""Seasons that are run together, always: the same unit has the same bytes wherever it is run."""
TAIL_DAYS = 60
"""Days that are looked at after the last fruit; a lot that is wet then counts as never dry."""
POOL = 400
"""Draws of a form that lots take theirs from."""


@dataclass(frozen=True, slots=True)
class Seasons:
    """What came of seasons: their fruit, their lots, and the mass of dry coffee in the store at each day's
    end (season, day) [kg]; gate_wait_h (season), the longest wait at the scale; engine_h, member-hours that
    the engine ran; not_followed, lots that the engine could not follow."""

    first: int
    harvest: Harvest
    fruit: Fruit
    lots: tuple[tuple[Lot, ...], ...]
    store_kg: Array
    gate_wait_h: Array
    rain_mm: Array
    engine_h: int
    not_followed: int


Weather = HourlyWeather | tuple[MonthNormals, ...]


def simulate(
    design: Design, weather: Weather, harvest: Harvest, seasons: int, seed: int = 1, threads: int = 2,
    tell: Callable[[int], None] | None = None, first: int = 0,
) -> list[Seasons]:  # fmt: skip
    """Simulate seasons of a station.

    Args: design; weather, normals or the station's own years; harvest; seasons [count], a whole number of
    units is run; seed; threads; tell, is handed the seasons that are done; first, number of the first season.
    Returns: units in order. Valid range: 1 to 5000 seasons. Source: the steps of `way/`, the engine of
    `steps/dry`, queues of `line`.
    """
    if not 1 <= seasons <= 5000 or first % UNIT:
        raise InputError("must be from 1 to 5000, and begin with a unit.", "seasons")
    firsts = range(first, first + seasons, UNIT)
    left = [min(UNIT, first + seasons - f) for f in firsts]

    def one(k: int) -> Seasons:
        made = unit(design, weather, harvest, firsts[k], left[k], seed, threads if len(firsts) == 1 else 1)
        if tell is not None:
            tell(left[k])
        return made

    if threads == 1 or len(firsts) == 1:
        return [one(k) for k in range(len(firsts))]
    with ThreadPoolExecutor(threads) as pool:
        return list(pool.map(one, range(len(firsts))))


def unit(
    design: Design, weather: Weather, harvest: Harvest, first: int, seasons: int, seed: int, threads: int = 1
) -> Seasons:
    """A unit of seasons. Args and Source: as `simulate`; first, number of its first season.
    Returns: `Seasons`. Valid range: 1 to `UNIT` seasons."""
    practice = design.station.practice().typical()
    fruit = draw_fruit(harvest, float(np.asarray(practice.float_share)), first, seasons, seed)
    begins = datetime.combine(harvest.begins, time(), design.station.place.site().zone)
    days = harvest.days + TAIL_DAYS
    air = _weather(design, weather, begins, 24 * (days + 2), first, seasons, seed)
    return _Unit(design, air, harvest, fruit, first, seed, threads).run(days)


def _weather(
    design: Design, weather: Weather, begins: datetime, hours: int, first: int, seasons: int, seed: int
) -> HourlyWeather:
    """Weather of a unit's seasons. Futures of one seed are the same whoever asks; each unit has its own."""
    own = int(np.random.default_rng([seed, 103, first // UNIT]).integers(2**31))
    if isinstance(weather, HourlyWeather):
        made = blended(weather, begins, hours, UNIT, own)
        if made is None:
            raise InputError("a season needs normals, or a year of hours at least.", "weather")
        return made[0].draw(np.arange(seasons))
    return generate(design.station.place.site(), weather, begins, hours, UNIT, own).draw(np.arange(seasons))


class _Unit:
    """A unit under way."""

    def __init__(
        self, design: Design, air: HourlyWeather, harvest: Harvest, fruit: Fruit, first: int, seed: int,
        threads: int,
    ) -> None:  # fmt: skip
        self.threads = threads
        self.design, self.air, self.harvest, self.fruit, self.first = design, air, harvest, fruit, first
        self.spots: list[Spot] = spots_of(design)
        self.forms = sorted({(c.form, c.species, c.target_wb) for c in design.chains.values()})
        self.pools = {(f, s): draw_parameters(form(f, s), POOL, seed + 7) for f, s, _t in self.forms}
        self.kinds = {(k, f): n for n, (k, f) in enumerate(
            (k, f) for k in range(len(self.spots)) for f in dict.fromkeys(x for x, _s, _t in self.forms)
        )}  # fmt: skip
        routines = {f: design.station.drying[f].routine() for f in {x for x, _s, _t in self.forms}}
        sky = Sky.over(air, [(self.spots[k].place, routines[f]) for k, f in self.kinds])
        self.lying: dict[tuple[float, int], Lying] = {}
        self.whose: dict[tuple[float, int], list[tuple[int, int]]] = {}
        for _f, _s, target in self.forms:
            for spot in self.spots:
                key = (target, layers_of(spot.place))
                self.lying.setdefault(key, Lying(air, sky, target, key[1], window_levels()))
                self.whose.setdefault(key, [])
        tanks = learnt_hours([])
        at_20, at_10 = tanks.draws(20.0, seed, POOL), tanks.draws(10.0, seed, POOL)
        temp = air.temp_c[:, : 24 * (air.hours // 24)].reshape(air.members, -1, 24).mean(axis=2)
        self.rngs = [np.random.default_rng([seed, 107, first + s]) for s in range(air.members)]
        weekday = harvest.begins.weekday()
        self.yards = [
            YardRun(
                design, weekday, at_20, at_10 / at_20, temp[s], np.random.default_rng([seed, 109, first + s])
            )
            for s in range(air.members)
        ]
        self.not_followed = 0

    def run(self, days: int) -> Seasons:
        """All days, and what came of them."""
        store = np.zeros((len(self.yards), days))
        names = [n for n, _s in self.harvest.species]
        last = self.harvest.days
        for day in range(days):
            dried = self.dry_until(24 * (day + 1))
            laid: list[tuple[int, Spread]] = []
            for s, yard in enumerate(self.yards):
                if day < last:
                    kg = dict(zip(names, self.fruit.kg[s, day], strict=True))
                    yard.arrive(day, kg, float(self.fruit.floaters[s, day]))
                laid += [(s, x) for x in yard.a_day(day, dried.get(s, []))]
                store[s, day] = yard.store_kg
            self.lay(laid)
            if day > last and all(self.still(y) for y in self.yards):
                store[:, day + 1 :] = store[:, day : day + 1]
                break
        rain = self.air.rain_mm[:, : 24 * last].sum(axis=1)
        return Seasons(
            self.first, self.harvest, self.fruit, tuple(tuple(y.lots) for y in self.yards), store,
            np.array([y.gate_wait_h for y in self.yards]), rain,
            sum(x.hours_run for x in self.lying.values()), self.not_followed,
        )  # fmt: skip

    @staticmethod
    def still(yard: YardRun) -> bool:
        """Nothing will happen any more."""
        busy = yard.events or yard.waiting or yard.washing or yard.pulpers.waits or yard.hullers.waits
        return not busy and all(lot.dry == lot.dry for lot in yard.lots)

    def dry_until(self, hour: int) -> dict[int, list[tuple[int, float]]]:
        """Carry the engine on; lots that became dry, by season: number and hour."""
        found: dict[int, list[tuple[int, float]]] = {}
        for key, lying in self.lying.items():
            for number in lying.carry_on(hour, self.threads):
                season, lot = self.whose[key][number]
                took = lying.done_h[number]
                if took == LEFT_OUT:
                    self.not_followed += 1
                    took = self.usual(lying)
                mine = self.yards[season].lots[lot]
                mine.window_h, heat, _off, rain = map(float, lying.sums[number])
                mine.burner_mj = heat * mine.area
                mine.rain_kg = rain * mine.area * float(lying.pace[number])
                found.setdefault(season, []).append((lot, float(lying.begun[number] + took)))
        for lots in found.values():
            lots.sort(key=lambda x: (x[1], x[0]))
        return found

    @staticmethod
    def usual(lying: Lying) -> float:
        """Hours that a lot which could not be followed is taken to lie: the middle of the others."""
        known = lying.done_h[lying.done_h >= 0.0]
        return float(np.median(known)) if known.size else 24.0 * TAIL_DAYS

    def lay(self, laid: list[tuple[int, Spread]]) -> None:
        """Hand what was spread to the engine, alike with alike."""
        groups: dict[tuple[str, str, float, int], list[tuple[int, Spread]]] = {}
        for season, spread in laid:
            lot = self.yards[season].lots[spread.lot]
            chain = self.design.chains[lot.species, lot.route]
            groups.setdefault((chain.form, chain.species, chain.target_wb, spread.place), []).append(
                (season, spread)
            )
        for (name, species, target, place), those in sorted(groups.items()):
            spot, row = self.spots[place], form(name, species)
            key = (target, layers_of(spot.place))
            picked = np.array([self.rngs[s].integers(POOL) for s, _x in those])
            pool = self.pools[name, species]
            parameters = {k: v[picked] for k, v in pool.items()}
            lots = [self.yards[s].lots[x.lot] for s, x in those]
            wet = np.array(
                [self.design.chains[lot.species, lot.route].wet_kg * lot.kg / lot.area for lot in lots]
            )
            hours = np.array([x.hour for _s, x in those], dtype=np.int64)
            seasons = np.array([s for s, _x in those], dtype=np.int64)
            numbers = self.lying[key].lay(
                parameters, spot.place, self.kinds[place, name], row.dry_load(1.0) * wet, seasons, hours
            )
            self.whose[key] += [(s, x.lot) for s, x in those]
            assert numbers.size == len(those)  # noqa: S101 (kept in step by the two lines above)


def season_day(harvest: Harvest, hour: float) -> datetime:
    """The moment of an hour of the season, without a zone."""
    return datetime.combine(harvest.begins, time()) + timedelta(hours=float(hour))
