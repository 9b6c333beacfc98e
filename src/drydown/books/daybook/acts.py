"""One tap on a line: its step for every lot of it, each kept or refused by itself, or a word that it was
done."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import datetime, timedelta

from drydown.books.daybook.marks import say_of
from drydown.books.journal.write import Who
from drydown.books.lots.take import take_step
from drydown.books.lots.watch import offered
from drydown.books.models import Entry, Lot
from drydown.day.line import Act, Line
from drydown.errors import DrydownError, InputError
from drydown.station.model import Station
from drydown.way.state import Stage
from drydown.way.step import Finding
from drydown.words import say

__all__ = ["BED_KINDS", "Outcome", "do_act", "do_bed", "do_line", "lots_at"]

BED_KINDS = ("rake", "cover", "uncover")
"""Steps that are done to whole places."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a tap did: lots whose step is kept, those refused with why, what looked odd, the last entry."""

    kept: tuple[str, ...] = ()
    refused: tuple[tuple[str, str], ...] = ()
    findings: tuple[Finding, ...] = ()
    entry: int | None = None


def do_line(line: Line, key: uuid.UUID, now: datetime, who: Who, station: Station) -> Outcome:
    """Do what a line says, once for each key.

    A line that moves nothing is kept as done for the longest it can be put off.
    """
    if line.act is not None and line.act.kind:
        return do_act(line.act, key, who, station)
    entry = say_of(line, "done", now + timedelta(hours=max(line.puts)), "", key, now, who)
    return Outcome(line.lots, entry=entry.pk)


def do_act(act: Act, key: uuid.UUID, who: Who, station: Station) -> Outcome:
    """Take a step of each lot, each under a key of its own made of the tap's; now."""
    kept, refused, findings = list[str](), list[tuple[str, str]](), list[Finding]()
    last = None
    for code in act.lots:
        lot = Lot.objects.filter(code=code).first()
        try:
            if lot is None:
                continue
            taken = take_step(lot, act.kind, uuid.uuid5(key, code), None, who, dict(act.details), station)
        except DrydownError as error:
            refused.append((code, str(error)))
            continue
        kept.append(code)
        findings += taken.findings
        last = taken.happening.entry_id
    return Outcome(tuple(kept), tuple(refused), tuple(findings), last)


def lots_at(kind: str, bed: str, station: Station, since: datetime | None = None) -> list[Lot]:
    """Lots that dry at a place (empty: everywhere), of which a step of whole places can be taken now; since,
    those alone that lay there at a moment. Raises `InputError` for another step."""
    if kind not in BED_KINDS:
        raise InputError(say("'{kind}' is not done to a whole bed.", kind=kind), "round")
    lots = Lot.objects.filter(stage=Stage.DRYING).order_by("opened_on", "code")
    lots = lots.filter(bed=bed) if bed else lots
    lots = lots.filter(spread_at__lte=since) if since is not None else lots
    return [x for x in lots if any(s.kind == kind for s in offered(x, station))]


def do_bed(kind: str, bed: str, key: uuid.UUID, at: datetime, who: Who, station: Station) -> Entry:
    """Rake, cover or uncover all that lay in a place at a moment (empty: everywhere), as a phone noted it.

    Each lot has an entry of its own; the first carries the phone's number. Returns that one. Raises
    `InputError` where nothing there could be done so.
    """
    lots = lots_at(kind, bed, station, at)
    if bed and bed not in station.drying_places():
        raise InputError(say("there is no place {bed}.", bed=bed), "round")
    first: Entry | None = None
    why = ""
    for lot in lots:
        one, by = (key, who) if first is None else (uuid.uuid5(key, lot.code), Who(who.user))
        try:
            taken = take_step(lot, kind, one, at, by, {}, station)
        except DrydownError as error:
            why = str(error)
            continue
        first = first or taken.happening.entry
    if first is None:
        raise InputError(why or say("nothing there could be done so."), bed or "round")
    return first
