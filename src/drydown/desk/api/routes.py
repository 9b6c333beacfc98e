"""Addresses of the interface, every status declared."""

from __future__ import annotations

from dataclasses import asdict
from typing import Annotated, Any

from django.db import OperationalError
from django.http import HttpRequest, HttpResponse
from ninja import NinjaAPI
from ninja.errors import HttpError, ValidationError
from ninja.security import SessionAuth
from pydantic import Field

from drydown.books.models import Delivery, Grower, Holding, Lot
from drydown.books.people.access import NotAllowedError, may, need
from drydown.desk.api.shapes import Answers, DeliveryRow, LotRow, OutboxIn, StageName, State, Trouble
from drydown.desk.context import need_station
from drydown.desk.fieldwork import bench_state, keep_each
from drydown.desk.people import device, role
from drydown.errors import DrydownError
from drydown.way.matter import Matter
from drydown.way.names import DRY, WATER
from drydown.way.state import Stage

__all__ = ["api"]

Offset = Annotated[int, Field(ge=0, le=10**9)]
WRONG: dict[int, Any] = {400: Trouble, 401: Trouble, 403: Trouble, 422: Trouble, 503: Trouble}
api = NinjaAPI(
    title="Drydown", version="1", description="Phones' outboxes; lots and deliveries to read.",
    auth=SessionAuth(csrf=True), docs_url=None, openapi_url="/openapi.json", urls_namespace="api",
)  # fmt: skip


@api.exception_handler(ValidationError)
def _unfit(request: HttpRequest, error: ValidationError) -> HttpResponse:
    first = error.errors[0]
    where = ".".join(str(part) for part in first["loc"][1:]) or "body"
    return api.create_response(request, {"words": f"{where}: {first['msg']}."}, status=422)


@api.exception_handler(HttpError)
def _http(request: HttpRequest, error: HttpError) -> HttpResponse:
    status = error.status_code if error.status_code in {400, 401, 403, 404} else 400
    return api.create_response(request, {"words": str(error)}, status=status)


@api.exception_handler(OperationalError)
def _busy(request: HttpRequest, _error: OperationalError) -> HttpResponse:
    words = "The books are busy, or the disk is full. Nothing was kept; send it again."
    return api.create_response(request, {"words": words}, status=503)


@api.exception_handler(NotAllowedError)
def _not_allowed(request: HttpRequest, error: NotAllowedError) -> HttpResponse:
    return api.create_response(request, {"words": str(error)}, status=403)


@api.exception_handler(DrydownError)
def _ours(request: HttpRequest, error: DrydownError) -> HttpResponse:
    return api.create_response(request, {"words": str(error)}, status=400)


def lot_rows(lots: list[Lot]) -> list[dict[str, Any]]:
    """Lots with what they hold."""
    rows = Holding.objects.filter(account__name__in=[lot.account for lot in lots], matter_only=True)
    held = {(name, c): amount for name, c, amount in rows.values_list("account__name", "commodity", "amount")}
    plain = ("code", "species", "route", "stage", "bed", "store", "known_wb")
    found = []
    for lot in lots:
        matter = Matter(held.get((lot.account, DRY), 0), held.get((lot.account, WATER), 0))
        row = {name: getattr(lot, name) for name in plain}
        found.append(row | {"dry_g": matter.dry, "water_g": matter.water})
    return found


def _field_worker(request: HttpRequest) -> None:
    """Someone who may note at least one of the things a phone sends; each item is held to its own rule."""
    mine = role(request)
    if not any(may(mine, what, write=True) for what in ("readings.moisture", "samples.taken")):
        need(mine, "deliveries.weights", write=True)


@api.get("/field/state", response={200: State, **WRONG})
def field_state(request: HttpRequest) -> dict[str, Any]:
    """What an enrolled phone keeps to work without network."""
    _field_worker(request)
    here = device(request)
    if here is None:
        raise HttpError(403, "This device is not enrolled. Enrol it on the Devices page.")
    station = need_station()
    lots = Lot.objects.filter(stage__in=(Stage.DRYING, Stage.STORED))[:300]
    return {
        "station": station.place.name, "device": here.name, "person": request.user.get_username(),
        "last_seq": here.last_seq,
        "growers": list(Grower.objects.values_list("number", flat=True)),
        "species": list(station.species), "routes": list(station.routes),
        "containers": [
            {"name": c.name, "litres": c.litres, "tare_g": c.tare_g}
            for c in station.gate.containers
        ],
        "lots": lot_rows(list(lots)),
        "beds": list(station.drying_places()) if may(role(request), "lots.way", write=True) else [],
        "bench": bench_state() if may(role(request), "samples.taken", write=True) else None,
    }  # fmt: skip


@api.post("/field/items", response={200: Answers, **WRONG})
def field_items(request: HttpRequest, outbox: OutboxIn) -> dict[str, Any]:
    """Take a phone's items; the same items sent again get the same answers."""
    _field_worker(request)
    here = device(request)
    if here is None:
        raise HttpError(403, "This device is not enrolled. Enrol it on the Devices page.")
    answers = keep_each(outbox.items, here, request.user, outbox.sent_at)
    return {"answers": [{**asdict(a), "key": str(a.key)} for a in answers]}


@api.get("/lots", response={200: list[LotRow], **WRONG})
def lots(request: HttpRequest, stage: StageName | None = None, offset: Offset = 0) -> Any:
    """Lots, newest first, 100 at a time."""
    need(role(request), "lots.way")
    rows = Lot.objects.all()
    if stage is not None:
        rows = rows.filter(stage=stage)
    return lot_rows(list(rows[offset : offset + 100]))


@api.get("/lots/{code}", response={200: LotRow, 404: Trouble, **WRONG})
def one_lot(request: HttpRequest, code: str) -> Any:
    """One lot by its code."""
    need(role(request), "lots.way")
    lot = Lot.objects.filter(code=code).first() if "\x00" not in code else None
    if lot is None:
        raise HttpError(404, "There is no such lot.")
    return lot_rows([lot])[0]


@api.get("/deliveries", response={200: list[DeliveryRow], **WRONG})
def deliveries(request: HttpRequest, offset: Offset = 0) -> Any:
    """Deliveries, newest first, 100 at a time."""
    need(role(request), "deliveries.weights")
    rows = Delivery.objects.select_related("grower", "lot")[offset : offset + 100]
    return [
        {
            "entry": d.pk, "at": d.happened_at, "grower": d.grower.number, "lot": d.lot.code,
            "net_g": d.net_g, "ripe_percent": d.ripe_percent, "undone": d.undone,
        }
        for d in rows
    ]  # fmt: skip
