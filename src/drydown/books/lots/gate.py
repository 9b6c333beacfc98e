"""The gate: fruit comes in, is owed for, and joins the lot the station's rule says."""

from __future__ import annotations

import uuid
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.db.models import Max

from drydown.books.journal.write import Draft, Who, held, sent_otherwise, write, writing
from drydown.books.lots.reading_off import read_off
from drydown.books.lots.states import cherry_kg
from drydown.books.models import Delivery, Grower, Lot
from drydown.books.people.register import note_change
from drydown.errors import InputError, RangeError
from drydown.matter.routes import route
from drydown.trade.coins import to_minor
from drydown.way.matter import fruit, moved
from drydown.way.names import Line, deduction
from drydown.way.names import grower as grower_account
from drydown.way.names import lot as lot_account
from drydown.way.state import Stage
from drydown.words import say

__all__ = ["Weighing", "add_grower", "find_lot", "receive"]

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
    float_percent: int | None = None
    fruit_class: str = ""
    containers: tuple[tuple[str, int], ...] = ()
    deductions: tuple[tuple[str, int], ...] = ()
    group: str = ""
    lot_max_g: int | None = None
    who: Who = field(default_factory=Who)
    photo: str = ""
    noted_by: str = ""
    sure: str = ""
    """Not empty where an improbable weight was asked about and confirmed."""
    lot: str = ""
    """A gathering lot that was chosen by hand; empty: by the station's rule."""

    @property
    def net_g(self) -> int:
        """Gross less tare."""
        return self.gross_g - self.tare_g


def add_grower(
    name: str, village: str, who: Who | None = None, language: str = "", sure: bool = True
) -> Grower:
    """A new grower with the next free number; the same name in the same village is refused.

    Unless `sure`, the same name in another village (or without one) is refused too, with the number.
    """
    cleaned = " ".join(name.split())
    if cleaned.isdigit():
        raise InputError(say("'{cleaned}' is a number, not a name.", cleaned=cleaned), "grower")
    if not cleaned:
        raise InputError("is empty.", "grower", "Write the grower's name.")
    if len(cleaned) > 80 or len(village) > 80:
        raise InputError("is longer than 80 characters.", "grower or village")
    with transaction.atomic():
        twin = Grower.objects.filter(name__iexact=cleaned, village__iexact=village.strip()).first()
        if twin:
            raise InputError(
                say("There is a grower {twin} already.", twin=twin),
                fix="Use that number, or add a village to tell them apart.",
            )
        alike = Grower.objects.filter(name__iexact=cleaned, merged_into=None).first()
        if alike and not sure:
            raise InputError(
                say("There is a grower {alike} already.", alike=alike),
                "grower",
                "Use that number if it is the same person.",
            )
        top = Grower.objects.aggregate(top=Max("number"))["top"] or 100
        made = Grower.objects.create(number=top + 1, name=cleaned, village=village.strip(), language=language)
        note_change(who, "grower added", f"grower {made.number}")
        return made


def find_lot(w: Weighing) -> dict[str, Any]:
    """The lot that gathers this fruit today; a new one if the last has moved on or is full."""
    if w.lot:
        return _chosen(w)
    stem = f"{w.species[:1].upper()}{route(w.route).letter}-{w.day:%m%d}"
    same_day = Lot.objects.filter(code__startswith=stem, opened_on=w.day)
    mine = same_day.filter(species=w.species, route=w.route, group=w.group)
    for lot in mine.filter(stage=Stage.GATHERING).order_by("-id"):
        if w.lot_max_g is None or cherry_kg(lot) * 1000 + w.net_g <= w.lot_max_g:
            return _told(lot)
    code = f"{stem}-{_letters(same_day.count())}"
    if Lot.objects.filter(code=code).exists():
        code = f"{stem}-{w.day:%y}-{_letters(same_day.count())}"
    return {
        "code": code, "species": w.species, "route": w.route, "opened_on": w.day.isoformat(),
        "group": w.group,
    }  # fmt: skip


def _chosen(w: Weighing) -> dict[str, Any]:
    """The gathering lot that was chosen by hand."""
    lot = Lot.objects.filter(code=w.lot).first()
    if lot is None or lot.stage != Stage.GATHERING or (lot.species, lot.route) != (w.species, w.route):
        raise InputError(
            say("{lot} does not gather {species} for this route.", lot=w.lot, species=w.species),
            "lot",
            "Choose another, or none.",
        )
    return _told(lot)


def _told(lot: Lot) -> dict[str, Any]:
    return {
        "code": lot.code, "species": lot.species, "route": lot.route,
        "opened_on": lot.opened_on.isoformat(), "group": lot.group,
    }  # fmt: skip


def _letters(count: int) -> str:
    """A, B ... Z, AA, AB ..."""
    text = ""
    count += 1
    while count:
        count, rest = divmod(count - 1, 26)
        text = chr(ord("A") + rest) + text
    return text


def receive(w: Weighing) -> Delivery:
    """Keep a delivery and put it into its lot, once for each key."""
    _refuse(w)
    with writing():
        before = Delivery.objects.filter(entry__key=w.key).select_related("lot", "entry").first()
        lot = before.entry.facts["lot"] if before else find_lot(w)
        if before and (before.lot.species, before.lot.route) != (w.species, w.route):
            raise sent_otherwise()
        value = to_minor(Decimal(w.net_g) * w.price_per_kg / 1000, 0)
        held_back = sum(amount for _name, amount in w.deductions)
        body = _body(w, lot, value - held_back, held_back)
        if before:  # the price may have changed since; what the phone sent has not
            told = before.entry.facts
            same = ("grower", "gross_g", "tare_g", "ripe_percent", "float_percent")
            if any(told[name] != body[name] for name in same):
                raise sent_otherwise()
            return before
        draft = Draft("delivery", w.key, body, _lines(w, lot["code"], value), w.happened_at, w.who)
        entry, _new = write(draft, read_off)
        return Delivery.objects.select_related("lot").get(entry=entry)


def _refuse(w: Weighing) -> None:
    if w.tare_g >= w.gross_g:
        raise RangeError(
            say(
                "tare {tare_g:g} kg is not below gross {gross_g:g} kg.",
                tare_g=w.tare_g / 1000,
                gross_g=w.gross_g / 1000,
            ),
            "weight",
        )
    if w.gross_g > MAX_DELIVERY_G:
        raise RangeError(say("{gross_g:g} kg is above 30 000 kg.", gross_g=w.gross_g / 1000), "gross weight")
    for name, percent in (("ripe share", w.ripe_percent), ("float share", w.float_percent)):
        if percent is not None and not 0 <= percent <= 100:
            raise RangeError(say("must be from 0 to 100, got {percent}.", percent=percent), name)
    value = to_minor(Decimal(w.net_g) * w.price_per_kg / 1000, 0)
    if sum(amount for _name, amount in w.deductions) > value:
        raise RangeError("the deductions are more than the fruit is worth.", "price")


def _body(w: Weighing, lot: dict[str, Any], pays: int, held_back: int) -> dict[str, Any]:
    photo = {"photo": w.photo} if w.photo else {}
    if w.noted_by:
        photo["noted_by"] = w.noted_by
    if w.sure:
        photo["asked"] = "improbable, and confirmed"
    return photo | {
        "grower": w.grower.number, "lot": lot, "gross_g": w.gross_g, "tare_g": w.tare_g,
        "net_g": w.net_g, "ripe_percent": w.ripe_percent, "float_percent": w.float_percent,
        "fruit_class": w.fruit_class, "price_per_kg": w.price_per_kg, "pays": pays,
        "held_back": held_back, "deductions": [list(d) for d in w.deductions],
        "containers": [list(c) for c in w.containers], "currency": w.currency, "decimals": w.decimals,
    }  # fmt: skip


def _lines(w: Weighing, code: str, value: int) -> list[Line]:
    """Fruit from the grower to the lot; its price into the lot's cost, owed to the grower."""
    grower, lot = grower_account(w.grower.number), lot_account(code)
    lines = moved(fruit(w.species, w.net_g), grower, lot)
    lines += [(lot, w.currency, value), (grower, w.currency, -value)]
    for name, amount in w.deductions:
        lines += [(grower, w.currency, amount), (deduction(name), w.currency, -amount)]
    return lines


def owed(grower: Grower, currency: str) -> int:
    """What the station owes a grower now (below zero: the grower owes), smallest coin."""
    return -held(grower_account(grower.number), currency)
