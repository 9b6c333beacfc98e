"""Weeks carried out: drying, deliveries and breakdowns come otherwise than planned, and each evening plans
anew.

Fifty invented weeks of 40 lots over eight days on four places (a seed each, the same for every policy): what
is planned each evening for the next day is done; a place that is not free when its lot comes makes it wait; a
lot that waits a day and a half is lost at its price. Plan: solved for a second each evening with what is
expected, drying times at P80. Rule: the best of the four simple rules over all weeks. Hindsight: one plan of
the whole week that knows everything, the least there can be that was found."""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np

from drydown.plan.model import solve
from drydown.plan.problem import Block, Job, Leg, Mode, Plan, Problem, Resource, Task
from drydown.plan.rules import RULES, by_rule

__all__ = ["main"]

DAY, DAYS, LOTS = 24, 8, 40
PLACES = (("upper", 1.0), ("lower", 1.05), ("film", 0.85), ("patio", 0.9))
FREE_H, LOST_H = 6, 36
Policy = Callable[[Problem], Plan | None]


@dataclass(frozen=True, slots=True)
class Lot:
    """A lot as it will be: when it is ready, its area, what an hour of waiting costs, hours it truly lies on
    the first place, and what was expected of both."""

    name: str
    ready: int
    area: int
    each: int
    lies: float
    told_area: int
    told: float


@dataclass(frozen=True, slots=True)
class World:
    """A week as it will be."""

    lots: tuple[Lot, ...]
    sizes: tuple[int, ...]
    broken: tuple[str, int, int]


def made(seed: int) -> World:
    """A week whose places would be nine tenths full."""
    rng = np.random.default_rng([seed, 5])
    lots, need = [], 0.0
    for n in range(LOTS):
        kg = float(rng.lognormal(np.log(400.0), 0.5))
        ready = int(rng.integers(0, DAYS - 1)) * DAY + int(rng.integers(8, 17))
        told = float(rng.uniform(5.0, 9.0)) * DAY
        lies, seen = told * float(rng.lognormal(-0.1, 0.2)), kg * float(rng.lognormal(0.0, 0.3))
        lots.append(Lot(f"l{n}", ready, round(kg), max(round(kg / 40), 1), lies, round(seen), told))
        need += kg * min(told, DAYS * DAY - ready) / (DAYS * DAY)
    total = need / 0.9
    sizes = tuple(round(total * s) for s in (0.37, 0.32, 0.13, 0.18))
    name = PLACES[int(rng.integers(0, 4))][0]
    begin = int(rng.integers(1, DAYS - 2)) * DAY
    return World(tuple(sorted(lots, key=lambda x: x.ready)), sizes, (name, begin, begin + 30))


def _job(lot: Lot, now: int, known: bool, exact: bool) -> Job:
    area, hours = (lot.area, lot.lies if exact else lot.told) if known or exact else (lot.told_area, lot.told)
    modes = []
    for place, factor in PLACES:
        for day in range(max(now, lot.ready) // DAY, max(now, lot.ready) // DAY + 3):
            long = max(round(hours * factor), 1)
            modes.append(
                Mode(
                    f"{place} {day}",
                    (long, long),
                    (Leg(place, area),),
                    ((day * DAY + 7, day * DAY + 18),),
                    words=place,
                )
            )
    return Job(
        lot.name, (Task("dry", tuple(modes), ((FREE_H, lot.each),)),), lot.ready, leave=lot.each * LOST_H
    )


def _problem(world: World, jobs: list[Job], blocks: list[Block]) -> Problem:
    resources = tuple(Resource(n, s) for (n, _f), s in zip(PLACES, world.sizes, strict=True))
    return Problem((DAYS + 4) * DAY, resources, tuple(jobs), tuple(blocks), DAY, DAY)


def carried_out(world: World, policy: Policy, sees: int) -> tuple[float, float, int]:
    """A week under a policy that plans each midnight and sees so many days of expected fruit.

    Returns: money, kilogram-hours late, lots lost.
    """
    lies: list[Block] = []
    late, money, lost = 0.0, 0.0, 0
    waiting = list(world.lots)
    for day in range(DAYS + 3):
        now = day * DAY
        here = [x for x in waiting if x.ready < now + DAY + sees * DAY]
        here = [x for x in here if x.ready < now + DAY or sees > 0]
        told = [b for b in lies if b.end > now]
        if world.broken[1] <= now < world.broken[2]:
            told = [*told, Block(*world.broken, 10**6)]
        plan = policy(_problem(world, [_job(x, now, x.ready < now + DAY, False) for x in here], told))
        begins = {p.job: p for p in plan.placed} if plan else {}
        for lot in sorted(here, key=lambda x: begins[x.name].begin if x.name in begins else 10**6):
            at = begins.get(lot.name)
            if lot.ready >= now + DAY:
                continue
            if at is None or at.begin >= now + DAY:
                if now + DAY - lot.ready > LOST_H:
                    waiting.remove(lot)
                    money, lost = money + lot.each * LOST_H, lost + 1
                continue
            place = at.mode.split()[0]
            size = dict(zip((n for n, _f in PLACES), world.sizes, strict=True))[place]
            begin = _free(lies, place, size, lot.area, max(at.begin, lot.ready), now + 18, world)
            if begin is None:
                continue
            factor = dict(PLACES)[place]
            lies.append(Block(place, begin, begin + max(round(lot.lies * factor), 1), lot.area))
            waiting.remove(lot)
            over = max(begin - lot.ready - FREE_H, 0)
            late, money = late + over * lot.area, money + over * lot.each
    for lot in waiting:
        money, lost = money + lot.each * LOST_H, lost + 1
    return money, late, lost


def _free(
    lies: list[Block], place: str, size: int, area: int, since: int, until: int, world: World
) -> int | None:
    """The first hour of a day from which there is truly room; None where there is none that day."""
    for hour in range(since, until + 1):
        broken = place == world.broken[0] and world.broken[1] <= hour < world.broken[2]
        used = sum(b.amount for b in lies if b.resource == place and b.begin <= hour < b.end)
        if not broken and used + area <= size:
            return hour
    return None


def main() -> None:
    """Fifty weeks under each policy, with intervals over weeks."""
    weeks = int(sys.argv[1]) if len(sys.argv) > 1 else 50
    found: dict[str, list[tuple[float, float, int]]] = {}
    for seed in range(weeks):
        world = made(seed)
        for rule in RULES:
            found.setdefault(rule, []).append(carried_out(world, partial(by_rule, rule=rule), 0))
        found.setdefault("plan", []).append(carried_out(world, _planned, 2))
        found.setdefault("hindsight", []).append(_hindsight(world))
    rng = np.random.default_rng(1)
    base = np.array([x[0] for x in found["plan"]])
    for name, rows in found.items():
        money, late, lost = (np.array([r[i] for r in rows], dtype=float) for i in range(3))
        draws = rng.integers(0, weeks, (2000, weeks))
        ratio = np.percentile(
            money[draws].sum(axis=1) / np.maximum(base[draws].sum(axis=1), 1.0), (2.5, 97.5)
        )
        print(
            f"{name}: money {money.mean():.0f} a week ({money.sum() / base.sum():.2f} of the plan's, 95 % "
            f"{ratio[0]:.2f} to {ratio[1]:.2f}), {late.mean():.0f} kg h late, {lost.mean():.2f} lots lost"
        )  # fmt: skip


def _planned(problem: Problem) -> Plan | None:
    hint = min((by_rule(problem, r) for r in RULES), key=lambda p: p.cost)
    return solve(problem, 0.6, 2, hint=hint) or hint


def _hindsight(world: World) -> tuple[float, float, int]:
    jobs = [_job(x, 0, True, True) for x in world.lots]
    problem = _problem(world, jobs, [Block(*world.broken, 10**6)])
    hint = min((by_rule(problem, r) for r in RULES), key=lambda p: p.cost)
    plan = solve(problem, 4.0, 2, hint=hint) or hint
    lots = {x.name: x for x in world.lots}
    late = sum(max(p.begin - lots[p.job].ready - FREE_H, 0) * lots[p.job].area for p in plan.placed)
    return float(plan.cost), float(late), len(plan.left_out)


if __name__ == "__main__":
    main()
