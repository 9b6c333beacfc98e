"""The chart of accounts as values: no account can open that is not named here."""

from __future__ import annotations

import re
from dataclasses import dataclass

from drydown.errors import InputError
from drydown.words import say

__all__ = [
    "AIR",
    "CASH",
    "DIFFERENCE",
    "DRAIN",
    "DRY",
    "SAMPLES",
    "STACK",
    "SUPPLY",
    "WATER",
    "Account",
    "Line",
    "account",
    "buyer",
    "by_product",
    "commodity",
    "cost",
    "deduction",
    "grower",
    "income",
    "lot",
    "read",
    "sales",
    "sold",
    "used",
]  # fmt: skip

DRY, WATER = "dry", "water"
"""Commodities counted in grams; any other is a currency of three capitals, in its smallest coin."""
AIR, DRAIN, SUPPLY, DIFFERENCE, SAMPLES, CASH = "air", "drain", "supply", "difference", "samples", "cash"
STACK = "roast loss"
Line = tuple[str, str, int]
"""Account name, commodity, amount: what comes to the account, or leaves it when below zero."""

_SINGLE = {
    AIR: "water and gas that went to the air",
    DRAIN: "what went down the drain",
    SUPPLY: "water that was drawn",
    STACK: "organic matter that roasting sent up the stack, water made by the reaction included",
    DIFFERENCE: "dry matter between an estimate and the scale",
    SAMPLES: "coffee drawn for samples",
    CASH: "the cash box",
}
_OWNED = {
    "lot": "what a lot holds, and what it has cost",
    "grower": "fruit a grower gave, and what is owed to the grower",
    "buyer": "coffee a buyer took, and what the buyer owes",
    "by-product": "pulp, husk, floaters and other by-products",
    "used": "by-products used at the station",
    "sales": "what a lot was sold for",
    "sold": "cost that went with what was sold of a lot",
    "income": "what by-products brought",
    "costs": "the station's own costs",
    "deduction": "what was held back at the gate",
}
_CURRENCY = re.compile(r"[A-Z]{3}")


@dataclass(frozen=True, slots=True, order=True)
class Account:
    """An account: its kind, and whose it is (empty for the station's single ones)."""

    kind: str
    of: str = ""

    @property
    def name(self) -> str:
        """As the journal writes it."""
        return f"{self.kind}/{self.of}" if self.of else self.kind


def account(kind: str, of: str = "") -> str:
    """The name of an account of the chart.

    Args: kind, one of the chart's; of, whose it is. Returns: name as the journal writes it.
    Raises `InputError` for a kind that is not in the chart, or with the wrong owner.
    """
    owned = kind in _OWNED
    if not (owned or kind in _SINGLE):
        raise InputError(say("'{kind}' is not in the chart of accounts.", kind=kind), "account")
    if owned != bool(of.strip()):
        words = "needs an owner" if owned else "has no owner"
        raise InputError(say("'{kind}' {words}.", kind=kind, words=words), "account")
    return Account(kind, of).name


def read(name: str) -> Account:
    """The account behind a name; refuse a name that is not in the chart."""
    kind, mark, of = name.partition("/")
    account(kind, of if mark else "")
    return Account(kind, of)


def commodity(name: str) -> str:
    """A commodity's name, refused where it is neither dry matter nor water nor a currency."""
    if name not in {DRY, WATER} and not _CURRENCY.fullmatch(name):
        raise InputError(say("'{name}' is not a commodity.", name=name), "commodity")
    return name


def lot(code: str) -> str:
    """A lot's account."""
    return account("lot", code)


def grower(number: int) -> str:
    """A grower's account."""
    return account("grower", str(number))


def buyer(name: str) -> str:
    """A buyer's account."""
    return account("buyer", name)


def by_product(name: str) -> str:
    """A by-product's account."""
    return account("by-product", name)


def used(name: str) -> str:
    """By-products used at the station."""
    return account("used", name)


def sales(code: str) -> str:
    """What a lot was sold for."""
    return account("sales", code)


def sold(code: str) -> str:
    """Cost that went with what was sold of a lot."""
    return account("sold", code)


def income(name: str) -> str:
    """What a by-product brought."""
    return account("income", name)


def cost(name: str) -> str:
    """A cost of the station's own."""
    return account("costs", name)


def deduction(name: str) -> str:
    """What was held back at the gate under a name."""
    return account("deduction", name)
