"""A plan as people read it: each worker's list by day, a picture of every place, plain data, a calendar."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from drydown.plan.answer import Answer, waits_of
from drydown.plan.feed import Event, feed, task_key
from drydown.plan.problem import Mode, Placed
from drydown.words import say

__all__ = ["Bar", "Lane", "Row", "as_dict", "calendar", "elsewhere", "lanes_of", "rows_of", "wall"]

SHAPE = "drydown.plan/1"


@dataclass(frozen=True, slots=True)
class Row:
    """One thing to do: when until when, what, of which lot, where; expected, whether its fruit is not here
    yet."""

    begin: datetime
    end: datetime
    kind: str
    words: str
    job: str
    where: str
    expected: bool


@dataclass(frozen=True, slots=True)
class Bar:
    """A lot at a place: from when until when; state "lies", "planned" or "expected"."""

    job: str
    begin: datetime
    end: datetime
    state: str
    words: str


@dataclass(frozen=True, slots=True)
class Lane:
    """A place or tank with what is at it through the plan, and what is free at the end of each day [m2]."""

    name: str
    kind: str
    bars: tuple[Bar, ...]
    free: tuple[float, ...] = ()


def _mode(answer: Answer, at: Placed) -> Mode:
    job = next(j for j in answer.built.problem.jobs if j.name == at.job)
    task = next(t for t in job.tasks if t.name == at.task)
    return next(m for m in task.modes if m.name == at.mode)


def _words(at: Placed, mode: Mode) -> str:
    if at.task == "pulp":
        return say("Pulp {j} on {m}", j=at.job, m=at.mode)
    if at.task == "ferment":
        return say("Fill {m} with {j}", j=at.job, m=at.mode)
    if at.task == "wash":
        return say("Wash {j}", j=at.job)
    if "area" in mode.tells:
        return say(
            "Spread {j} on {p}, {a:.0f} m2 at {l:g} kg/m2", j=at.job, p=mode.words, a=mode.tells["area"],
            l=mode.tells["load"],
        )  # fmt: skip
    return f"{at.task} {at.job}"


def rows_of(answer: Answer) -> list[Row]:
    """Everything to do, in order of time; what is under way already is left out."""
    week, found = answer.week, []
    here = {x.name for x in week.lots}
    for at in sorted(answer.plan.placed, key=lambda p: (p.begin, p.job)):
        lot = next((x for x in week.lots if x.name == at.job), None)
        if at.task == "ferment" and lot is not None and lot.tank is not None:
            continue
        mode = _mode(answer, at)
        end = at.end if at.task in {"pulp", "wash"} else at.begin + 1
        found.append(
            Row(week.at(at.begin), week.at(end), at.task, _words(at, mode), at.job, mode.words or at.mode,
                at.job not in here)
        )  # fmt: skip
    return found


def lanes_of(answer: Answer) -> list[Lane]:
    """Tanks and places with what is at them: what lies there now, and what is planned."""
    week, problem = answer.week, answer.built.problem
    here = {x.name for x in week.lots}
    found = []
    for resource in problem.resources:
        if resource.daily or resource.unit not in {"tank", "0.1 m2"}:
            continue
        bars = [
            Bar(b.why, week.at(b.begin), week.at(b.end), "lies", "")
            for b in problem.blocks if b.resource == resource.name and b.why not in {"breakdown", "shift"}
        ]  # fmt: skip
        uses = [(b.begin, b.end, b.amount) for b in problem.blocks if b.resource == resource.name]
        for at in answer.plan.placed:
            mode = _mode(answer, at)
            for leg in (x for x in mode.legs if x.resource == resource.name):
                begin = at.begin + leg.offset
                end = at.end if leg.long is None else begin + leg.long
                state = "planned" if at.job in here else "expected"
                bars.append(Bar(at.job, week.at(begin), week.at(end), state, _words(at, mode)))
                uses.append((begin, end, leg.amount))
        free = _free(answer, resource.capacity, uses) if resource.unit == "0.1 m2" else ()
        kind = "tank" if resource.unit == "tank" else "place"
        found.append(Lane(resource.name, kind, tuple(sorted(bars, key=lambda b: b.begin)), free))
    return found


def _free(answer: Answer, capacity: int, uses: Sequence[tuple[int, int, int]]) -> tuple[float, ...]:
    """Square metres free at six in the evening of each day."""
    week, found = answer.week, []
    midnight = week.now.replace(hour=0, minute=0, second=0, microsecond=0)
    for day in range(week.days):
        at = week.step_of(midnight + timedelta(days=day, hours=18))
        found.append((capacity - sum(n for a, b, n in uses if a <= at < b)) / 10.0)
    return tuple(found)


def elsewhere(answer: Answer, job: str) -> list[tuple[str, int, float]]:
    """Why a lot lies where it does: other places it could lie on, what each costs more than the one that was
    taken, by its own cost alone, and how many days it would lie there. [smallest coin], [day]."""
    found = next((j for j in answer.built.problem.jobs if j.name == job), None)
    taken = next((p for p in answer.plan.of(job) if p.task == "dry"), None)
    if found is None or taken is None:
        return []
    modes = next(t for t in found.tasks if t.name == "dry").modes
    own = next(m for m in modes if m.name == taken.mode)
    best: dict[str, Mode] = {}
    for mode in modes:
        if mode.words != own.words and (mode.words not in best or mode.cost < best[mode.words].cost):
            best[mode.words] = mode
    rows = [(m.words, m.cost - own.cost, m.tells.get("days", 0.0)) for m in best.values()]
    return sorted(rows, key=lambda r: r[1])


def as_dict(answer: Answer) -> dict[str, Any]:
    """Plain data, shape `drydown.plan/1` (docs/json.md)."""
    week, plan = answer.week, answer.plan
    waits = waits_of(answer.built.problem, plan)
    return {
        "shape": SHAPE, "from": week.now.isoformat(), "days": week.days, "risk": week.risk,
        "headline": answer.headline(), "cost": plan.cost, "bound": plan.bound, "gap": round(plan.gap, 4),
        "proved": plan.proved, "seconds": round(plan.seconds, 2), "fits": answer.fits,
        "without_a_way": list(answer.short), "not_taken": list(answer.refused),
        "tasks": [
            {
                "lot": r.job, "kind": r.kind, "words": r.words, "where": r.where, "expected": r.expected,
                "begin": r.begin.isoformat(timespec="minutes"), "end": r.end.isoformat(timespec="minutes"),
            }
            for r in rows_of(answer)
        ],
        "waits_h": {k: round(v, 2) for k, v in waits.items() if v > 0.0},
        "beside": [
            {"rule": b.rule, "cost": b.cost, "late_kg_h": round(b.late_kg_h, 1), "left_out": list(b.left_out)}
            for b in answer.beside
        ],
        "worth_of_more": [
            {"thing": w.thing, "more": w.more, "saves": w.saves, "mends": list(w.mends)} for w in answer.worth
        ],
        "notes": list(answer.built.notes),
    }  # fmt: skip


def calendar(name: str, rows: Iterable[Row], stamp: datetime) -> bytes:
    """Tasks as a calendar (RFC 5545)."""
    events = (Event(task_key(r.kind, r.job, r.begin), r.begin, r.end, r.words) for r in rows)
    return feed(name, "Week", events, stamp)


def wall(name: str, made: datetime, tasks: Iterable[tuple[datetime, str]]) -> dict[str, Any]:
    """Tasks by day as the sheet for the wall takes them; times as the station's clock shows them."""
    days: dict[str, list[list[str]]] = {}
    for begin, words in tasks:
        days.setdefault(f"{begin:%a %d.%m.}", []).append([f"{begin:%H:%M}", str(words)])
    return {"place": name, "at": f"{made:%d.%m. %H:%M}", "days": [[day, rows] for day, rows in days.items()]}
