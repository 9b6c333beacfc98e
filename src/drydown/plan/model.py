"""The problem as constraints, solved by CP-SAT."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

from drydown.errors import InputError
from drydown.plan.problem import Block, Job, Mode, Placed, Plan, Problem, Rise, Task
from drydown.plan.tighten import tighten
from drydown.words import say

__all__ = ["solve"]

THREADS = 2


Where = Mapping[tuple[str, str], Placed]
Tell = Callable[[Where], int]


@dataclass(slots=True)
class _Made:
    """Variables of the model by job, task and mode."""

    starts: dict[tuple[str, str], Any] = field(default_factory=dict)
    ends: dict[tuple[str, str], Any] = field(default_factory=dict)
    taken: dict[tuple[str, str, str], Any] = field(default_factory=dict)
    done: dict[str, Any] = field(default_factory=dict)
    uses: dict[str, list[tuple[Any, int]]] = field(default_factory=dict)
    surely: dict[str, list[tuple[int, int, Any, int]]] = field(default_factory=dict)
    """By resource: from when until when a mode is sure to use it if it is taken, its variable, how much."""
    daily: dict[str, dict[int, list[tuple[Any, int]]]] = field(default_factory=dict)
    over: dict[tuple[str, str], list[Any]] = field(default_factory=dict)
    money: list[Any] = field(default_factory=list)
    told: list[tuple[Any, Tell]] = field(default_factory=list)
    """Variables that follow from where tasks are placed, and what they are then: a hint must be whole."""


def solve(
    problem: Problem, seconds: float, threads: int = THREADS, hint: Plan | None = None,
    makespan: bool = False, seed: int = 1,
) -> Plan | None:  # fmt: skip
    """The cheapest plan that is found in a time.

    Args: problem; seconds; threads; hint, a plan to begin from; makespan, least end of all in place of money;
    seed. Returns: a plan with the bound of what is possible, None where none was found. Raises `InputError`
    for a problem that cannot be put (a task without a way).
    Source: OR-Tools CP-SAT, direct.
    """
    from ortools.sat.python import cp_model  # noqa: PLC0415 (slow to load, and only where one plans)

    model, made = cp_model.CpModel(), _Made()
    for job in problem.jobs:
        _put_job(model, made, problem, job)
    _one_of(model, made, problem)
    _share(model, made, problem)
    if makespan:
        last = model.new_int_var(0, problem.horizon, "last")
        for job in problem.jobs:
            model.add(last >= made.ends[job.name, job.tasks[-1].name])
        model.minimize(last)
    else:
        model.minimize(sum(made.money))
    if hint is not None:
        _hint(model, made, problem, hint)
    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds = seconds
    solver.parameters.num_workers = threads
    solver.parameters.random_seed = seed
    begun = time.monotonic()
    first = _First(begun)
    status = solver.status_name(solver.solve(model, first))
    if status not in {"OPTIMAL", "FEASIBLE"}:
        return None
    return _read(problem, made, solver, status == "OPTIMAL", time.monotonic() - begun, first.after_s)


def _First(begun: float) -> Any:  # noqa: N802 (makes a class of a late import)
    from ortools.sat.python import cp_model  # noqa: PLC0415

    class First(cp_model.CpSolverSolutionCallback):
        """Notes when the first plan came."""

        def __init__(self) -> None:
            super().__init__()
            self.after_s: float | None = None

        def on_solution_callback(self) -> None:
            if self.after_s is None:
                self.after_s = time.monotonic() - begun

    return First()


def _put_job(model: Any, made: _Made, problem: Problem, job: Job) -> None:
    done = model.new_bool_var(f"do {job.name}")
    if job.leave is None and not job.one_of:
        model.add(done == 1)
    elif job.leave is not None and not job.one_of:
        made.money.append(job.leave * (1 - done))
    made.done[job.name] = done
    before: Any = job.release
    for task in job.tasks:
        start, end = _put_task(model, made, problem, job, task, done)
        model.add(start >= before).only_enforce_if(done)
        if task.most_wait is not None:
            model.add(start - before <= task.most_wait).only_enforce_if(done)
        part = (job.name, f"wait {task.name}")
        _cost(model, made, problem, task.waits, (start, before), done, _waited(job, task), part)
        before = end
    _cost(model, made, problem, job.late, (before, 0), done, _ended(job), (job.name, "late"))
    tighten(model, job, made.taken, made.over)


def _put_task(model: Any, made: _Made, problem: Problem, job: Job, task: Task, done: Any) -> tuple[Any, Any]:
    """Start and end of a task, and its modes, of which one is taken where the job is done."""
    if not task.modes:
        raise InputError(
            say("{task} of {job} cannot be done in any way.", task=task.name, job=job.name), "plan"
        )
    longest = max(m.long[1] for m in task.modes)
    start = model.new_int_var(0, problem.horizon, f"start {job.name} {task.name}")
    end = model.new_int_var(0, problem.horizon + longest, f"end {job.name} {task.name}")
    made.starts[job.name, task.name], made.ends[job.name, task.name] = start, end
    literals = []
    for mode in task.modes:
        lit = model.new_bool_var(f"{job.name} {task.name} {mode.name}")
        made.taken[job.name, task.name, mode.name] = lit
        literals.append(lit)
        _put_mode(model, made, problem, (start, end, lit), mode, (job.name, task.name))
    model.add(sum(literals) == done)
    return start, end


def _waited(job: Job, task: Task) -> Tell:
    """Steps a task waits, where it is placed."""
    number = job.tasks.index(task)

    def tell(where: Where) -> int:
        at = where.get((job.name, task.name))
        if at is None:
            return 0
        if number == 0:
            return at.begin - job.release
        before = where.get((job.name, job.tasks[number - 1].name))
        return at.begin - before.end if before else 0

    return tell


def _ended(job: Job) -> Tell:
    """The last step of a job, where it is placed."""

    def tell(where: Where) -> int:
        at = where.get((job.name, job.tasks[-1].name))
        return at.end if at else 0

    return tell


def _put_mode(
    model: Any, made: _Made, problem: Problem, task: tuple[Any, Any, Any], mode: Mode, key: tuple[str, str]
) -> None:
    from ortools.sat.python import cp_model  # noqa: PLC0415

    start, end, lit = task
    low, high = mode.long
    if mode.windows:
        pairs = [[a, b] for a, b in mode.windows if b >= a]
        if not pairs:
            model.add(lit == 0)
        else:
            model.add_linear_expression_in_domain(
                start, cp_model.Domain.from_intervals(pairs)
            ).only_enforce_if(lit)
    if low == high:
        model.add(end == start + low).only_enforce_if(lit)
    else:
        model.add(end >= start + low).only_enforce_if(lit)
        model.add(end <= start + high).only_enforce_if(lit)
        part = (key[0], f"long {key[1]}")
        _cost(model, made, problem, mode.rises, (end, start), lit, _lasted(key, mode.name), part)
    for leg in mode.legs:
        if leg.long is None and low != high:
            size = model.new_int_var(low, high, "")
            made.told.append((size, _lasted(key, mode.name, low)))
            used = model.new_optional_interval_var(start, size, end, lit, "")
        else:
            size = low if leg.long is None else leg.long
            used = model.new_optional_fixed_size_interval_var(start + leg.offset, size, lit, "")
        made.uses.setdefault(leg.resource, []).append((used, leg.amount))
        if mode.windows:
            begin = max(b for _a, b in mode.windows) + leg.offset
            until = min(a for a, _b in mode.windows) + leg.offset + (low if leg.long is None else leg.long)
            if until > begin:
                made.surely.setdefault(leg.resource, []).append((begin, until, lit, leg.amount))
    for name, amount in mode.daily:
        _daily(model, made, problem, (start, lit), (name, amount), mode, key)
    if mode.cost:
        made.money.append(mode.cost * lit)


def _lasted(key: tuple[str, str], mode: str, otherwise: int = 0) -> Tell:
    """How long a mode lasts, where it is the one that is taken."""

    def tell(where: Where) -> int:
        at = where.get(key)
        return at.end - at.begin if at is not None and at.mode == mode else otherwise

    return tell


def _daily(
    model: Any, made: _Made, problem: Problem, task: tuple[Any, Any], takes: tuple[str, int], mode: Mode,
    key: tuple[str, str],
) -> None:  # fmt: skip
    """What a mode takes of a day's sum, on the day it starts."""
    (start, lit), (name, amount) = task, takes
    spans = mode.windows or ((0, problem.horizon),)
    days = sorted({d for a, b in spans for d in range(problem.day_of(a), problem.day_of(b) + 1)})
    on = []
    for day in days:
        here = model.new_bool_var("")
        begin = 0 if day == 0 else problem.first_day + (day - 1) * problem.day
        until = problem.first_day if day == 0 else begin + problem.day
        model.add(start >= begin).only_enforce_if(here)
        model.add(start < until).only_enforce_if(here)
        on.append(here)
        made.told.append((here, _on_day(problem, key, mode.name, day)))
        made.daily.setdefault(name, {}).setdefault(day, []).append((here, amount))
    model.add(sum(on) == lit)


def _cost(
    model: Any, made: _Made, problem: Problem, rises: Sequence[Rise], between: tuple[Any, Any], lit: Any,
    tell: Tell, part: tuple[str, str],
) -> None:  # fmt: skip
    """Money that rises with the steps between two moments."""
    late, early = between
    for since, each in rises:
        if each <= 0:
            continue
        over = model.new_int_var(0, 4 * problem.horizon, "")
        model.add(over >= late - early - since).only_enforce_if(lit)
        made.money.append(each * over)
        made.told.append((over, _above(tell, since)))
        if since == rises[0][0]:
            made.over.setdefault(part, []).append(over)


def _none_of(names: set[str]) -> Tell:
    return lambda where: int(not any(job in names for job, _task in where))


def _above(tell: Tell, since: int) -> Tell:
    return lambda where: max(tell(where) - since, 0)


def _on_day(problem: Problem, key: tuple[str, str], mode: str, day: int) -> Tell:
    def tell(where: Where) -> int:
        at = where.get(key)
        return int(at is not None and at.mode == mode and problem.day_of(at.begin) == day)

    return tell


def _one_of(model: Any, made: _Made, problem: Problem) -> None:
    """Of ways that share a name one is taken, or all are left at the least of their costs."""
    groups: dict[str, list[Job]] = {}
    for job in problem.jobs:
        if job.one_of:
            groups.setdefault(job.one_of, []).append(job)
    for jobs in groups.values():
        lits = [made.done[j.name] for j in jobs]
        leaves = [j.leave for j in jobs if j.leave is not None]
        if leaves:
            none = model.new_bool_var("")
            model.add(sum(lits) + none == 1)
            made.told.append((none, _none_of({j.name for j in jobs})))
            made.money.append(min(leaves) * none)
        else:
            model.add_exactly_one(lits)


def _share(model: Any, made: _Made, problem: Problem) -> None:
    """No more of anything than there is."""
    for resource in problem.resources:
        uses = made.uses.get(resource.name, [])
        if resource.daily:
            taken: dict[int, int] = {}
            for b in problem.blocks:
                if b.resource == resource.name:
                    taken[problem.day_of(b.begin)] = taken.get(problem.day_of(b.begin), 0) + b.amount
            for day, rows in made.daily.get(resource.name, {}).items():
                room = max(resource.capacity - taken.get(day, 0), 0)
                model.add(sum(amount * here for here, amount in rows) <= room)
            continue
        if not uses:
            continue
        blocks = [b for b in problem.blocks if b.resource == resource.name and b.end > b.begin]
        if not blocks and resource.capacity == 1 and all(a == 1 for _i, a in uses):
            model.add_no_overlap([i for i, _a in uses])
            continue
        fixed = [(model.new_fixed_size_interval_var(b.begin, b.end - b.begin, ""), b.amount)
                 for b in _within(blocks, resource.capacity)]  # fmt: skip
        _at_midnights(model, made, problem, resource.name, resource.capacity, blocks)
        every = [*uses, *fixed]
        model.add_cumulative([i for i, _a in every], [a for _i, a in every], resource.capacity)


def _at_midnights(
    model: Any, made: _Made, problem: Problem, name: str, capacity: int, blocks: Iterable[Block]
) -> None:
    """At each midnight no more than there is of what is surely in use then: for the bound's sake."""
    rows, gone = made.surely.get(name, []), list(blocks)
    for day in range(problem.horizon // problem.day + 2):
        at = problem.first_day + day * problem.day
        here = [(lit, amount) for begin, until, lit, amount in rows if begin <= at < until]
        if len(here) > 1:
            away = min(sum(b.amount for b in gone if b.begin <= at < b.end), capacity)
            model.add(sum(amount * lit for lit, amount in here) <= capacity - away)


def _within(blocks: Iterable[Any], capacity: int) -> list[Any]:
    """Blocks laid together so that none is above what there is: what lies over-full leaves nothing free."""
    rows = list(blocks)
    edges = sorted({b.begin for b in rows} | {b.end for b in rows})
    found: list[Block] = []
    for begin, end in pairwise(edges):
        amount = min(sum(b.amount for b in rows if b.begin <= begin and b.end >= end), capacity)
        if amount <= 0:
            continue
        if found and found[-1].end == begin and found[-1].amount == amount:
            found[-1] = Block(rows[0].resource, found[-1].begin, end, amount)
        else:
            found.append(Block(rows[0].resource, begin, end, amount))
    return found


def _hint(model: Any, made: _Made, problem: Problem, hint: Plan) -> None:
    placed = {(p.job, p.task): p for p in hint.placed}
    for variable, tell in made.told:
        model.add_hint(variable, tell(placed))
    for job in problem.jobs:
        model.add_hint(made.done[job.name], any(p.job == job.name for p in hint.placed))
        for task in job.tasks:
            at = placed.get((job.name, task.name))
            if at is not None:
                model.add_hint(made.starts[job.name, task.name], at.begin)
                model.add_hint(made.ends[job.name, task.name], at.end)
            for mode in task.modes:
                lit = made.taken[job.name, task.name, mode.name]
                model.add_hint(lit, at is not None and at.mode == mode.name)


def _read(
    problem: Problem, made: _Made, solver: Any, proved: bool, seconds: float, first_s: float | None
) -> Plan:
    placed, left = [], []
    for job in problem.jobs:
        if not solver.boolean_value(made.done[job.name]):
            if not job.one_of:
                left.append(job.name)
            continue
        for task in job.tasks:
            mode = next(
                m.name for m in task.modes if solver.boolean_value(made.taken[job.name, task.name, m.name])
            )
            begin, end = (int(solver.value(v[job.name, task.name])) for v in (made.starts, made.ends))
            placed.append(Placed(job.name, task.name, mode, begin, end))
    groups = {j.one_of for j in problem.jobs if j.one_of}
    for group in sorted(groups):
        if not any(p.job in {j.name for j in problem.jobs if j.one_of == group} for p in placed):
            left.append(group)
    return Plan(
        tuple(placed), tuple(left), round(solver.objective_value), float(solver.best_objective_bound), proved,
        seconds, first_s, "",
    )  # fmt: skip
