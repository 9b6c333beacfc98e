"""The routes of a lot side by side: days, risk, room, water, work, what it costs and brings, what must be
true."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime

import numpy as np

from drydown.errors import InputError
from drydown.figures import Band, Figure, Source, Status
from drydown.matter.report import report_balance
from drydown.matter.species import species as species_row
from drydown.outlook.rules import window_days
from drydown.outlook.skies import Skies
from drydown.outlook.tank import learnt_hours, window_of
from drydown.plan.drytimes import DryTimes, case_of
from drydown.plan.week import Week
from drydown.station.model import Station
from drydown.way.habits import habits_of
from drydown.way.needs import machine_hours
from drydown.way.state import LotState
from drydown.way.yard import dry_matter_of, spread_m2
from drydown.words import say

__all__ = ["RULES", "RouteSide", "Rule", "routes_beside"]

EXTENSION = Source(
    "common practice, no source: drying 6.5, 8.5 and 13 days side by side", Status.COMMON_PRACTICE
)
PUERTA = Source("Puerta 2000, Cenicafe 51(2): under 2.5 % green fruit for washed", Status.PUBLISHED)
OLIVEROS = Source(
    "Oliveros 2010, Cenicafe 61(3): fruit of mixed ripeness as natural or pulped natural, green parted",
    Status.PUBLISHED,
)
PENUELA = Source("Cenicafe, journal: pulped natural carries 22 to 77 % chance of a defect", Status.PUBLISHED)
WATER = Source("country table of water use: 1 to 40 L per kg of fruit, most 3 to 15", Status.SECOND_HAND)


@dataclass(frozen=True, slots=True)
class Rule:
    """A published or usual rule beside what was computed."""

    route: str
    words: str
    source: Source


@dataclass(frozen=True, slots=True)
class RouteSide:
    """One route for fruit of a day. figures by name; must, what must be true for it; differs, where a rule of
    thumb says otherwise and why."""

    route: str
    place: str
    figures: dict[str, Figure]
    must: tuple[str, ...]
    rules: tuple[Rule, ...] = ()
    differs: tuple[str, ...] = field(default=())

    @property
    def margin(self) -> float | None:
        """What is left of a lot's price, where price and cost are known [currency]."""
        found = self.figures.get("margin")
        return None if found is None else found.value


RULES: dict[str, tuple[tuple[str, Source, float | None], ...]] = {
    "washed": (
        ("about 6.5 days of drying", EXTENSION, 6.5), ("fewer than 2.5 % green fruit", PUERTA, None),
        ("3 to 15 L of water per kg of fruit in most countries", WATER, None),
    ),
    "pulped_natural": (
        ("about 8.5 days of drying", EXTENSION, 8.5),
        ("a defect in 22 to 77 of 100 cups unless it dries quickly", PENUELA, None),
    ),
    "natural": (
        ("about 13 days of drying", EXTENSION, 13.0),
        ("takes fruit of mixed ripeness, green parted", OLIVEROS, None),
    ),
}  # fmt: skip
"""Rules of thumb by route: words, source, and days where they say any."""


def routes_beside(
    station: Station, skies: Skies, species: str, fruit_kg: float, start: datetime, place: str = "",
    members: int = 100,
) -> list[RouteSide]:  # fmt: skip
    """The station's routes for fruit of a day, side by side.

    Args: station; skies; species; fruit_kg [kg]; start, when the fruit is here, aware; place, a drying place
    by name (else the one where each route dries soonest); members, futures. Returns: a side a route, the best
    margin first where margins are known, else as the station names its routes. Raises `InputError` for a
    species or place that is not here. Valid range: fruit of 1 kg to 1000 t. Source: the engine's own futures;
    the balance's shares; prices as stated."""
    if species not in station.species:
        raise InputError(say("'{s}' is not taken in here.", s=species), "species")
    if place and place not in station.drying_places():
        raise InputError(say("'{p}' is not a drying place here.", p=place), "place")
    if not 1.0 <= fruit_kg <= 1e6:
        raise InputError(say("must be from 1 to 1 000 000 kg, got {k:g}.", k=fruit_kg), "fruit")
    week = Week(start, station, (), (), skies, learnt_hours([]), 20.0, members=members)
    times = DryTimes(week, {})
    found = [s for r in station.routes if (s := _side(week, times, species, r, fruit_kg, place)) is not None]
    known = all(s.margin is not None for s in found)
    return sorted(found, key=lambda s: -(s.margin or 0.0)) if known else found


def _side(
    week: Week, times: DryTimes, species: str, route: str, fruit_kg: float, place: str
) -> RouteSide | None:
    station, state = week.station, LotState("", species, route)
    habits = habits_of(state, station)
    if habits is None:
        return None
    names = [place] if place else list(station.drying_places())
    cases = {
        n: c
        for n in names
        if (c := case_of(station, species, route, n, habits.load_kg_m2, week.now)) is not None
    }
    told = times.ask(cases.values())
    best = min((n for n in cases if cases[n] in told), key=lambda n: told[cases[n]].at(0.5), default=None)
    if best is None:
        return None
    time = told[cases[best]]
    low, middle, high = (float(np.quantile(time.done_h, q, method="higher")) / 24.0 for q in (0.1, 0.5, 0.9))
    dry_g = dry_matter_of(species, route, station, fruit_kg)
    area = spread_m2(route, species, station, dry_g, habits.load_kg_m2)
    figures = {
        "days": Figure(middle, "days", low, high, Band.P10_P90, say("hours to the target in each future"),
                       {"place": best, "load": f"{habits.load_kg_m2:g} kg/m2"}, ()),
        "mould": _plain(100.0 * time.mould, "%", say("futures with more than {d:g} days in the mould window",
                        d=window_days()[1])),
        "area": _plain(area, "m2", say("dry matter of the fruit at the station's load")),
        "area_days": Figure(area * middle, "m2 days", area * low, area * high, Band.P10_P90,
                            say("area times days"), {}, ()),
    }  # fmt: skip
    figures |= _wet_side(week, species, route, fruit_kg)
    figures |= _money(week, species, route, fruit_kg, figures)
    rules = tuple(Rule(route, words, source) for words, source, _d in RULES.get(route, ()))
    return RouteSide(route, best, figures, tuple(_must(week, route, figures)), rules, _differs(route, middle))


def _plain(value: float, unit: str, rule: str, **inputs: str) -> Figure:
    return Figure(value, unit, value, value, Band.EXACT, rule, inputs, ())


def _wet_side(week: Week, species: str, route: str, fruit_kg: float) -> dict[str, Figure]:
    """Water and effluent by the balance, hours at the pulper, hours in the tank."""
    made = report_balance(species_row(species), week.station.practice(), route, fruit_kg, 0.11)
    typical = made.typical
    water, out = (float(np.asarray(v)) for v in (typical.water_used_l, typical.effluent_l))
    found = {
        "green": made.figures["green_kg"],
        "water": _plain(water, "L", say("pulping and washing as stated or assumed")),
        "effluent": _plain(out, "L", say("water that carries skin and mucilage off")),
    }
    if route != "natural":
        hours = machine_hours(week.station, "pulper", fruit_kg)
        if hours:
            found["pulper_h"] = _plain(min(hours.values()), "h", say("fruit over the stated capacity"))
    if route == "washed":
        found["tank_h"] = window_of(week.tanks, week.tank_c, seed=1).hours
    return found


def _money(
    week: Week, species: str, route: str, fruit_kg: float, figures: dict[str, Figure]
) -> dict[str, Figure]:
    """Cost of fruit and stated work, what the green brings, what is left; nothing where no price is
    stated."""
    money, work = week.station.money, week.station.work
    price = money.cherry_price_per_kg.get(species)
    if price is None:
        return {}
    cost, inputs = price * fruit_kg, {"fruit": f"{price:g} {money.currency}/kg"}
    if work.wage_per_h is not None and work.pulping_people is not None and "pulper_h" in figures:
        hands = work.wage_per_h * work.pulping_people * figures["pulper_h"].value
        cost, inputs["pulping"] = cost + hands, f"{hands:.0f} {money.currency}"
    unit = money.currency
    found = {
        "cost": Figure(
            cost, unit, cost, cost, Band.EXACT, say("fruit and the work that is stated"), inputs, ()
        )
    }
    green, brings = figures["green"], work.green_price(species, route)
    if brings is None:
        return found
    income = tuple(brings * v for v in (green.value, green.low, green.high))
    rule = say("green times its stated price")
    told = {"price": f"{brings:g} {unit}/kg"}
    found["income"] = Figure(income[0], unit, income[1], income[2], green.band, rule, told, green.sources)
    left = tuple(v - cost for v in income)
    rule = say("income less cost; raking, hulling, rent and loss are not in it")
    found["margin"] = Figure(left[0], unit, left[1], left[2], green.band, rule, {}, green.sources)
    return found


def _must(week: Week, route: str, figures: dict[str, Figure]) -> Sequence[str]:
    """What must be true for a route."""
    found = [
        say(
            "{a:.0f} m2 free for {d:.0f} days (eight in ten: {low:.0f} to {high:.0f})",
            a=figures["area"].value, d=figures["days"].value, low=figures["days"].low,
            high=figures["days"].high,
        )
    ]  # fmt: skip
    if route == "washed":
        found.append(
            say("a tank free for {h:.0f} h, and hands to wash it in its window", h=figures["tank_h"].value)
        )
    if route != "natural":
        found.append(say("{w:.0f} L of water, and leave to let out {e:.0f}; local law says where",
                         w=figures["water"].value, e=figures["effluent"].value))  # fmt: skip
    if figures["mould"].value > 10.0:
        found.append(
            say(
                "a quicker place or thinner layer: {m:.0f} % of futures pass the mould rule's {d:g} days",
                m=figures["mould"].value, d=window_days()[1],
            )
        )  # fmt: skip
    supply = week.station.wet.supply_l_day
    if supply is not None and figures["water"].value > supply:
        found.append(say("more water than the {s:.0f} L a day that is stated", s=supply))
    return found


def _differs(route: str, days: float) -> tuple[str, ...]:
    """Where a rule of thumb says other days, and why."""
    found = []
    for words, _source, told in RULES.get(route, ()):
        if told is not None and not 0.8 <= days / told <= 1.25:
            found.append(
                say(
                    "the rule says {w}; here it is {d:.1f}: this place's sun, humidity, nights and load are "
                    "in the figure, the rule knows none of them", w=words, d=days,
                )
            )  # fmt: skip
    return tuple(found)
