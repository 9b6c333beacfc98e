"""Shapes that come in and go out. Whole grams, fractions, ISO times with an offset."""

from __future__ import annotations

import uuid
from typing import Annotated, Any, Literal

from ninja import Schema
from pydantic import AwareDatetime, ConfigDict, Field

__all__ = ["Answers", "DeliveryRow", "ItemIn", "LotRow", "OutboxIn", "State", "Trouble"]

Grams = Annotated[int, Field(ge=0, le=30_000_000)]


class Closed(Schema):
    """Unknown fields are refused."""

    model_config = ConfigDict(extra="forbid")


class ItemIn(Closed):
    """One item of a phone's outbox."""

    key: uuid.UUID
    seq: Annotated[int, Field(ge=1, le=2**53)]
    phone_time: AwareDatetime
    kind: Annotated[str, Field(max_length=16)]
    body: dict[str, Any]


class OutboxIn(Closed):
    """Items, with the phone's clock as it sends."""

    sent_at: AwareDatetime
    items: Annotated[list[ItemIn], Field(max_length=200)]


class AnswerOut(Schema):
    """What became of one item."""

    key: uuid.UUID
    outcome: Literal["kept", "refused"]
    words: str
    entry: int | None


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


class State(Schema):
    """What a phone needs to work without network: numbers and quantities, no names, no prices."""

    station: str
    device: str
    person: str
    growers: list[int]
    species: list[str]
    routes: list[str]
    containers: list[ContainerOut]
    lots: list[LotRow]


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
