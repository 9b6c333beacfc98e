"""Shapes that come in and go out. Whole grams, fractions, ISO times with an offset."""

from __future__ import annotations

import uuid
from typing import Annotated, Any, Literal

from ninja import Schema
from pydantic import AfterValidator, AwareDatetime, ConfigDict, Field, WithJsonSchema

from drydown.way.order import stages
from drydown.words import say

__all__ = ["Answers", "DeliveryRow", "ItemIn", "LotRow", "OutboxIn", "StageName", "State", "Trouble"]


def _is_stage(name: str) -> str:
    if name not in stages():
        raise ValueError(say("is not one of {stages}", stages=", ".join(stages())))
    return name


StageName = Annotated[
    str, AfterValidator(_is_stage), WithJsonSchema({"type": "string", "enum": list(stages())})
]
Grams = Annotated[int, Field(ge=0, le=30_000_000)]


class Closed(Schema):
    """Unknown fields are refused."""

    model_config = ConfigDict(extra="forbid")


class ItemIn(Closed):
    """One item of a phone's outbox; its clock may be anything, and is kept beside ours."""

    key: uuid.UUID
    seq: Annotated[int, Field(ge=1, le=2**63)]
    phone_time: Annotated[str, Field(max_length=40)]
    kind: Annotated[str, Field(max_length=16)]
    body: dict[str, Any]


class OutboxIn(Closed):
    """Items, with the phone's clock as it sends. Each item is judged alone: an odd one stops no other."""

    sent_at: Annotated[str, Field(max_length=40)] = ""
    items: Annotated[list[Any], Field(max_length=200)]


class AnswerOut(Schema):
    """What became of one item."""

    key: str
    outcome: Literal["kept", "refused"]
    words: str
    entry: int | None
    code: Literal["", "number"]
    next: int
    """The number this device may take next, where its own collides or has run away."""


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
    beds: list[str]
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
