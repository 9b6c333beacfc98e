"""What the station does, as functions: each writes its record and its effect together."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.contrib.auth.models import User
from django.db import transaction
from django.db.models import Max, Sum

from drydown.books.flow import STEPS, next_steps
from drydown.books.models import Delivery, Grower, Happening, Lot, Reading
from drydown.books.numbers import to_minor
from drydown.errors import InputError, RangeError

__all__ = ["Weighing", "add_grower", "cherry_kg", "open_lot", "receive", "record_reading", "take_step"]

LETTER = {"washed": "W", "pulped_natural": "P", "natural": "N"}
MAX_DELIVERY_G = 30_000_000


@dataclass(frozen=True, slots=True)
class Weighing:
    """One weighing, as the gate hands it over. Prices are in the smallest coin per kg."""

    key: uuid.UUID
    grower: Grower
    species: str
    route: str
    gross_g: int
    tare_g: int
    price_per_kg: int
    currency: str
    decimals: int
    happened_at: datetime
    day: date
    ripe_percent: int | None = None


def _same_content(kept: tuple[Any, ...], sent: tuple[Any, ...]) -> None:
    """A key stands for one content: the same form sent again is fine, another is refused."""
    if kept != sent:
        raise InputError(
            "this form was sent before with other values, and those are kept.",
            fix="Open the page anew to send another one.",
        )


def add_grower(name: str, village: str) -> Grower:
    """A new grower with the next free number; the same name in the same village is refused."""
    cleaned = " ".join(name.split())
    if not cleaned:
        raise InputError("is empty.", "grower", "Write the grower's name.")
    if len(cleaned) > 80 or len(village) > 80:
        raise InputError("is longer than 80 characters.", "grower or village")
    with transaction.atomic():
        twin = Grower.objects.filter(name__iexact=cleaned, village__iexact=village.strip()).first()
        if twin:
            raise InputError(
                f"There is a grower {twin} already.",
                fix="Use that number, or add a village to tell them apart.",
            )
        top = Grower.objects.aggregate(top=Max("number"))["top"] or 100
        return Grower.objects.create(number=top + 1, name=cleaned, village=village.strip())


def open_lot(species: str, route: str, day: date) -> Lot:
    """The lot that gathers this species and route today; a new one if the last has moved on."""
    stem = f"{species[:1].upper()}{LETTER[route]}-{day:%m%d}"
    found = Lot.objects.filter(code__startswith=stem, opened_on=day, species=species, route=route)
    gathering = found.filter(stage=Lot.Stage.GATHERING).order_by("-id").first()
    if gathering:
        return gathering
    code = f"{stem}-{chr(ord('A') + min(found.count(), 25))}"
    if Lot.objects.filter(code=code).exists():
        code = f"{stem}-{day:%y}-{found.count() + 1}"
    return Lot.objects.create(code=code, species=species, route=route, opened_on=day)


def receive(w: Weighing, by: User | None) -> Delivery:
    """Keep a delivery and put it into its lot, once for each key."""
    if w.tare_g >= w.gross_g:
        raise RangeError(f"tare {w.tare_g / 1000:g} kg is not below gross {w.gross_g / 1000:g} kg.", "weight")
    if w.gross_g > MAX_DELIVERY_G:
        raise RangeError(f"{w.gross_g / 1000:g} kg is above 30,000 kg.", "gross weight")
    if w.ripe_percent is not None and not 0 <= w.ripe_percent <= 100:
        raise RangeError(f"must be from 0 to 100, got {w.ripe_percent}.", "ripe share")
    with transaction.atomic():
        before = Delivery.objects.filter(key=w.key).first()
        if before:
            _same_content(
                (before.gross_g, before.tare_g, before.lot.species, before.lot.route),
                (w.gross_g, w.tare_g, w.species, w.route),
            )
            return before
        net = w.gross_g - w.tare_g
        return Delivery.objects.create(
            key=w.key,
            grower=w.grower,
            lot=open_lot(w.species, w.route, w.day),
            gross_g=w.gross_g,
            tare_g=w.tare_g,
            net_g=net,
            ripe_percent=w.ripe_percent,
            price_per_kg=w.price_per_kg,
            pays=to_minor(Decimal(net) * w.price_per_kg / 1000, 0),
            currency=w.currency,
            decimals=w.decimals,
            happened_at=w.happened_at,
            by=by,
        )


def cherry_kg(lot: Lot) -> float:
    """Ripe fruit a lot received, kg."""
    total = lot.deliveries.aggregate(total=Sum("net_g"))["total"] or 0
    return float(total) / 1000.0


def take_step(
    lot: Lot, kind: str, key: uuid.UUID, at: datetime, by: User | None, details: dict[str, Any]
) -> Happening:
    """Record a step and move the lot, once for each key; refuse steps that cannot follow."""
    with transaction.atomic():
        before = Happening.objects.filter(key=key).first()
        if before:
            _same_content((before.kind, before.details), (kind, details))
            return before
        fresh = Lot.objects.select_for_update().get(pk=lot.pk)
        if kind not in [s.kind for s in next_steps(fresh)]:
            raise InputError(
                f"'{kind}' cannot follow: the lot is {fresh.get_stage_display()}.",
                fresh.code,
                "Someone may have recorded the step already; look at its way below.",
            )
        _plausible(fresh, kind, at, details)
        last = fresh.happenings.order_by("-happened_at").first()
        if last and at < last.happened_at:
            raise InputError(
                f"{at:%d %b %H:%M} is before the last step ({last.happened_at:%d %b %H:%M}).",
                fresh.code,
                "Check the time.",
            )
        fresh.stage = STEPS[kind].leads_to
        if kind == "spread":
            fresh.bed, fresh.load_kg_m2 = details["bed"], details["load_kg_m2"]
            fresh.spread_at = at
        fresh.save()
        return Happening.objects.create(key=key, lot=fresh, kind=kind, details=details, happened_at=at, by=by)


def _plausible(lot: Lot, kind: str, at: datetime, details: dict[str, Any]) -> None:
    """Refuse what cannot be: before the fruit came, more lights or more coffee than fruit."""
    first = lot.deliveries.order_by("happened_at").first()
    if first and at < first.happened_at:
        raise InputError("is before the lot's first fruit was weighed in.", kind, "Check the time.")
    read = lot.readings.order_by("-happened_at").first()
    if kind == "bag" and read and at < read.happened_at:
        raise InputError("is before the last moisture reading.", kind, "Check the time.")
    fruit = cherry_kg(lot)
    dry_share = 0.5 if lot.route == "natural" else 0.35
    for name, most in (("floaters_kg", 0.9 * fruit), ("mass_kg", dry_share * fruit)):
        value = details.get(name)
        if value is not None and value > most:
            raise RangeError(
                f"{value:g} kg is more than can come of {fruit:g} kg of fruit.", kind, "Check the weight."
            )


def record_reading(
    lot: Lot,
    key: uuid.UUID,
    moisture_percent_wb: float,
    method: str,
    bean_temp_c: float | None,
    at: datetime,
    by: User | None,
) -> Reading:
    """Keep a moisture reading, once for each key."""
    if not 3.0 <= moisture_percent_wb <= 80.0:
        raise RangeError(f"moisture must be from 3 to 80 % wet basis, got {moisture_percent_wb:g}.", lot.code)
    if bean_temp_c is not None and not 0.0 <= bean_temp_c <= 80.0:
        raise RangeError(f"bean temperature must be 0 to 80 C, got {bean_temp_c:g}.", lot.code)
    if not method.strip():
        raise InputError("is empty.", "method", "Name the meter or oven method.")
    if lot.stage != Lot.Stage.DRYING:
        raise InputError(f"is {lot.get_stage_display()}; a reading belongs to a drying lot.", lot.code)
    if lot.spread_at is None or at < lot.spread_at:
        raise InputError("is not spread yet at that time.", lot.code)
    with transaction.atomic():
        before = Reading.objects.filter(key=key).first()
        if before:
            _same_content(
                (before.moisture_wb, before.method), (moisture_percent_wb / 100.0, method.strip()[:60])
            )
            return before
        return Reading.objects.create(
            key=key,
            lot=lot,
            moisture_wb=moisture_percent_wb / 100.0,
            method=method.strip()[:60],
            bean_temp_c=bean_temp_c,
            happened_at=at,
            by=by,
        )
