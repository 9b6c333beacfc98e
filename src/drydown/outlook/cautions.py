"""The usual cautions, by step, place and command, from one table."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from drydown.errors import InputError
from drydown.figures import Source, Status
from drydown.steps.dry.data import place, place_names

__all__ = ["FIRST", "Caution", "at_command", "at_step", "cautions", "hazards", "table_rows"]

FIRST = "Local codes and licensed practice come first."


@dataclass(frozen=True, slots=True)
class Caution:
    """A usual caution with its source."""

    text: str
    source: Source
    about: str = ""


@cache
def _table() -> dict[str, Any]:
    text = (files("drydown.outlook") / "cautions.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def hazards() -> list[str]:
    """Names of all cautions."""
    return list(_table()["hazard"])


def cautions(*names: str) -> tuple[Caution, ...]:
    """Cautions by name, in order, each once. `FIRST` is printed beside them."""
    rows = _table()["hazard"]
    made = []
    for name in dict.fromkeys(names):
        if name not in rows:
            raise InputError(f"caution '{name}' is not known.", "cautions.toml")
        row = rows[name]
        made.append(Caution(row["text"], Source(row["source"], Status(row["status"])), row["about"]))
    return tuple(made)


def _names(part: str, key: str) -> list[str]:
    rows = _table()[part]
    if key not in rows:
        raise InputError(f"has no row for {part} '{key}'.", "cautions.toml", "Add one, [] if nothing hurts.")
    return list(rows[key])


def place_row(name: str) -> list[str]:
    """Names of the cautions of a kind of place; machines with a fan share one row."""
    if name in place_names() and place(name).machine:
        return _names("place_machine", "any")
    return _names("place", name)


def at_step(step: str, *places: str) -> tuple[Caution, ...]:
    """What can hurt at a step, and at the kinds of places it is done at (`raised_bed`, `tank`, ...)."""
    named = _names("step", step)
    for name in places:
        named += place_row(name)
    return cautions(*named)


def at_command(command: str, *places: str) -> tuple[Caution, ...]:
    """What a command prints after its numbers."""
    named = _names("command", command)
    for name in places:
        named += place_row(name)
    return cautions(*named)


def table_rows() -> list[tuple[str, Caution, list[str]]]:
    """Every caution with the steps, places and commands that print it, for the handbook."""
    table = _table()
    found = []
    for name, caution in zip(hazards(), cautions(*hazards()), strict=True):
        where = [
            key.replace("_", " ")
            for part in ("step", "place")
            for key, row in table[part].items()
            if name in row
        ]
        if name in table["place_machine"]["any"]:
            where.append("machines with a fan")
        where += [f"`drydown {key}`" for key, row in table["command"].items() if name in row]
        found.append((name, caution, list(dict.fromkeys(where))))
    return found
