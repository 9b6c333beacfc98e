"""Filters for figures on a page."""

from __future__ import annotations

import uuid
from datetime import datetime

from django import template
from django.utils.translation import gettext

from drydown.books.numbers import typed_kg
from drydown.day.ahead import Room
from drydown.figures import Figure, Source, weakest
from drydown.numerals import number
from drydown.trade.coins import coin_text

__all__ = [
    "coin", "days_since", "figure", "grams", "kg", "kgs", "known", "labelled", "minus", "percent", "sourced",
    "span", "value", "whole", "worded",
]  # fmt: skip

register = template.Library()
register.filter("typed_kg", typed_kg)
_DIGITS = {"kg green per kg fruit": 3, "C": 0, "h": 0, "L": 0, "kg": 1, "days": 1, "(0 to 1)": 3}


def _write(amount: float, unit: str) -> str:
    digits = 0 if abs(amount) >= 1000 else _DIGITS.get(unit, 1)
    return number(amount, digits)


@register.filter
def worded(text: object) -> str:
    """Words that stand in data, such as a status or a kind, in the reader's language."""
    return gettext(str(text))


@register.filter
def value(figure: Figure) -> str:
    """The middle value with its unit."""
    unit = gettext(figure.unit) if figure.unit else ""
    return f"{_write(figure.value, figure.unit)} {unit}".rstrip()


@register.filter
def span(figure: Figure) -> str:
    """The band, or nothing for a figure without one."""
    if figure.low == figure.high:
        return ""
    return f"{_write(figure.low, figure.unit)} to {_write(figure.high, figure.unit)}"


@register.filter
def known(figure: Figure) -> str:
    """The weakest status among the figure's sources."""
    return str(weakest(figure.sources))


@register.filter
def figure(amount: float, digits: int = 0) -> str:
    """A bare number as Drydown writes it."""
    return number(amount, digits)


@register.filter
def kg(grams: int) -> str:
    """Grams as kilograms, to the gram where needed."""
    whole, rest = divmod(int(grams), 1000)
    return f"{number(whole)}.{rest:03d}".rstrip("0").rstrip(".") + " kg"


@register.filter
def kgs(grams: int) -> str:
    """Grams as kilograms to the tenth, without the unit: for a column that names it."""
    return number(int(grams) / 1000.0, 1)


@register.filter
def grams(amount: int) -> str:
    """Grams as kilograms, to the gram where needed, without the unit."""
    return kg(amount).removesuffix(" kg")


@register.filter
def days_since(at: datetime, now: datetime) -> int:
    """Whole days from a moment until now."""
    return max(0, (now - at).days)


@register.filter
def coin(minor: int, decimals: int) -> str:
    """Smallest coins as an amount."""
    return coin_text(int(minor), int(decimals))


@register.filter
def minus(amount: int) -> int:
    """The number with the other sign."""
    return -amount


@register.filter
def sourced(source: Source) -> str:
    """A source with how well it is known, said once."""
    return source.text if str(source.status) in source.text else f"{source.text}, {source.status}"


@register.filter
def percent(share: float) -> str:
    """A share as percent, one digit."""
    return f"{100 * share:.1f} %"


@register.filter
def whole(amount: float) -> int:
    """The nearest whole number."""
    return round(amount)


_NAMES = {
    "cod_kg_kg_mucilage": "COD, kg per kg mucilage",
    "pulp_water_l_kg_cherry": "pulping water, L per kg fruit",
    "wash_water_l_kg_parchment": "washing water, L per kg dry parchment",
    "cod_kg": "COD",
    "outturn": "outturn",
}


@register.simple_tag
def new_key() -> str:
    """A key for a form."""
    return str(uuid.uuid4())


@register.filter
def labelled(key: str) -> str:
    """A key as words, without the unit at its end."""
    if key in _NAMES:
        return gettext(_NAMES[key])
    for tail in ("_kg", "_l"):
        key = key.removesuffix(tail)
    return gettext(key.replace("_", " "))


@register.filter
def free_at(room: Room, day: int) -> str:
    """Free area of a place on a day: the middle, and where every lot is late."""
    return f"{max(room.free[1, day], 0.0):.0f} ({max(room.free[0, day], 0.0):.0f})"


@register.filter
def whole_percent(share: float) -> str:
    """A share in whole per cent, never 0 or 100 where it is neither."""
    return "< 1" if 0.0 < share < 0.01 else "> 99" if 0.99 < share < 1.0 else f"{100 * share:.0f}"
