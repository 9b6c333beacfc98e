"""The week's plan: ten tight weeks against simple rules, sizes, and drying times asked for a whole week.

Weeks are invented (a seed each): 60 lots over 10 days, four places that are at least 90 % full at the best,
three tanks, one pulper, five people; money is waiting and lateness only."""

from __future__ import annotations

import resource
import sys
import time
from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np

from drydown.plan.check import faults
from drydown.plan.model import solve
from drydown.plan.problem import Job, Leg, Mode, Plan, Problem, Resource, Task
from drydown.plan.rules import RULES, by_rule

__all__ = ["main", "tight"]

PER_H, DAY = 4, 96
ALWAYS = "first come, first served"
PLACES = (("upper", 4200, 1.0), ("lower", 3600, 1.05), ("film", 1500, 0.85), ("patio", 2000, 0.9))


def main() -> None:
    """Run all parts."""
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 30.0
    weeks(seconds)
    sizes()
    times()


def tight(seed: int, lots: int = 60, days: int = 10) -> Problem:
    """A week whose places would be at least 90 % full: area is scaled to what its lots take."""
    rng = np.random.default_rng(seed)
    horizon = (days + 3) * DAY
    jobs, need = [], 0.0
    for n in range(lots):
        washed = n % 3 != 0
        day = int(rng.integers(0, days - 1))
        kg = float(rng.lognormal(np.log(400.0), 0.5))
        release = day * DAY + int(rng.integers(13 * PER_H, 18 * PER_H))
        base = float(rng.uniform(6.0, 9.0) if washed else rng.uniform(11.0, 16.0))
        area = kg * (0.5 / 12.0 if washed else 1.0 / 25.0) * 10.0
        need += area * min(base, days - day - (1 if washed else 0)) / days
        jobs.append(_job(rng, f"l{n}", washed, day, release, kg, base, area, days))
    scale = need / sum(a for _n, a, _f in PLACES) / 0.90
    places = tuple(Resource(n, max(round(a * scale), 1)) for n, a, _f in PLACES)
    shared = (
        *places,
        Resource("pulper", 1),
        Resource("people", 5),
        *(Resource(f"tank {k}", 1) for k in range(6)),
    )
    return Problem(horizon, shared, tuple(jobs), (), DAY, DAY)


def _hours(days: int, long: int) -> tuple[tuple[int, int], ...]:
    return tuple((d * DAY + 7 * PER_H, d * DAY + 19 * PER_H - long) for d in range(days + 3))


def _job(
    rng: np.random.Generator, name: str, washed: bool, day: int, release: int, kg: float, base: float,
    area: float, days: int,
) -> Job:  # fmt: skip
    """A lot: pulped, in a tank and washed, or laid as it came; waiting costs by its mass, and so does
    lateness."""
    each = max(round(kg / 40.0), 1)
    tasks = []
    if washed:
        long = max(round(kg / 1200.0 * PER_H), 1)
        pulp = Mode("pulper", (long, long), (Leg("pulper", 1), Leg("people", 2)), _hours(days, long))
        span, rises = (14 * PER_H, 30 * PER_H), ((16 * PER_H, each),)
        fill = tuple(Mode(f"tank {k}", span, (Leg(f"tank {k}", 1),), rises=rises) for k in range(6))
        wash = Mode("hands", (4, 4), (Leg("people", 2),), _hours(days, 4))
        tasks += [Task("pulp", (pulp,), ((8 * PER_H, each),)), Task("ferment", fill, most_wait=PER_H),
                  Task("wash", (wash,), most_wait=0)]  # fmt: skip
    modes = []
    first = day + (1 if washed else 0)
    for place, _area, factor in PLACES:
        for on in range(first, first + 3):
            long = round(base * factor * (1.0 + 0.05 * rng.standard_normal()) * DAY)
            window = ((on * DAY + 7 * PER_H, on * DAY + 19 * PER_H),)
            modes.append(
                Mode(f"{place} {on}", (long, long), (Leg(place, max(round(area), 1)),), window, words=place)
            )
    tasks.append(Task("dry", tuple(modes), ((6 * PER_H, each),)))
    due = release + round((base + 2.0) * DAY)
    return Job(name, tuple(tasks), release, ((due, max(each // 4, 1)),), leave=each * 40 * DAY, weight=kg)


def weeks(seconds: float) -> None:
    """Ten tight weeks: first plan, gap to the bound, and cost ratios to the rules."""
    inside, first, ratios, bests = 0, [], [], []
    for seed in range(10):
        problem = tight(seed)
        rules = {r: by_rule(problem, r) for r in RULES}
        best = min(rules.values(), key=lambda p: p.cost)
        plan = solve(problem, seconds, 2, hint=best)
        assert plan is not None
        assert not faults(problem, plan)
        gap = plan.gap
        inside += gap <= 0.10
        first.append(plan.first_s or 0.0)
        always = rules[ALWAYS].cost
        ratios.append(plan.cost / max(always, 1))
        bests.append(plan.cost / max(best.cost, 1))
        print(f"week {seed}: plan {plan.cost}, bound {plan.bound:.0f}, gap {100 * gap:.0f} %, first after "
              f"{plan.first_s:.2f} s, left out {len(plan.left_out)}; first come {always} "
              f"({len(rules[ALWAYS].left_out)} left out), best rule {best.cost}")  # fmt: skip
    print(f"within 10 % of the bound: {inside} of 10; first plan at most {max(first):.2f} s")
    print(f"cost over first come, first served: median {np.median(ratios):.2f} ({min(ratios):.2f} to "
          f"{max(ratios):.2f}); over the best rule: {np.median(bests):.2f}")  # fmt: skip


def sizes() -> None:
    """Ten, sixty and two hundred lots: first plan, and memory."""
    for lots in (10, 60, 200):
        problem = tight(1, lots)
        begun = time.perf_counter()
        hint = by_rule(problem, "dearest to wait first")
        ruled = time.perf_counter() - begun
        plan = solve(problem, 20.0, 2, hint=hint)
        assert isinstance(plan, Plan)
        memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
        print(f"{lots} lots: rule {ruled:.2f} s, first plan {plan.first_s:.2f} s, gap after "
              f"{plan.seconds:.0f} s {100 * plan.gap:.0f} %, memory at most {memory:.0f} MB")  # fmt: skip


def times() -> None:
    """Drying times of a week: 14 starts, 6 places, two forms, 100 futures; cold and kept."""
    from drydown.outlook.skies import Skies
    from drydown.outlook.tank import learnt_hours
    from drydown.plan.drytimes import DryTime, DryTimes, case_of, start_of
    from drydown.plan.week import Week
    from drydown.station.load import example_text, parse_station
    from drydown.steps.dry.compiled import keep_compiled

    keep_compiled()
    station = parse_station(example_text())
    beds = station.equipment.beds
    more = tuple(b.model_copy(update={"name": f"{b.name} two"}) for b in beds[:2])
    station = station.model_copy(
        update={"equipment": station.equipment.model_copy(update={"beds": (*beds, *more)})}
    )
    months = station.normals()
    assert months is not None
    now = datetime(2026, 6, 10, 8, tzinfo=station.place.site().zone)
    skies = Skies(station.place.site(), months)
    week = Week(now, station, (), (), skies, learnt_hours([]), 20.0, days=14, members=100)
    habits = {"washed": 12.0, "natural": 25.0}
    starts = [start_of(now + timedelta(days=day)) for day in range(14)]
    cases = [
        c for route, load in habits.items() for place in station.drying_places() for start in starts
        if (c := case_of(station, "arabica", route, place, load, start)) is not None
    ]  # fmt: skip
    kept: dict[str, DryTime] = {}
    for name in ("cold", "kept"):
        asked = DryTimes(week, kept)
        begun = time.perf_counter()
        found = asked.ask(cases)
        took = time.perf_counter() - begun
        hours = sum(float(np.minimum(t.done_h, 24 * 40).sum()) for t in found.values())
        rate = f", {hours / took / 1e3:.0f} thousand member-hours/s" if asked.ran else ""
        print(f"drying times, {len(cases)} cases for 60 lots, {name}: {took:.1f} s, ran {asked.ran}{rate}")
    noon = [replace(c, start=c.start.replace(hour=10)) for c in cases[:8]]
    other = DryTimes(week, kept).ask(noon)
    off = [abs((other[a].at(0.8) - 4.0) - found[b].at(0.8)) for a, b in zip(noon, cases[:8], strict=True)]
    print(f"spread at 10 in place of 14 h: dry {np.mean(off):.1f} h later than those four hours earlier say")


if __name__ == "__main__":
    main()
