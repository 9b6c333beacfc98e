"""Check the books: every seal, every balance, every holding, everything read off, the file itself."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from itertools import groupby

from django.db import IntegrityError, connection, transaction
from django.db.models import Count, Sum

from drydown.books.journal.photos import photo_file
from drydown.books.journal.seal import digest_of
from drydown.books.journal.triggers import missing_triggers
from drydown.books.lots.reading_off import make_anew, snapshot
from drydown.books.models import Entry, Head, Holding, Lot, Posting, Seal
from drydown.way.names import DRY, WATER, Line
from drydown.way.names import lot as lot_account
from drydown.way.state import Stage
from drydown.words import say

__all__ = ["Outcome", "verify"]

MOST = 20


@dataclass(slots=True)
class Outcome:
    """What was checked and what was found wrong."""

    entries: int = 0
    postings: int = 0
    problems: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    @property
    def good(self) -> bool:
        """True when nothing is wrong."""
        return not self.problems

    def add(self, words: str) -> None:
        """Keep a problem, up to a number that a person reads."""
        if len(self.problems) < MOST:
            self.problems.append(words)


def verify(anew: bool = False) -> Outcome:
    """Check the books; with `anew`, also read every entry off again and compare (slower).

    Returns an `Outcome`; nothing is changed.
    """
    found = Outcome()
    with _one_moment():
        _chain(found)
        _balances(found)
        _holdings(found)
        _lots(found)
        _photos(found)
        _file(found)
        for name in missing_triggers(connection):
            found.add(say("the database's own rule {name} is missing or was changed.", name=name))
    if anew:
        _read_off_again(found)
    return found


@contextmanager
def _one_moment() -> Iterator[None]:
    """Read everything as of one moment, without holding up those who write."""
    if connection.in_atomic_block:
        yield
        return
    begin = "BEGIN" if connection.vendor == "sqlite" else "BEGIN ISOLATION LEVEL REPEATABLE READ"
    with connection.cursor() as cursor:
        cursor.execute(begin)
    try:
        yield
    finally:
        with connection.cursor() as cursor:
            cursor.execute("COMMIT")


def _lots(found: Outcome) -> None:
    """Matter of lots is guarded against going below zero, and lots that are gone hold nothing."""
    matter = Holding.objects.filter(commodity__in=(DRY, WATER), account__name__startswith="lot/")
    for name in matter.filter(matter_only=False).values_list("account__name", flat=True)[:MOST]:
        found.add(say("{name} is not guarded against going below zero.", name=name))
    gone = [lot_account(code) for code in Lot.objects.filter(stage=Stage.GONE).values_list("code", flat=True)]
    for name in (
        matter.filter(account__name__in=gone).exclude(amount=0).values_list("account__name", flat=True)
    ):
        found.add(say("{name} is gone and still holds something.", name=name))


def _photos(found: Outcome) -> None:
    """Photos named in entries are there and are what they were."""
    told = Entry.objects.filter(kind__in=("delivery", "bench"), body__contains='"photo":')
    for entry in told.iterator(chunk_size=500):
        facts = entry.facts
        name = str((facts.get("told") or facts)["photo"])
        file = photo_file(name)
        if file is None:
            found.notes.append(
                say("the photo of entry {number} is not beside the books.", number=entry.number)
            )
        elif hashlib.sha256(file.read_bytes()).hexdigest() != name.split(".", maxsplit=1)[0]:
            found.add(say("the photo of entry {number} was changed.", number=entry.number))


def _lines() -> Iterator[tuple[int, list[Line]]]:
    """Postings entry by entry, in order."""
    rows = Posting.objects.order_by("entry_id", "id").values_list(
        "entry_id", "account__name", "commodity", "amount"
    )
    for number, group in groupby(rows.iterator(chunk_size=5000), key=lambda row: row[0]):
        yield number, [(a, c, m) for _n, a, c, m in group]


def _chain(found: Outcome) -> None:
    """Every entry's hash, from its content and the hash before it; numbers without a gap."""
    previous, expected, last_received = "0" * 64, 1, None
    lines = _lines()
    pending = next(lines, None)
    entries = Entry.objects.order_by("number").select_related("seal")
    for entry in entries.iterator(chunk_size=2000):
        if entry.number != expected:
            found.add(
                say(
                    "entry {expected} is missing; the next is {number}.",
                    expected=expected,
                    number=entry.number,
                )
            )
        mine: list[Line] = []
        while pending is not None and pending[0] < entry.number:
            pending = next(lines, None)
        if pending is not None and pending[0] == entry.number:
            mine, pending = pending[1], next(lines, None)
        found.entries += 1
        found.postings += len(mine)
        if entry.seal.previous != previous:
            found.add(say("entry {number} does not join the one before it.", number=entry.number))
        if digest_of(entry, mine, entry.seal.previous) != entry.seal.digest:
            found.add(
                say(
                    "entry {number} is not what was sealed: it, or its postings, were changed.",
                    number=entry.number,
                )
            )
        if last_received and entry.received_at < last_received:
            found.notes.append(
                say("the clock was put back before entry {number}; order is by number.", number=entry.number)
            )
        previous, expected, last_received = entry.seal.digest, entry.number + 1, entry.received_at
    _end(found, expected - 1, previous)


def _end(found: Outcome, last: int, digest: str) -> None:
    """The end of the chain must be the one that was written."""
    head = Head.objects.filter(pk=1).first()
    if head is None and found.entries:
        found.add("the end of the chain is not kept.")
    if head and (head.number, head.digest) != (last, digest):
        found.add(
            say(
                "the chain ends at {last}, but {number} was the last one written.",
                last=last,
                number=head.number,
            )
        )
    if Seal.objects.count() != found.entries:
        found.add("there are seals without entries.")


def _balances(found: Outcome) -> None:
    sums = Posting.objects.values("entry_id", "commodity").annotate(total=Sum("amount")).exclude(total=0)
    for row in sums[:MOST]:
        found.add(
            say(
                "entry {entry_id} does not balance: {commodity} is off by {total}.",
                entry_id=row["entry_id"],
                commodity=row["commodity"],
                total=row["total"],
            )
        )


def _holdings(found: Outcome) -> None:
    """What is kept beside the postings must be their sum."""
    sums = Posting.objects.values_list("account__name", "commodity").annotate(total=Sum("amount"))
    real = {(a, c): t for a, c, t in sums}
    kept = {(h[0], h[1]): h[2] for h in Holding.objects.values_list("account__name", "commodity", "amount")}
    for spot in sorted(set(real) | set(kept)):
        if real.get(spot, 0) != kept.get(spot, 0):
            found.add(
                say(
                    "holding of {value}, {value_2}: {get} kept, {get_2} by postings.",
                    value=spot[0],
                    value_2=spot[1],
                    get=kept.get(spot, 0),
                    get_2=real.get(spot, 0),
                )
            )


def _file(found: Outcome) -> None:
    """The database's own checks."""
    try:
        connection.check_constraints()
    except IntegrityError as error:
        found.add(say("a reference leads nowhere: {error}.", error=error))
    if connection.vendor == "sqlite":
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA integrity_check")
            for (line,) in cursor.fetchall()[:MOST]:
                if line != "ok":
                    found.add(say("the database file is damaged: {line}.", line=line))
    missing = Seal.objects.annotate(n=Count("entry")).filter(n=0).count()
    if missing:
        found.add(say("{missing} seals belong to no entry.", missing=missing))


def _read_off_again(found: Outcome) -> None:
    """Read everything off anew, compare, and put it back as it was."""
    with transaction.atomic():
        before = snapshot()
        make_anew()
        after = snapshot()
        transaction.set_rollback(True)
    for kept, fresh in zip(before, after, strict=False):
        if kept != fresh:
            found.add(say("read off anew, this differs: {kept} against {fresh}.", kept=kept, fresh=fresh))
    if len(before) != len(after):
        found.add(
            say(
                "{before} records are kept, {after} come of the journal.",
                before=len(before),
                after=len(after),
            )
        )
