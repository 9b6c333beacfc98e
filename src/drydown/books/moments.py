"""Times as people type them: the same on every phone, whatever its language."""

from __future__ import annotations

import re
from datetime import datetime, timedelta, tzinfo

from django.utils import timezone

from drydown.errors import InputError
from drydown.way.when import moment_text
from drydown.words import say

__all__ = ["EXAMPLE", "FARTHEST_BACK", "local_text", "read_moment"]

EXAMPLE = "26 Nov 09:30"
FARTHEST_BACK = timedelta(days=400)
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_CLOCK = r"(?P<hour>[0-2]?[0-9])[:.h](?P<minute>[0-5][0-9])"
_SHAPES = (
    re.compile(rf"^{_CLOCK}$"),
    re.compile(rf"^(?P<word>today|yesterday)\s+{_CLOCK}$"),
    re.compile(
        rf"^(?P<day>[0-3]?[0-9])\s+(?P<name>[a-z]{{3,9}})\.?(?:\s+(?P<year>[0-9]{{4}}))?,?\s+{_CLOCK}$"
    ),
    re.compile(
        rf"^(?P<year>[0-9]{{4}})-(?P<month>[01][0-9])-(?P<day>[0-3][0-9])[ t]{_CLOCK}(?::[0-5][0-9])?$"
    ),
    re.compile(rf"^(?P<day>[0-3]?[0-9])\.(?P<month>[01]?[0-9])\.(?P<year>[0-9]{{4}}),?\s+{_CLOCK}$"),
)


def local_text(at: datetime) -> str:
    """A moment in the station's time, as a message shows it."""
    return moment_text(timezone.localtime(at))


def read_moment(text: str, now: datetime, zone: tzinfo) -> datetime:
    """The moment that was typed, in the station's time.

    Args: text: "09:30" (today), "yesterday 17:00", "26 Nov 09:30" (the last such day), with a year,
    or 2026-11-26 09:30; now, aware; zone, the station's. Returns: aware moment.
    Raises `InputError` for anything else (26/11 and 11/26 are not told apart), for the future, and for
    more than 400 days ago.
    """
    plain = " ".join(text.lower().split())
    match = next((m for m in (shape.match(plain) for shape in _SHAPES) if m), None)
    if match is None:
        raise InputError(
            say("'{value}' is not a time.", value=text[:40]),
            "when",
            say("Write {example}, or 09:30 for today.", example=EXAMPLE),
        )
    at = _put_together(match.groupdict(), now.astimezone(zone))
    if at is None:
        raise InputError(
            say("'{value}' is not a day or hour there is.", value=text[:40]),
            "when",
            say("Write {example}.", example=EXAMPLE),
        )
    if at > now + timedelta(minutes=1):
        raise InputError(
            say("{moment_text} is in the future.", moment_text=moment_text(at)), "when", "Check the time."
        )
    if at < now - FARTHEST_BACK:
        raise InputError(
            say("{moment_text} is more than 400 days ago.", moment_text=moment_text(at)),
            "when",
            "Check the year.",
        )
    return min(at, now)


def _put_together(said: dict[str, str | None], local: datetime) -> datetime | None:
    """A local moment from what was said; None where there is no such day or hour."""
    month = said.get("month") or _month(said.get("name"))
    if said.get("name") and month is None:
        return None
    day = local - timedelta(days=1 if said.get("word") == "yesterday" else 0)
    try:
        at = day.replace(
            year=int(said.get("year") or day.year), month=int(month or day.month),
            day=int(said.get("day") or day.day), hour=int(said["hour"] or 0), minute=int(said["minute"] or 0),
            second=0, microsecond=0,
        )  # fmt: skip
        if said.get("day") and not said.get("year") and at > local + timedelta(minutes=1):
            at = at.replace(year=at.year - 1)  # the last such day
    except ValueError:
        return None
    return at


def _month(name: str | None) -> int | None:
    return _MONTHS.index(name[:3]) + 1 if name and name[:3] in _MONTHS else None
