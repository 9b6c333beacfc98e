"""A line of the day: what to do, by when, why, what waiting costs, and the rule by which lines are
ordered."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from drydown.figures import Band, Figure, Source, Status
from drydown.words import sentence

__all__ = ["AHEAD", "ORDER_SOURCE", "Act", "Line", "Rank", "Worth", "day_key", "lost", "ordered"]

AHEAD = timedelta(hours=12)
"""What is lost if nothing is done is counted over so long (own choice)."""
ORDER_SOURCE = Source(
    "own rule: what can hurt people or spoil other lots first; then what is lost in the next 12 hours if "
    "it is left, "
    "in money of the fruit behind the lot (kilograms where no price is stated), most first; then by hour",
    Status.OWN_ESTIMATE,
)


class Rank:
    """Which lines stand before all others, and which after."""

    DANGER, LOSES, DUE, LATER = range(4)


@dataclass(frozen=True, slots=True)
class Act:
    """What one tap records: a step for each lot, with its details; empty where a page must ask more."""

    kind: str
    lots: tuple[str, ...]
    details: Mapping[str, object] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Worth:
    """What a lot is worth as it stands: fruit behind it [kg], and what that fruit was paid [currency] or
    None."""

    fruit_kg: float
    money: float | None
    currency: str = ""


@dataclass(frozen=True, slots=True)
class Line:
    """One thing to do.

    key, the same while the situation is the same; verb, a whole order; done, the word of the button; lots by
    code; opens and until, the hours it belongs in; reason; band, early and late in words; loss, over the
    next 12
    hours; working, sentences; act, what one tap records; asks, the page that must be filled in instead.
    """

    key: str
    kind: str
    rank: int
    verb: str
    done: str
    reason: str
    lots: tuple[str, ...] = ()
    opens: datetime | None = None
    until: datetime | None = None
    band: str = ""
    loss: Figure | None = None
    working: tuple[str, ...] = ()
    act: Act | None = None
    asks: str = ""
    mark: str = "soon"
    puts: tuple[int, ...] = (1, 3, 24)
    walk: tuple[tuple[str, tuple[str, ...]], ...] = ()

    def __post_init__(self) -> None:
        for name in ("verb", "done", "reason", "band"):
            object.__setattr__(self, name, sentence(getattr(self, name)))
        object.__setattr__(self, "working", tuple(sentence(w) for w in self.working))

    @property
    def amount(self) -> float:
        """What orders it: the loss, in its unit."""
        return self.loss.value if self.loss else 0.0

    @property
    def moment(self) -> datetime | None:
        """The hour it must be done by, else from when."""
        return self.until or self.opens


def day_key(kind: str, now: datetime, lots: Iterable[str]) -> str:
    """Key of a line that stands for many lots on a day: another lot makes it another line."""
    told = hashlib.sha256("|".join(sorted(lots)).encode()).hexdigest()[:8]
    return f"{kind}:{now:%Y%m%d}:{told}"


def lost(parts: Iterable[tuple[Worth, float, float, float]], rule: str, source: Source) -> Figure:
    """What lots lose over the next 12 hours if a line is left: middle, low and high share of each lot's
    worth.

    Args: parts (worth, share, low share, high share); rule, what the shares are; source of it.
    Returns: [currency], or [kg] of fruit where some lot has no price.
    """
    rows = list(parts)
    priced = all(w.money is not None for w, *_rest in rows)
    each = [((w.money if priced and w.money is not None else w.fruit_kg), s, lo, hi) for w, s, lo, hi in rows]
    middle, low, high = (sum(row[0] * row[i] for row in each) for i in (1, 2, 3))
    unit = rows[0][0].currency if priced and rows else "kg"
    inputs = {"lots": str(len(rows)), "worth": f"{sum(r[0] for r in each):.0f} {unit}"}
    return Figure(middle, unit, min(low, middle), max(high, middle), Band.P10_P90, rule, inputs, (source,))


def ordered(lines: Iterable[Line], now: datetime) -> list[Line]:
    """Lines in the order they are shown: `ORDER_SOURCE`.

    Money and kilograms are not compared: where some lines have no price, all are ordered by kilograms by
    their caller's choice of worth.
    """
    far = now + timedelta(days=400)
    return sorted(lines, key=lambda x: (x.rank, -round(x.amount, 6), x.moment or far, x.key))
