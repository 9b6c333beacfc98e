"""Hours a lot spent in the mould window, by its readings."""

from __future__ import annotations

from datetime import datetime, timedelta

from drydown.books.models import Descent, Lot
from drydown.outlook.rules import DRY_WB

__all__ = ["hours_above_window"]

GRACE = timedelta(hours=24)
"""The surface of fresh coffee is too wet for the window's moulds on its first day (own choice)."""


def hours_above_window(lot: Lot, until: datetime | None = None) -> float:
    """Hours before the last reading that count as inside the mould window.

    From a day after spreading, every stretch between readings counts unless both its ends
    are at or below 14 % wb: the wet side is counted, because nothing drier was seen. A lot that
    came of others begins with the most hours any of them had.
    """
    born = list(lot.parents.filter(undone=False).select_related("parent", "entry"))
    begun, was_dry = _carried_reading(lot, born)
    total = max((hours_above_window(edge.parent, edge.entry.happened_at) for edge in born), default=0.0)
    if lot.spread_at is None:
        return total
    since = max(filter(None, (lot.spread_at + GRACE, begun)))
    for reading in lot.readings.filter(undone=False).order_by("happened_at", "entry_id"):
        if until is not None and reading.happened_at > until:
            break
        dry = reading.moisture_wb <= DRY_WB
        if not (was_dry and dry):
            total += max(0.0, (reading.happened_at - since) / timedelta(hours=1))
        since, was_dry = max(since, reading.happened_at), dry
    return total


def _carried_reading(lot: Lot, born: list[Descent]) -> tuple[datetime | None, bool]:
    """When a lot that came of others was last read before, and whether it was dry then."""
    if not born:
        return None, False
    told = born[0].entry.facts["children"]
    state = next(c["state"] for c in told if c["code"] == lot.code)
    if state["known_at"] is None:
        return None, False
    return datetime.fromisoformat(state["known_at"]), state["known_wb"] <= DRY_WB
