"""What a new plan does otherwise than the one that was accepted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from drydown.plan.told import Row
from drydown.words import say

__all__ = ["Change", "Was", "changes"]

MOVED = timedelta(hours=2)
"""A task that moves by less is as it was (own choice)."""


@dataclass(frozen=True, slots=True)
class Was:
    """A task of the plan that was accepted."""

    lot: str
    kind: str
    where: str
    begin: datetime


@dataclass(frozen=True, slots=True)
class Change:
    """A lot and what is otherwise, in words."""

    lot: str
    words: str


def changes(rows: Sequence[Row], was: Sequence[Was], now: datetime) -> list[Change]:
    """What changed since a plan was accepted, of tasks still to come.

    Args: rows of the new plan; was, tasks of the accepted one; now. Returns: a change a task: another place,
    another hour, new, or gone; nothing where all is as it was.
    """
    before = {(w.lot, w.kind): w for w in was if w.begin >= now - MOVED}
    found = []
    for row in rows:
        old = before.pop((row.job, row.kind), None)
        if old is None:
            if row.kind == "dry":
                found.append(Change(row.job, say("new: {w}", w=row.words)))
            continue
        if row.kind == "dry" and old.where != row.where:
            words = say("{p}, was {o}", p=row.where, o=old.where)
            found.append(Change(row.job, words))
        elif abs(row.begin - old.begin) > MOVED:
            zone = row.begin.tzinfo
            words = say("{k} {a:%a %H:%M}, was {b:%a %H:%M}", k=say(row.kind), a=row.begin,
                        b=old.begin.astimezone(zone))  # fmt: skip
            found.append(Change(row.job, words))
    gone = {w.lot for w in before.values() if w.kind == "dry"}
    return [*found, *(Change(lot, say("no longer in the plan")) for lot in sorted(gone))]
