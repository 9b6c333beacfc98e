"""The demo's half season: invented growers, deliveries, lots and readings, from a seed.

Everything is invented. The lots dry by the drying step in one generated weather, with
properties drawn from their ranges, so that forecasts and readings disagree as in life.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import partial
from typing import Any

import numpy as np
from django.db import transaction

from drydown.air.generator import generate
from drydown.air.series import HourlyWeather
from drydown.books.demo.samples import new_key, sample_lot, taste
from drydown.books.journal.write import Who, clock
from drydown.books.lots.gate import Weighing, owed, receive
from drydown.books.lots.readings import record_reading
from drydown.books.lots.states import lot_matter
from drydown.books.lots.take import take_step
from drydown.books.models import Grower, Lot
from drydown.books.money.payments import pay_grower
from drydown.matter.routes import form_of_route
from drydown.matter.routes import route as route_row
from drydown.station.model import Station
from drydown.steps.dry.data import form
from drydown.steps.dry.draws import draw_parameters
from drydown.steps.dry.run import dry

__all__ = ["fill"]

DAYS = 44
FIRST = ("Ama", "Beno", "Dari", "Eko", "Fela", "Goro", "Hani", "Ilo", "Jora", "Kesa", "Lumo", "Mira", "Nabo")
LAST = ("Tessaro", "Vembi", "Okkal", "Durane", "Mossevi", "Harrun", "Bellit", "Corvane", "Issard", "Pellum")
VILLAGES = ("Upper Tesh", "Lower Tesh", "Marro Ford", "Kell Ridge", "Sandal Spring", "Old Cairn")
MIX: list[tuple[str, str, float]] = [
    ("arabica", "washed", 0.46), ("arabica", "pulped_natural", 0.12), ("arabica", "natural", 0.12),
    ("robusta", "natural", 0.12), ("robusta", "washed", 0.08), ("liberica", "natural", 0.06),
    ("liberica", "pulped_natural", 0.04),
]  # fmt: skip
BEDS = {
    "washed": ("Upper beds", "Lower beds"),
    "pulped_natural": ("Film house", "Lower beds"),
    "natural": ("Old patio", "Lower beds"),
}


BUYERS = ("Invented Buyer One", "Invented Buyer Two")


@dataclass(slots=True)
class _Season:
    """What is drawn from while the season is made; `todo` is done in order of time."""

    station: Station
    rng: np.random.Generator
    now: datetime
    weather: HourlyWeather
    who: Who
    todo: list[tuple[datetime, int, Callable[[datetime], None]]] = field(default_factory=list)
    count: int = 0

    def at(self, when: datetime, act: Callable[[datetime], None]) -> None:
        """Have something done at a time, unless that is still to come."""
        if when <= self.now:
            self.count += 1
            heapq.heappush(self.todo, (when, self.count, act))


def fill(station: Station, now: datetime, by: Any, seed: int = 7) -> int:
    """Write half a season that ends at `now`; returns how many deliveries."""
    rng = np.random.default_rng(seed)
    site = station.place.site()
    local = now.astimezone(site.zone)
    begin = (local - timedelta(days=DAYS)).replace(hour=0, minute=0, second=0, microsecond=0)
    normals = station.normals()
    assert normals is not None  # noqa: S101 (the packaged example has normals)
    weather = generate(site, normals, begin, (DAYS + 80) * 24, 1, seed)
    season = _Season(station, rng, local, weather, Who(by))
    with transaction.atomic():
        growers = _growers(rng)
        total = 0
        for day in range(DAYS + 1):
            date = begin + timedelta(days=day)
            if date.isoweekday() != 7 or day == DAYS:
                total += _one_day(season, growers, date)
        for week in range(1, DAYS // 7 + 1):
            season.at(begin + timedelta(days=7 * week, hours=8), partial(_pay_out, season, growers))
        season.at(local - timedelta(hours=20), partial(_taste, season))
        _run(season)
    return total


def _taste(s: _Season, when: datetime) -> None:
    taste(s.who, when)


def _run(s: _Season) -> None:
    """Do what is to be done, in order of time, with the clock of the books set to it."""
    while s.todo:
        when, _order, act = heapq.heappop(s.todo)
        token = clock.set(lambda moment=when: moment)  # type: ignore[misc]
        try:
            act(when)
        finally:
            clock.reset(token)


def _growers(rng: np.random.Generator) -> list[Grower]:
    names = [f"{f} {s}" for f in FIRST for s in LAST]
    chosen = rng.choice(len(names), 58, replace=False)
    rows = [
        Grower(number=101 + i, name=names[c], village=VILLAGES[int(rng.integers(len(VILLAGES)))])
        for i, c in enumerate(chosen)
    ]
    return Grower.objects.bulk_create(rows)


def _one_day(s: _Season, growers: list[Grower], date: datetime) -> int:
    """One day's deliveries and the lots they make; each lot then goes its way."""
    wave = np.exp(-0.5 * ((s.now - date).days / 22.0) ** 2)
    count = max(3, int(s.rng.poisson(22 * wave)))
    kinds = s.rng.choice(len(MIX), count, p=[m[2] for m in MIX])
    chosen = s.rng.choice(len(growers), count, replace=True)
    made, totals = 0, dict.fromkeys({(MIX[int(k)][0], MIX[int(k)][1]) for k in kinds}, 0)
    for kind, g in zip(kinds, chosen, strict=True):
        species, route, _share = MIX[int(kind)]
        at = date + timedelta(hours=float(s.rng.uniform(9.5, 16.0)))
        if at <= s.now:
            weighing = _weighing(s, growers[int(g)], species, route, at)
            totals[species, route] += weighing.net_g
            s.at(at, partial(_weigh_in, weighing))
            made += 1
    for (species, route), grams in sorted(totals.items()):
        if grams:
            _go_its_way(s, species, route, grams / 1000.0, date)
    return made


def _weigh_in(weighing: Weighing, _when: datetime) -> None:
    receive(weighing)


def _weighing(s: _Season, grower: Grower, species: str, route: str, at: datetime) -> Weighing:
    net = round(float(s.rng.lognormal(4.35, 0.5)) * 10) * 100
    tins = 1 + net // 70_000
    ripe = int(s.rng.integers(80, 100))
    money = s.station.money
    price = money.price_coins(species, ripe)
    found = money.fruit_class(ripe)
    value = round(net * price / 1000)
    return Weighing(
        new_key(s.rng), grower, species, route, net + 2000 * tins, 2000 * tins, price, money.currency,
        money.decimals, at, at.date(), ripe, None, found.name if found else "", (("crate", tins),),
        money.held_back(net, value), "", None, s.who,
    )  # fmt: skip


def _step(s: _Season, code: str, kind: str, details: dict[str, Any], when: datetime) -> None:
    lot = Lot.objects.get(code=code)
    take_step(lot, kind, new_key(s.rng), when, s.who, details, s.station)
    if kind == "spread":
        _dry(s, lot, when)


def _go_its_way(s: _Season, species: str, route: str, fruit_kg: float, date: datetime) -> None:
    """Plan every step of a day's lot; what is still to come is not written."""
    code = f"{species[0].upper()}{route_row(route).letter}-{date:%m%d}-A"
    share = float(s.rng.uniform(0.03, 0.08))
    tank = s.station.equipment.tanks[int(s.rng.integers(len(s.station.equipment.tanks)))].name
    plan: list[tuple[str, float, dict[str, Any]]] = [
        ("float", 16.6, {"floaters_kg": round(fruit_kg * share, 1)})
    ]
    if route != "natural":
        plan.append(("pulp", 17.2, {}))
    if route == "washed":
        washed_h = 34.5 + float(s.rng.uniform(-2, 3))
        felt = {"felt": "grips, rough between the fingers", "ph": 4.3}
        plan += [("ferment", 18.0, {"tank": tank}), ("test", washed_h - 0.3, felt), ("wash", washed_h, {})]
    habits = s.station.drying[form_of_route(route)]
    bed = BEDS[route][int(s.rng.integers(2))]
    spread_h = {"washed": 38.0, "pulped_natural": 32.0, "natural": 17.0}[route]
    plan.append(("spread", spread_h, {"bed": bed, "load_kg_m2": habits.load_kg_m2}))
    for kind, hours, details in plan:
        s.at(date + timedelta(hours=hours), partial(_step, s, code, kind, details))


def _dry(s: _Season, lot: Lot, at: datetime) -> None:
    """Let the lot dry in the season's weather; read it daily; bag it at the target."""
    lot.refresh_from_db()
    name, habits = form_of_route(lot.route), s.station.drying[form_of_route(lot.route)]
    drawn = draw_parameters(form(name, lot.species), 2, int(s.rng.integers(1 << 30)))
    one = {k: v[1:] for k, v in drawn.items()}
    one["pace"] = np.ones(1)  # one yard: lots differ by their beans, not by what a new yard may differ
    load_dm = habits.load_kg_m2 / (1.0 + float(one["x_full"][0]))
    local = at.astimezone(s.station.place.site().zone)
    spot, _area = s.station.drying_places()[lot.bed]
    run = dry(one, spot, s.weather.window(local, 24 * 75), habits.routine(), load_dm,
              habits.target_wb)  # fmt: skip
    truth = run.moisture_wb()[0]
    first = 2 if lot.route != "natural" else 4
    for day in range(first, 75):
        when = (local + timedelta(days=day)).replace(hour=15, minute=int(s.rng.integers(50)))
        if when > s.now:
            return
        true = float(truth[min(int((when - local) / timedelta(hours=1)), truth.size - 1)])
        read = max(0.06, round(true + float(s.rng.normal(0, 0.003)), 3))
        temp = float(s.rng.integers(22, 31))
        s.at(when, partial(_read, s, lot.code, read, temp))
        if read <= habits.target_wb + 0.002:
            _bag_later(s, lot.code, when + timedelta(hours=1))
            return


def _read(s: _Season, code: str, moisture: float, temp: float, when: datetime) -> None:
    lot = Lot.objects.get(code=code)
    record_reading(lot, new_key(s.rng), round(moisture * 100, 1), "meter 2", temp, when, s.who)


def _bag_later(s: _Season, code: str, when: datetime) -> None:
    """Bagging by the scale, near what the books hold; some lots are hulled, sorted and sold after."""
    factor, fate = float(s.rng.normal(1.0, 0.03)), float(s.rng.uniform())
    s.at(when, partial(_bag, s, code, factor))
    if fate < 0.45:
        s.at(when + timedelta(days=6), partial(_hull, s, code, float(s.rng.normal(1.0, 0.01))))
    if fate < 0.35:
        s.at(when + timedelta(days=7), partial(_sort, s, code))
        s.at(when + timedelta(days=8), partial(_sample, s, code))
    if fate < 0.25:
        s.at(when + timedelta(days=10), partial(_sell, s, code, BUYERS[int(fate * 100) % 2]))


def _held_kg(code: str) -> float:
    return lot_matter(Lot.objects.get(code=code)).mass / 1000.0


def _bag(s: _Season, code: str, factor: float, when: datetime) -> None:
    mass = round(_held_kg(code) * factor, 1)
    _step(
        s,
        code,
        "bag",
        {"mass_kg": mass, "store": "Main store", "kept_in": "hermetic bag" if code[1] == "P" else "jute"},
        when,
    )


def _hull(s: _Season, code: str, factor: float, when: datetime) -> None:
    share = 0.5 if code[1] == "N" else 0.78 if code[1] == "P" else 0.81
    share = share - 0.1 if code[0] == "L" else share
    green = round(_held_kg(code) * share * factor, 1)
    _step(s, code, "hull", {"green_kg": green, "moisture_percent": 11.0}, when)


def _sort(s: _Season, code: str, when: datetime) -> None:
    _step(s, code, "sort", {"rejects_kg": round(_held_kg(code) * 0.04, 1)}, when)


def _sample(s: _Season, code: str, when: datetime) -> None:
    sample_lot(code, s.station, s.who, when)


def _sell(s: _Season, code: str, buyer: str, when: datetime) -> None:
    price = {"A": 5600, "R": 2900, "L": 4300}[code[0]]
    details = {"buyer": buyer, "mass_kg": round(_held_kg(code), 1), "price_per_kg": price, "all_gone": True}
    _step(s, code, "sell", details, when)


def _pay_out(s: _Season, growers: list[Grower], when: datetime) -> None:
    """Each Monday's pay-out: what is owed, in whole hundreds."""
    for grower in growers:
        due = owed(grower, s.station.money.currency) // 100 * 100
        if due > 0:
            pay_grower(
                grower, due, s.station.money.currency, "payment", "weekly", new_key(s.rng), when, s.who
            )
