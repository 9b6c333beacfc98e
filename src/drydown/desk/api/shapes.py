"""Shapes that come in and go out. Whole grams, fractions, ISO times with an offset."""

from __future__ import annotations

import re
import uuid
from typing import Annotated, Any, Literal

from ninja import Schema
from pydantic import AwareDatetime, BeforeValidator, ConfigDict, Field, WithJsonSchema

__all__ = ["Answers", "DeliveryRow", "ItemIn", "LotRow", "OutboxIn", "StageName", "State", "Trouble"]

StageName = Literal[
    "gathering", "floated", "pulped", "fermenting", "washed", "drying", "stored", "hulled", "sorted", "gone"
]
Grams = Annotated[int, Field(ge=0, le=30_000_000)]


_MOMENT = (
    r"^20[0-9]{2}-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])T([01][0-9]|2[0-3]):[0-5][0-9]:[0-5][0-9]"
    r"(\.[0-9]{1,6})?(Z|[+-](0[0-9]|1[0-3]):[0-5][0-9])$"
)


def _of_our_time(said: Any) -> Any:
    """Text of one form only; clocks that stand centuries off would leave the calendar."""
    if not isinstance(said, str) or not re.match(_MOMENT, said, re.ASCII):
        raise ValueError("write a time of this century with its zone, such as 2026-05-04T09:30:00+03:00")
    return said


Moment = Annotated[
    AwareDatetime,
    BeforeValidator(_of_our_time),
    WithJsonSchema({"type": "string", "format": "date-time", "pattern": _MOMENT}),
]


class Closed(Schema):
    """Unknown fields are refused."""

    model_config = ConfigDict(extra="forbid")


class ItemIn(Closed):
    """One item of a phone's outbox."""

    key: uuid.UUID
    seq: Annotated[int, Field(ge=1, le=2**53)]
    phone_time: Moment
    kind: Annotated[str, Field(max_length=16)]
    body: dict[str, Any]


class OutboxIn(Closed):
    """Items, with the phone's clock as it sends."""

    sent_at: Moment
    items: Annotated[list[ItemIn], Field(max_length=200)]


class AnswerOut(Schema):
    """What became of one item."""

    key: uuid.UUID
    outcome: Literal["kept", "refused"]
    words: str
    entry: int | None
    code: Literal["", "number"]


class Answers(Schema):
    """Answers in the order of the phone's numbers."""

    answers: list[AnswerOut]


class ContainerOut(Schema):
    """A container growers bring fruit in."""

    name: str
    litres: float
    tare_g: int


class LotRow(Schema):
    """A lot, without money and names."""

    code: str
    species: str
    route: str
    stage: str
    bed: str
    store: str
    known_wb: float | None
    dry_g: int
    water_g: int


class SampleOut(Schema):
    """A sample that can be counted."""

    number: int
    lot: str
    species: str
    mass_g: float


class DefectOut(Schema):
    """A class of defect: what one piece counts in full defects, as numerator and denominator."""

    code: str
    words: str
    counts: list[int]


class SchemeOut(Schema):
    """A scheme that counts pieces, its classes with the gravest first."""

    name: str
    words: str
    sample_g: float | None
    rounding: str
    defects: list[DefectOut]


class Bench(Schema):
    """What the counting sheet needs without network."""

    samples: list[SampleOut]
    schemes: list[SchemeOut]


class State(Schema):
    """What a phone needs to work without network: numbers and quantities, no names, no prices."""

    station: str
    device: str
    person: str
    last_seq: int
    growers: list[int]
    species: list[str]
    routes: list[str]
    containers: list[ContainerOut]
    lots: list[LotRow]
    bench: Bench | None


class DeliveryRow(Schema):
    """A delivery, without money and names."""

    entry: int
    at: AwareDatetime
    grower: int
    lot: str
    net_g: Grams
    ripe_percent: int | None
    undone: bool


class Trouble(Schema):
    """Why not, in a sentence."""

    words: str
