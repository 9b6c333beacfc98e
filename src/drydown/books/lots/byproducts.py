"""By-products that leave: sold or given away, or used at the station (fuel, compost), by weight.

The books hold by-products as the mass balance made them; a pile in the open dries or gets
wet. What is weighed away with its moisture takes its own dry matter, and the water that the
books held with it and the scale did not find went to the air (or came from it).
"""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import datetime
from fractions import Fraction

from django.utils import timezone

from drydown.books.journal.write import Draft, Who, held, write, writing
from drydown.books.models import Entry, Holding
from drydown.errors import InputError, RangeError
from drydown.numerals import number
from drydown.way.matter import Matter, at_moisture, part_of
from drydown.way.names import AIR, DRY, WATER, Line, by_product, income, used
from drydown.way.names import buyer as buyer_account
from drydown.words import say

__all__ = ["PREFIX", "Leaving", "Pile", "part_with", "piles"]

PREFIX = "by-product/"


@dataclass(frozen=True, slots=True)
class Pile:
    """A by-product and what the books hold of it."""

    name: str
    matter: Matter


@dataclass(frozen=True, slots=True)
class Leaving:
    """What leaves: mass [g], moisture [fraction wb, None: as the books hold it], to whom, for how much.

    buyer empty: used at the station, and then amount must be 0 [smallest coin].
    """

    name: str
    mass_g: int
    moisture_wb: float | None
    buyer: str
    amount: int
    currency: str
    note: str = ""


def _pile(name: str) -> Pile:
    account = by_product(name)
    return Pile(name, Matter(held(account, DRY), held(account, WATER)))


def piles() -> list[Pile]:
    """All by-products of which the books hold something, by name."""
    rows = Holding.objects.filter(account__name__startswith=PREFIX, commodity=DRY, amount__gt=0)
    names = rows.order_by("account__name").values_list("account__name", flat=True)
    return [_pile(name.removeprefix(PREFIX)) for name in names]


def part_with(what: Leaving, key: uuid.UUID, at: datetime | None, who: Who) -> Entry:
    """Keep that a by-product left: matter to the buyer or to use, money owed by the buyer.

    `InputError` where there is no such pile, more leaves than the books hold, or money has no buyer.
    """
    if what.mass_g <= 0:
        raise RangeError("must be more than nothing.", "kilograms")
    if what.amount < 0:
        raise RangeError("must not be below zero.", "sold for")
    if what.amount and not what.buyer:
        raise InputError("is empty.", "buyer", "Say who pays, or leave the sum empty for your own use.")
    body = {
        "what": what.name, "mass_g": what.mass_g, "moisture_wb": what.moisture_wb, "buyer": what.buyer,
        "amount": what.amount, "currency": what.currency, "note": what.note,
    }  # fmt: skip
    with writing():
        again = Entry.objects.filter(key=key).first()
        if again is not None and again.facts == body:
            return again
        lines = _matter(what, _pile(what.name).matter)
        if what.amount:
            lines += [
                (buyer_account(what.buyer), what.currency, what.amount),
                (income(what.name), what.currency, -what.amount),
            ]
        return write(Draft("by-product", key, body, lines, at or timezone.now(), who))[0]


def _matter(what: Leaving, has: Matter) -> list[Line]:
    """Postings of the matter; what the scale did not find of the books' water is the air's."""
    if not has.dry:
        raise InputError(
            say("the books hold no {name}.", name=what.name), "by-product", "Choose one that is shown."
        )
    if what.moisture_wb is None:
        if what.mass_g > has.mass:
            raise InputError(
                say(
                    "{mass_g} kg is more than the books hold ({mass} kg).",
                    mass_g=number(what.mass_g / 1000, 1),
                    mass=number(has.mass / 1000, 1),
                ),
                what.name,
                "If rain made it heavier, say its moisture.",
            )
        goes = part_of(has, what.mass_g)
        water = goes.water
    else:
        goes = at_moisture(what.mass_g, what.moisture_wb)
        if goes.dry > has.dry:
            raise InputError(
                say(
                    "{dry} kg of dry matter is more than the books hold ({dry_2} kg).",
                    dry=number(goes.dry / 1000, 1),
                    dry_2=number(has.dry / 1000, 1),
                ),
                what.name,
                "Check weight and moisture.",
            )
        water = round(has.water * Fraction(goes.dry, has.dry))
    account = by_product(what.name)
    to = buyer_account(what.buyer) if what.buyer else used(what.name)
    taken: list[Line] = [(account, DRY, -goes.dry), (account, WATER, -water)]
    return [*taken, *goes.lines(to), (AIR, WATER, water - goes.water)]
