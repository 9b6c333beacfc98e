"""Forms and places of drying, from their data files."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from drydown.errors import InputError
from drydown.figures import Source, Status
from drydown.matter.species import Range, range_from_row

__all__ = ["FORM_OF_ROUTE", "Form", "Place", "form", "form_names", "place", "place_names"]

FORM_OF_ROUTE = {"washed": "parchment", "pulped_natural": "mucilage", "natural": "cherry"}


@dataclass(frozen=True, slots=True)
class Form:
    """What is spread: ranges of each property, and notes on how far they are known."""

    name: str
    label: str
    ranges: Mapping[str, Range]
    note: str

    def sources(self) -> tuple[Source, ...]:
        """All sources, without repeats."""
        return tuple(dict.fromkeys(r.source for r in self.ranges.values()))


@dataclass(frozen=True, slots=True)
class Place:
    """Where it dries: what the place does to sun, sky, wind and rain."""

    name: str
    label: str
    open_below: bool
    light: float
    sky_share: float
    wind_share: float
    keeps_rain_off: bool
    slab_absorptance: float
    source: Source


@cache
def _forms() -> dict[str, dict[str, Any]]:
    return tomllib.loads((files("drydown.steps.dry") / "forms.toml").read_text(encoding="utf-8"))


def form_names() -> list[str]:
    """Names of the forms that can be dried."""
    return [name for name in _forms() if name != "species"]


def form(name: str, species: str = "arabica") -> Form:
    """A form for a species; other species than arabica get a wider band and a note."""
    table = _forms()
    if name not in form_names():
        raise InputError(f"form '{name}' is not known.", fix=f"Choose: {', '.join(form_names())}.")
    kinds = table["species"]
    if species not in kinds:
        raise InputError(f"species '{species}' has no drying data.")
    kind = kinds[species]
    rows = {k: v for k, v in table[name].items() if isinstance(v, Mapping)}
    ranges = {k: _widen(range_from_row(row), kind["widen"]) for k, row in rows.items()}
    if kind["radius_scale"] != 1.0:
        ranges["radius_m"] = _scaled(ranges["radius_m"], kind["radius_scale"])
    return Form(name, str(table[name]["label"]), ranges, kind["note"])


def _widen(r: Range, factor: float) -> Range:
    low = r.typical - (r.typical - r.low) * factor
    return Range(r.typical, max(low, 0.2 * r.typical), r.typical + (r.high - r.typical) * factor, r.source)


def _scaled(r: Range, factor: float) -> Range:
    source = Source(f"{r.source.text}; scaled for the species", Status.OWN_ESTIMATE)
    return Range(r.typical * factor, r.low * factor, r.high * factor, source)


@cache
def _places() -> dict[str, Place]:
    text = (files("drydown.steps.dry") / "places.toml").read_text(encoding="utf-8")
    return {name: _place(name, row) for name, row in tomllib.loads(text).items()}


def _place(name: str, row: Mapping[str, object]) -> Place:
    source = Source(str(row["source"]), Status(str(row["status"])))
    rest = {k: v for k, v in row.items() if k not in {"source", "status"}}
    return Place(name=name, source=source, **rest)  # type: ignore[arg-type]


def place_names() -> list[str]:
    """Names of the places to dry on."""
    return list(_places())


def place(name: str) -> Place:
    """Look a place up by name; refuse unknown names with the list of known ones."""
    if name not in _places():
        raise InputError(f"place '{name}' is not known.", fix=f"Choose: {', '.join(_places())}.")
    return _places()[name]
