"""What the handling log says of the nights behind a drying lot, in words."""

from __future__ import annotations

from datetime import datetime, timedelta

from drydown.books.models import Lot
from drydown.station.model import Station
from drydown.way.habits import habits_of
from drydown.words import say

__all__ = ["night_words", "nights_uncovered"]

NIGHTS = 3


def nights_uncovered(lot: Lot, station: Station, now: datetime) -> tuple[int, int] | None:
    """How many of the last nights were left uncovered by the log, and how many nights there were.

    None where the log of the lot has no covering at all: then nothing is known.
    """
    if lot.spread_at is None:
        return None
    log = lot.happenings.filter(undone=False, kind__in=("cover", "uncover")).order_by("happened_at")
    marks = [(h.happened_at, h.kind == "cover") for h in log]
    if not marks:
        return None
    zone = station.place.site().zone
    today = now.astimezone(zone).replace(hour=2, minute=0, second=0, microsecond=0)
    if today > now:
        today -= timedelta(days=1)
    nights = [today - timedelta(days=d) for d in range(NIGHTS)]
    nights = [n for n in nights if n > lot.spread_at]
    bare = sum(not _covered(marks, night) for night in nights)
    return (bare, len(nights)) if nights else None


def _covered(marks: list[tuple[datetime, bool]], night: datetime) -> bool:
    """Whether the last mark before two in the morning, not older than that day, says covered."""
    before = [(at, covered) for at, covered in marks if night - timedelta(hours=20) < at <= night]
    return bool(before) and before[-1][1]


def night_words(lot: Lot, station: Station, now: datetime) -> str:
    """One sentence about uncovered nights; empty when there is nothing to say."""
    found = nights_uncovered(lot, station, now)
    habits, place = habits_of(lot, station), station.drying_places().get(lot.bed)
    if place is not None and (place[0].machine or place[0].vent_m_s > 0.0):
        return ""  # a machine or a closed tunnel is cover enough, and is forecast so
    if found is None or found[0] == 0 or habits is None or habits.cover_from_h is None:
        return ""
    bare, nights = found
    some = ("No", "One", "Two", "Three")[bare]
    span = ("", "last night", "last two nights", "last three nights")[nights]
    what = say("{some} of the {span} were", some=some, span=span) if nights > 1 else "The last night was"
    return say(
        "{what} uncovered by the log; the forecast counts on covering from {cover_from_h:g} "
        "h, so the lot may be behind it.",
        what=what,
        cover_from_h=habits.cover_from_h,
    )
