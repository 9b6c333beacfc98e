"""Weighings that are possible and improbable: asked about once, with the likely answer first."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db.models import Max

from drydown.books.models import Delivery, Grower
from drydown.numerals import number
from drydown.words import say

__all__ = ["Question", "question_about"]

TWICE = timedelta(minutes=3)
"""The same weights of the same grower within this time are likely one weighing sent twice (own choice)."""
TIMES = 1.5
"""Above so many times the grower's largest a weight is asked about (own choice): a tap, once."""
LIGHT_G, HEAVY_G = 1_000, 1_500_000
"""Net weights that are asked about where nothing is known of the grower (own choice)."""


@dataclass(frozen=True, slots=True)
class Question:
    """What is asked, in words, and what the likely slip is; `token` ties a yes to these very values."""

    words: str
    likely: str
    token: str
    gross_g: int | None = None
    """The gross weight that was likely meant, where a decimal mark was left out."""


def question_about(data: dict[str, Any], grower: Grower | None, at: datetime) -> Question | None:
    """The question a weighing raises, if any; none once it was answered for the same values.

    Against the grower's own weighings of a year, the station's largest, and what was sent just before.
    """
    token = _token(data)
    if data.get("sure") == token:
        return None
    net = data["gross"] - data["tare"]
    found = _namesake(data) or _sent_twice(data, grower, at)
    if found:
        return Question(*found, token)
    doubt = _weight(net, grower)
    if doubt is None:
        return None
    words, likely, factor = doubt
    meant = round(data["gross"] / factor) if factor else 0
    return Question(words, likely, token, meant if meant > data["tare"] else None)


def _token(data: dict[str, Any]) -> str:
    """A hash of what was typed, so that a yes is for these values and no others."""
    said = [data["grower"], data["species"], data["route"], data["gross"], data["tare"], data["new_grower"]]
    return hashlib.sha256(repr(said).encode()).hexdigest()[:16]


def _namesake(data: dict[str, Any]) -> tuple[str, str] | None:
    """A new grower of a name that stands in the register already."""
    if not data["new_grower"]:
        return None
    name = " ".join(data["grower"].split())
    twin = Grower.objects.filter(name__iexact=name, merged_into=None).first()
    if twin is None or twin.village.casefold() == data["village"].strip().casefold():
        return None  # the same village too is refused, not asked
    return say("There is {twin} already. Is this another person of that name?", twin=twin), say(
        "the same person: {number}", number=twin.number
    )


def _sent_twice(data: dict[str, Any], grower: Grower | None, at: datetime) -> tuple[str, str] | None:
    if grower is None:
        return None
    twin = Delivery.objects.filter(
        grower=grower, undone=False, gross_g=data["gross"], tare_g=data["tare"],
        happened_at__gte=at - TWICE, happened_at__lte=at + TWICE,
    ).exclude(entry__key=data["key"]).order_by("-entry_id").first()  # fmt: skip
    if twin is None:
        return None
    words = say(
        "The same weights of {grower} were kept just before, as slip {pk}. Is this a second container?",
        grower=grower,
        pk=twin.pk,
    )
    return words, "the same weighing sent twice"


def _weight(net: int, grower: Grower | None) -> tuple[str, str, int] | None:
    """The question, the likely slip, and by what the weight is too high, 0 where that is not known."""
    mine = Delivery.objects.filter(grower=grower, undone=False) if grower else Delivery.objects.none()
    known, most = mine.count(), mine.aggregate(most=Max("net_g"))["most"] or 0
    said = f"{number(net / 1000, 1)} kg"
    if net < LIGHT_G:
        return (
            say("{said} of fruit: so little?", said=said),
            "a weight in another unit, or a digit left out",
            0,
        )
    if known >= 3 and net > TIMES * most:
        words = say(
            "{said}: the most {grower} brought before was {most} kg. Is it right?",
            said=said,
            grower=grower,
            most=number(most / 1000, 1),
        )
        return words, *_slip(net, most)
    if known >= 3 or net <= HEAVY_G:
        return None
    largest = Delivery.objects.filter(undone=False).aggregate(most=Max("net_g"))["most"] or 0
    if net > largest:
        history = (
            say("the largest weighing here was {largest} kg", largest=number(largest / 1000, 1))
            if largest
            else "nobody weighed in yet"
        )
        words = say("{said} in one weighing: {history}. Is it right?", said=said, history=history)
        return words, *_slip(net, largest)
    return None


def _slip(net: int, usual: int) -> tuple[str, int]:
    """The weight that was probably meant, a decimal mark left out, and the factor of it."""
    for factor in (10, 100):
        if usual and net / factor <= 1.5 * usual:
            meant = number(net / factor / 1000, 1 if factor == 10 else 2)
            return say("{net} kg, a decimal mark left out", net=meant), factor
    return "a decimal mark left out", 0
