"""When a step happened: refused before what it must follow."""

from __future__ import annotations

from datetime import datetime, tzinfo

from drydown.errors import InputError
from drydown.way.order import step
from drydown.way.state import LotState, Past
from drydown.words import say

__all__ = ["after", "moment_text", "not_before", "when"]

_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def moment_text(at: datetime) -> str:
    """A moment as it is shown and can be typed: 26 Nov 2026 09:30."""
    return f"{at.day} {_MONTHS[at.month - 1]} {at:%Y %H:%M}"


def after(at: datetime, last: datetime) -> datetime:
    """A typed moment against the last step: typed to the minute, it may stand in the same minute."""
    same = at.replace(second=0, microsecond=0) == last.replace(second=0, microsecond=0)
    return last if same and at < last else at


def not_before(
    last: datetime | None, at: datetime | None, now: datetime, zone: tzinfo, code: str
) -> datetime:
    """The moment of something that follows what was last: as stated, else now.

    Without a stated time it is now, or, where the clock was put back, at the last step. Raises
    `InputError` for a stated time before it.
    """
    if at is None:
        return max(now, last) if last else now
    at = after(at, last) if last else at
    if last and at < last:
        words = say(
            "{at} is before the last step ({last}).", at=moment_text(at.astimezone(zone)),
            last=moment_text(last.astimezone(zone)),
        )  # fmt: skip
        raise InputError(words, code, "Check the time.")
    return at


def when(
    state: LotState, past: Past, kind: str, at: datetime | None, now: datetime, zone: tzinfo
) -> datetime:  # fmt: skip
    """When a step of a lot happened; refused before its fruit, its last step, a later note or reading.

    Args: state; past; kind of the step; at, as stated (None: now); now; zone of the station.
    """
    if at is not None and past.first_fruit_at and at < past.first_fruit_at:
        raise InputError(say("is before the lot's first fruit was weighed in."), kind, "Check the time.")
    moment = not_before(state.moved_at, at, now, zone, state.code)
    if at is None:
        return moment
    note = past.last_note
    moment = after(moment, note.at) if note else moment
    if note and step(kind).shapes and moment < note.at:
        words = say(
            "{at} is before the last note ({what}, {last}).", at=moment_text(moment.astimezone(zone)),
            what=say(step(note.kind).past), last=moment_text(note.at.astimezone(zone)),
        )  # fmt: skip
        raise InputError(words, state.code, "Check the time.")
    moment = after(moment, state.known_at) if state.known_at else moment
    if kind == "bag" and state.known_at and moment < state.known_at:
        raise InputError(say("is before the last moisture reading."), kind, "Check the time.")
    return moment
