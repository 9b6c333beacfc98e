"""Units of the trade, as data with sources."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from drydown.errors import InputError
from drydown.figures import Source, Status
from drydown.words import say

__all__ = ["POUND_KG", "TradeUnit", "trade_unit", "trade_units"]

POUND_KG = 0.45359237
"""Kilograms in a pound (exact, international pound of 1959)."""


@dataclass(frozen=True, slots=True)
class TradeUnit:
    """A unit: kilograms of what, litres where it is a measure, and where that is said."""

    name: str
    kg: float
    of: str
    source: Source
    litres: float | None = None


@cache
def trade_units() -> dict[str, TradeUnit]:
    """All units by name."""
    text = (files("drydown.trade") / "units.toml").read_text(encoding="utf-8")
    return {
        name: TradeUnit(
            name, row["kg"], row["of"], Source(row["source"], Status(row["status"])), row.get("litres")
        )
        for name, row in tomllib.loads(text).items()
    }


def trade_unit(name: str) -> TradeUnit:
    """A unit by name; unknown names are refused with the list."""
    found = trade_units().get(name)
    if found is None:
        raise InputError(
            say("unit '{name}' is not known.", name=name),
            fix=say("One of: {trade_units}.", trade_units=", ".join(trade_units())),
        )
    return found
