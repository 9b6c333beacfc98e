"""What the gate's form means: the grower meant, the station's price, class, deductions and lot rule."""

from __future__ import annotations

import re
import unicodedata
from datetime import datetime
from typing import Any

from django.db.models import Q, QuerySet

from drydown.books.journal.photos import keep_photo
from drydown.books.journal.write import Who, writing
from drydown.books.lots.gate import Weighing, add_grower, receive
from drydown.books.models import Delivery, Grower
from drydown.errors import InputError
from drydown.station.model import Station
from drydown.words import say

__all__ = ["find_grower", "growers_like", "swapped", "take_in", "weighing"]


def take_in(data: dict[str, Any], at: datetime, station: Station, by: Who) -> Delivery:
    """Grower and delivery together, or neither."""
    if data["tare"] >= data["gross"]:
        raise swapped(data["tare"], data["gross"])
    with writing():
        before = Delivery.objects.filter(entry__key=data["key"]).first()
        grower = before.grower if before and data["new_grower"] else find_grower(data, by)
        if before and before.grower != grower:
            raise InputError("This form was sent before for another grower.", fix="Open the page anew.")
        return receive(weighing(data, grower, at, station, by))


def swapped(tare_g: int, gross_g: int) -> InputError:
    """The refusal of an empty weight that is not below the full one."""
    return InputError(
        say(
            "The empty container ({tare_g:g} kg) weighs as much as the full one ({gross_g:g} kg) or more.",
            tare_g=tare_g / 1000,
            gross_g=gross_g / 1000,
        ),
        fix="Were the two swapped?",
    )


def weighing(data: dict[str, Any], grower: Grower, at: datetime, station: Station, by: Who) -> Weighing:
    """A weighing by the station's own price, class, deduction and lot rules."""
    money, net = station.money, data["gross"] - data["tare"]
    ripe = None if data["ripe"] is None else round(data["ripe"])
    floats = None if data["floats"] is None else round(data["floats"])
    found = money.fruit_class(data["ripe"])
    name = found.name if found else ""
    price = money.price_coins(data["species"], data["ripe"])
    value = money.value_coins(net, price)
    apart = {"class": name, "village": grower.village}.get(station.gate.lots_apart_by or "", "")
    most = station.gate.lot_max_kg
    return Weighing(
        data["key"], grower.final, data["species"], data["route"], data["gross"], data["tare"], price,
        money.currency, money.decimals, at, at.astimezone(station.place.site().zone).date(), ripe, floats,
        name, data["containers"], money.held_back(net, value), apart,
        None if most is None else round(most * 1000), by, _photo(data), "", data.get("sure", ""),
        data.get("lot", ""),
    )  # fmt: skip


def _photo(data: dict[str, Any]) -> str:
    """The photo's name, once it is kept; that of the weighing being mended; nothing without one."""
    upload = data.get("photo")
    return keep_photo(upload.read()) if upload else str(data.get("photo_before", ""))


def _plain(name: str) -> str:
    """A name without capitals and accents, as people type it on a phone."""
    parts = unicodedata.normalize("NFKD", name.casefold())
    return "".join(c for c in parts if not unicodedata.combining(c))


MOST_NAMED = 8


def find_grower(data: dict[str, Any], by: Who) -> Grower:
    """The grower meant by what was typed: a number, a whole name, or both; never a guess."""
    text = " ".join(data["grower"].split())
    if data["new_grower"]:
        return add_grower(text, data["village"], by, sure=bool(data.get("sure")))
    number = re.match(r"^([0-9]{1,9})(?: (.+))?$", text)
    if number:
        found = Grower.objects.filter(number=int(number[1])).first()
        if found and (number[2] is None or _names(found, number[2])):
            return found.final
        if found is None and number[2] is None:
            raise InputError(say("No grower has the number {value}.", value=number[1]), fix="Search by name.")
    rows = Grower.objects.filter(merged_into=None)
    names = [g for g in rows if _names(g, text)][:3]
    if len(names) == 1:
        return names[0]
    if names:
        told = ", ".join(str(g) for g in names)
        raise InputError(
            say("More than one grower is called '{text}' ({told}).", text=text, told=told),
            fix="Use the number.",
        )
    near = list(rows.filter(name__icontains=text)[: MOST_NAMED + 1])
    more = " or another one: write more of the name" if len(near) > MOST_NAMED else ""
    said = " or ".join(str(g) for g in near[:MOST_NAMED]) + more
    hint = (
        say("Did you mean {said}?", said=said) if near else "For a new grower open “New grower” and tick it."
    )
    raise InputError(say("No grower is called '{text}'.", text=text), fix=hint)


def growers_like(text: str) -> QuerySet[Grower]:
    """Growers of the register whose name, village or number is like a text; all of them for an empty one."""
    rows = Grower.objects.filter(merged_into=None)
    if not text:
        return rows
    like = Q(name__icontains=text) | Q(village__icontains=text)
    if text.isdecimal() and len(text) < 10:
        like |= Q(number=int(text))
    return rows.filter(like)


def _names(grower: Grower, text: str) -> bool:
    """Whether a text is the grower's name, with or without the village behind it."""
    plain = _plain(text)
    return plain in {_plain(grower.name), _plain(f"{grower.name}, {grower.village}")}
