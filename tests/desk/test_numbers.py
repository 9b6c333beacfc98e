"""Numbers as people type them: never a guess between 1.234 and 1,234."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drydown.books.numbers import parse_decimal, parse_grams
from drydown.errors import InputError
from drydown.trade.coins import to_minor


@pytest.mark.parametrize(
    ("text", "grams"),
    [("41.5", 41500), ("41,5", 41500), (" 41 ", 41000), ("0", 0), ("0.125", 125), ("0,125", 125),
     ("1234", 1234000), ("12345.67", 12345670), ("3.1416", 3142),
     ("1 234", 1234000), ("12\u00a0345,5", 12345500), ("1\u202f234\u202f567", 1234567000)],
)  # fmt: skip
def test_good(text: str, grams: int) -> None:
    assert parse_grams(text, "gross") == grams


@pytest.mark.parametrize(
    "text",
    ["", "1.234", "1,234", "1,234.5", "1.234,5", "12 34", "1 2345", "1 234 5",
     "1234 567", "12'345", "abc", "-4", "+4", "4..5", "4,5,6", "1e3",
     "٤٥", "½", "41.5kg", "9" * 12, "nan", "inf", "0x10"],
)  # fmt: skip
def test_refused_with_a_sentence(text: str) -> None:
    with pytest.raises(InputError, match="gross"):
        parse_grams(text, "gross")


@given(st.decimals(0, 99999, places=2))
def test_point_and_comma_are_the_same(number: Decimal) -> None:
    text = f"{number:.2f}"
    assert parse_decimal(text, "x") == parse_decimal(text.replace(".", ","), "x") == number


def test_money_rounds_half_to_even() -> None:
    assert [to_minor(Decimal(t), 2) for t in ("0.125", "0.135", "7.005")] == [12, 14, 700]
