"""Numbers as Drydown writes them, everywhere: groups of three by a blank, one decimal point.

A comma between digits is a decimal mark to half of the readers, so none is ever written there;
what is written here is read back by every form.
"""

from __future__ import annotations

import math
from decimal import Decimal

__all__ = ["OUT_OF_REACH", "count_words", "number"]

OUT_OF_REACH = "not in reach"


def number(value: float | Decimal, digits: int = 0) -> str:
    """A number in words of figures: 1234567.8 with one digit is "1 234 567.8".

    Args: value [any unit]; digits after the point. Returns: text; a value that is not a number is
    said to be out of reach. Valid range: any. Source: ISO 80000-1, 7.3.1 (groups by a small blank,
    neither point nor comma).
    """
    if isinstance(value, float) and not math.isfinite(value):
        return OUT_OF_REACH
    text = f"{value:,.{digits}f}".replace(",", " ")
    return text.removeprefix("-") if set(text) <= set("-0. ") else text


def count_words(count: int, one: str, many: str = "") -> str:
    """A count with its noun: "1 lot", "3 lots".

    Args: count [-]; one, the noun; many, its plural where it is not one with an s. Returns: text.
    Valid range: any. Source: none needed.
    """
    return f"{number(count)} {one if count == 1 else many or one + 's'}"
