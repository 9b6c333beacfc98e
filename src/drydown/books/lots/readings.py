"""Moisture readings: the water that is gone goes to the air's account."""

from __future__ import annotations

import uuid
from datetime import datetime

from django.utils import timezone

from drydown.books.journal.write import Draft, Who, write, writing
from drydown.books.lots.reading_off import read_off
from drydown.books.lots.states import lot_matter
from drydown.books.models import Lot, Reading
from drydown.errors import InputError, RangeError
from drydown.way.matter import to_moisture
from drydown.way.order import stage
from drydown.words import say

__all__ = ["readable", "record_reading"]


def readable(lot: Lot) -> bool:
    """Whether a moisture reading belongs to the lot now."""
    return stage(lot.stage).readable


def record_reading(
    lot: Lot, key: uuid.UUID, moisture_percent_wb: float, method: str, bean_temp_c: float | None,
    at: datetime | None, who: Who, noted_by: str = "",
) -> Reading:  # fmt: skip
    """Keep a moisture reading, once for each key; the water that is gone goes to the air's account."""
    method = method.strip()[:60]
    _in_range(lot, moisture_percent_wb, method, bean_temp_c)
    with writing():
        lot = Lot.objects.get(pk=lot.pk)
        body = {
            "code": lot.code, "moisture_wb": moisture_percent_wb / 100.0, "method": method,
            "bean_temp_c": bean_temp_c,
        }  # fmt: skip
        if noted_by:
            body["noted_by"] = noted_by
        before = Reading.objects.filter(entry__key=key).select_related("entry", "lot").first()
        if before is None:
            _still_readable(lot, at)
        moment = at or max(filter(None, (timezone.now(), lot.spread_at)))
        latest = lot.known_at is None or moment >= lot.known_at
        lines = to_moisture(lot_matter(lot), lot.account, moisture_percent_wb / 100.0) if latest else []
        entry, _new = write(Draft("reading", key, body, lines, moment, who), read_off)
        return Reading.objects.get(entry=entry)


def _in_range(lot: Lot, percent: float, method: str, bean_temp_c: float | None) -> None:
    if not 3.0 <= percent <= 80.0:
        raise RangeError(
            say("moisture must be from 3 to 80 % wet basis, got {percent:g}.", percent=percent), lot.code
        )
    if bean_temp_c is not None and not 0.0 <= bean_temp_c <= 80.0:
        raise RangeError(
            say("bean temperature must be 0 to 80 C, got {bean_temp_c:g}.", bean_temp_c=bean_temp_c), lot.code
        )
    if not method:
        raise InputError("is empty.", "method", "Name the meter or oven method.")


def _still_readable(lot: Lot, at: datetime | None) -> None:
    found = stage(lot.stage)
    if not found.readable:
        raise InputError(
            say("is {words}; a reading belongs to a drying or stored lot.", words=found.words), lot.code
        )
    if found.lies == "bed" and (lot.spread_at is None or (at and at < lot.spread_at)):
        raise InputError("is not spread yet at that time.", lot.code)
