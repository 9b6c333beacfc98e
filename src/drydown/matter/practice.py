"""What is assumed about a mill's losses and water where the user has not stated it."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from functools import cache
from importlib.resources import files

import numpy as np

from drydown.errors import InputError, RangeError
from drydown.figures import Source, Status
from drydown.matter.species import Amount, Range, range_from_row
from drydown.words import say

__all__ = ["Drawn", "Practice", "practice"]

STATED = Source("stated by the user", Status.STATED)
_UPPER = {"pulp_water_l_kg_cherry": 40.0, "wash_water_l_kg_parchment": 100.0}


@dataclass(frozen=True, slots=True)
class Practice:
    """Losses (shares of the mass that enters the step) and water use, as ranges."""

    float_share: Range
    pulper_loss_share: Range
    huller_loss_share: Range
    husking_loss_share: Range
    sugar_fermented: Range
    pulp_water_l_kg_cherry: Range
    wash_water_l_kg_parchment: Range
    cod_kg_kg_mucilage: Range

    def stated(self, **values: float | None) -> Practice:
        """A copy in which the user's own numbers replace the assumed ranges.

        Shares must be 0 to 0.9; water 0 to 40 L/kg cherry (a published "10 000 m3 per t" is
        a misprint that must not pass) or 0 to 100 L/kg parchment.
        """
        known = {f.name for f in fields(self)}
        given = {k: v for k, v in values.items() if v is not None}
        for name, value in given.items():
            if name not in known:
                raise InputError(say("'{name}' is not an assumption of the balance.", name=name))
            upper = _UPPER.get(name, 0.9)
            if not 0.0 <= value <= upper:
                raise RangeError(
                    say("must be from 0 to {upper:g}, got {value:g}.", upper=upper, value=value), where=name
                )
        return replace(self, **{k: Range(v, v, v, STATED) for k, v in given.items()})

    def typical(self) -> Drawn:
        """The typical values."""
        return Drawn(**{f.name: getattr(self, f.name).typical for f in fields(self)})

    def draw(self, rng: np.random.Generator, n: int) -> Drawn:
        """`n` draws from each range."""
        return Drawn(**{f.name: getattr(self, f.name).draw(rng, n) for f in fields(self)})

    def assumptions(self) -> Mapping[str, Range]:
        """Name and range of everything assumed, for showing beside a result."""
        return {f.name: getattr(self, f.name) for f in fields(self)}


@dataclass(frozen=True, slots=True)
class Drawn:
    """One value, or an array of draws, for each entry of `Practice`."""

    float_share: Amount
    pulper_loss_share: Amount
    huller_loss_share: Amount
    husking_loss_share: Amount
    sugar_fermented: Amount
    pulp_water_l_kg_cherry: Amount
    wash_water_l_kg_parchment: Amount
    cod_kg_kg_mucilage: Amount


@cache
def practice() -> Practice:
    """The assumed practice, from `practice.toml`."""
    text = (files("drydown.matter") / "practice.toml").read_text(encoding="utf-8")
    return Practice(**{key: range_from_row(row) for key, row in tomllib.loads(text).items()})
