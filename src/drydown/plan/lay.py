"""Where a lot would lie: each place, load and day a way of its own; two places at once; a bed and then a
dryer."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from drydown.outlook.case import DryingCase
from drydown.plan.drytimes import DryTimes, case_of, days_of, start_of
from drydown.plan.problem import Leg, Mode, Task
from drydown.plan.shared import AREA, windows
from drydown.plan.week import PER_H, Week
from drydown.station.model import Dryer
from drydown.way.dry import MOST_IN_MACHINE
from drydown.way.habits import habits_of
from drydown.way.state import LotState, Stage
from drydown.way.waiting import DEFECT_COST, FRUIT_H, SOUR_H
from drydown.way.yard import spread_m2
from drydown.words import say

__all__ = ["RAW", "Fruit", "cases_of", "dry_task", "slope"]

RAW = {Stage.GATHERING, Stage.FLOATED}
A_DAY, THICK_COST = 0.001, 0.005
"""Share of a lot's worth that a day of lying costs, and another load than the habit (own choice)."""
MOVED = 0.01
"""Share of a lot's worth that another place than in the accepted plan costs (own choice)."""
THICKER = 1.3
LATER_DAYS, HERE_DAYS = 2, 5
"""Days beyond the first on which expected fruit, and a lot that is here, may be laid (own choice)."""
HALVES_FROM = 0.35
"""A lot that takes more than this share of the largest place may be laid on two."""
BED_FIRST = 0.4
"""Share of its days on a bed that a lot lies there before it is moved to a dryer (own choice)."""


@dataclass(frozen=True, slots=True)
class Fruit:
    """A lot as the builder sees it: a name, route, state, worth, when its fruit came, from when it is
    free."""

    name: str
    state: LotState
    worth: int
    fruit_at: datetime
    free: int


@dataclass(frozen=True, slots=True)
class _Way:
    """One place at one load from one day on."""

    mode: Mode
    day: str
    thicker: bool


def slope(worth: int, hours: tuple[float, float], share: float = DEFECT_COST) -> tuple[tuple[int, int], ...]:
    """Money for each step of waiting beyond the first of two hours, so that all of a share is lost at the
    other; a little for each step before, so that what can be done is done."""
    first, last = hours
    each = max(round(worth * share / ((last - first) * PER_H)), 1)
    return ((0, max(each // 20, 1)), (round(first * PER_H), each))


def _loads(week: Week, fruit: Fruit) -> list[float]:
    habits = habits_of(fruit.state, week.station)
    return [] if habits is None else [habits.load_kg_m2, round(THICKER * habits.load_kg_m2, 2)]


def _days(week: Week, fruit: Fruit) -> list[datetime]:
    """Days on which it may be spread: the first it can be ready on, and some more."""
    raw = fruit.state.stage in RAW and fruit.state.route == "natural"
    wet = fruit.state.stage in {Stage.PULPED, Stage.WASHED} or fruit.state.route == "pulped_natural"
    first = week.at(fruit.free) + timedelta(hours=0.0 if raw or wet else 8.0)
    days = [d for d in days_of(week) if d + timedelta(days=1) > first]
    here = any(x.name == fruit.name for x in week.lots)
    later = HERE_DAYS if here else LATER_DAYS
    return days[: later + (1 if raw or wet else 2)]


def cases_of(week: Week, fruit: Fruit) -> Iterable[DryingCase]:
    """All ways of a lot to dry in one place, so that they can be asked for together."""
    for place in week.station.drying_places():
        for load in _loads(week, fruit):
            for day in _days(week, fruit):
                case = case_of(
                    week.station, fruit.state.species, fruit.state.route, place, load, start_of(day)
                )
                if case is not None:
                    yield case


def dry_task(week: Week, times: DryTimes, fruit: Fruit, follows: bool) -> Task:
    """Where it lies: each place, load and day is a way, with its own days; a large lot may lie on two
    places."""
    alone: list[_Way] = []
    for place in week.station.drying_places():
        for number, load in enumerate(_loads(week, fruit)):
            alone += _on(week, times, fruit, place, load, number > 0)
    moved = [m for d in week.station.equipment.dryers for m in _then_dryer(week, times, fruit, d, alone)]
    modes = _wished(
        week, fruit, [w.mode for w in alone] + _halves(week, alone) + _everywhere(week, alone) + moved
    )
    sizes = {
        name: round(AREA * area) + round(AREA * week.add.get(name, 0.0))
        for name, (_p, area) in week.station.drying_places().items()
    }
    modes = [m for m in modes if all(leg.amount <= sizes[leg.resource] for leg in m.legs)]
    waits = slope(fruit.worth, SOUR_H if follows else FRUIT_H)
    return Task("dry", tuple(modes), waits)


def _on(week: Week, times: DryTimes, fruit: Fruit, place: str, load: float, thicker: bool) -> list[_Way]:
    area = spread_m2(fruit.state.route, fruit.state.species, week.station, fruit.state.matter.dry, load)
    open_spans, found = windows(week, 1, max(fruit.free, 0)), []
    for day in _days(week, fruit):
        case = case_of(week.station, fruit.state.species, fruit.state.route, place, load, start_of(day))
        time = times.ask([case]).get(case) if case is not None else None
        if time is None:
            continue
        hours = time.at(week.risk)
        if not np.isfinite(hours):
            continue
        long = int(np.ceil(hours * PER_H))
        begin = week.step_of(day)
        spans = tuple(
            (max(a, begin), min(b, begin + 24 * PER_H - 1))
            for a, b in open_spans if a < begin + 24 * PER_H and b >= begin
        )  # fmt: skip
        if not spans:
            continue
        name = f"{place}, {day:%d.%m.}{', thicker' if thicker else ''}"
        share = DEFECT_COST * time.mould + A_DAY * hours / 24.0 + (THICK_COST if thicker else 0.0)
        cost = round(fruit.worth * share) + _moved(week, fruit, place)
        mode = Mode(
            name, (long, long), (Leg(place, max(int(np.ceil(AREA * area)), 1)),), spans, cost=cost,
            words=place, tells={"days": hours / 24.0, "load": load, "area": area, "mould": time.mould},
        )  # fmt: skip
        found.append(_Way(mode, f"{day:%d.%m.}", thicker))
    return found


def _everywhere(week: Week, alone: Sequence[_Way]) -> list[Mode]:
    """Over all beds by their size, as long as the longest; for what two of them do not hold."""
    beds = {b.name: b.area_m2 for b in week.station.equipment.beds}
    total, found = sum(beds.values()), []
    largest = AREA * max(beds.values(), default=0.0)
    for day in sorted({w.day for w in alone}):
        own = [w.mode for w in alone if w.mode.words in beds and w.day == day and not w.thicker]
        if len(own) < 3 or len(own) < len(beds) or own[0].legs[0].amount <= largest:
            continue
        long = max(m.long[0] for m in own)
        legs = tuple(
            Leg(m.words, int(np.ceil(m.legs[0].amount * beds[m.words] / total)), 0, long) for m in own
        )
        tells = {k: max(m.tells[k] for m in own) for k in own[0].tells}
        words = say("all beds")
        cost = max(m.cost for m in own)
        found.append(
            Mode(f"{words}, {day}", (long, long), legs, own[0].windows, cost=cost, words=words, tells=tells)
        )
    return found


def _then_dryer(week: Week, times: DryTimes, fruit: Fruit, dryer: Dryer, alone: Sequence[_Way]) -> list[Mode]:
    """A part of its days on a bed at the usual load, the rest in a dryer that it fills and that holds it."""
    area = spread_m2(fruit.state.route, fruit.state.species, week.station, fruit.state.matter.dry, 1.0)
    load = area / dryer.area_m2  # kg as spread, over the dryer's area
    if load > MOST_IN_MACHINE or fruit.state.held_kg > dryer.holds_kg:
        return []
    asked: list[tuple[_Way, DryingCase, int]] = []
    for way in alone:
        mode = way.mode
        if mode.words == dryer.name or way.thicker or not mode.windows:
            continue
        day = week.at(mode.windows[0][0])
        first = round(BED_FIRST * mode.tells["days"] * 24.0)
        stop = (mode.words, mode.tells["load"], first)
        case = case_of(
            week.station, fruit.state.species, fruit.state.route, dryer.name, load, start_of(day), stop
        )
        if case is not None and first >= 1:
            asked.append((way, case, first * PER_H))
    told = times.ask(case for _w, case, _f in asked)
    found = []
    for way, case, first in asked:
        mode, time = way.mode, told.get(case)
        if time is None or not np.isfinite(hours := time.at(week.risk)):
            continue
        long = max(int(np.ceil(hours * PER_H)), first + 1)
        legs = (Leg(mode.words, mode.legs[0].amount, 0, first),
                Leg(dryer.name, round(AREA * dryer.area_m2), first, long - first))  # fmt: skip
        cost = round(fruit.worth * (DEFECT_COST * time.mould + A_DAY * hours / 24.0))
        words = f"{mode.words} then {dryer.name}"
        tells = {**mode.tells, "days": hours / 24.0, "mould": time.mould}
        name = f"{words}, {way.day}"
        found.append(Mode(name, (long, long), legs, mode.windows, cost=cost, words=words, tells=tells))
    return found


def _halves(week: Week, alone: Sequence[_Way]) -> list[Mode]:
    """Two places of one day, a half on each, as long as the longer one; for what takes much of the
    largest."""
    largest = max((AREA * a for _p, a in week.station.drying_places().values()), default=0.0)
    large = [w for w in alone if w.mode.legs[0].amount > HALVES_FROM * largest and not w.thicker]
    found = []
    for i, first in enumerate(large):
        one = first.mode
        for other in (w.mode for w in large[i + 1 :]):
            if one.windows != other.windows or one.words == other.words:
                continue
            long = max(one.long[0], other.long[0])
            legs = tuple(Leg(m.legs[0].resource, -(-m.legs[0].amount // 2), 0, long) for m in (one, other))
            tells = {k: max(one.tells[k], other.tells[k]) for k in one.tells}
            words = f"{one.words} and {other.words}"
            cost = (one.cost + other.cost) // 2
            found.append(
                Mode(
                    f"{words}, {first.day}",
                    (long, long),
                    legs,
                    one.windows,
                    cost=cost,
                    words=words,
                    tells=tells,
                )
            )
    return found


def _moved(week: Week, fruit: Fruit, place: str) -> int:
    """What another place than in the plan that was accepted costs, so that a plan stays where it can."""
    was = week.before.get(fruit.name)
    return 0 if was is None or was == place else max(round(MOVED * fruit.worth), 1)


def _wished(week: Week, fruit: Fruit, modes: list[Mode]) -> list[Mode]:
    place = week.wishes.get(fruit.name)
    kept = [m for m in modes if place is None or m.words == place]
    return kept or modes
