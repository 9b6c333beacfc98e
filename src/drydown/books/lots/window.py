"""Hours a lot spent in the mould window: by runs that agree with its readings, else by the readings alone."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import Prefetch, QuerySet

from drydown.books.models import Descent, Lot, Reading
from drydown.figures import Band, Figure
from drydown.outlook.corrected import Corrected
from drydown.outlook.rules import DRY_WB
from drydown.way.order import stage
from drydown.way.state import Stage
from drydown.words import say

__all__ = ["Clock", "clock_of", "hours_above_window", "stored_clock", "wet_hours_so_far", "with_past"]

GRACE = timedelta(hours=24)
"""The surface of fresh coffee is too wet for the window's moulds on its first day (own choice)."""


def hours_above_window(lot: Lot, until: datetime | None = None) -> float:
    """Hours before the last reading that count as inside the mould window.

    From a day after spreading, every stretch between readings counts unless both its ends
    are at or below 14 % wb: the wet side is counted, because nothing drier was seen. A lot that
    came of others begins with the most hours any of them had.
    """
    born = _born(lot)
    begun, was_dry = _carried_reading(lot, born)
    total = max((hours_above_window(edge.parent, edge.entry.happened_at) for edge in born), default=0.0)
    if lot.spread_at is None:
        return total
    since = max(filter(None, (lot.spread_at + GRACE, begun)))
    for reading in _reads(lot):
        if until is not None and reading.happened_at > until:
            break
        dry = reading.moisture_wb <= DRY_WB
        if not (was_dry and dry):
            total += max(0.0, (reading.happened_at - since) / timedelta(hours=1))
        since, was_dry = max(since, reading.happened_at), dry
    return total


def with_past(lots: QuerySet[Lot]) -> QuerySet[Lot]:
    """Lots with their readings and origins, asked for all of them at once."""
    reads = Reading.objects.filter(undone=False).order_by("happened_at", "entry_id")
    born = Descent.objects.filter(undone=False).select_related("parent", "entry")
    return lots.prefetch_related(
        Prefetch("readings", reads, to_attr="told_reads"), Prefetch("parents", born, to_attr="told_born")
    )


def _reads(lot: Lot) -> list[Reading]:
    known: list[Reading] | None = getattr(lot, "told_reads", None)
    if known is not None:
        return known
    return list(lot.readings.filter(undone=False).order_by("happened_at", "entry_id"))


def _born(lot: Lot) -> list[Descent]:
    known: list[Descent] | None = getattr(lot, "told_born", None)
    return (
        list(lot.parents.filter(undone=False).select_related("parent", "entry")) if known is None else known
    )


def _carried_reading(lot: Lot, born: list[Descent]) -> tuple[datetime | None, bool]:
    """When a lot that came of others was last read before, and whether it was dry then."""
    if not born:
        return None, False
    told = born[0].entry.facts["children"]
    state = next(c["state"] for c in told if c["code"] == lot.code)
    if state["known_at"] is None:
        return None, False
    return datetime.fromisoformat(state["known_at"]), state["known_wb"] <= DRY_WB


@dataclass(frozen=True, slots=True)
class Clock:
    """Hours in the mould window: so far, and from spreading to dry in the middle; whole with its working.

    by_runs: counted in runs that agree with the readings; else every hour between readings that were not dry.
    told_h, hours so far on the careful side: of one future in ten, where the readings alone say as much.
    """

    so_far_h: float
    whole_h: float
    figure: Figure
    by_runs: bool
    told_h: float


def wet_hours_so_far(lot: Lot, now: datetime) -> float:
    """Hours until now that may have been inside the mould window, by the readings alone.

    Hours between readings as `hours_above_window`, and those since the last reading (or since a day
    after spreading) while nothing at or below 14 % wb was read.
    """
    total = hours_above_window(lot)
    if lot.stage != Stage.DRYING or lot.spread_at is None:
        return total
    if lot.known_wb is not None and lot.known_wb <= DRY_WB:
        return total
    since = max(filter(None, (lot.spread_at + GRACE, lot.known_at)))
    return total + max(0.0, (now - since) / timedelta(hours=1))


def followed(lot: Lot, outlook: Corrected | None) -> bool:
    """Whether an outlook follows its lot from spreading."""
    if outlook is None or lot.spread_at is None:
        return False
    return outlook.spread_at <= lot.spread_at + timedelta(hours=1)


def clock_of(lot: Lot, now: datetime, outlook: Corrected | None) -> Clock:
    """The clock of a drying lot: what its parents had, and its own hours.

    Args: lot; now; outlook, None where there is none: then its hours until now by the readings alone. They
    count too where one of them contradicts the runs.
    """
    careful = wet_hours_so_far(lot, now)
    if outlook is not None and followed(lot, outlook) and outlook.follows:
        born = _born_h(lot)
        middle_h, high_h = outlook.window_until(now)
        so_far = min(born + middle_h, careful + born)
        figure = outlook.window
        inputs = {**figure.inputs, "at most, by the readings alone": f"{careful:.0f} h"}
        low, middle, high = (born + v for v in (figure.low, figure.value, figure.high))
        whole = Figure(middle, "h", low, high, figure.band, figure.rule, inputs, figure.sources)
        return Clock(so_far, middle, whole, True, max(so_far, min(born + high_h, careful)))
    if outlook is None:
        return Clock(careful, careful, _by_readings(careful), False, careful)
    before, ahead = hours_above_window(lot), outlook.window
    low, middle, high = (max(careful, before + v) for v in (ahead.low, ahead.value, ahead.high))
    rule = say(
        "the larger of the hours so far and: hours before the last reading, counted from a day after "
        "spreading "
        "while nothing at or below 14 % wb was read, plus the forecast from there on; {rule}",
        rule=ahead.rule,
    )  # fmt: skip
    inputs = {
        "at most, by the readings alone": f"{careful:.0f} h", "before the last reading": f"{before:.0f} h",
        "from there on": f"{ahead.value:.0f} h",
        **{("in runs: " + k if k == "so far" else k): v for k, v in ahead.inputs.items()},
    }  # fmt: skip
    whole = Figure(middle, "h", low, high, ahead.band, rule, inputs, ahead.sources)
    return Clock(careful, middle, whole, False, careful)


def _born_h(lot: Lot) -> float:
    """Hours that parents of a joined lot had before, by their readings; a split lot is followed through its
    own."""
    born = _born(lot)
    if len(born) == 1 and born[0].kind == "split":
        return 0.0
    return max((hours_above_window(e.parent, e.entry.happened_at) for e in born), default=0.0)


def _by_readings(hours: float) -> Figure:
    rule = "hours since a day after spreading, while nothing at or below 14 % wb was read"
    return Figure(hours, "h", hours, hours, Band.EXACT, rule)


def stored_clock(lot: Lot, by_runs_h: float | None) -> Clock | None:
    """The clock of a lot that is dry; None for one that is not.

    by_runs_h, its hours in runs that agree with its readings, where they are reckoned.
    """
    if not stage(lot.stage).dry:
        return None
    hours = hours_above_window(lot) if by_runs_h is None else by_runs_h
    figure = _by_readings(hours)
    return Clock(hours, hours, figure, by_runs_h is not None, hours)
