"""The answer to "does it fit?": the plan, its price, beside simple rules, what holds it up and the ways
out."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from drydown.errors import InputError
from drydown.plan.build import Built, build
from drydown.plan.check import faults
from drydown.plan.drytimes import DryTimes
from drydown.plan.model import solve
from drydown.plan.problem import Plan, Problem
from drydown.plan.rules import RULES, by_rule
from drydown.plan.week import PER_H, Week
from drydown.words import say

__all__ = ["Answer", "Beside", "Worth", "answer_of", "late_kg_h", "priced", "waits_of"]

MORE_M2, MORE_PEOPLE = 40.0, 1.0
SECONDS, PRICE_SECONDS = 10.0, 3.0


@dataclass(frozen=True, slots=True)
class Beside:
    """Another way of deciding, on the same week: its money, kilogram-hours of waiting, jobs that find no
    way."""

    rule: str
    cost: int | None
    late_kg_h: float
    left_out: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Worth:
    """What more of one thing would save, by solving the week anew with it [smallest coin]."""

    thing: str
    more: str
    saves: int
    mends: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Answer:
    """A plan with all that is told of it.

    short, jobs that find no way; refused, fruit that is cheaper not taken.
    """

    week: Week
    built: Built
    plan: Plan
    beside: tuple[Beside, ...]
    worth: tuple[Worth, ...]
    short: tuple[str, ...] = ()
    refused: tuple[str, ...] = ()

    @property
    def fits(self) -> bool:
        """Whether every lot and all fruit finds its way."""
        return not self.short and not self.refused

    @property
    def own_late(self) -> float:
        """Kilogram-hours its fruit waits beyond what is free of cost."""
        return late_kg_h(self.built.problem, self.plan)

    def headline(self) -> str:
        """The answer in a sentence, without money."""
        if self.short:
            return say("It does not fit: {n} find no way: {names}.", n=len(self.short),
                       names=", ".join(self.short[:6]))  # fmt: skip
        if self.refused:
            return say("All that is here fits; {n} of what is expected do not: {names}.", n=len(self.refused),
                       names=", ".join(self.refused[:6]))  # fmt: skip
        return say("It fits: every lot and all fruit that is expected finds its way.")


def answer_of(
    week: Week, times: DryTimes, seconds: float = SECONDS, threads: int = 2, prices: bool = True
) -> Answer:
    """Plan a week.

    Args: week; times; seconds of solving; threads; prices, whether what is short is priced (a re-solve for
    each thing). Returns: `Answer`. Raises `InputError` where the check finds a plan's rule broken: a fault of
    ours, never shown as a plan.
    """
    built = build(week, times)
    rules = [by_rule(built.problem, rule) for rule in RULES]
    hint = min(rules, key=lambda r: r.cost)
    plan = solve(built.problem, seconds, threads, hint=hint)
    if plan is None or plan.cost > hint.cost:
        plan = replace(hint, bound=plan.bound if plan else 0.0)
    wrong = faults(built.problem, plan)
    if wrong:
        raise InputError(say("the plan breaks its own rules: {why}", why=wrong[0]), "plan")
    here = {x.name for x in week.lots}
    without = (*plan.left_out, *built.lost)
    short = tuple(n for n in without if n in here)
    refused = tuple(n for n in without if n not in here)
    beside = tuple(
        Beside(r.rule, r.cost if r.cost < 10**15 else None, late_kg_h(built.problem, r), r.left_out)
        for r in rules
    )
    answer = Answer(week, built, plan, beside, (), short, refused)
    return replace(answer, worth=priced(answer, times, threads)) if prices else answer


def waits_of(problem: Problem, plan: Plan) -> dict[str, float]:
    """Hours each job waits beyond what is free of cost, all steps together [h]."""
    jobs = {j.name: j for j in problem.jobs}
    found = {}
    for name, job in jobs.items():
        before, total = job.release, 0.0
        for at, task in zip(plan.of(name), job.tasks, strict=False):
            free = task.waits[-1][0] if task.waits else 0
            total += max(at.begin - before - free, 0) / PER_H if task.waits else 0.0
            before = at.end
        if plan.of(name):
            found[name] = total
    return found


def late_kg_h(problem: Problem, plan: Plan) -> float:
    """Kilograms of fruit times the hours they wait beyond what is free of cost [kg h]."""
    weights = {j.name: j.weight for j in problem.jobs}
    return sum(weights[n] * h for n, h in waits_of(problem, plan).items())


def priced(answer: Answer, times: DryTimes, threads: int = 2) -> tuple[Worth, ...]:
    """What more of each thing would save: the same week solved anew with it, from the plan that was found.

    There is no dual to read it from; a re-solve that finds nothing better in its time says 0.
    """
    week, plan, found = answer.week, answer.plan, list[Worth]()
    for key, more, amount in _tries(week):
        other = replace(week, add={key: amount})
        built = build(other, times)
        trial = solve(built.problem, PRICE_SECONDS, threads, hint=plan)
        if trial is None or faults(built.problem, trial):
            continue
        mends = tuple(n for n in plan.left_out if n not in trial.left_out)
        if trial.cost < plan.cost or mends:
            found.append(Worth(key, more, plan.cost - trial.cost, mends))
    return tuple(sorted(found, key=lambda w: -w.saves))


def _tries(week: Week) -> Iterable[tuple[str, str, float]]:
    """What is tried: the key, how it is told, and how much more."""
    things = week.station.equipment
    if things.tanks:
        yield "tank", say("one more tank as large as the largest"), 1.0
    for bed in things.beds:
        yield bed.name, say("{m:.0f} m2 more of {b}", m=MORE_M2, b=bed.name), MORE_M2
    if week.station.work.shifts:
        yield "people", say("one more person in each shift"), MORE_PEOPLE
    if week.station.wet.supply_l_day is not None:
        yield "water", say("half as much water again"), 0.5
    for pulper in things.pulpers[:1]:
        yield pulper.name, say("a second {p}", p=pulper.name), 1.0
