"""What a phone may send, checked and kept: weighings by grower number, readings by lot code."""

from __future__ import annotations

import uuid
from dataclasses import replace
from datetime import datetime
from typing import Annotated, Any

from django.utils import timezone
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from drydown.books.bench.contracts import known_schemes
from drydown.books.bench.sheets import lots_sampled, record_sheet
from drydown.books.daybook.acts import do_bed
from drydown.books.journal.outbox import Answer, Item, Keeper, keep_items, read_clock
from drydown.books.journal.write import Who
from drydown.books.lots.gate import receive
from drydown.books.lots.readings import record_reading
from drydown.books.lots.weighing import weighing
from drydown.books.models import Device, Entry, Grower, Lot
from drydown.books.people.access import need, role_of
from drydown.desk.api.shapes import ItemIn
from drydown.desk.context import need_station
from drydown.errors import InputError
from drydown.quality.scheme import Scheme
from drydown.words import say

__all__ = ["KEEPERS", "bench_state", "keep_each"]

Grams = Annotated[int, Field(ge=0, le=30_000_000, strict=True)]
Percent = Annotated[float, Field(ge=0, le=100)]


class Said(BaseModel):
    """Unknown fields are refused."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)


class SaidWeighing(Said):
    """A weighing as a phone says it."""

    grower: Annotated[int, Field(ge=1, le=10**9, strict=True)]
    species: str
    route: str
    gross_g: Grams
    tare_g: Grams
    container: str = ""
    count: Annotated[int, Field(ge=0, le=500)] = 0
    ripe_percent: Percent | None = None
    float_percent: Percent | None = None
    noted_by: Annotated[str, Field(max_length=150)] = ""


class SaidReading(Said):
    """A reading as a phone says it."""

    lot: Annotated[str, Field(max_length=80)]
    moisture_percent_wb: float
    method: Annotated[str, Field(max_length=60)]
    bean_temp_c: float | None = None
    noted_by: Annotated[str, Field(max_length=150)] = ""


class SaidCount(Said):
    """A count of defects as a phone says it; the bench checks what it tells."""

    sample: Annotated[int, Field(ge=1, le=10**15, strict=True)]
    told: dict[str, Any]
    noted_by: Annotated[str, Field(max_length=150)] = ""


class SaidBeds(Said):
    """A whole place raked, covered or uncovered; every place where none is named."""

    kind: Annotated[str, Field(max_length=20)]
    bed: Annotated[str, Field(max_length=80)] = ""
    noted_by: Annotated[str, Field(max_length=150)] = ""


def _read(shape: type[Said], body: dict[str, Any]) -> Any:
    try:
        return shape.model_validate(body)
    except ValidationError as error:
        first = error.errors()[0]
        raise InputError(f"{first['msg']}.", ".".join(map(str, first["loc"])) or "item") from error


def _weighing(body: dict[str, Any], key: uuid.UUID, at: datetime, who: Who) -> Entry:
    said, station = _read(SaidWeighing, body), need_station()
    need(role_of(who.user), "deliveries.weights", write=True)
    if said.species not in station.species or said.route not in station.routes:
        raise InputError(
            say("{species}, {route} is not taken in here.", species=said.species, route=said.route),
            "weighing",
        )
    grower = Grower.objects.filter(number=said.grower).first()
    if grower is None:
        raise InputError(
            say("No grower has the number {grower}.", grower=said.grower),
            fix="Add the grower, then send again.",
        )
    tins = ((said.container, said.count),) if station.gate.container(said.container) else ()
    data = {
        "key": key, "species": said.species, "route": said.route, "gross": said.gross_g,
        "tare": said.tare_g, "ripe": said.ripe_percent, "floats": said.float_percent, "containers": tins,
    }  # fmt: skip
    weighed = weighing(data, grower, at, station, who)
    return receive(replace(weighed, noted_by=said.noted_by)).entry


def _reading(body: dict[str, Any], key: uuid.UUID, at: datetime, who: Who) -> Entry:
    said = _read(SaidReading, body)
    need(role_of(who.user), "readings.moisture", write=True)
    lot = Lot.objects.filter(code=said.lot).first()
    if lot is None:
        raise InputError(say("There is no lot {lot}.", lot=said.lot))
    kept = record_reading(
        lot, key, said.moisture_percent_wb, said.method, said.bean_temp_c, at, who, said.noted_by
    )
    return kept.entry


def _count(body: dict[str, Any], key: uuid.UUID, at: datetime, who: Who) -> Entry:
    said = _read(SaidCount, body)
    need(role_of(who.user), "samples.taken", write=True)
    kept = record_sheet("count", said.told, key, at, who, sample=said.sample, noted_by=said.noted_by)
    return kept.entry


def _beds(body: dict[str, Any], key: uuid.UUID, at: datetime, who: Who) -> Entry:
    said = _read(SaidBeds, body)
    need(role_of(who.user), "lots.way", write=True)
    return do_bed(said.kind, said.bed, key, at, who, need_station())


def _gravest_first(found: Scheme) -> list[dict[str, Any]]:
    order = {code: i for i, code in enumerate(found.gravest_first)}
    weights = found.weights()
    rows = [d for d in found.defects if d.counts]
    rows.sort(key=lambda d: order.get(d.code, len(order)))
    return [
        {"code": d.code, "words": d.words, "counts": [weights[d.code].numerator, weights[d.code].denominator]}
        for d in rows
    ]


def bench_state() -> dict[str, Any]:
    """Samples and schemes for the counting sheet: numbers and words, no names of people."""
    samples = [
        {"number": h.entry_id, "lot": h.lot.code, "species": h.lot.species, "mass_g": h.details["sample_g"]}
        for h in lots_sampled(60)
    ]  # fmt: skip
    counting = [
        {
            "name": s.name, "words": s.words, "sample_g": s.sample_g, "rounding": s.rounding,
            "defects": _gravest_first(s),
        }
        for s in known_schemes()
    ]  # fmt: skip
    return {"samples": samples, "schemes": [c for c in counting if c["defects"]]}


KEEPERS: dict[str, Keeper] = {"delivery": _weighing, "reading": _reading, "count": _count, "beds": _beds}


def keep_each(rows: list[Any], device: Device, user: Any, sent_at: str) -> list[Answer]:
    """Judge each item of a phone alone: what cannot be read is refused by itself, the rest is kept.

    `sent_at` is the phone's clock as it sends, empty for an outbox that came by file.
    """
    now, items, answers = timezone.now(), list[Item](), list[Answer]()
    for row in rows:
        try:
            said = ItemIn.model_validate(row)
        except ValidationError as error:
            first = error.errors()[0]
            where = ".".join(map(str, first["loc"])) or "item"
            key = str(row.get("key", ""))[:80] if isinstance(row, dict) else ""
            answers.append(
                Answer(
                    key,
                    "refused",
                    say("{where}: {msg}. Give it up, or note it anew.", where=where, msg=first["msg"]),
                )
            )
            continue
        at, clock = read_clock(said.phone_time, now)
        items.append(Item(said.key, said.seq, at, said.kind, said.body, clock))
    sent, odd = read_clock(sent_at, now)
    return answers + keep_items(items, device, user, None if odd or not sent_at else sent, KEEPERS)
