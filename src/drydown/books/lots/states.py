"""Lots as plain states: from the tables to what the way of a lot knows, and back."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any

from django.db.models import Sum

from drydown.books.lots.window import hours_above_window
from drydown.books.models import Descent, Holding, Lot
from drydown.station.model import Station
from drydown.way.ferment import felt_of
from drydown.way.matter import Matter
from drydown.way.names import DRY, WATER
from drydown.way.order import stages, steps
from drydown.way.state import LotState, Note, Past, Read, Stage, Stay
from drydown.way.yard import Yard, yard_of

__all__ = [
    "COLUMNS", "cherry_kg", "fruit_behind_kg", "lot_matter", "past_of", "put_down", "shape_of",
    "state_of", "states_of", "yard_now", "yards_now",
]  # fmt: skip

COLUMNS = (
    "stage", "bed", "tank", "store", "load_kg_m2", "spread_at", "known_wb", "known_at", "moved_at",
)  # fmt: skip
"""Columns of a lot that are read off the journal."""
_KINDS = ("bed", "tank", "store")


def lot_matter(lot: Lot) -> Matter:
    """Dry matter and water a lot holds by the books."""
    return _held([lot]).get(lot.account, (Matter(0, 0), ()))[0]


def _held(lots: Sequence[Lot]) -> dict[str, tuple[Matter, tuple[tuple[str, int], ...]]]:
    """Matter and costs by account."""
    rows = Holding.objects.filter(account__name__in=[lot.account for lot in lots])
    found: dict[str, dict[str, int]] = {}
    for name, commodity, amount in rows.values_list("account__name", "commodity", "amount"):
        found.setdefault(name, {})[commodity] = amount
    return {
        name: (
            Matter(sums.get(DRY, 0), sums.get(WATER, 0)),
            tuple((c, a) for c, a in sums.items() if c not in {DRY, WATER}),
        )
        for name, sums in found.items()
    }


def shape_of(lot: Lot) -> LotState:
    """A lot's state by its own columns; what it holds is left out."""
    reads: tuple[Read, ...] = ()
    if lot.known_wb is not None and lot.known_at is not None:
        reads = (Read(lot.known_wb, lot.known_at),)
    stays = tuple(Stay(kind, name) for kind in _KINDS if (name := getattr(lot, kind)))
    return LotState(
        lot.code, lot.species, lot.route, lot.stage, stays=stays, load_kg_m2=lot.load_kg_m2,
        spread_at=lot.spread_at, moved_at=lot.moved_at, reads=reads,
    )  # fmt: skip


def put_down(state: LotState, lot: Lot) -> None:
    """Write a state into a lot's columns; the lot is not saved."""
    lot.stage, lot.load_kg_m2 = state.stage, state.load_kg_m2
    lot.spread_at, lot.moved_at = state.spread_at, state.moved_at
    lot.known_wb, lot.known_at = state.known_wb, state.known_at
    for kind in _KINDS:
        setattr(lot, kind, state.at(kind))


def states_of(lots: Iterable[Lot]) -> dict[str, LotState]:
    """States of many lots by code, with what they hold."""
    rows = list(lots)
    held = _held(rows)
    nothing: tuple[Matter, tuple[tuple[str, int], ...]] = (Matter(0, 0), ())
    found = {}
    for lot in rows:
        matter, costs = held.get(lot.account, nothing)
        found[lot.code] = replace(shape_of(lot), matter=matter, costs=costs)
    return found


def state_of(lot: Lot) -> LotState:
    """A lot's whole state, with its readings and their methods."""
    state = states_of([lot])[lot.code]
    rows = lot.readings.filter(undone=False).order_by("-happened_at", "-entry_id")[:7]
    reads = [Read(r.moisture_wb, r.happened_at, r.method) for r in reversed(rows)]
    last = state.reads[-1:] if not reads or (reads[-1].moisture_wb, reads[-1].at) != _known(state) else ()
    return replace(state, reads=(*reads, *last)) if state.reads else state


def _known(state: LotState) -> tuple[float | None, Any]:
    return state.known_wb, state.known_at


def cherry_kg(lot: Lot) -> float:
    """Ripe fruit a lot received at the gate, kg."""
    total = lot.deliveries.filter(undone=False).aggregate(total=Sum("net_g"))["total"] or 0
    return float(total) / 1000.0


def fruit_behind_kg(lot: Lot) -> float:
    """Ripe fruit behind a lot, kg: its own deliveries, and of its parents the part that came into it.

    For lots that came of others the parts are shares of estimates until something is weighed.
    """
    found = cherry_kg(lot)
    for edge in Descent.objects.filter(child=lot, undone=False).select_related("parent"):
        found += edge.share * fruit_behind_kg(edge.parent)
    return found


def _family_kg(lot: Lot) -> float:
    """All the fruit a lot could have come of, kg: nothing can weigh more than this gives."""
    edges = Descent.objects.filter(child=lot, undone=False).select_related("parent")
    return cherry_kg(lot) + sum(_family_kg(edge.parent) for edge in edges)


def _was_weighed(lot: Lot) -> bool:
    """Whether a scale has spoken of this lot, or of all it came of: its kilograms are no estimate."""
    scales = [kind for kind, row in steps().items() if row.scale]
    if lot.happenings.filter(kind__in=scales, undone=False).exists():
        return True
    edges = Descent.objects.filter(child=lot, undone=False).select_related("parent")
    return bool(edges) and all(_was_weighed(edge.parent) for edge in edges)


def past_of(lot: Lot, window_h: float | None = None) -> Past:
    """What a lot's records say that its state does not carry.

    window_h [h] in the mould window where runs that agree with its readings say so; else by the readings
    alone.
    """
    first = lot.deliveries.filter(undone=False).order_by("happened_at").first()
    note = lot.happenings.filter(undone=False).order_by("-happened_at").first()
    return Past(
        fruit_behind_kg(lot), _family_kg(lot), _was_weighed(lot), first.happened_at if first else None,
        Note(note.kind, note.happened_at) if note else None, last_felt(lot),
        hours_above_window(lot) if window_h is None else window_h,
    )  # fmt: skip


def last_felt(lot: Lot) -> str:
    """What the last test of the tank said; empty where nobody tested."""
    if lot.stage != Stage.FERMENTING:
        return ""
    test = lot.happenings.filter(undone=False, kind="test").order_by("-happened_at").first()
    return felt_of(test.details) if test else ""


def _lying() -> list[tuple[LotState, str]]:
    """Lots that lie somewhere, with the kind of place."""
    places = {name: row.lies for name, row in stages().items() if row.lies}
    found = states_of(Lot.objects.filter(stage__in=list(places)))
    return [(state, places[state.stage]) for state in found.values()]


def yard_now(station: Station, without: Lot | None = None) -> Yard:
    """How full every place is now; `without` leaves one lot out, as when it is about to move."""
    out = without.code if without is not None else ""
    return yard_of(station, [row for row in _lying() if row[0].code != out])


def yards_now(station: Station, lot: Lot) -> tuple[Yard, Yard]:
    """How full every place is without a lot, and with it."""
    rows = _lying()
    return yard_of(station, [r for r in rows if r[0].code != lot.code]), yard_of(station, rows)
