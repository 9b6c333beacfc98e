"""The demo's half season: invented growers, deliveries, lots and readings, from a seed.

Everything is invented. The lots dry by the drying step in one generated weather, with
properties drawn from their ranges, so that forecasts and readings disagree as in life.
"""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import numpy as np
from django.db import transaction

from drydown.air.normals import generate
from drydown.air.series import HourlyWeather
from drydown.books.flow import STEPS
from drydown.books.models import Delivery, Grower, Happening, Lot, Reading
from drydown.books.services import LETTER
from drydown.station.model import Station
from drydown.steps.dry.data import FORM_OF_ROUTE, form, place
from drydown.steps.dry.run import draw_parameters, dry

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


@dataclass(slots=True)
class _Season:
    """What is drawn from while the season is made."""

    station: Station
    rng: np.random.Generator
    now: datetime
    weather: HourlyWeather
    by: Any


def fill(station: Station, now: datetime, by: Any, seed: int = 7) -> int:
    """Write half a season that ends at `now`; returns how many deliveries."""
    rng = np.random.default_rng(seed)
    site = station.place.site()
    local = now.astimezone(site.zone)
    begin = (local - timedelta(days=DAYS)).replace(hour=0, minute=0, second=0, microsecond=0)
    normals = station.normals()
    assert normals is not None  # noqa: S101 (the packaged example has normals)
    weather = generate(site, normals, begin, (DAYS + 80) * 24, 1, seed)
    season = _Season(station, rng, local, weather, by)
    with transaction.atomic():
        growers = _growers(rng)
        total = 0
        for day in range(DAYS + 1):
            date = begin + timedelta(days=day)
            if date.isoweekday() != 7 or day == DAYS:
                total += _one_day(season, growers, date)
    return total


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
    lots: dict[tuple[str, str], list[Delivery]] = {}
    for kind, g in zip(kinds, chosen, strict=True):
        species, route, _share = MIX[int(kind)]
        at = date + timedelta(hours=float(s.rng.uniform(9.5, 16.0)))
        if at <= s.now:
            lots.setdefault((species, route), []).append(_delivery(s, growers[int(g)], species, at))
    made = 0
    for (species, route), deliveries in lots.items():
        code = f"{species[0].upper()}{LETTER[route]}-{date:%m%d}-A"
        lot = Lot.objects.create(code=code, species=species, route=route, opened_on=date.date())
        for d in deliveries:
            d.lot = lot
        Delivery.objects.bulk_create(deliveries)
        made += len(deliveries)
        _go_its_way(s, lot, sum(d.net_g for d in deliveries) / 1000.0, date)
    return made


def _delivery(s: _Season, grower: Grower, species: str, at: datetime) -> Delivery:
    net = round(float(s.rng.lognormal(4.35, 0.5)) * 10) * 100
    tare = int(s.rng.choice([1200, 1500, 2000]))
    price = int(s.station.money.cherry_price_per_kg[species])  # type: ignore[index]
    return Delivery(
        key=_key(s), grower=grower, gross_g=net + tare, tare_g=tare, net_g=net,
        ripe_percent=int(s.rng.integers(84, 100)), price_per_kg=price,
        pays=round(net * price / 1000), happened_at=at, by=s.by,
        currency=s.station.money.currency, decimals=s.station.money.decimals,
    )  # fmt: skip


def _key(s: _Season) -> uuid.UUID:
    return uuid.UUID(bytes=s.rng.bytes(16), version=4)


def _go_its_way(s: _Season, lot: Lot, fruit_kg: float, date: datetime) -> None:
    """Record every step whose time has come; then readings, then bagging."""
    share = float(s.rng.uniform(0.03, 0.08))
    tank = s.station.equipment.tanks[int(s.rng.integers(len(s.station.equipment.tanks)))].name
    plan: list[tuple[str, float, dict[str, Any]]] = [
        ("float", 16.6, {"floaters_kg": round(fruit_kg * share, 1)})
    ]
    if lot.route != "natural":
        plan.append(("pulp", 17.2, {}))
    if lot.route == "washed":
        washed_h = 34.5 + float(s.rng.uniform(-2, 3))
        plan += [("ferment", 18.0, {"tank": tank}), ("wash", washed_h, {})]
    habits = s.station.drying[FORM_OF_ROUTE[lot.route]]  # type: ignore[index]
    bed = BEDS[lot.route][int(s.rng.integers(2))]
    spread_h = {"washed": 38.0, "pulped_natural": 32.0, "natural": 17.0}[lot.route]
    plan.append(("spread", spread_h, {"bed": bed, "load_kg_m2": habits.load_kg_m2}))
    for kind, hours, details in plan:
        at = date + timedelta(hours=hours)
        if at > s.now:
            break
        lot.stage = STEPS[kind].leads_to
        Happening.objects.create(key=_key(s), lot=lot, kind=kind, details=details, happened_at=at, by=s.by)
        if kind == "spread":
            lot.bed, lot.load_kg_m2, lot.spread_at = bed, habits.load_kg_m2, at
            _dry(s, lot, fruit_kg * (1 - share), habits, at)
    lot.save()


def _dry(s: _Season, lot: Lot, fruit_kg: float, habits: Any, at: datetime) -> None:
    """Let the lot dry in the season's weather; read it daily; bag it at the target."""
    name = FORM_OF_ROUTE[lot.route]
    drawn = draw_parameters(form(name, lot.species), 2, int(s.rng.integers(1 << 30)))
    one = {k: v[1:] for k, v in drawn.items()}
    load_dm = habits.load_kg_m2 / (1.0 + float(one["x_full"][0]))
    air = s.weather.window(at, 24 * 75)
    bed = s.station.bed(lot.bed)
    assert bed is not None  # noqa: S101 (beds of the packaged example)
    run = dry(one, place(bed.place), air, habits.routine(), load_dm, habits.target_wb)
    truth = run.moisture_wb()[0]
    first = 2 if lot.route != "natural" else 4
    for day in range(first, 75):
        when = (at + timedelta(days=day)).replace(hour=15, minute=int(s.rng.integers(50)))
        if when > s.now:
            return
        true = float(truth[min(int((when - at) / timedelta(hours=1)), truth.size - 1)])
        read = max(0.06, round(true + float(s.rng.normal(0, 0.003)), 3))
        Reading.objects.create(
            key=_key(s), lot=lot, moisture_wb=read, method="meter 2", happened_at=when,
            bean_temp_c=float(s.rng.integers(22, 31)), by=s.by,
        )  # fmt: skip
        if read <= habits.target_wb + 0.002 and when + timedelta(hours=1) <= s.now:
            part = {"washed": 0.2, "pulped_natural": 0.22, "natural": 0.34}[lot.route]
            Happening.objects.create(
                key=_key(s), lot=lot, kind="bag", details={"mass_kg": round(fruit_kg * part, 1)},
                happened_at=when + timedelta(hours=1), by=s.by,
            )  # fmt: skip
            lot.stage = "stored"
            return
