"""Write to the journal: one entry, its postings and its seal, and all that is read off it, at once.

Every change of matter or money goes through `write`. What it is handed twice under one key
it keeps once; the same key with other content is refused.
"""

from __future__ import annotations

import threading
import uuid
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager, nullcontext
from contextvars import ContextVar
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.contrib.auth.models import User
from django.db import connection, transaction
from django.db.models import F
from django.utils import timezone

from drydown.books.journal.seal import canonical, digest_of
from drydown.books.models import Account, Device, Entry, Head, Holding, Posting, Seal
from drydown.books.models.bodies import checked
from drydown.errors import BalanceError, InputError
from drydown.way.names import DRY, WATER, Line, commodity, read
from drydown.words import say

__all__ = [
    "Draft",
    "Who",
    "held",
    "sent_otherwise",
    "write",
    "writing",
]


@dataclass(frozen=True, slots=True)
class Who:
    """Who writes, from which device, and the device's own number for it."""

    user: User | None = None
    device: Device | None = None
    seq: int | None = None


@dataclass(slots=True)
class Draft:
    """An entry before it is numbered."""

    kind: str
    key: uuid.UUID
    body: dict[str, Any]
    lines: list[Line]
    happened_at: datetime
    who: Who = field(default_factory=Who)
    reason: str = ""
    reverses: Entry | None = None


Projector = Callable[[Entry, dict[str, Any]], None]
clock: ContextVar[Callable[[], datetime]] = ContextVar("clock", default=timezone.now)


def merged(lines: Iterable[Line]) -> list[Line]:
    """Lines with equal account and commodity added up, zeros left out, in order of first mention."""
    sums: dict[tuple[str, str], int] = {}
    for account, name, amount in lines:
        commodity(name)
        sums[account, name] = sums.get((account, name), 0) + amount
    return [(account, commodity, amount) for (account, commodity), amount in sums.items() if amount]


def sent_otherwise() -> InputError:
    """The refusal of a key that was sent before with other content."""
    return InputError(
        "this form was sent before with other values, and those are kept.",
        fix="Open the page anew to send another one.",
    )


_turn = threading.RLock()


@contextmanager
def writing() -> Iterator[Head]:
    """The transaction of one writer: the end of the chain is locked before anything is read.

    All that decides on what the books hold runs inside, so that two writers never decide on the
    same state, and always lock in the same order. With the embedded database threads of this process
    queue here, in turn, instead of asking its file again and again.
    """
    with _turn if connection.vendor == "sqlite" else nullcontext(), transaction.atomic():
        Head.objects.get_or_create(pk=1)
        yield Head.objects.select_for_update().get(pk=1)


def write(draft: Draft, project: Projector | None = None) -> tuple[Entry, bool]:
    """Keep an entry with everything read off it, in one transaction; once for each key.

    Returns the entry, and whether it is new. The same key with another body is refused.
    """
    lines = merged(draft.lines)
    _refuse_unbalanced(draft.kind, lines)
    with writing() as head:
        kept = Entry.objects.filter(key=draft.key).first()
        body = checked(draft.kind, draft.body)
        if kept is not None:
            if (kept.kind, canonical(kept.facts)) != (draft.kind, canonical(draft.body)):
                raise sent_otherwise()
            return kept, False
        entry = _add(draft, head, canonical(body), lines)
        _hold(lines)
        if project is not None:
            project(entry, draft.body)
        return entry, True


def _refuse_unbalanced(kind: str, lines: Sequence[Line]) -> None:
    sums: dict[str, int] = {}
    for _account, what, amount in lines:
        sums[what] = sums.get(what, 0) + amount
    off = {what: total for what, total in sums.items() if total}
    if off:
        raise BalanceError(say("entry '{kind}' does not balance: {off}.", kind=kind, off=off))


def _add(draft: Draft, head: Head, body: str, lines: Sequence[Line]) -> Entry:
    number = head.number + 1
    who = draft.who
    entry = Entry(
        number=number, key=draft.key, kind=draft.kind, body=body, happened_at=draft.happened_at,
        received_at=clock.get()(), by=who.user, by_name=who.user.get_username() if who.user else "",
        device=who.device, device_seq=who.seq, reason=draft.reason, reverses=draft.reverses,
        seal_id=number,
    )  # fmt: skip
    entry.save(force_insert=True)
    ids = _accounts([account for account, _c, _a in lines])
    Posting.objects.bulk_create(
        Posting(entry=entry, account_id=ids[account], commodity=commodity, amount=amount)
        for account, commodity, amount in lines
    )
    digest = digest_of(entry, lines, head.digest)
    Seal.objects.create(number=number, previous=head.digest, digest=digest)
    head.number, head.digest = number, digest
    head.save()
    return entry


def _accounts(names: Sequence[str]) -> dict[str, int]:
    """Ids by name; accounts that are new are opened."""
    found = dict(Account.objects.filter(name__in=names).values_list("name", "pk"))
    for name in dict.fromkeys(names):
        if name not in found:
            read(name)  # only accounts of the chart open
            found[name] = Account.objects.create(name=name).pk
    return found


_ADD = (
    "INSERT INTO books_holding (account_id, commodity, amount, matter_only) "
    "SELECT id, %s, %s, %s FROM books_account WHERE name = %s "
    "ON CONFLICT (account_id, commodity) DO UPDATE SET amount = books_holding.amount + excluded.amount"
)


def _hold(lines: Sequence[Line]) -> None:
    """Bring the holdings up to date; what comes is added before what leaves is taken."""
    with connection.cursor() as cursor:
        for account, commodity, amount in sorted(lines, key=lambda line: -line[2]):
            bound = account.startswith("lot/") and commodity in {DRY, WATER}
            if bound and amount < 0:
                _take(account, commodity, -amount)
            else:
                cursor.execute(_ADD, [commodity, amount, bound, account])


def _take(account: str, commodity: str, amount: int) -> None:
    """Take matter out of a lot, in one step with the test that it is there."""
    there = Holding.objects.filter(account__name=account, commodity=commodity, amount__gte=amount)
    if not there.update(amount=F("amount") - amount):
        _refuse_empty(account, commodity, amount)


def _refuse_empty(account: str, commodity: str, amount: int) -> None:
    words = {"dry": "dry matter", "water": "water"}[commodity]
    raise InputError(
        say(
            "holds {held:g} kg of {words}; {amount:g} kg cannot leave it.",
            held=held(account, commodity) / 1000,
            words=words,
            amount=amount / 1000,
        ),
        account.removeprefix("lot/"),
        "Check the weights of the steps before, and undo later steps first.",
    )


def held(account: str, commodity: str) -> int:
    """What an account holds of a commodity now."""
    found = Holding.objects.filter(account__name=account, commodity=commodity).first()
    return found.amount if found else 0
