"""Species groups and what their ripe fruit is made of, with ranges and sources.

The data live in `species.toml`; adding a species is adding a table there.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from drydown.errors import InputError
from drydown.figures import Source, Status
from drydown.tables import table
from drydown.words import say

__all__ = ["Composition", "Range", "Species", "species", "species_names"]


@dataclass(frozen=True, slots=True)
class Range:
    """A typical value with a low and a high, and where they come from."""

    typical: float
    low: float
    high: float
    source: Source

    def draw(self, rng: np.random.Generator, n: int) -> NDArray[np.float64]:
        """Draw `n` values, triangular over the range with its peak at the typical value."""
        if self.low == self.high:
            return np.full(n, self.typical)
        return rng.triangular(self.low, self.typical, self.high, n)


@dataclass(frozen=True, slots=True)
class Species:
    """One species group: ranges of composition, per kg of fresh ripe fruit.

    Fractions are of fresh fruit mass; moistures are wet basis. `rest` is drained washed
    parchment. `hull_share` is the share of dry parchment that is hull and silverskin.
    """

    name: str
    pulp_fraction: Range
    pulp_moisture_wb: Range
    mucilage_fraction: Range
    mucilage_moisture_wb: Range
    rest_moisture_wb: Range
    hull_share: Range
    mucilage_sugar: Range
    outturn_published: Range

    def sources(self) -> tuple[Source, ...]:
        """All sources behind the composition, without repeats."""
        found = (getattr(self, f.name).source for f in fields(self)[1:-1])
        return tuple(dict.fromkeys(found))

    def typical(self) -> Composition:
        """The composition at the typical values."""
        return self._composition({f.name: getattr(self, f.name).typical for f in _RANGES})

    def draw(self, rng: np.random.Generator, n: int) -> Composition:
        """`n` compositions drawn from the ranges, as arrays."""
        return self._composition({f.name: getattr(self, f.name).draw(rng, n) for f in _RANGES})

    @staticmethod
    def _composition(v: Mapping[str, float | NDArray[np.float64]]) -> Composition:
        rest = 1.0 - v["pulp_fraction"] - v["mucilage_fraction"]
        rest_dm = rest * (1.0 - v["rest_moisture_wb"])
        return Composition(
            pulp_dm=v["pulp_fraction"] * (1.0 - v["pulp_moisture_wb"]),
            pulp_water=v["pulp_fraction"] * v["pulp_moisture_wb"],
            mucilage_dm=v["mucilage_fraction"] * (1.0 - v["mucilage_moisture_wb"]),
            mucilage_water=v["mucilage_fraction"] * v["mucilage_moisture_wb"],
            hull_dm=rest_dm * v["hull_share"],
            bean_dm=rest_dm * (1.0 - v["hull_share"]),
            rest_water=rest * v["rest_moisture_wb"],
            mucilage_sugar=v["mucilage_fraction"] * v["mucilage_sugar"],
        )


_RANGES = [f for f in fields(Species) if f.name not in {"name", "outturn_published"}]

Amount = float | NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Composition:
    """kg of each part per kg of fresh fruit; numbers or equal-length arrays of draws."""

    pulp_dm: Amount
    pulp_water: Amount
    mucilage_dm: Amount
    mucilage_water: Amount
    hull_dm: Amount
    bean_dm: Amount
    rest_water: Amount
    mucilage_sugar: Amount


def _rows() -> dict[str, Mapping[str, Mapping[str, object]]]:
    return table("drydown.matter", "species.toml")


def _species(name: str, rows: Mapping[str, Mapping[str, object]]) -> Species:
    ranges = {key: range_from_row(row) for key, row in rows.items()}
    return Species(name=name, **ranges)


def range_from_row(row: Mapping[str, object]) -> Range:
    """A `Range` from one data row: typical, low, high, source, status."""
    source = Source(str(row["source"]), Status(str(row["status"])))
    low, typical, high = (float(str(row[k])) for k in ("low", "typical", "high"))
    if not low <= typical <= high:
        raise InputError(
            say("typical {typical} is not between {low} and {high}.", typical=typical, low=low, high=high),
            source.text,
        )
    return Range(typical, low, high, source)


def species_names() -> list[str]:
    """Names of the species groups Drydown knows."""
    return list(_rows())


def species(name: str) -> Species:
    """Look a species group up by name; refuse unknown names with the list of known ones."""
    rows = _rows()
    if name not in rows:
        raise InputError(
            say("species '{name}' is not known.", name=name),
            fix=say("Choose one of: {rows}.", rows=", ".join(rows)),
        )
    return _species(name, rows[name])
