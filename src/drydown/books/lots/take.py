"""Taking a step: the lot is locked, its step's file is asked, and what it says is written."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.utils import timezone

from drydown.books.journal.write import Draft, Who, sent_otherwise, write, writing
from drydown.books.lots.outlook import clock_known
from drydown.books.lots.reading_off import read_off
from drydown.books.lots.states import past_of, state_of, yard_now
from drydown.books.models import Happening, Lot
from drydown.errors import DrydownError
from drydown.station.model import Station
from drydown.way.order import stage, steps
from drydown.way.step import Doing, Finding
from drydown.way.taking import refuse_out_of_order, take
from drydown.way.when import when

__all__ = ["Taken", "take_step"]


@dataclass(frozen=True, slots=True)
class Taken:
    """A step that was kept, and what looked odd about it."""

    happening: Happening
    findings: tuple[Finding, ...]


def take_step(
    lot: Lot, kind: str, key: uuid.UUID, at: datetime | None, who: Who, details: dict[str, Any],
    station: Station,
) -> Taken:  # fmt: skip
    """Record a step and move the lot, once for each key; refuse steps that cannot follow.

    Without a stated time the step is now, or, where the clock was put back, at the lot's last step.
    """
    hours = _window_h(lot, kind, station)
    with writing():
        before = Happening.objects.filter(entry__key=key).select_related("entry").first()
        if before:
            return Taken(_same(before, lot, kind, details), ())
        fresh = Lot.objects.get(pk=lot.pk)
        state = state_of(fresh)
        refuse_out_of_order(state, kind)
        past = past_of(fresh, hours)
        moment = when(state, past, kind, at, timezone.now(), station.place.site().zone)
        done = take(kind, Doing(state, details, moment, station, yard_now(station, without=fresh), past))
        body = {
            "code": fresh.code, "kind": kind, "details": done.details,
            "warned": [str.__str__(f.words) for f in done.findings], "assumed": done.assumed,
        }  # fmt: skip
        entry, _new = write(Draft("step", key, body, list(done.lines), moment, who), read_off)
        return Taken(Happening.objects.select_related("lot").get(entry=entry), done.findings)


def _window_h(lot: Lot, kind: str, station: Station) -> float | None:
    """Hours in the mould window by what is kept; None where only its readings can say, or the lot goes on
    wet."""
    leads_to = steps()[kind].leads_to if kind in steps() else None
    if not (stage(lot.stage).dry or (leads_to is not None and leads_to.dry)):
        return None
    try:
        clock = clock_known(lot, station, timezone.now())
    except DrydownError:
        return None
    return clock.told_h if clock is not None and clock.by_runs else None


def _same(before: Happening, lot: Lot, kind: str, details: dict[str, Any]) -> Happening:
    kept = {k: v for k, v in before.details.items() if k != "all_gone"}
    sent = {k: v for k, v in details.items() if k != "all_gone"}
    if (before.lot_id, before.kind, kept) != (lot.pk, kind, sent):
        raise sent_otherwise()
    return before
