"""What phones send from their outboxes: each item kept once, with its number and the phone's time.

The item's key, its effect and the note that it was answered are written in one transaction. An
item that is refused leaves nothing behind and may be sent again when the reason is gone.
"""

from __future__ import annotations

import hashlib
import uuid
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.contrib.auth.models import User
from django.db import DataError, IntegrityError
from django.utils import timezone

from drydown.books.journal.seal import canonical
from drydown.books.journal.write import Draft, Who, write, writing
from drydown.books.models import Device, Entry, Outgoing
from drydown.errors import DrydownError, InputError
from drydown.words import say

__all__ = ["Answer", "Item", "gaps", "keep_items", "read_clock"]


class NumberUsedError(InputError):
    """The phone's number belongs to another item already, as after its storage was cleared."""


FAR_BACK = timedelta(days=120)
FAR_AHEAD = timedelta(days=2)
RUN_AWAY = 100_000
"""A number so far above the last one of its phone is no number of ours."""
MOST_ITEMS = 200
Keeper = Callable[[dict[str, Any], uuid.UUID, datetime, Who], Entry]


@dataclass(frozen=True, slots=True)
class Item:
    """One thing a phone noted: its own number, its time, and what."""

    key: uuid.UUID
    seq: int
    phone_time: datetime
    kind: str
    body: dict[str, Any]
    clock: str = ""
    """What the phone's clock said, where that cannot be a time of this season."""

    def digest(self) -> str:
        """Hash of the content; a key stands for one content."""
        text = canonical([self.kind, self.body, self.clock or self.phone_time.isoformat()])
        return hashlib.sha256(text.encode()).hexdigest()


@dataclass(frozen=True, slots=True)
class Answer:
    """What became of an item: `kept`, or `refused` with the reason in words."""

    key: uuid.UUID | str
    outcome: str
    words: str = ""
    entry: int | None = None
    code: str = ""
    """`number` where only the phone's number collides: take the next one and send again."""
    next: int = 0


def keep_items(
    items: list[Item], device: Device, user: User, sent_at: datetime | None, keepers: dict[str, Keeper]
) -> list[Answer]:
    """Keep a phone's items in their order; each has an answer of its own.

    `sent_at` is the phone's clock as it sends: the difference to ours corrects the items' times.
    None for items that came by file, whose journey says nothing about the clock.
    """
    if len(items) > MOST_ITEMS:
        raise InputError(
            say("more than {most_items} items at once.", most_items=MOST_ITEMS),
            "outbox",
            "Send them in parts.",
        )
    skew = timezone.now() - sent_at if sent_at else timedelta()
    return [
        _keep(item, device, user, skew, keepers)
        for item in sorted(items, key=lambda i: (i.seq, i.phone_time))
    ]


def _keep(item: Item, device: Device, user: User, skew: timedelta, keepers: dict[str, Keeper]) -> Answer:
    try:
        with writing():
            device = Device.objects.select_for_update().get(pk=device.pk)
            done = Outgoing.objects.filter(pk=item.key).first()
            if done is not None:
                return _again(done, item)
            given_up = _kept_before(item)
            if given_up is not None:
                return given_up
            entry = _effect(item, device, user, skew, keepers)
            words = _remark(item)
            Outgoing.objects.create(
                key=item.key, device=device, seq=item.seq, digest=item.digest(),
                phone_time=item.phone_time, outcome="kept", entry=entry, words=words,
            )  # fmt: skip
            Device.objects.filter(pk=device.pk, last_seq__lt=item.seq).update(last_seq=item.seq)
            return Answer(item.key, "kept", words, entry.number)
    except NumberUsedError as error:
        return Answer(item.key, "refused", str(error), None, "number", device.last_seq + 1)
    except DrydownError as error:
        return Answer(item.key, "refused", str(error))
    except (ValueError, TypeError, OverflowError, DataError, IntegrityError) as error:
        return Answer(
            item.key, "refused", say("this note cannot be kept ({name}).", name=type(error).__name__)
        )


def _remark(item: Item) -> str:
    """What is said of an item whose phone had an impossible clock."""
    if not item.clock:
        return ""
    return say(
        "The phone's clock said {clock}: kept at the time it was received. Set the phone's clock.",
        clock=item.clock,
    )


def _kept_before(item: Item) -> Answer | None:
    """A note that was given up on the phone although the station had it: it stays kept."""
    old = str(item.body.get("key", "")) if item.kind == "discard" else ""
    try:
        done = Outgoing.objects.filter(pk=uuid.UUID(old)).first() if old else None
    except ValueError:
        done = None
    if done is None:
        return None
    words = say(
        "it was kept as entry {entry_id} before it was given up; take it back there.", entry_id=done.entry_id
    )
    return Answer(item.key, "kept", words, done.entry_id)


def _again(done: Outgoing, item: Item) -> Answer:
    """An item sent again: the same answer; other content under its key is refused."""
    if done.digest != item.digest():
        return Answer(item.key, "refused", "this key was sent before with other content, which is kept.")
    return Answer(item.key, done.outcome, done.words, done.entry_id)


def _effect(item: Item, device: Device, user: User, skew: timedelta, keepers: dict[str, Keeper]) -> Entry:
    if item.seq > device.last_seq + RUN_AWAY:
        raise NumberUsedError(say("number {seq} is far above this phone's last one.", seq=item.seq), "outbox")
    if Entry.objects.filter(device=device, device_seq=item.seq).exists():
        raise NumberUsedError(
            say("number {seq} of this phone was used by another item.", seq=item.seq), "outbox"
        )
    if Entry.objects.filter(key=item.key).exists():
        raise InputError("this key was used by another form.", "outbox")
    now = timezone.now()
    at = item.phone_time + (skew if abs(skew) > timedelta(seconds=30) and not item.clock else timedelta())
    at = min(at, now)
    if at < now - FAR_BACK:
        at = now  # the clock was put right between: what it says now does not correct what it said then
    who = Who(user, device, item.seq)
    if item.kind == "discard":
        return _discard(item, at, who)
    keeper = keepers.get(item.kind)
    if keeper is None:
        raise InputError(say("'{kind}' is not something a phone can send.", kind=item.kind), "outbox")
    return keeper(item.body, item.key, at, who)


def _discard(item: Item, at: datetime, who: Who) -> Entry:
    """A refused item that someone gave up, so that its number is not missing without a word."""
    reason = str(item.body.get("reason", "")).strip()[:200]
    if not reason:
        raise InputError("is empty.", "reason", "Say why it is given up.")
    body = {"discarded": item.body.get("kind", ""), "reason": reason}
    return write(Draft("note", item.key, body, [], at, who, reason))[0]


def gaps(device: Device, most: int = 20) -> list[int]:
    """Numbers of a phone that are below its last but have not come in."""
    have = set(Entry.objects.filter(device=device).values_list("device_seq", flat=True))
    found = []
    for seq in range(1, device.last_seq + 1):
        if seq not in have:
            found.append(seq)
            if len(found) >= most:
                break
    return found


def read_clock(said: str, now: datetime) -> tuple[datetime, str]:
    """The phone's time of an item, and what it said where that cannot be: then our own time stands.

    Args: said, ISO 8601 with a zone; now, aware. A time over `FAR_BACK` ago or `FAR_AHEAD` in the
    future is impossible.
    """
    try:
        at = datetime.fromisoformat(said)
        possible = at.tzinfo is not None and now - FAR_BACK <= at <= now + FAR_AHEAD
    except (ValueError, OverflowError, TypeError):
        possible = False
    return (at, "") if possible else (now, said[:40] or "nothing")
