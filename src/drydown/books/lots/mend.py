"""Mend a record: taken back and recorded anew in one go, or neither."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from datetime import timedelta
from typing import Any, TypeVar

from django.utils import timezone

from drydown.books.journal.write import Draft, Who, sent_otherwise, write, writing
from drydown.books.lots.reading_off import read_off
from drydown.books.lots.undo import lines_of, take_back, why_not
from drydown.books.models import Delivery, Entry, Grower, Holding
from drydown.errors import InputError
from drydown.way.names import Line
from drydown.way.names import grower as grower_account
from drydown.words import say

__all__ = ["MENDABLE", "REASON", "hand_over", "hurdle", "mend", "merge_growers", "own_last"]

MENDABLE = ("delivery", "step", "reading", "payment", "advance", "cost", "receipt", "by-product", "bench")
"""Kinds of entries whose form opens again, filled in."""
REASON = "typed wrongly"
OWN_FOR = timedelta(hours=12)
"""How long someone may mend their own last entry without a right to take back (own choice)."""
Made = TypeVar("Made")


def own_last(user: Any) -> Entry | None:
    """The last entry a person wrote, while it stands and is fresh; reversals do not count."""
    rows = Entry.objects.filter(by=user, received_at__gte=timezone.now() - OWN_FOR)
    last = rows.exclude(kind__in=("reverse", "reckon")).order_by("-number").first()
    return last if last is not None and not hasattr(last, "reversed_by") else None


def mend(entry: Entry, key: uuid.UUID, reason: str, who: Who, record: Callable[[], Made]) -> Made:
    """Take an entry back and record it anew, in one transaction; sent twice, it is done once.

    `record` writes the new entry under `key`. Refused where something later stands on the old one.
    """
    back = uuid.uuid5(key, "taken back")
    with writing():
        done = Entry.objects.filter(key=back).first()
        if done is not None and done.reverses_id != entry.pk:
            raise sent_otherwise()
        if done is None:
            take_back(entry, reason or REASON, who, back)
        return record()


def hand_over(delivery: Delivery, to: Grower, reason: str, key: uuid.UUID, who: Who) -> Entry:
    """Put a delivery to another grower's account, also when its lot has moved on: fruit and money both.

    The lot stays as it is. What was paid to the first grower for it stays with that grower's account.
    """
    to = to.final
    sender = delivery.grower
    if sender.pk == to.pk:
        raise InputError("is this grower's already.", say("slip {pk}", pk=delivery.pk))
    if delivery.undone:
        raise InputError("has been taken back.", say("slip {pk}", pk=delivery.pk))
    if not reason.strip():
        raise InputError("is empty.", "reason", "Say why.")
    with writing():
        mine, theirs = grower_account(sender.number), grower_account(to.number)
        lines: list[Line] = []
        for _account, commodity, amount in _grower_lines(delivery):
            lines += [(mine, commodity, -amount), (theirs, commodity, amount)]
        body = {"delivery": delivery.pk, "from": sender.number, "into": to.number}
        draft = Draft("handover", key, body, lines, timezone.now(), who, reason.strip()[:200])
        return write(draft, read_off)[0]


def _grower_lines(delivery: Delivery) -> list[Line]:
    """What a delivery's own entry posted to its first grower."""
    first = grower_account(delivery.entry.facts["grower"])
    return [line for line in lines_of(delivery.entry) if line[0] == first]


def merge_growers(one: Grower, into: Grower, reason: str, key: uuid.UUID, who: Who) -> Entry:
    """One person under two numbers: the account of the first goes to the second, whose number stays.

    Later weighings under the old number go to the new one. Taking the entry back parts them again.
    """
    if not reason.strip():
        raise InputError("is empty.", "reason", "Say how you know that they are one.")
    with writing():
        one, into = Grower.objects.get(pk=one.pk), Grower.objects.get(pk=into.pk)
        before = Entry.objects.filter(key=key).first()
        if before is not None:
            return before
        if one.merged_into_id or into.merged_into_id or one.pk == into.pk:
            raise InputError("name two growers who both stand in the register.", "merge")
        rows = Holding.objects.filter(account__name=grower_account(one.number)).exclude(amount=0)
        lines: list[Line] = []
        for commodity, amount in rows.values_list("commodity", "amount"):
            lines.append((grower_account(one.number), commodity, -amount))
            lines.append((grower_account(into.number), commodity, amount))
        body = {"from": one.number, "into": into.number}
        draft = Draft("merge", key, body, lines, timezone.now(), who, reason.strip()[:200])
        return write(draft, read_off)[0]


def hurdle(entry: Entry) -> str:
    """Why an entry cannot be mended now; empty when it can."""
    if entry.kind not in MENDABLE:
        return "this kind of entry is taken back and recorded anew by hand."
    return why_not(entry)
