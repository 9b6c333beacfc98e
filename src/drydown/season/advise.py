"""Advice for a grower: ten answers in, ways of working beside each other out, each simulated on its own
steps.

A way is a route on a kind of place, sized for the crop and then tried smaller and larger; all are judged
on the
same harvests and the same weather, by what is left over selling the fruit.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from math import ceil

import numpy as np
from numpy.typing import NDArray

from drydown.errors import InputError, RangeError
from drydown.figures import Figure
from drydown.numerals import number
from drydown.season.chain import chain_of
from drydown.season.costs import costs_of
from drydown.season.design import Hours, design_of
from drydown.season.harvest import Harvest
from drydown.season.kinds import kind_of, with_bought
from drydown.season.outcome import outcome_of
from drydown.season.simulate import Weather, simulate
from drydown.season.study import Study, figures_of
from drydown.station.building import Option
from drydown.station.model import Bed, Equipment, Machine, Station
from drydown.station.work import Shift
from drydown.words import say

__all__ = ["Advice", "Answers", "Way", "advise", "buying_order", "mould_share"]

Array = NDArray[np.float64]
SIZES = (0.5, 0.75, 1.0, 1.5)
"""Areas tried, over that of the hand rule."""
DWELL_DAYS = {"washed": 10.0, "pulped_natural": 13.0, "natural": 20.0}
"""Days a place is taken in the hand rule that the sizes begin with; the engine decides (own choice)."""
PULP_H = 4.0
"""Hours in which the fruit of a large day should be pulped (own choice, after the extension rule of 2 h)."""
SHORT_RUN, LONG_RUN = 10, 50
MOST_MOULD = 0.10
"""A way with more of its lots past the longer mould rule is not recommended (own choice)."""
NEAR = 0.05
"""Ways that leave so nearly the same are told as equal, and the one that costs least comes first (own
choice)."""
TEND_H = 1.0
"""Hours a day that whoever dries spends on raking and covering, whatever the amount (own estimate)."""
WAYS: tuple[tuple[str, str, str], ...] = (
    ("natural", "tarpaulin", "dry whole fruit on tarpaulins"),
    ("natural", "raised_bed", "dry whole fruit on raised beds"),
    ("natural", "film_bed", "dry whole fruit on beds under film"),
    ("pulped_natural", "raised_bed", "pulp, dry with the mucilage on raised beds"),
    ("washed", "tarpaulin", "wash, dry on tarpaulins"),
    ("washed", "raised_bed", "wash, dry on raised beds"),
    ("washed", "film_bed", "wash, dry on beds under film"),
)


@dataclass(frozen=True, slots=True)
class Answers:
    """What a grower is asked. crop_kg of fruit in a season; species; begins and weeks of the harvest;
    days_a_week
    with picking; people who work at it and from_h, until_h [h of the day]; water_l_day, clean water there is;
    room_m2 for drying; money that can be spent [currency]; has_pulper_kg_h and has_bed_m2, what is there."""

    crop_kg: float
    species: str
    begins: date
    weeks: int
    days_a_week: int
    people: int
    from_h: float
    until_h: float
    water_l_day: float
    room_m2: float
    money: float
    has_pulper_kg_h: float = 0.0
    has_bed_m2: float = 0.0

    def __post_init__(self) -> None:
        checks = (
            ("crop, kg", 50.0 <= self.crop_kg <= 2e6, say("50 kg to 2000 t")),
            ("weeks", 2 <= self.weeks <= 45, say("2 to 45")),
            ("days a week", 1 <= self.days_a_week <= 7, say("1 to 7")),
            ("people", 1 <= self.people <= 500, say("1 to 500")),
            (
                "hours of work",
                0.0 <= self.from_h < self.until_h <= 24.0,
                say("until after from, within a day"),
            ),
            ("water", 0.0 <= self.water_l_day <= 1e7, say("0 to 10 000 000 L")),
            ("room", 1.0 <= self.room_m2 <= 1e6, say("1 to 1 000 000 m2")),
            ("money", 0.0 <= self.money <= 1e12, say("zero or more")),
            ("pulper", 0.0 <= self.has_pulper_kg_h <= 5e4, say("0 to 50 000 kg/h")),
            ("beds", 0.0 <= self.has_bed_m2 <= 1e6, say("0 to 1 000 000 m2")),
        )
        for name, good, span in checks:
            if not good:
                raise RangeError(say("must be: {span}.", span=span), name)

    def harvest(self) -> Harvest:
        """The crop as a bell."""
        on = self.days_a_week
        week = tuple(7.0 / on if d < on else 0.0 for d in range(7))
        return Harvest(self.crop_kg, self.begins, 7 * self.weeks, ((self.species, 1.0),), week)


@dataclass(frozen=True, slots=True)
class Way:
    """A way of working: route, kind of place, words; what is bought, by kind; its study; area of all
    places [m2];
    why it cannot be, where it cannot."""

    route: str
    place: str
    words: str
    bought: Mapping[str, int]
    study: Study | None
    area_m2: float
    why_not: str = ""
    why: str = ""
    """The kind of reason by its name in the sheet's words."""

    @property
    def left(self) -> Array:
        """What is left over selling the fruit, each season [currency]."""
        return np.zeros(1) if self.study is None else self.study.costs.left


@dataclass(frozen=True, slots=True)
class Advice:
    """Ways that can be, the best first; those that cannot, and why; how often each is the best (the last
    entry:
    selling fruit); the answers."""

    answers: Answers
    station: Station
    ways: tuple[Way, ...]
    not_possible: tuple[Way, ...]
    best_in: tuple[float, ...]
    notes: tuple[str, ...]

    @property
    def sell(self) -> bool:
        """Whether selling the fruit is left as the best."""
        if not self.ways or mould_share(self.ways[0]) > MOST_MOULD:
            return True
        return float(self.ways[0].left.mean()) <= 0.0

    @property
    def equals(self) -> int:
        """How many ways leave nearly the same as the first, itself not counted."""
        if self.sell:
            return 0
        best = max(float(w.left.mean()) for w in self.ways if mould_share(w) <= MOST_MOULD)
        near = [
            w for w in self.ways if w.left.mean() >= best - NEAR * abs(best) and mould_share(w) <= MOST_MOULD
        ]
        return len(near) - 1

    def figures(self, way: Way) -> dict[str, Figure]:
        """Figures of a way."""
        return {} if way.study is None else figures_of(way.study, self.station.money.currency)


def advise(
    base: Station,
    weather: Weather,
    answers: Answers,
    seasons: int = LONG_RUN,
    seed: int = 1,
    threads: int = 2,
) -> Advice:
    """Advice for a grower.

    Args: base, the station that states place, weather, prices of fruit and green, wage, what things cost
    and how
    each form is dried; weather; answers; seasons, harvests each way is judged on; seed; threads. Returns:
    `Advice`. Raises `InputError` for what the base does not state. Valid range: 50 kg to 2000 t. Source: each
    way's own study; sizes begin with the hand rule.
    """
    if answers.species not in base.species:
        raise InputError(
            say("'{s}' is not stated at {p}.", s=answers.species, p=base.place.name), "species",
            say("Choose: {n}.", n=", ".join(base.species)),
        )  # fmt: skip
    if base.build is None or base.work.wage_per_h is None:
        raise InputError(
            "prices of things, or the wage, are not stated.", "station file", "Add [build] and [work]."
        )
    here = _bare(base, answers)
    prices = {o.kind: o for o in base.build.options}
    possible: list[Way] = []
    out: list[Way] = []
    for route, place, words in WAYS:
        if route not in base.routes:
            continue
        way = _sized(here, weather, answers, prices, (route, place, str(say(words))), seed, threads)
        (out if way.why_not else possible).append(way)
    longer = [_again(here, weather, answers, way, seasons, seed, threads) for way in possible]
    longer = _ranked(longer)
    return Advice(
        answers, here, tuple(longer), tuple(out), _best_in(longer), tuple(_notes(base, longer))
    )  # fmt: skip


def _bare(base: Station, a: Answers) -> Station:
    """The grower's own place: the base's climate and prices, nothing but what is there."""
    pulpers = (
        (Machine(name=say("own pulper"), kind="drum", capacity_kg_h=a.has_pulper_kg_h),)
        if a.has_pulper_kg_h
        else ()
    )
    beds = (Bed(name=say("own beds"), place="raised_bed", area_m2=a.has_bed_m2),) if a.has_bed_m2 else ()
    things = Equipment.model_construct(pulpers=pulpers, hullers=(), tanks=(), beds=beds, dryers=(), stores=())
    shift = Shift(name="day", from_h=a.from_h, until_h=a.until_h, people=a.people)
    work = base.work.model_copy(update={
        "shifts": (shift,), "breakdowns": (), "orders": (), "pulping_people": 1, "washing_people": 1,
    })  # fmt: skip
    gate = base.gate.model_copy(update={"lot_max_kg": None})
    return base.model_copy(
        update={"equipment": things, "work": work, "gate": gate, "species": (a.species,), "season": None}
    )


def _sized(
    here: Station, weather: Weather, a: Answers, prices: Mapping[str, Option], way: tuple[str, str, str],
    seed: int, threads: int,
) -> Way:  # fmt: skip
    """The size of a way that leaves most, or why it cannot be."""
    route, place, words = way
    needs = [place, *(["hand_pulper"] if route != "natural" and not a.has_pulper_kg_h else []),
             *(["barrel"] if route == "washed" else [])]  # fmt: skip
    missing = [k for k in needs if k not in prices]
    if missing:
        names = ", ".join(kind_of(k).label for k in missing)
        return Way(
            route, place, words, {}, None, 0.0, say("no price is stated for {k}", k=names), "adv_no_price"
        )
    if here.work.green_price(a.species, route) is None:
        return Way(route, place, words, {}, None, 0.0, say("no price of its green is stated"), "adv_no_price")
    try:
        chain = chain_of(here, a.species, route)
    except InputError as error:
        return Way(route, place, words, {}, None, 0.0, str(error).rstrip("."), "adv_no_habit")
    peak = a.harvest().peak_share * a.crop_kg
    if chain.water_l * peak > a.water_l_day:
        why = say(
            "takes {n:.0f} L on a large day; there are {h:.0f}", n=chain.water_l * peak, h=a.water_l_day
        )
        return Way(route, place, words, {}, None, 0.0, why, "adv_no_water")
    best: Way | None = None
    short = ("", "")
    for size in SIZES:
        counts = _counts(
            a, prices, (route, place), peak, chain.m2 * peak * DWELL_DAYS[route] * size, chain.tank_l
        )
        short = _too_much(a, prices, counts)
        if short[0]:
            break
        made = _tried(here, weather, a, Way(route, place, words, counts, None, 0.0), SHORT_RUN, seed, threads)
        if best is None or made.left.mean() > best.left.mean():
            best = made
    return best or Way(route, place, words, {}, None, 0.0, short[1], short[0])


def _counts(
    a: Answers, prices: Mapping[str, Option], way: tuple[str, str], peak: float, area: float, tank_l: float
) -> dict[str, int]:
    """Pieces of each kind for an area, a large day's pulping, two days' tanks."""
    route, place = way

    def size(kind: str) -> float:
        return prices[kind].size or kind_of(kind).capacity

    counts = {place: max(ceil((area - a.has_bed_m2) / size(place)), 0 if a.has_bed_m2 else 1)}
    if route != "natural" and not a.has_pulper_kg_h:
        counts["hand_pulper"] = max(ceil(peak / (PULP_H * size("hand_pulper"))), 1)
    if route == "washed":
        counts["barrel"] = max(ceil(2.0 * tank_l * peak / size("barrel")), 2)
    return counts


def _too_much(a: Answers, prices: Mapping[str, Option], counts: Mapping[str, int]) -> tuple[str, str]:
    """Why counts cannot be had, its kind and in words; empty where they can."""
    area = a.has_bed_m2 + sum(
        n * (prices[k].size or kind_of(k).capacity) for k, n in counts.items() if kind_of(k).thing == "bed"
    )
    once = sum(n * prices[k].price for k, n in counts.items())
    if area > a.room_m2:
        return "adv_no_room", say("needs {n:.0f} m2; there is room for {h:.0f}", n=area, h=a.room_m2)
    if once > a.money:
        return "adv_no_money", say("costs {n}; there is {h} to spend", n=number(once), h=number(a.money))
    return "", ""


def _tried(
    here: Station, weather: Weather, a: Answers, way: Way, seasons: int, seed: int, threads: int
) -> Way:
    """A way over some harvests."""
    assert here.build is not None  # noqa: S101 (asked before)
    options = {o.kind: o for o in here.build.options}
    whole = with_bought(here, options, way.bought)
    hours = Hours(max(a.from_h, a.until_h - 5.0), max(a.until_h - 2.0, a.from_h + 0.5), 2.0)
    design = design_of(whole, hours, {a.species: ((way.route, 1.0),)})
    units = simulate(design, weather, a.harvest(), seasons, seed, threads)
    outcome = outcome_of(design, units, here.build.fresh_hours)
    lying = (outcome.used.sum(axis=2) > 0.0).sum(axis=1)
    outcome.each["people_h"] = outcome.each["people_h"] + TEND_H * lying
    costs = costs_of(design, here.build, way.bought, units, outcome)
    made = Study(design, way.bought, tuple(units), outcome, costs, here.build.fresh_hours)
    return replace(way, study=made, area_m2=sum(b.area_m2 for b in whole.equipment.beds))


def _again(
    here: Station, weather: Weather, a: Answers, way: Way, seasons: int, seed: int, threads: int
) -> Way:
    return way if seasons <= SHORT_RUN else _tried(here, weather, a, way, seasons, seed, threads)


def mould_share(way: Way) -> float:
    """Share of a way's lots past the longer mould rule, in the mean."""
    return 0.0 if way.study is None else float(way.study.outcome.each["mould_lots"].mean())


def _ranked(ways: Sequence[Way]) -> list[Way]:
    """Those whose lots keep the mould rule first, by what is left; of the first few that leave nearly the
    same,
    the one that costs least comes first."""
    order = sorted(ways, key=lambda w: (mould_share(w) > MOST_MOULD, -float(w.left.mean())))
    if not order or mould_share(order[0]) > MOST_MOULD:
        return order
    best = float(order[0].left.mean())
    near = [
        w for w in order
        if mould_share(w) <= MOST_MOULD and w.study is not None and w.left.mean() >= best - NEAR * abs(best)
    ]  # fmt: skip
    near.sort(key=lambda w: w.study.costs.once if w.study is not None else 0.0)
    return [*near, *(w for w in order if w not in near)]


def _best_in(ways: Sequence[Way]) -> tuple[float, ...]:
    """Share of the harvests in which each way leaves most; the last is selling the fruit."""
    if not ways:
        return (1.0,)
    left = np.stack([*(w.left for w in ways), np.zeros_like(ways[0].left)])
    first = left.argmax(axis=0)
    return tuple(float((first == k).mean()) for k in range(len(left)))


def _notes(base: Station, ways: Sequence[Way]) -> list[str]:
    found = [
        say("Weather and prices are those of {p}; the grower's own hill may differ.", p=base.place.name),
        say("Fruit is taken to come from five to two hours before work ends, two hours old (own choice)."),
    ]
    words = (
        "Own work counts {w:g} {c} an hour: one figure for all steps, from memory, and {t:g} h a day while "
        "coffee lies (own estimate)."
    )
    found.append(say(words, w=base.work.wage_per_h or 0.0, c=base.money.currency, t=TEND_H))
    for way in ways:
        if mould_share(way) > MOST_MOULD:
            words = "{w}: {s:.0f} % of its lots pass the mould rule of 5 days; it is not recommended here."
            found.append(say(words, w=way.words, s=100.0 * mould_share(way)))
    return [str(f) for f in found]


def buying_order(advice: Advice, way: Way) -> list[tuple[str, int, float, str]]:
    """What to buy, in order: label, pieces, money, why.

    Args: advice; way. Returns: rows. Valid range: any way. Source: own choice: what nothing works without,
    then
    what keeps rain off, then what saves the most waiting.
    """
    assert advice.station.build is not None  # noqa: S101 (asked before)
    prices = {o.kind: o.price for o in advice.station.build.options}
    why = {
        "bed": say("nothing dries without it"), "pulper": say("fruit must be pulped the day it is picked"),
        "tank": say("the mucilage must let go before washing"), "dryer": say("when beds are full or wet"),
        "huller": say("to sell green"), "store": say("dry coffee must not take up water again"),
    }  # fmt: skip
    order = ("bed", "pulper", "tank", "dryer", "huller", "store")
    rows = sorted((k for k, n in way.bought.items() if n), key=lambda k: order.index(kind_of(k).thing))
    return [
        (kind_of(k).label, way.bought[k], way.bought[k] * prices[k], str(why[kind_of(k).thing])) for k in rows
    ]


def season_ends(a: Answers) -> date:
    """The last day of the harvest."""
    return a.begins + timedelta(days=7 * a.weeks - 1)
