"""Plans that were accepted, read back, and the last of them as the day is told it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db.models import QuerySet

from drydown.books.models import Entry
from drydown.day.now import PlanNow
from drydown.plan.changes import Was

__all__ = ["Accepted", "last_accepted", "plan_now", "plans", "read_plan"]

NEAR = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Accepted:
    """A plan that was accepted: its entry, when, its tasks as plain data, its money [smallest coin]."""

    entry: Entry
    at: datetime
    tasks: tuple[dict[str, Any], ...]
    cost: int

    def places(self) -> dict[str, str]:
        """The place of each job."""
        return {t["lot"]: t["where"] for t in self.tasks if t["kind"] == "dry"}

    def was(self) -> tuple[Was, ...]:
        """Its tasks, to hold a new plan against."""
        return tuple(Was(t["lot"], t["kind"], t["where"], t["begin"]) for t in self.tasks)


def plans() -> QuerySet[Entry]:
    """Entries of accepted plans that were not taken back."""
    return Entry.objects.filter(kind="plan", reversed_by=None)


def last_accepted() -> Accepted | None:
    """The plan that counts now; None where none was accepted yet."""
    entry = plans().order_by("-number").first()
    return None if entry is None else read_plan(entry)


def read_plan(entry: Entry) -> Accepted:
    """A plan as its entry keeps it."""
    facts = entry.facts
    tasks = tuple(
        {**t, "begin": datetime.fromisoformat(t["begin"]), "end": datetime.fromisoformat(t["end"])}
        for t in facts["tasks"]
    )
    return Accepted(entry, entry.happened_at, tasks, int(facts["cost"]))


def plan_now(now: datetime) -> tuple[PlanNow, ...]:
    """Tasks of the accepted plan about now, of fruit that was here when it was made."""
    found = last_accepted()
    return tuple(
        PlanNow(t["lot"], t["kind"], t["words"], t["begin"], found.at)
        for t in (found.tasks if found else ())
        if found and not t["expected"] and abs(t["begin"] - now) <= NEAR
    )
