"""An independent check of a plan: every rule asked of the plan itself. It shares no code with the model."""

from __future__ import annotations

from drydown.plan.problem import Job, Mode, Placed, Plan, Problem
from drydown.words import say

__all__ = ["faults", "money"]


def faults(problem: Problem, plan: Plan) -> list[str]:
    """What is wrong with a plan, in sentences; none where it keeps every rule.

    Args: problem; plan. Checks: each job whole or left out, tasks in order, waits, lengths, windows, what is
    shared at every moment anything changes, the sums of each day, one of each set of ways.
    """
    found: list[str] = []
    jobs = {j.name: j for j in problem.jobs}
    modes: list[tuple[Placed, Mode]] = []
    for name in {p.job for p in plan.placed} - set(jobs):
        found.append(say("{job} is not of this problem.", job=name))
    for job in problem.jobs:
        own = {p.task: p for p in plan.placed if p.job == job.name}
        if not own:
            if job.leave is None and not job.one_of:
                found.append(say("{job} must be done, and is not.", job=job.name))
            continue
        found += _job(problem, job, own, modes)
    for group in {j.one_of for j in problem.jobs if j.one_of}:
        ways = [j for j in problem.jobs if j.one_of == group]
        done = sum(any(p.job == j.name for p in plan.placed) for j in ways)
        if done > 1 or (done == 0 and all(j.leave is None for j in ways)):
            found.append(say("of the ways of {g} not one but {n} are taken.", g=group, n=done))
    return found + _shared(problem, modes) + _daily(problem, modes)


def _job(problem: Problem, job: Job, own: dict[str, Placed], modes: list[tuple[Placed, Mode]]) -> list[str]:
    found: list[str] = []
    before = job.release
    for task in job.tasks:
        at = own.get(task.name)
        if at is None:
            found.append(say("{job} has no {task}.", job=job.name, task=task.name))
            continue
        mode = next((m for m in task.modes if m.name == at.mode), None)
        if mode is None:
            found.append(
                say("{job}, {task}: '{mode}' is no way of it.", job=job.name, task=task.name, mode=at.mode)
            )
            continue
        modes.append((at, mode))
        where = f"{job.name}, {task.name}"
        if at.begin < before:
            found.append(say("{w}: begins at {a}, before {b}.", w=where, a=at.begin, b=before))
        if task.most_wait is not None and at.begin - before > task.most_wait:
            found.append(
                say("{w}: waits {h}, longer than {m}.", w=where, h=at.begin - before, m=task.most_wait)
            )
        if not mode.long[0] <= at.end - at.begin <= mode.long[1]:
            found.append(say("{w}: takes {h}, not {a} to {b}.", w=where, h=at.end - at.begin, a=mode.long[0],
                             b=mode.long[1]))  # fmt: skip
        if mode.windows and not any(a <= at.begin <= b for a, b in mode.windows):
            found.append(say("{w}: begins at {a}, outside its hours.", w=where, a=at.begin))
        if at.begin > problem.horizon:
            found.append(say("{w}: begins after the plan's end.", w=where))
        before = at.end
    return found


def _shared(problem: Problem, modes: list[tuple[Placed, Mode]]) -> list[str]:
    """At each moment at which anything begins: all that is in use, and what is not there."""
    found: list[str] = []
    for resource in problem.resources:
        if resource.daily:
            continue
        uses: list[tuple[int, int, int]] = []
        for at, mode in modes:
            for leg in mode.legs:
                if leg.resource == resource.name:
                    begin = at.begin + leg.offset
                    uses.append((begin, at.end if leg.long is None else begin + leg.long, leg.amount))
        gone = [(b.begin, b.end, b.amount) for b in problem.blocks if b.resource == resource.name]
        for moment in sorted({u[0] for u in uses} | {g[0] for g in gone}):
            used = sum(n for a, b, n in uses if a <= moment < b)
            away = min(sum(n for a, b, n in gone if a <= moment < b), resource.capacity)
            if used and used > resource.capacity - away:
                found.append(say("{r} at {t}: {n} used of {c}.", r=resource.name, t=moment, n=used,
                                 c=resource.capacity - away))  # fmt: skip
    return found


def _daily(problem: Problem, modes: list[tuple[Placed, Mode]]) -> list[str]:
    found: list[str] = []
    for resource in (r for r in problem.resources if r.daily):
        days: dict[int, int] = {}
        for at, mode in modes:
            for name, amount in mode.daily:
                if name == resource.name:
                    day = (
                        0
                        if at.begin < problem.first_day
                        else 1 + (at.begin - problem.first_day) // problem.day
                    )
                    days[day] = days.get(day, 0) + amount
        for day, used in sorted(days.items()):
            away = 0
            for b in problem.blocks:
                on = 0 if b.begin < problem.first_day else 1 + (b.begin - problem.first_day) // problem.day
                away += b.amount if b.resource == resource.name and on == day else 0
            if used > max(resource.capacity - away, 0):
                found.append(say("{r} on day {d}: {n} used of {c}.", r=resource.name, d=day, n=used,
                                 c=max(resource.capacity - away, 0)))  # fmt: skip
    return found


def money(problem: Problem, plan: Plan) -> int:
    """What a plan costs, added up from the plan itself [smallest coin]."""
    total = 0
    for job in problem.jobs:
        own = {p.task: p for p in plan.placed if p.job == job.name}
        if not own:
            if not job.one_of:
                total += job.leave or 0
            continue
        before = job.release
        for task in job.tasks:
            at = own[task.name]
            mode = next(m for m in task.modes if m.name == at.mode)
            total += mode.cost
            for since, each in task.waits:
                total += each * max(0, at.begin - before - since)
            for since, each in mode.rises:
                total += each * max(0, at.end - at.begin - since)
            before = at.end
        for since, each in job.late:
            total += each * max(0, before - since)
    for group in {j.one_of for j in problem.jobs if j.one_of}:
        ways = [j for j in problem.jobs if j.one_of == group]
        if not any(p.job in {j.name for j in ways} for p in plan.placed):
            total += min(j.leave for j in ways if j.leave is not None)
    return total
