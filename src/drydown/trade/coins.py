"""Money in its smallest coin."""

from __future__ import annotations

from decimal import ROUND_HALF_EVEN, Decimal

from drydown.numerals import number

__all__ = ["coin_text", "to_minor"]


def to_minor(amount: Decimal, decimals: int) -> int:
    """Money in the smallest coin, rounded half to even."""
    return int((amount * 10**decimals).to_integral_value(ROUND_HALF_EVEN))


def coin_text(minor: int, decimals: int) -> str:
    """Smallest coins as an amount with thin groups: 1234567 with 2 decimals is "12 345.67"."""
    return number(Decimal(minor).scaleb(-decimals), decimals)
