"""A plan's problem as plain values: things that are shared, tasks that must use them, what each hour costs.

Time is in whole steps (an hour of a station, a unit of a textbook case) from the plan's start; amounts are
whole (tenths of a square metre, litres, people); money is in the smallest coin. A station's week and a
textbook job shop are both this.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from drydown.errors import InputError
from drydown.words import say

__all__ = [
    "Block",
    "Job",
    "Leg",
    "Mode",
    "Placed",
    "Plan",
    "Problem",
    "Resource",
    "Rise",
    "Task",
    "wait_cost",
]

Rise = tuple[int, int]
"""From so many steps on, so much money for each step more."""


@dataclass(frozen=True, slots=True)
class Resource:
    """Something shared: name, how much there is, what that is; daily, where it is a sum of each day."""

    name: str
    capacity: int
    unit: str = ""
    daily: bool = False


@dataclass(frozen=True, slots=True)
class Block:
    """A part of a resource that is not there from a step to another: shifts, breakdowns, lots that lie."""

    resource: str
    begin: int
    end: int
    amount: int
    why: str = ""


@dataclass(frozen=True, slots=True)
class Leg:
    """Use of a resource for a part of a mode: from so many steps after its start, so long, so much; long
    None: as long as the mode itself."""

    resource: str
    amount: int
    offset: int = 0
    long: int | None = None


@dataclass(frozen=True, slots=True)
class Mode:
    """One way of doing a task.

    long, shortest and longest length [step]; rises, money for each step of it above a length (in order, each
    on top of the last); windows, pairs of the first and last start (none: any); daily, amounts taken of daily
    resources on the day it starts; cost [smallest coin]; words, how it is told; tells, figures for people.
    """

    name: str
    long: tuple[int, int]
    legs: tuple[Leg, ...] = ()
    windows: tuple[tuple[int, int], ...] = ()
    rises: tuple[Rise, ...] = ()
    daily: tuple[tuple[str, int], ...] = ()
    cost: int = 0
    words: str = ""
    tells: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Task:
    """A task of a job: its modes; waits, money for each step between the end of what is before (or the job's
    release) and its start; most_wait, after which it must have begun, None: no such limit."""

    name: str
    modes: tuple[Mode, ...]
    waits: tuple[Rise, ...] = ()
    most_wait: int | None = None


@dataclass(frozen=True, slots=True)
class Job:
    """Tasks in order. release, the first step; late, money for each step of its last end above a step;
    leave, what it costs to leave it out (None: it must be done); one_of, a name shared by ways of which one
    is taken; weight, kilograms, for figures."""

    name: str
    tasks: tuple[Task, ...]
    release: int = 0
    late: tuple[Rise, ...] = ()
    leave: int | None = None
    one_of: str = ""
    weight: float = 0.0
    words: str = ""


@dataclass(frozen=True, slots=True)
class Problem:
    """All of it. horizon, steps; day, steps in a day; first_day, steps until the first midnight."""

    horizon: int
    resources: tuple[Resource, ...]
    jobs: tuple[Job, ...]
    blocks: tuple[Block, ...] = ()
    day: int = 24
    first_day: int = 24

    def __post_init__(self) -> None:
        known = {r.name for r in self.resources}
        for name, where in self._named():
            if name not in known:
                raise InputError(say("'{name}' is not shared here.", name=name), where)

    def _named(self) -> Iterable[tuple[str, str]]:
        for block in self.blocks:
            yield block.resource, "block"
        for job in self.jobs:
            for task in job.tasks:
                for mode in task.modes:
                    yield from ((leg.resource, job.name) for leg in mode.legs)
                    yield from ((name, job.name) for name, _amount in mode.daily)

    def resource(self, name: str) -> Resource:
        """A resource by name."""
        return next(r for r in self.resources if r.name == name)

    def day_of(self, step: int) -> int:
        """The day a step lies in, 0 for the first."""
        return 0 if step < self.first_day else 1 + (step - self.first_day) // self.day


@dataclass(frozen=True, slots=True)
class Placed:
    """A task of a plan: which job, task and mode, from when until when."""

    job: str
    task: str
    mode: str
    begin: int
    end: int


@dataclass(frozen=True, slots=True)
class Plan:
    """What was found: tasks that are placed, jobs that are left out, its money and the least it could be.

    bound, below which no plan costs [smallest coin]; proved, whether this is one of the best; seconds, of
    solving; failed, whether nothing was found at all.
    """

    placed: tuple[Placed, ...]
    left_out: tuple[str, ...]
    cost: int
    bound: float
    proved: bool
    seconds: float
    first_s: float | None = None
    rule: str = ""

    @property
    def gap(self) -> float:
        """How far its money may be above the least, as a share of it."""
        return max(self.cost - self.bound, 0.0) / max(abs(self.cost), 1.0)

    def of(self, job: str) -> tuple[Placed, ...]:
        """A job's tasks in order of time."""
        return tuple(sorted((p for p in self.placed if p.job == job), key=lambda p: (p.begin, p.end)))


def wait_cost(rises: Iterable[Rise], steps: int) -> int:
    """Money for so many steps by rises that stand on top of each other."""
    return sum(max(steps - since, 0) * each for since, each in rises)
