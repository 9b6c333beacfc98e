"""The usual cautions, by step, place and command, from one table."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from drydown.errors import InputError
from drydown.figures import Source, Status
from drydown.steps.dry.data import place, place_names
from drydown.tables import table
from drydown.words import say

__all__ = ["FIRST", "Caution", "at_command", "at_other", "cautions", "hazards", "table_rows"]

FIRST = say("Local codes and licensed practice come first.")


@dataclass(frozen=True, slots=True)
class Caution:
    """A usual caution with its source."""

    text: str
    source: Source
    about: str = ""


def _table() -> dict[str, Any]:
    return table("drydown.outlook", "cautions.toml")


def hazards() -> list[str]:
    """Names of all cautions."""
    return list(_table()["hazard"])


def cautions(*names: str) -> tuple[Caution, ...]:
    """Cautions by name, in order, each once. `FIRST` is printed beside them."""
    rows = _table()["hazard"]
    made = []
    for name in dict.fromkeys(names):
        if name not in rows:
            raise InputError(say("caution '{name}' is not known.", name=name), "cautions.toml")
        row = rows[name]
        made.append(Caution(say(row["text"]), Source(row["source"], Status(row["status"])), row["about"]))
    return tuple(made)


def _names(part: str, key: str) -> list[str]:
    rows = _table()[part]
    if key not in rows:
        raise InputError(
            say("has no row for {part} '{key}'.", part=part, key=key),
            "cautions.toml",
            "Add one, [] if nothing hurts.",
        )
    return list(rows[key])


def place_row(name: str) -> list[str]:
    """Names of the cautions of a kind of place; machines with a fan share one row."""
    if name in place_names() and place(name).machine:
        return _names("place_machine", "any")
    return _names("place", name)


def at_other(what: str) -> list[str]:
    """Names of the cautions at what is done beside the way of a lot: the gate, a reading, a tasting ..."""
    return _names("beside", what)


def at_command(command: str, *places: str) -> tuple[Caution, ...]:
    """What a command prints after its numbers."""
    named = _names("command", command)
    for name in places:
        named += place_row(name)
    return cautions(*named)


def table_rows(steps: Mapping[str, Sequence[str]]) -> list[tuple[str, Caution, list[str]]]:
    """Every caution with the steps, places and commands that print it, for the handbook.

    Args: steps, names of cautions by kind of step (`way`). Returns: name, caution, where it is printed.
    """
    rows = _table()
    found = []
    for name, caution in zip(hazards(), cautions(*hazards()), strict=True):
        printed: list[tuple[str, Sequence[str]]] = [
            *steps.items(), *rows["beside"].items(), *rows["place"].items()
        ]  # fmt: skip
        where = [key.replace("_", " ") for key, row in printed if name in row]
        if name in rows["place_machine"]["any"]:
            where.append("machines with a fan")
        where += [f"`drydown {key}`" for key, row in rows["command"].items() if name in row]
        found.append((name, caution, list(dict.fromkeys(where))))
    return found
