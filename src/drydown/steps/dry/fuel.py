"""Fuels of a burner and how much of their heat reaches the air."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from drydown.errors import InputError
from drydown.figures import Source, Status
from drydown.words import say

__all__ = ["BURNER_BAND", "BURNER_SOURCE", "Fuel", "fuel", "fuel_names"]

BURNER_BAND = (0.4, 0.55, 0.7)
"""Low, middle, high share of the fuel's heat that an indirect wood burner gives to the air."""
BURNER_SOURCE = Source("indirect wood burners 0.4 to 0.7, direct gas 0.9 and more", Status.FROM_MEMORY)


@dataclass(frozen=True, slots=True)
class Fuel:
    """A fuel: heat of a kilogram [MJ/kg] with its source."""

    name: str
    label: str
    mj_kg: float
    source: Source


@cache
def _fuels() -> dict[str, Fuel]:
    text = (files("drydown.steps.dry") / "fuels.toml").read_text(encoding="utf-8")
    return {
        name: Fuel(name, row["label"], row["mj_kg"], Source(row["source"], Status(row["status"])))
        for name, row in tomllib.loads(text).items()
    }


def fuel_names() -> list[str]:
    """Names of the fuels that are known."""
    return list(_fuels())


def fuel(name: str) -> Fuel:
    """Look a fuel up by name; refuse unknown names with the list of known ones."""
    if name not in _fuels():
        raise InputError(
            say("fuel '{name}' is not known.", name=name),
            fix=say("Choose: {fuels}.", fuels=", ".join(_fuels())),
        )
    return _fuels()[name]
