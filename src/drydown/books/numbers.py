"""Numbers as people type them: decimal point or comma, no group marks, never a guess."""

from __future__ import annotations

import re
from decimal import ROUND_HALF_EVEN, Decimal

from drydown.errors import InputError
from drydown.words import say

__all__ = ["parse_decimal", "parse_grams", "typed_kg"]

_PLAIN = re.compile(r"^[0-9]{1,9}([.,][0-9]{1,6})?$")
_BLANKS = "\u0020\u00a0\u202f\u2009"
_BLANK_GROUPS = re.compile(rf"^[0-9]{{1,3}}(?:[{_BLANKS}][0-9]{{3}})+(?:[.,][0-9]{{1,6}})?$")
_GROUPED = re.compile(r"^\d{1,3}([.,']\d{3})+([.,]\d+)?$")


def parse_decimal(text: str, where: str) -> Decimal:
    """A number of zero or more from a form field.

    "41.5" and "41,5" are the same, and so are "1234" and "1 234", as Drydown writes it. "1,234" or
    "1.234" could be a thousand or not, so three digits after a single mark are refused, as are
    points and commas between groups.
    """
    cleaned = text.strip()
    if not cleaned:
        raise InputError("is empty.", where, "Write a number, such as 41.5.")
    if _BLANK_GROUPS.match(cleaned):
        cleaned = re.sub(rf"[{_BLANKS}]", "", cleaned)
    whole, mark, part = cleaned.partition("," if "," in cleaned else ".")
    doubtful = bool(mark) and len(part) == 3 and whole != "0"
    if _GROUPED.match(cleaned) and (doubtful or len(re.findall(r"[.,']", cleaned)) > 1):
        two_marks = len(set(re.findall(r"[.,']", cleaned))) > 1
        raise InputError(
            f"'{cleaned}' {'has marks between thousands' if two_marks else 'could be read two ways'}.",
            where,
            "Leave out thousands marks; write at most two digits after the point.",
        )
    if not _PLAIN.match(cleaned):
        raise InputError(
            say("'{cleaned}' is not a number of zero or more, up to nine digits.", cleaned=cleaned),
            where,
            "Digits and one point or comma.",
        )
    return Decimal(cleaned.replace(",", "."))


def parse_grams(text: str, where: str) -> int:
    """Kilograms from a form field, as whole grams."""
    return int((parse_decimal(text, where) * 1000).to_integral_value(ROUND_HALF_EVEN))


def typed_kg(grams: float) -> str:
    """Grams as a field of kilograms takes them back."""
    return f"{grams / 1000:.3f}".rstrip("0").rstrip(".")
