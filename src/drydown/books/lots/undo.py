"""Take back what was recorded: a reversing entry with a reason, never a change."""

from __future__ import annotations

import uuid
from datetime import datetime

from django.utils import timezone

from drydown.books.journal.write import Draft, Who, held, write, writing
from drydown.books.lots.byproducts import PREFIX
from drydown.books.lots.reading_off import read_off
from drydown.books.lots.states import lot_matter
from drydown.books.models import BenchSheet, Delivery, Descent, Entry, Happening, Lot, Posting, Reading
from drydown.errors import InputError
from drydown.way.matter import to_moisture
from drydown.way.names import DRY, Line
from drydown.way.order import steps
from drydown.words import say

MONEY = ("cost", "adjust", "second")

__all__ = ["lines_of", "take_back", "why_not"]


def lines_of(entry: Entry) -> list[Line]:
    """Postings of an entry, in order."""
    rows = Posting.objects.filter(entry=entry).order_by("id")
    return list(rows.values_list("account__name", "commodity", "amount"))


def why_not(entry: Entry) -> str:
    """Why an entry cannot be taken back now; empty when it can."""
    if entry.kind in {"reverse", "reckon"}:
        return "a reversal stays; record the thing anew instead."
    if Entry.objects.filter(reverses=entry).exists():
        return "it has been taken back already."
    gone = _gone(entry)
    if gone:
        return say("{gone}; take that back first.", gone=gone)
    later = _later(entry)
    if later is not None:
        return say(
            "entry {number} ({summary}) stands on it; take that back first.",
            number=later.number,
            summary=later.summary,
        )
    return ""


def _gone(entry: Entry) -> str:
    """Which by-product of this entry has left, so that too little is there to take it back; else empty."""
    for account, commodity, amount in lines_of(entry):
        if account.startswith(PREFIX) and commodity == DRY and held(account, DRY) < amount:
            rows = Entry.objects.filter(kind="by-product", reversed_by=None, postings__account__name=account)
            left = rows.order_by("-number").first()
            which = f" (entry {left.number})" if left else ""
            return say(
                "{prefix} from it has left the station{which}",
                prefix=account.removeprefix(PREFIX),
                which=which,
            )
    return ""


def _later(entry: Entry) -> Entry | None:
    """The last standing entry after this one that rests on what this one did to a lot."""
    sheets = BenchSheet.objects.filter(undone=False)
    sheets = sheets.filter(sample_no=entry.pk) | sheets.filter(session_no=entry.pk)
    numbers: list[int] = list(sheets.values_list("entry_id", flat=True))
    sessions = BenchSheet.objects.filter(kind="session", undone=False)
    numbers += [s.entry_id for s in sessions if entry.pk in s.told["samples"]]
    if entry.kind in {"delivery", "handover"}:
        numbers += _handed_later(entry)
    lots = _lots(entry) if entry.kind not in {"handover", "merge"} else set()
    if lots:
        kin = Descent.objects.filter(undone=False, entry_id__gt=entry.pk)
        kin = kin.filter(parent__in=lots) | kin.filter(child__in=lots)
        numbers += kin.values_list("entry_id", flat=True)
        rows = Happening.objects.filter(lot__in=lots, undone=False, entry_id__gt=entry.pk)
        if entry.kind in MONEY:
            rows = rows.filter(kind__in=[k for k, s in steps().items() if s.on_cost])
        elif entry.kind == "reading":
            rows = rows.filter(kind__in=[k for k, s in steps().items() if s.on_reading])
        else:
            rows = rows.exclude(kind__in=[kind for kind, step in steps().items() if not step.shapes])
            readings = Reading.objects.filter(lot__in=lots, undone=False, entry_id__gt=entry.pk)
            numbers += readings.values_list("entry_id", flat=True)
        numbers += rows.values_list("entry_id", flat=True)
    return Entry.objects.get(pk=max(numbers)) if numbers else None


def _handed_later(entry: Entry) -> list[int]:
    """Later handovers of the same delivery that stand."""
    which = entry.pk if entry.kind == "delivery" else entry.facts["delivery"]
    rows = Entry.objects.filter(kind="handover", reversed_by=None, number__gt=entry.pk)
    return [e.number for e in rows if e.facts["delivery"] == which]


def _lots(entry: Entry) -> set[int]:
    """Lots that an entry touched: by its records, or by its postings."""
    found: set[int] = set()
    for table in (Delivery, Happening, Reading):
        found |= set(table.objects.filter(entry=entry).values_list("lot_id", flat=True))
    for edge in Descent.objects.filter(entry=entry):
        found |= {edge.parent_id, edge.child_id}
    names = Posting.objects.filter(entry=entry, account__name__startswith="lot/")
    codes = [n.removeprefix("lot/") for n in names.values_list("account__name", flat=True)]
    return found | set(Lot.objects.filter(code__in=codes).values_list("pk", flat=True))


def take_back(entry: Entry, reason: str, who: Who, key: uuid.UUID, at: datetime | None = None) -> Entry:
    """Reverse an entry: the same postings with the other sign, and the reason.

    Refused while something later stands on it. A reading taken back leaves the lot's water at
    the last reading that still stands.
    """
    reason = " ".join(reason.split())[:200]
    if not reason:
        raise InputError("is empty.", "reason", "Say why it is taken back.")
    with writing():
        before = Entry.objects.filter(key=key).first()
        if before is not None:
            if before.reverses_id != entry.pk:
                raise InputError("this form was sent before for another entry.", fix="Open the page anew.")
            return before
        hurdle = why_not(entry)
        if hurdle:
            raise InputError(hurdle, say("entry {number}", number=entry.number))
        lines: list[Line] = [(account, commodity, -amount) for account, commodity, amount in lines_of(entry)]
        body = {"reverses": entry.number, "kind": entry.kind}
        draft = Draft("reverse", key, body, lines, at or timezone.now(), who, reason, entry)
        made, _new = write(draft, read_off)
        if entry.kind == "reading":
            _reckon(entry, who, made)
        return made


def _reckon(entry: Entry, who: Who, made: Entry) -> None:
    """Put the lot's water back to what the last standing reading says."""
    lot = Lot.objects.get(readings__entry=entry)
    if lot.known_wb is None:
        return
    lines = to_moisture(lot_matter(lot), lot.account, lot.known_wb)
    body = {"code": lot.code, "after": made.number, "moisture_wb": lot.known_wb}
    write(Draft("reckon", uuid.uuid4(), body, lines, made.happened_at, who))
