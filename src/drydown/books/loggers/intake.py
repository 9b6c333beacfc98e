"""One message of a logger: kept once by its device's number, its gaps told; what cannot be read is said."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db import transaction
from django.utils import timezone

from drydown.books.models import Channel, Gap, Measure
from drydown.errors import InputError, RangeError
from drydown.words import say

__all__ = ["LIMITS", "Kept", "keep_message"]

LIMITS = {
    "air_c": (-30.0, 55.0), "air_rh": (0.0, 100.0), "tank_c": (-5.0, 60.0),
    "tray_g": (1.0, 50_000.0), "bean_c": (-5.0, 80.0),
}  # fmt: skip
"""Quantities that are used, with the values that can be meant: C, % humidity, C, g, C."""
MOST_GAP = 100_000
MOST_CHANNELS = 200


@dataclass(frozen=True, slots=True)
class Kept:
    """What became of a message: whether it is new, and how many numbers before it never came."""

    new: bool
    missing: int = 0


@dataclass(frozen=True, slots=True)
class _Said:
    device: str
    quantity: str
    seq: int
    at: datetime
    value: float


def keep_message(topic: str, payload: bytes) -> Kept:
    """Keep a message, once; it may be acknowledged when this returns.

    Args: topic, its last two levels device and quantity; payload, JSON {"seq", "at", "value"}: the device's
    own number, a time with its offset, the value. Returns: `Kept`. Raises `InputError`, `RangeError` for what
    cannot be read: it will not be better the next time.
    """
    said = _read(topic, payload)
    with transaction.atomic():
        channel = Channel.objects.select_for_update().filter(topic=topic).first()
        if channel is None:
            if Channel.objects.count() >= MOST_CHANNELS:
                raise InputError(say("more than {n} channels send.", n=MOST_CHANNELS), topic[:80])
            channel = Channel.objects.create(topic=topic, device=said.device, quantity=said.quantity)
        if _began_anew(channel, said):
            channel.epoch += 1
            channel.last_seq = None
        key = {"channel": channel, "epoch": channel.epoch, "seq": said.seq}
        now = timezone.now()
        _row, new = Measure.objects.get_or_create(
            **key, defaults={"at": said.at, "value": said.value, "received_at": now}
        )
        missing = _gaps(channel, said.seq, now) if new else 0
        if new and (channel.last_seq is None or said.seq > channel.last_seq):
            channel.last_seq, channel.last_at = said.seq, said.at
        channel.save()
    return Kept(new, missing)


def _began_anew(channel: Channel, said: _Said) -> bool:
    """Whether a device counts from the start again: a low number at a time after all it sent before."""
    if channel.last_seq is None or said.seq > channel.last_seq or channel.last_at is None:
        return False
    same = Measure.objects.filter(channel=channel, epoch=channel.epoch, seq=said.seq).first()
    if same is not None:
        return same.at != said.at and said.at > channel.last_at
    return said.at > channel.last_at


def _gaps(channel: Channel, seq: int, now: datetime) -> int:
    """Tell numbers that are missing before this one; take one that came late out of its gap."""
    last = channel.last_seq
    if last is not None and seq > last + 1:
        missing = seq - last - 1
        Gap.objects.create(channel=channel, epoch=channel.epoch, first=last + 1, last=seq - 1, seen_at=now)
        return min(missing, MOST_GAP)
    gap = Gap.objects.filter(channel=channel, epoch=channel.epoch, first__lte=seq, last__gte=seq).first()
    if gap is not None:
        if gap.last > seq:
            Gap.objects.create(
                channel=channel, epoch=channel.epoch, first=seq + 1, last=gap.last, seen_at=gap.seen_at
            )
        if gap.first < seq:
            Gap.objects.filter(pk=gap.pk).update(last=seq - 1)
        else:
            gap.delete()
    return 0


def _read(topic: str, payload: bytes) -> _Said:
    levels = topic.split("/")
    if len(levels) < 2 or not all(levels[-2:]) or len(topic) > 200:
        raise InputError("does not end in device and quantity.", topic[:80])
    device, quantity = levels[-2][:80], levels[-1]
    if quantity not in LIMITS:
        raise InputError(
            say("'{q}' is not a quantity that is used.", q=quantity[:40]), topic[:80],
            say("Choose: {names}.", names=", ".join(LIMITS)),
        )  # fmt: skip
    try:
        told = json.loads(payload.decode("utf-8"))
    except (ValueError, RecursionError) as error:
        raise InputError("is not JSON.", topic[:80]) from error
    if not isinstance(told, dict):
        raise InputError("is no object with seq, at and value.", topic[:80])
    return _Said(device, quantity, _seq(told, topic), _at(told, topic), _value(told, quantity, topic))


def _seq(told: dict[str, Any], topic: str) -> int:
    seq = told.get("seq")
    if not isinstance(seq, int) or isinstance(seq, bool) or not 0 <= seq < 2**53:
        raise InputError("needs seq, a whole number from 0 on.", topic[:80])
    return seq


def _at(told: dict[str, Any], topic: str) -> datetime:
    try:
        at = datetime.fromisoformat(str(told.get("at")))
    except ValueError as error:
        raise InputError("needs at, a time such as 2026-11-26T06:00+03:00.", topic[:80]) from error
    if at.tzinfo is None:
        raise InputError("its time needs its offset from UTC.", topic[:80])
    if at > timezone.now() + timedelta(hours=1):
        raise RangeError("its clock is more than an hour ahead.", topic[:80], "Set the device's clock.")
    return at


def _value(told: dict[str, Any], quantity: str, topic: str) -> float:
    value = told.get("value")
    low, high = LIMITS[quantity]
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise InputError("needs value, a number.", topic[:80])
    if not low <= value <= high:
        raise RangeError(
            say("must be from {low:g} to {high:g}, got {v:g}.", low=low, high=high, v=value), topic[:80]
        )
    return float(value)
