"""Things to do as a calendar (RFC 5545)."""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

__all__ = ["Event", "feed", "task_key"]

SHORTEST = timedelta(minutes=15)


@dataclass(frozen=True, slots=True)
class Event:
    """One thing: a key that stays its own from feed to feed, when, what, and why where that is known."""

    key: str
    begin: datetime
    end: datetime
    words: str
    why: str | None = None


def task_key(kind: str, lot: str, begin: datetime) -> str:
    """The key of a planned task."""
    return f"{kind}|{lot}|{begin.isoformat()}"


def feed(name: str, product: str, events: Iterable[Event], stamp: datetime) -> bytes:
    """A calendar of events, each at least a quarter of an hour long. Source: RFC 5545, by icalendar."""
    import icalendar  # noqa: PLC0415 (only here)

    made = icalendar.Calendar()
    for key, value in (("prodid", f"-//Drydown//{product}//EN"), ("version", "2.0"), ("x-wr-calname", name)):
        made.add(key, value)
    for one in events:
        event = icalendar.Event()
        event.add("uid", f"{uuid.uuid5(uuid.NAMESPACE_URL, one.key)}@drydown")
        event.add("dtstamp", stamp)
        event.add("dtstart", one.begin)
        event.add("dtend", max(one.end, one.begin + SHORTEST))
        event.add("summary", one.words)
        if one.why is not None:
            event.add("description", one.why)
        made.add_component(event)
    return bytes(made.to_ical())
