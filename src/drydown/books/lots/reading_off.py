"""What is read off the journal: lots, deliveries, happenings, readings, descent.

`READERS` maps a kind of entry to the function that reads it off; the same functions serve the
moment of writing and the making anew of all tables (`make_anew`).
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime
from typing import Any

from django.db import transaction

from drydown.books.lots.states import COLUMNS, put_down, shape_of
from drydown.books.models import BenchSheet, Delivery, Descent, Entry, Grower, Happening, Lot, Reading
from drydown.way.order import step
from drydown.way.state import Stage, read_at

__all__ = ["READERS", "fold", "lot_of", "make_anew", "read_off", "snapshot"]


def lot_of(facts: dict[str, Any]) -> Lot:
    """The lot an entry speaks of, opened when it is the first to do so."""
    told = facts["lot"]
    found = Lot.objects.filter(code=told["code"]).first()
    return found or Lot.objects.create(
        code=told["code"], species=told["species"], route=told["route"],
        opened_on=date.fromisoformat(told["opened_on"]), group=told.get("group", ""),
    )  # fmt: skip


def _delivery(entry: Entry, facts: dict[str, Any]) -> None:
    names = (
        "gross_g", "tare_g", "net_g", "ripe_percent", "float_percent", "fruit_class", "price_per_kg",
        "pays", "held_back", "currency", "decimals",
    )  # fmt: skip
    Delivery.objects.create(
        entry=entry, happened_at=entry.happened_at, by_id=entry.by_id, lot=lot_of(facts),
        grower=Grower.objects.get(number=facts["grower"]).final, **{n: facts[n] for n in names},
    )  # fmt: skip


def _step(entry: Entry, facts: dict[str, Any]) -> None:
    lot = Lot.objects.get(code=facts["code"])
    made = Happening.objects.create(
        entry=entry, lot=lot, kind=facts["kind"], details=facts["details"],
        happened_at=entry.happened_at, by_id=entry.by_id,
    )  # fmt: skip
    _advance(lot, made)
    lot.save()


def _reading(entry: Entry, facts: dict[str, Any]) -> None:
    lot = Lot.objects.get(code=facts["code"])
    made = Reading.objects.create(
        entry=entry, lot=lot, moisture_wb=facts["moisture_wb"], method=facts["method"],
        bean_temp_c=facts["bean_temp_c"], happened_at=entry.happened_at, by_id=entry.by_id,
    )  # fmt: skip
    _advance(lot, made)
    lot.save()


def _take_on(lot: Lot, state: dict[str, Any]) -> None:
    """Give a lot that came of others the state it begins with."""
    for name, value in state.items():
        setattr(lot, name, datetime.fromisoformat(value) if value and name.endswith("_at") else value)


def _descent(entry: Entry, facts: dict[str, Any]) -> None:
    """A split or a join: children open with their state; parents that are empty are gone."""
    for child in facts["children"]:
        lot = lot_of({"lot": child})
        _take_on(lot, child["state"])
        lot.moved_at = entry.happened_at
        lot.save()
    for part in facts["parts"]:
        parent, child = Lot.objects.get(code=part["parent"]), Lot.objects.get(code=part["child"])
        Descent.objects.create(
            entry=entry, parent=parent, child=child, kind=facts["kind"], dry_g=part["dry_g"],
            water_g=part["water_g"], share=part["share"],
        )  # fmt: skip
    for code in {part["parent"] for part in facts["parts"]}:
        parent = Lot.objects.get(code=code)
        parent.moved_at = entry.happened_at
        if code in facts["emptied"]:
            parent.stage = Stage.GONE
        parent.save()


def _merge(_entry: Entry, facts: dict[str, Any]) -> None:
    """Two numbers are one grower: deliveries go with the number that stays."""
    one, into = Grower.objects.get(number=facts["from"]), Grower.objects.get(number=facts["into"])
    Grower.objects.filter(pk=one.pk).update(merged_into=into)
    Delivery.objects.filter(grower=one).update(grower=into)


def _handover(_entry: Entry, facts: dict[str, Any]) -> None:
    """A delivery is another grower's."""
    to = Grower.objects.get(number=facts["into"]).final
    Delivery.objects.filter(entry_id=facts["delivery"]).update(grower=to)


def _grower_of(delivery: Delivery) -> Grower:
    """Whose a delivery is by the entries that stand: its own, the last handover, and merges."""
    number = delivery.entry.facts["grower"]
    handed = Entry.objects.filter(kind="handover", reversed_by=None, number__gt=delivery.pk)
    for entry in handed.order_by("number"):
        if entry.facts["delivery"] == delivery.pk:
            number = entry.facts["into"]
    return Grower.objects.get(number=number).final


def _unmerge(was: Entry) -> None:
    """Part two growers again, or give a delivery back, after an entry was reversed."""
    facts = was.facts
    if was.kind == "merge":
        Grower.objects.filter(number=facts["from"]).update(merged_into=None)
        rows = Delivery.objects.filter(grower__number=facts["into"])
    elif was.kind == "handover":
        rows = Delivery.objects.filter(entry_id=facts["delivery"])
    else:
        return
    for delivery in rows.select_related("entry"):
        Delivery.objects.filter(pk=delivery.pk).update(grower=_grower_of(delivery))


def _reverse(_entry: Entry, facts: dict[str, Any]) -> None:
    """Mark what was read off the reversed entry, and put its lots where they stood before."""
    was = int(facts["reverses"])
    _unmerge(Entry.objects.get(pk=was))
    touched = set(Descent.objects.filter(entry_id=was).values_list("parent_id", flat=True))
    touched |= set(Descent.objects.filter(entry_id=was).values_list("child_id", flat=True))
    Descent.objects.filter(entry_id=was).update(undone=True)
    BenchSheet.objects.filter(entry_id=was).update(undone=True)
    for table in (Delivery, Happening, Reading):
        rows = table.objects.filter(entry_id=was)
        rows.update(undone=True)
        touched |= set(rows.values_list("lot_id", flat=True))
    for lot in Lot.objects.filter(pk__in=touched):
        fold(lot)


def _bench(entry: Entry, facts: dict[str, Any]) -> None:
    lot = Lot.objects.get(code=facts["code"]) if facts.get("code") else None
    BenchSheet.objects.create(
        entry=entry, happened_at=entry.happened_at, by_id=entry.by_id, lot=lot, kind=facts["kind"],
        sample_no=facts.get("sample"), session_no=facts.get("session"), told=facts["told"],
    )  # fmt: skip


def _nothing(_entry: Entry, _facts: dict[str, Any]) -> None:
    """Money and reckoning have no table of their own."""


READERS = {
    "delivery": _delivery,
    "step": _step,
    "reading": _reading,
    "split": _descent,
    "join": _descent,
    "bench": _bench,
    "reverse": _reverse,
    "merge": _merge,
    "handover": _handover,
}


def read_off(entry: Entry, facts: dict[str, Any]) -> None:
    """Read one entry off into the tables."""
    READERS.get(entry.kind, _nothing)(entry, facts)


def _advance(lot: Lot, row: Happening | Reading) -> None:
    """Move a lot on by one of its records, as its step's file says."""
    state = shape_of(lot)
    if isinstance(row, Reading):
        put_down(read_at(state, row.moisture_wb, row.happened_at, row.method), lot)
        return
    put_down(step(row.kind).after(state, row.details, row.happened_at), lot)


def fold(lot: Lot) -> None:
    """Put a lot's state together anew from its records that stand."""
    fresh = Lot()
    for name in COLUMNS:
        setattr(lot, name, getattr(fresh, name))
    born = Descent.objects.filter(child=lot, undone=False).order_by("entry_id").first()
    if born is not None:
        told = born.entry.facts["children"]
        state = next(c["state"] for c in told if c["code"] == lot.code)
        _take_on(lot, state)
        lot.moved_at = born.entry.happened_at
    rows: list[Happening | Reading] = [
        *lot.happenings.filter(undone=False), *lot.readings.filter(undone=False)
    ]  # fmt: skip
    for row in sorted(rows, key=lambda r: r.entry_id):
        _advance(lot, row)
    left = Descent.objects.filter(parent=lot, undone=False).order_by("-entry_id").first()
    if left is not None:
        lot.moved_at = max(filter(None, (lot.moved_at, left.entry.happened_at)))
        if lot.code in left.entry.facts["emptied"]:
            lot.stage = Stage.GONE
    elif lot.parents.exists() and born is None:
        lot.stage = Stage.GONE
    lot.save()


def snapshot() -> list[Any]:
    """Everything that is read off the journal, as comparable rows without table ids."""
    lots = Lot.objects.order_by("code").values_list(
        "code", "species", "route", "opened_on", "group", *COLUMNS
    )
    rows: list[Any] = [("lot", *row) for row in lots]
    for table in (Delivery, Happening, Reading, BenchSheet):
        for row in table.objects.order_by("entry_id").select_related("lot"):
            plain = {k: v for k, v in vars(row).items() if k not in {"_state", "lot_id"}}
            rows.append(
                (table.__name__, row.lot.code if row.lot else "", sorted(plain.items(), key=lambda kv: kv[0]))
            )
    kin = Descent.objects.order_by("entry_id", "id")
    rows += list(
        kin.values_list(
            "entry_id", "parent__code", "child__code", "kind", "dry_g", "water_g", "share", "undone"
        )
    )
    return rows


def make_anew(entries: Iterable[Entry] | None = None) -> int:
    """Empty the tables that are read off, and read every entry again, in order."""
    with transaction.atomic():
        for table in (Descent, Delivery, Happening, Reading, BenchSheet, Lot):
            table.objects.all().delete()
        Grower.objects.exclude(merged_into=None).update(merged_into=None)
        count = 0
        for entry in entries or Entry.objects.order_by("number").iterator(chunk_size=2000):
            read_off(entry, entry.facts)
            count += 1
        return count
