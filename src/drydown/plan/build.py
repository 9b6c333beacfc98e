"""A week as a problem: each lot's steps with the ways it can go, and what each way costs."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from drydown.outlook.tank import window_of
from drydown.plan.drytimes import DryTimes
from drydown.plan.lay import RAW, Fruit, cases_of, dry_task, slope
from drydown.plan.orders import green_of, with_orders
from drydown.plan.problem import Job, Leg, Mode, Problem, Task
from drydown.plan.shared import blocks_of, resources_of, windows
from drydown.plan.week import PER_H, Coming, PlanLot, Week
from drydown.way.matter import Matter
from drydown.way.needs import Setting, machine_hours
from drydown.way.order import may_follow, steps
from drydown.way.state import LotState, Stage
from drydown.way.waiting import DEFECT_COST, FRUIT_H
from drydown.way.yard import dry_matter_of, litres
from drydown.words import say

__all__ = ["Built", "build"]

TANK_READY, TANK_MORE_H, OVER_H = 0.8, 24.0, 12.0
"""A tank is washed when it is ready in so many futures, at most so long after; all is taken as lost at 12 h
on each side of twice the risk (own choice)."""
REFUSED, NOWHERE = 1.0, 10.0
"""Shares of a lot's worth: fruit that is not taken; a lot that has nowhere to go, so dear that it is the last
thing done (own choice)."""


@dataclass(frozen=True, slots=True)
class Built:
    """The problem, what of the station it leaves out, in words; fruit and lots that have no way at all."""

    problem: Problem
    notes: tuple[str, ...]
    lost: tuple[str, ...] = ()


def build(week: Week, times: DryTimes) -> Built:
    """The problem of a week.

    Args: week; times, what drying times are asked of. Returns: `Built`.
    """
    fruits = [(lot, _of_lot(lot)) for lot in week.lots if lot.state.stage != Stage.DRYING]
    coming = [(one, _of_coming(week, one, route)) for one in week.coming for route in one.routes]
    every = [f for _l, f in fruits] + [f for _c, f in coming]
    times.ask(c for f in every for c in cases_of(week, f))
    jobs: list[Job] = []
    lost: list[str] = []
    for lot, fruit in fruits:
        job = _job(week, times, fruit, lot)
        if job is not None:
            jobs.append(job)
        elif _steps_left(fruit.state):
            lost.append(fruit.name)
    for one, fruit in coming:
        job = _job(week, times, fruit, None)
        if job is None:
            lost += [one.name] if len(one.routes) == 1 else []
            continue
        group = one.name if len(one.routes) > 1 else ""
        jobs.append(replace(job, leave=round(REFUSED * fruit.worth), one_of=group, weight=one.kg))
    problem = Problem(
        week.horizon, tuple(resources_of(week)), tuple(_priced(week, with_orders(week, jobs))),
        tuple(blocks_of(week)),
        24 * PER_H, week.first_day,
    )  # fmt: skip
    return Built(problem, tuple(_notes(week)), tuple(lost))


def _of_lot(lot: PlanLot) -> Fruit:
    return Fruit(lot.name, lot.state, lot.worth, lot.fruit_at, 0)


def _of_coming(week: Week, one: Coming, route: str) -> Fruit:
    dry = dry_matter_of(one.species, route, week.station, one.kg)
    grams = round(one.kg * 1000)
    state = LotState(one.name, one.species, route, Stage.GATHERING, Matter(dry, max(grams - dry, 0)))
    price = week.station.money.cherry_price_per_kg.get(one.species)
    worth = grams if price is None else week.station.money.coins(price * one.kg)
    name = one.name if len(one.routes) == 1 else f"{one.name} {route}"
    return Fruit(name, state, worth, one.at, max(week.step_of(one.at), 0))


def _job(week: Week, times: DryTimes, fruit: Fruit, lot: PlanLot | None) -> Job | None:
    """The rest of a lot's way until it lies; None for one that is dry, or has no way from where it stands."""
    tasks = _tasks(week, times, fruit, lot)
    if not tasks or any(not t.modes for t in tasks):
        return None
    weight = lot.fruit_kg if lot else 0.0
    return Job(
        fruit.name, tuple(tasks), _released(week, fruit, tasks[0].name),
        leave=round(NOWHERE * fruit.worth) + 1, weight=weight, words=fruit.state.route,
    )  # fmt: skip


def _released(week: Week, fruit: Fruit, first: str) -> int:
    """From when waiting counts: its fruit's weighing, or the step it has just had."""
    since = fruit.fruit_at if first in {"pulp", "dry"} and fruit.state.stage in RAW else fruit.state.moved_at
    return min(week.step_of(since or week.now), fruit.free)


def _tasks(week: Week, times: DryTimes, fruit: Fruit, lot: PlanLot | None) -> list[Task]:
    state, found = fruit.state, list[Task]()
    ways = _steps_left(state)
    for kind in ways:
        if kind == "pulp":
            found.append(_pulp(week, fruit))
        elif kind == "ferment":
            found.append(_ferment(week, fruit, lot))
        elif kind == "wash":
            found.append(_wash(week, fruit))
        elif kind == "spread":
            wet = bool(found) or state.stage not in RAW  # washed coffee sours sooner than fruit waits
            found.append(dry_task(week, times, fruit, wet))
    return found


def _steps_left(state: LotState) -> list[str]:
    """Kinds of the steps that are still to come until it lies, the usual ones."""
    left, stage = [], state.stage
    while stage in {Stage.GATHERING, Stage.FLOATED, Stage.PULPED, Stage.FERMENTING, Stage.WASHED}:
        kinds = may_follow(state.route, stage)
        if not kinds:
            break
        if stage == Stage.FERMENTING:
            left.append("ferment")
        kind = next((k for k in kinds if k != "test"), "")
        standing = steps()[kind].leads_to if kind in steps() else None
        if standing is None:
            break
        if kind not in {"float", "ferment"}:
            left.append(kind)
        stage = standing.name
    return left


def _pulp(week: Week, fruit: Fruit) -> Task:
    work = week.station.work
    people = work.pulping_people if work.shifts else None
    hands = () if people is None else (Leg("people", people),)
    water = _water(week, fruit.state, "pulp")
    modes = []
    for name, hours in machine_hours(week.station, "pulper", fruit.state.held_kg).items():
        long = max(int(np.ceil(hours * PER_H)), 1)
        wage = _wage(week, long, work.pulping_people)
        spans = windows(week, long, fruit.free)
        modes.append(Mode(name, (long, long), (Leg(name, 1), *hands), spans, daily=water, cost=wage))
    return Task("pulp", tuple(modes), slope(fruit.worth, FRUIT_H))


def _water(week: Week, state: LotState, kind: str) -> tuple[tuple[str, int], ...]:
    if week.station.wet.supply_l_day is None:
        return ()
    need = steps()[kind].takes(state, Setting(week.station, week.now)).water_l
    return (("water", max(round(need), 0)),)


def _wage(week: Week, long: int, people: int | None) -> int:
    wage = week.station.work.wage_per_h
    return 0 if wage is None or people is None else week.station.money.coins(wage * people * long / PER_H)


def _ferment(week: Week, fruit: Fruit, lot: PlanLot | None) -> Task:
    """In a tank from its filling until it is washed; one that is full stays where it is."""
    window = lot.tank if lot and lot.tank else window_of(week.tanks, week.tank_c, seed=1)
    ready = float(np.quantile(window.draws, TANK_READY))
    since = lot.in_tank_h if lot else 0.0
    left = 0.0 if lot and lot.ready else max(ready - since, 0.0)
    low = int(np.ceil(left * PER_H))
    high = low + round(TANK_MORE_H * PER_H)
    rise = max(window.risk(since + left + OVER_H) - window.risk(since + left), 0.0) * DEFECT_COST
    rises = ((low, max(round(fruit.worth * rise / (OVER_H * PER_H)), 1)),)
    if lot is not None and lot.state.stage == Stage.FERMENTING:
        name = lot.state.at("tank")
        legs = (Leg(name, 1),) if any(t.name == name for t in week.station.equipment.tanks) else ()
        return Task("ferment", (Mode(name or "tank", (low, high), legs, ((0, 0),), rises),))
    modes = [
        Mode(" and ".join(names), (low, high), tuple(Leg(n, 1) for n in names), (), rises)
        for names in _tanks_for(week, litres(fruit.state.matter))
    ]
    follows = fruit.state.stage != Stage.PULPED  # it begins to ferment where it lies, so it is filled at once
    return Task("ferment", tuple(modes), slope(fruit.worth, FRUIT_H), PER_H if follows else None)


def _tanks_for(week: Week, need_l: float) -> list[tuple[str, ...]]:
    """Tanks that hold so much, alone or two together."""
    tanks = [(t.name, t.volume_l) for t in week.station.equipment.tanks]
    tanks += [(f"one more tank {n + 1}", max((v for _n, v in tanks), default=need_l))
              for n in range(round(week.add.get("tank", 0)))]  # fmt: skip
    alone: list[tuple[str, ...]] = [(n,) for n, v in tanks if v >= need_l]
    if alone or not tanks:
        return alone
    pairs: list[tuple[str, ...]] = [
        (a, b) for i, (a, v) in enumerate(tanks) for b, w in tanks[i + 1 :] if v + w >= need_l
    ]
    return pairs or [tuple(n for n, _v in tanks)]


def _wash(week: Week, fruit: Fruit) -> Task:
    hours = steps()["wash"].takes(fruit.state, Setting(week.station, week.now)).hours
    long = max(int(np.ceil((hours.at(week.risk) if hours else 1.0) * PER_H)), 1)
    people = week.station.work.washing_people
    hands = (Leg("people", people),) if week.station.work.shifts and people is not None else ()
    mode = Mode(
        "by hand", (long, long), hands, windows(week, long), daily=_water(week, fruit.state, "wash"),
        cost=_wage(week, long, people),
    )  # fmt: skip
    return Task("wash", (mode,), most_wait=0)


# ---- what routes add ----


def _priced(week: Week, jobs: list[Job]) -> list[Job]:
    """Ways of the same fruit beside each other: the dearest green is the measure, a cheaper one costs its
    loss."""
    found = []
    for job in jobs:
        ways = [j for j in jobs if j.one_of and j.one_of == job.one_of]
        brings = [_brings(week, j) for j in ways]
        if not ways or any(b is None for b in brings):
            found.append(job)
            continue
        most, own = max(b for b in brings if b is not None), _brings(week, job) or 0
        first = job.tasks[0]
        modes = tuple(replace(m, cost=m.cost + most - own) for m in first.modes)
        found.append(replace(job, tasks=(replace(first, modes=modes), *job.tasks[1:])))
    return found


def _brings(week: Week, job: Job) -> int | None:
    """What the green of a job's fruit would bring; None without a price."""
    one = next((c for c in week.coming if c.name == job.one_of), None)
    if one is None:
        return None
    price = week.station.work.green_price(one.species, job.words)
    if price is None:
        return None
    return week.station.money.coins(price * green_of(week, one.species, job.words, one.kg))


def _notes(week: Week) -> list[str]:
    work, found = week.station.work, list[str]()
    if not work.shifts:
        found.append(say("no shift is stated: people and hours of work are left out"))
    elif work.pulping_people is None or work.washing_people is None:
        found.append(say("it is not stated how many people pulp or wash: those are left out"))
    if work.wage_per_h is None:
        found.append(say("no wage is stated: work costs nothing here"))
    if week.station.wet.supply_l_day is None:
        found.append(say("it is not stated how much water can be drawn in a day: water is left out"))
    if not week.coming:
        found.append(say("no fruit is expected: type it, or receive a week of it first"))
    if any(x.state.stage == Stage.DRYING and x.done_h is None for x in week.lots):
        found.append(say("lots without an outlook are taken to keep their place for the whole plan"))
    found.append(say("raking, sorting and hulling take people who are not counted here"))
    return found
