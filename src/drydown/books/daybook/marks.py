"""What was said of a line of the day: done where nothing moves, or put off, and until when. Entries of the
journal."""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from datetime import datetime, timedelta

from drydown.books.journal.write import Draft, Who, write
from drydown.books.models import Entry
from drydown.day.line import Line
from drydown.errors import InputError, RangeError
from drydown.words import say

__all__ = ["LONGEST", "checked_meters", "marked", "put_off_until", "say_of"]

LONGEST = timedelta(days=14)
LOOK_BACK = timedelta(days=60)
KIND = "dayline"


def say_of(
    line: Line, what: str, until: datetime, reason: str, key: uuid.UUID, at: datetime, who: Who
) -> Entry:
    """Keep that a line was done, or put off until a moment, once for each key.

    Args: line; what, "done" or "put off"; until, when it may stand again; reason, in words; key; at; who.
    Raises `RangeError` for a moment that is past or more than two weeks off.
    """
    if what not in {"done", "put off"}:
        raise InputError(say("'{what}' is not known of a line.", what=what), "day")
    if not at < until <= at + LONGEST + timedelta(days=1):
        raise RangeError("a line is put off for at most two weeks, into the future.", "day")
    kept = Entry.objects.filter(key=key, kind=KIND).first()
    if kept is not None and kept.facts["line"] == line.key[:120] and kept.facts["what"] == what:
        return kept  # the same tap again
    body = {
        "line": line.key[:120], "kind": line.kind, "verb": str.__str__(line.verb)[:200], "what": what,
        "until": until.isoformat(), "reason": reason.strip()[:200], "lots": list(line.lots),
    }  # fmt: skip
    entry, _new = write(Draft(KIND, key, body, [], at, who))
    return entry


def marked(now: datetime, back: timedelta = LOOK_BACK) -> list[Entry]:
    """What was said of lines lately and stands, the latest first."""
    rows = Entry.objects.filter(
        kind=KIND, reversed_by=None, happened_at__gte=now - back, happened_at__lte=now
    )
    return list(rows.order_by("-number").select_related("by"))


def put_off_until(entries: Iterable[Entry]) -> dict[str, datetime]:
    """Keys of lines and until when they are off, by the latest word on each."""
    found: dict[str, datetime] = {}
    for entry in entries:
        facts = entry.facts
        found.setdefault(facts["line"], datetime.fromisoformat(facts["until"]))
    return found


def checked_meters(entries: Iterable[Entry]) -> dict[str, datetime]:
    """When each meter was last said to be held against an oven."""
    found: dict[str, datetime] = {}
    for entry in entries:
        facts = entry.facts
        if facts["kind"] == "meter" and facts["what"] == "done":
            name = facts["line"].split(":")[1]
            found.setdefault(name, entry.happened_at)
    return found
