"""Plans that were accepted: kept in the journal, and held against what happened."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from drydown.books.daybook.plans import plans, read_plan
from drydown.books.journal.write import Draft, Who, write
from drydown.books.models import Entry, Happening
from drydown.errors import InputError
from drydown.plan.answer import Answer
from drydown.plan.told import rows_of
from drydown.words import say

__all__ = ["Held", "accept", "held"]

STEP_OF = {"pulp": "pulp", "ferment": "ferment", "wash": "wash", "dry": "spread"}


@dataclass(frozen=True, slots=True)
class Held:
    """A task that was planned: what, when, when it was done (None: not yet, or never), hours late, where
    else."""

    lot: str
    words: str
    planned: datetime
    done: datetime | None
    late_h: float | None
    elsewhere: str


def accept(answer: Answer, key: uuid.UUID, now: datetime, who: Who) -> Entry:
    """Keep a plan as accepted: it makes the day's lines from then on. Nothing is moved by it."""
    tasks = [
        {
            "lot": r.job, "kind": r.kind, "words": str.__str__(r.words), "where": r.where,
            "begin": r.begin.isoformat(timespec="minutes"), "end": r.end.isoformat(timespec="minutes"),
            "expected": r.expected,
        }
        for r in rows_of(answer)
    ]  # fmt: skip
    if not tasks:
        raise InputError("holds nothing to do.", "the plan")
    body = {"days": answer.week.days, "cost": answer.plan.cost, "tasks": tasks}
    return write(Draft("plan", key, body, [], now, who))[0]


def held(now: datetime, back: timedelta = timedelta(days=8)) -> list[Held]:
    """Tasks of accepted plans whose hour has come, by the plan that counted then, beside what was done."""
    entries = plans().filter(happened_at__gte=now - back).order_by("number")
    kept = [read_plan(e) for e in entries]
    found = []
    for number, plan in enumerate(kept):
        until = kept[number + 1].at if number + 1 < len(kept) else now
        for task in plan.tasks:
            if task["expected"] or not plan.at <= task["begin"] < until:
                continue
            found.append(_beside(task))
    return sorted(found, key=lambda h: h.planned, reverse=True)


def _beside(task: dict[str, Any]) -> Held:
    rows = Happening.objects.filter(
        lot__code=task["lot"], kind=STEP_OF.get(task["kind"], ""), undone=False,
        happened_at__gte=task["begin"] - timedelta(days=3),
    )  # fmt: skip
    done = rows.order_by("happened_at").first()
    if done is None:
        return Held(task["lot"], task["words"], task["begin"], None, None, "")
    late = (done.happened_at - task["begin"]) / timedelta(hours=1)
    was = str(done.details.get("bed") or done.details.get("tank") or "")
    other = was if was and was not in task["where"] else ""
    return Held(task["lot"], task["words"], task["begin"], done.happened_at, late,
                say("on {p}", p=other) if other else "")  # fmt: skip
