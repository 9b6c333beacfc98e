"""What a step asks: fields with unit, range and words, the same for a page, a phone and a command."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from drydown.errors import InputError, RangeError
from drydown.station.model import Station
from drydown.words import say

__all__ = ["Ask", "check", "choices", "here", "kilograms", "number_of", "pick", "text_of", "things", "yes"]

KINDS = ("kilograms", "number", "pick", "text", "yes")


@dataclass(frozen=True, slots=True)
class Ask:
    """One field: name, words, kind (one of `KINDS`), unit, range, whether it must be filled.

    A pick names what of the station's it chooses from ("bed", "tank", "store", "pulper", "huller"), or
    has its own `choices`; `shown` is the unit in a line of the lot's way.
    """

    name: str
    words: str
    kind: str
    needed: bool = True
    unit: str = ""
    low: float = 0.0
    high: float = math.inf
    of: str = ""
    choices: tuple[str, ...] = ()
    shown: str = ""

    def optional(self) -> Ask:
        """The same field, which may stay empty."""
        return Ask(
            self.name, self.words, self.kind, False, self.unit, self.low, self.high, self.of, self.choices,
            self.shown,
        )  # fmt: skip


def kilograms(name: str, words: str, shown: str = "kg") -> Ask:
    """A weight in kilograms, up to what a station can hold."""
    return Ask(name, words, "kilograms", unit="kg", high=1e9, shown=shown)


def number_of(name: str, words: str, low: float, high: float, unit: str = "", shown: str = "") -> Ask:
    """A number in a range."""
    return Ask(name, words, "number", unit=unit, low=low, high=high, shown=shown or unit)


def pick(of: str, words: str) -> Ask:
    """One of the station's own things, by name."""
    return Ask(of, words, "pick", of=of)


def choices(name: str, words: str, *values: str) -> Ask:
    """One of some words."""
    return Ask(name, words, "pick", choices=values)


def text_of(name: str, words: str) -> Ask:
    """Words, up to 60 letters."""
    return Ask(name, words, "text", high=60)


def yes(name: str, words: str) -> Ask:
    """A tick; not ticked is no."""
    return Ask(name, words, "yes", needed=False)


def things(of: str, station: Station) -> list[str]:
    """Names of the station's things that a pick chooses from."""
    if of == "bed":
        return list(station.drying_places())
    return [thing.name for thing in getattr(station.equipment, f"{of}s")]


def here(asks: tuple[Ask, ...], station: Station) -> tuple[Ask, ...]:
    """The fields that apply: a pick that may stay empty is not asked where there is nothing to pick."""
    return tuple(a for a in asks if a.needed or not a.of or things(a.of, station))


def check(asks: tuple[Ask, ...], details: Mapping[str, Any], where: str) -> None:
    """Refuse what was not asked, what is missing, and numbers outside their range."""
    known = {a.name: a for a in asks}
    odd = next((name for name in details if name not in known), None)
    if odd is not None:
        raise InputError(say("'{name}' is not asked here.", name=odd), where)
    for ask in asks:
        _check_one(ask, details.get(ask.name), where)


def _check_one(ask: Ask, value: Any, where: str) -> None:
    if value is None or value == "":
        if ask.needed:
            raise InputError(say("{field} is empty.", field=ask.words), where)
        return
    if ask.kind in {"kilograms", "number"}:
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise InputError(say("{field} is not a number.", field=ask.words), where)
        if not ask.low <= value <= ask.high:
            raise RangeError(
                say(
                    "{field} must be from {low:g} to {high:g}, got {value:g}.",
                    field=ask.words, low=ask.low, high=ask.high, value=value,
                ),
                where,
            )  # fmt: skip
    elif ask.kind == "yes" and value is not True:
        raise InputError(say("{field} is either ticked or not there.", field=ask.words), where)
    elif ask.kind in {"text", "pick"} and (not isinstance(value, str) or len(value) > 80):
        raise InputError(say("{field} is not a short text.", field=ask.words), where)
