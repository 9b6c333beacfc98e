"""Marks of danger: each has its own shape and its own words, so that no colour is needed to tell them."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.translation import gettext as _

from drydown.books.lots.watch import FLAG_KINDS, Flag, Level

__all__ = ["Mark", "kind_mark", "mark_of"]

_SYMBOLS = {
    "window": "m-w5", "longer": "m-w4", "undried": "m-lose", "unread": "m-due", "late": "m-late",
    "waits": "m-soon", "wet": "m-lose", "full": "m-full",
}  # fmt: skip
_QUIET = {"window", "longer"}
"""Past hours cannot be saved any more: their count never competes with what still can be."""


@dataclass(frozen=True, slots=True)
class Mark:
    """A shape with its words."""

    symbol: str
    words: str
    bad: bool


def kind_mark(kind: str, bad: bool = False) -> Mark:
    """The mark of a kind of flag."""
    return Mark(_SYMBOLS.get(kind, "m-soon"), _(FLAG_KINDS.get(kind, kind)), bad and kind not in _QUIET)


def mark_of(flag: Flag) -> Mark:
    """The mark of a flag, with the flag's own words."""
    shape = kind_mark(flag.kind, flag.level == Level.DANGER)
    return Mark(shape.symbol, flag.words, shape.bad)
