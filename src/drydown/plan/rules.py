"""Plans by a simple rule: jobs in an order, each task as early as it fits, as yards do it by hand."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from drydown.errors import InputError
from drydown.plan.check import money
from drydown.plan.problem import Job, Mode, Placed, Plan, Problem, Task, wait_cost
from drydown.words import say

__all__ = ["RULES", "by_rule", "in_order"]

Order = Callable[[Problem, Job], tuple[float, ...]]


def _first_come(_problem: Problem, job: Job) -> tuple[float, ...]:
    return (job.release,)


def _dearest(_problem: Problem, job: Job) -> tuple[float, ...]:
    """What waiting costs most stands first among those of one day."""
    each = sum(e for t in job.tasks for _s, e in t.waits) + sum(e for _s, e in job.late)
    return (job.release // 24, -each, job.release)


def _due(_problem: Problem, job: Job) -> tuple[float, ...]:
    """The one that must be done first stands first."""
    return (min((s for s, _e in job.late), default=10**9), job.release)


def _shortest(_problem: Problem, job: Job) -> tuple[float, ...]:
    """The shortest of one day first."""
    return (job.release // 24, sum(min(m.long[0] for m in t.modes) for t in job.tasks), job.release)


RULES: dict[str, Order] = {
    "first come, first served": _first_come, "dearest to wait first": _dearest,
    "soonest due first": _due, "shortest first": _shortest,
}  # fmt: skip
"""Rules of a yard; the first is how it is always done."""


TRIES, PUT_OFF = 16, 8
"""How often a task is put off, and by how many steps, until what must follow soon can."""


@dataclass(slots=True)
class _Yard:
    """What is in use so far: (begin, end, amount) by resource, sums by resource and day."""

    problem: Problem
    uses: dict[str, list[tuple[int, int, int]]]
    days: dict[tuple[str, int], int]

    @classmethod
    def of(cls, problem: Problem) -> _Yard:
        made = cls(problem, {}, {})
        for b in problem.blocks:
            if problem.resource(b.resource).daily:
                key = (b.resource, problem.day_of(b.begin))
                made.days[key] = made.days.get(key, 0) + b.amount
            else:
                made.uses.setdefault(b.resource, []).append((b.begin, b.end, b.amount))
        return made

    def clash(self, mode: Mode, begin: int, end: int) -> int | None:
        """None where a mode fits from a step to another; else a later step at which to try again."""
        for name, amount in mode.daily:
            day = self.problem.day_of(begin)
            if self.days.get((name, day), 0) + amount > self.problem.resource(name).capacity:
                return self.problem.first_day + day * self.problem.day
        for leg in mode.legs:
            a = begin + leg.offset
            b = end if leg.long is None else a + leg.long
            most = self.problem.resource(leg.resource).capacity - leg.amount
            if most < 0:
                return self.problem.horizon + 1  # there is never so much
            rows = [u for u in self.uses.get(leg.resource, ()) if u[0] < b and u[1] > a]
            for moment in sorted({a, *(u[0] for u in rows if u[0] > a)}):
                if sum(n for x, y, n in rows if x <= moment < y) > most:
                    return max(begin + 1, min(y for x, y, _n in rows if x <= moment < y) - leg.offset)
        return None

    def take(self, mode: Mode, begin: int, end: int) -> None:
        """Use what a mode uses."""
        self._sum(mode, begin, 1)
        for leg in mode.legs:
            a = begin + leg.offset
            b = end if leg.long is None else a + leg.long
            self.uses.setdefault(leg.resource, []).append((a, b, leg.amount))

    def give_back(self, mode: Mode, begin: int) -> None:
        """Undo the last `take`, of this mode."""
        self._sum(mode, begin, -1)
        for leg in mode.legs:
            self.uses[leg.resource].pop()

    def _sum(self, mode: Mode, begin: int, sign: int) -> None:
        for name, amount in mode.daily:
            key = (name, self.problem.day_of(begin))
            self.days[key] = self.days.get(key, 0) + sign * amount


def by_rule(problem: Problem, rule: str) -> Plan:
    """A plan by one of `RULES`. Args: problem; rule. Returns: a plan; its bound is 0."""
    if rule not in RULES:
        raise InputError(say("'{r}' is not one of {n}.", r=rule, n=", ".join(RULES)), "rule")
    order = RULES[rule]
    place = {j.name: n for n, j in enumerate(problem.jobs)}  # of two ways the usual one stands first
    return in_order(problem, sorted(problem.jobs, key=lambda j: (*order(problem, j), place[j.name])), rule)


def in_order(problem: Problem, jobs: Iterable[Job], rule: str = "") -> Plan:
    """Jobs one after the other, each as early and cheaply as it still fits.

    A job that does not fit within the plan is left out where that may be; else it is placed past the end of
    what else is there, and a check finds it. Of ways that exclude each other the first that fits is taken.
    """
    begun = time.monotonic()
    yard, placed, left = _Yard.of(problem), list[Placed](), list[str]()
    groups: set[str] = set()
    wanted: set[str] = set()
    for job in jobs:
        if job.one_of:
            wanted.add(job.one_of)
            if job.one_of in groups:
                continue
        tasks = _rest(yard, job, 0, job.release)
        if tasks is None:
            if not job.one_of:
                left.append(job.name)
            continue
        if job.one_of:
            groups.add(job.one_of)
        placed += tasks
    left += sorted(wanted - groups)
    plan = Plan(tuple(placed), tuple(left), 0, 0.0, False, time.monotonic() - begun, None, rule)
    must = [n for n in left if any(j.name == n and j.leave is None and not j.one_of for j in problem.jobs)]
    cost = money(problem, plan) if not must else 10**15
    return Plan(plan.placed, plan.left_out, cost, 0.0, False, plan.seconds, None, rule)


def _rest(yard: _Yard, job: Job, number: int, before: int) -> list[Placed] | None:
    """The tasks from a number on, taken; None, and nothing taken, where one does not fit.

    Where what follows must begin soon and cannot, this one is put off too.
    """
    if number == len(job.tasks):
        return []
    task, since = job.tasks[number], before
    soon = number + 1 < len(job.tasks) and job.tasks[number + 1].most_wait is not None
    for _try in range(TRIES if soon else 1):
        best = _task(yard, task, before, since)
        if best is None:
            return None
        begin, end, mode = best
        for last in range(end, begin + (mode.long[1] if soon else mode.long[0]) + 1):
            if last > end and yard.clash(mode, begin, last) is not None:
                break
            yard.take(mode, begin, last)
            rest = _rest(yard, job, number + 1, last)
            if rest is not None:
                return [Placed(job.name, task.name, mode.name, begin, last), *rest]
            yard.give_back(mode, begin)
        since = begin + PUT_OFF
    return None


def _task(yard: _Yard, task: Task, before: int, since: int) -> tuple[int, int, Mode] | None:
    """The mode and start, from a step on, that cost least with the wait since what was before; else the
    earlier end."""
    best: tuple[int, int, int, Mode] | None = None
    for mode in task.modes:
        begin = _earliest(yard, mode, max(before, since))
        if begin is None or (task.most_wait is not None and begin - before > task.most_wait):
            continue
        end = begin + mode.long[0]
        cost = mode.cost + wait_cost(task.waits, begin - before)
        if best is None or (cost, end) < best[:2]:
            best = (cost, end, begin, mode)
    return None if best is None else (best[2], best[1], best[3])


def _earliest(yard: _Yard, mode: Mode, before: int) -> int | None:
    for first, until in mode.windows or ((0, yard.problem.horizon),):
        at, last = max(first, before), min(until, yard.problem.horizon)
        while at <= last:
            later = yard.clash(mode, at, at + mode.long[0])
            if later is None:
                return at
            at = max(later, at + 1)
    return None
