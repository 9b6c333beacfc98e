"""What the body of each kind of entry holds: typed, and with a version.

A body is written once and read for ever. `VERSION` rises when a shape changes; `facts_of` brings older
bodies to today's shape, so that nobody else needs to know which version wrote them.
"""

from __future__ import annotations

from functools import cache
from typing import Any, NotRequired

from pydantic import ConfigDict, TypeAdapter, ValidationError, with_config
from typing_extensions import TypedDict

from drydown.errors import BalanceError
from drydown.words import say

__all__ = ["KINDS", "VERSION", "checked", "facts_of", "plain"]

VERSION = 1
"""0: before bodies carried a version; 1: they do."""
MARK = "v"
_closed = with_config(ConfigDict(extra="forbid", strict=True))


@_closed
class LotTold(TypedDict):
    """A lot as an entry names it."""

    code: str
    species: str
    route: str
    opened_on: str
    group: str
    state: NotRequired[dict[str, Any]]


@_closed
class Delivery(TypedDict):
    """A weighing at the gate."""

    grower: int
    lot: LotTold
    gross_g: int
    tare_g: int
    net_g: int
    ripe_percent: int | None
    float_percent: int | None
    fruit_class: str
    price_per_kg: int
    pays: int
    held_back: int
    deductions: list[list[Any]]
    containers: list[list[Any]]
    currency: str
    decimals: int
    photo: NotRequired[str]
    noted_by: NotRequired[str]
    asked: NotRequired[str]


@_closed
class Step(TypedDict):
    """A step of a lot."""

    code: str
    kind: str
    details: dict[str, Any]
    warned: list[str]
    assumed: dict[str, float]


@_closed
class Reading(TypedDict):
    """A moisture reading."""

    code: str
    moisture_wb: float
    method: str
    bean_temp_c: float | None
    noted_by: NotRequired[str]


@_closed
class Part(TypedDict):
    """What of a parent went into a child."""

    parent: str
    child: str
    dry_g: int
    water_g: int
    share: float


@_closed
class Descent(TypedDict):
    """A split or a join."""

    kind: str
    children: list[LotTold]
    parts: list[Part]
    emptied: list[str]


@_closed
class Bench(TypedDict):
    """A sheet of the bench."""

    kind: str
    code: NotRequired[str | None]
    sample: NotRequired[int | None]
    session: NotRequired[int | None]
    told: dict[str, Any]
    noted_by: NotRequired[str]


@_closed
class Note(TypedDict):
    """A note that was given up on a phone."""

    discarded: Any
    reason: str


@_closed
class Reverse(TypedDict):
    """An entry that was taken back."""

    reverses: int
    kind: str


@_closed
class Reckon(TypedDict):
    """A lot's water put back to what its last standing reading says."""

    code: str
    after: int
    moisture_wb: float


Handover = TypedDict("Handover", {"delivery": int, "from": int, "into": int})
MergeTold = TypedDict("MergeTold", {"from": int, "into": int})


@_closed
class Paid(TypedDict):
    """Money to a grower."""

    grower: int
    amount: int
    currency: str
    note: str


@_closed
class Cost(TypedDict):
    """A cost, of lots or of the station."""

    what: str
    amount: int
    currency: str
    lots: list[str]


@_closed
class Receipt(TypedDict):
    """Money from a buyer."""

    buyer: str
    amount: int
    currency: str
    note: str


@_closed
class Adjust(TypedDict):
    """More or less for one delivery."""

    delivery: int
    grower: int
    amount: int
    currency: str


@_closed
class Second(TypedDict):
    """A second payment."""

    lots: list[str]
    total: int
    rule: str
    currency: str


@_closed
class Leaving(TypedDict):
    """A by-product that left."""

    what: str
    mass_g: int
    moisture_wb: float | None
    buyer: str
    amount: int
    currency: str
    note: str


@_closed
class DayLine(TypedDict):
    """What was said of a line of the day: done, or put off until a moment."""

    line: str
    kind: str
    verb: str
    what: str
    until: str
    reason: str
    lots: list[str]


@_closed
class Sky(TypedDict):
    """What a day was, as somebody saw it."""

    day: str
    word: str


class AirRead(TypedDict):
    """Outdoor air, as somebody read it: C, %."""

    temp_c: float
    rh_percent: float


class Expect(TypedDict):
    """Fruit that somebody expects of a day."""

    day: str
    species: str
    route: str
    kg: float


class PlanTask(TypedDict):
    """A task of a plan that was accepted."""

    lot: str
    kind: str
    words: str
    where: str
    begin: str
    end: str
    expected: bool


class PlanTold(TypedDict):
    """A plan that was accepted."""

    days: int
    cost: int
    tasks: list[PlanTask]


KINDS: dict[str, Any] = {
    "delivery": Delivery, "step": Step, "reading": Reading, "split": Descent, "join": Descent,
    "bench": Bench, "note": Note, "reverse": Reverse, "reckon": Reckon, "merge": _closed(MergeTold),
    "handover": _closed(Handover), "payment": Paid, "advance": Paid, "cost": Cost, "receipt": Receipt,
    "adjust": Adjust, "second": Second, "by-product": Leaving, "dayline": DayLine, "sky": Sky,
    "airread": AirRead, "expect": Expect, "plan": PlanTold,
}  # fmt: skip
"""Kinds of entries there are, with the shape of their bodies."""


@cache
def _reader(kind: str) -> TypeAdapter[Any]:
    return TypeAdapter(KINDS[kind])


def checked(kind: str, body: dict[str, Any]) -> dict[str, Any]:
    """A body with its version, once it has the shape of its kind; anything else is a fault of ours."""
    if kind not in KINDS:
        raise BalanceError(say("'{kind}' is no kind of entry.", kind=kind))
    try:
        _reader(kind).validate_python(body)
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(map(str, first["loc"]))
        raise BalanceError(
            say("the body of entry '{kind}' has another shape: {where}: {what}.", kind=kind, where=where,
                what=first["msg"])
        ) from error  # fmt: skip
    return {**body, MARK: VERSION}


def plain(facts: dict[str, Any]) -> dict[str, Any]:
    """A body without its version: what was told."""
    return {k: v for k, v in facts.items() if k != MARK}


def facts_of(kind: str, facts: dict[str, Any]) -> dict[str, Any]:
    """A stored body in today's shape, whatever version wrote it.

    Raises `BalanceError` for a body that a newer Drydown wrote.
    """
    version = facts.get(MARK, 0)
    if version > VERSION:
        raise BalanceError(say("an entry '{kind}' was written by a newer Drydown.", kind=kind))
    return plain(facts)
