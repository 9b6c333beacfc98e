"""Sheets of roasting, grinding and brewing a sample."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from drydown.books.bench.shape import Grams, Second, Told, Word
from drydown.errors import InputError, RangeError
from drydown.quality.grind import Grind, fit_grind
from drydown.steps.brew.balance import Brew, immersion, percolation, tds_of_brix
from drydown.words import say

__all__ = ["BrewTold", "GrindTold", "RoastTold"]

Celsius = Annotated[float, Field(ge=-20, le=400)]


class RoastTold(Told):
    """A roast of (part of) a sample: readings and milestones by second, weights, colour."""

    roaster: Word
    probe: Word = ""
    green_g: Annotated[float, Field(ge=20, le=500_000)]
    roasted_g: Annotated[float, Field(ge=10, le=500_000)] | None = None
    green_percent: Annotated[float, Field(ge=5, le=20)] | None = None
    roasted_percent: Annotated[float, Field(ge=0, le=15)] | None = None
    charge_c: Annotated[float, Field(ge=20, le=350)]
    inlet_c: Annotated[float, Field(ge=100, le=510)] | None = None
    drop_s: Annotated[float, Field(ge=10, le=3600)]
    readings: Annotated[list[tuple[Second, Celsius]], Field(max_length=4000)] = []
    events: Annotated[list[tuple[Word, Second]], Field(max_length=40)] = []
    lightness: Annotated[float, Field(ge=0, le=100)] | None = None
    remarks: Annotated[list[Annotated[str, Field(max_length=300)]], Field(max_length=12)] = []

    def check(self) -> None:
        """Weights that can be, and times that rise within the roast."""
        if self.roasted_g is not None and not 0.55 * self.green_g <= self.roasted_g <= self.green_g:
            raise RangeError(
                say("{r:g} g roasted of {g:g} g green cannot be: 0 to 45 % leave.", r=self.roasted_g,
                    g=self.green_g), "roast", "Check both weights.",
            )  # fmt: skip
        times = [t for t, _c in self.readings]
        if times != sorted(times) or any(t > self.drop_s + 120.0 for t in times):
            raise RangeError("must rise, and end with the roast.", "readings")


class GrindTold(Told):
    """A ground sample on sieves."""

    grinder: Word
    setting: Annotated[float, Field(ge=-1000, le=10_000)]
    bean_c: Annotated[float, Field(ge=-20, le=60)] | None = None
    charge_g: Annotated[float, Field(ge=5, le=1000)]
    sieves_g: Annotated[dict[str, Grams], Field(min_length=1, max_length=12)]
    pan_g: Grams

    def grind(self) -> Grind:
        """What the sieves say; refused where they do not add up."""
        try:
            held = {float(k): v for k, v in self.sieves_g.items()}
        except ValueError as error:
            raise InputError("sieves are named by their aperture in um.", "grind") from error
        if any(not 20.0 <= k <= 5000.0 for k in held):
            raise InputError("apertures must be from 20 to 5000 um.", "grind")
        return fit_grind(held, self.pan_g, self.charge_g)

    def check(self) -> None:
        """A grind must come out."""
        self.grind()


class BrewTold(Told):
    """A brew: dose, water, strength by refractometer."""

    brewer: Word
    kind: Literal["percolation", "immersion"]
    dose_g: Annotated[float, Field(ge=1, le=100_000)]
    water_g: Annotated[float, Field(ge=5, le=1_000_000)]
    strength: Annotated[float, Field(ge=0.05, le=30)] | None = None
    brix: Annotated[float, Field(ge=0, le=30)] | None = None
    retained: Annotated[float, Field(ge=0, le=4)] = 2.0
    words: Annotated[str, Field(max_length=300)] = ""

    def brew(self) -> Brew | None:
        """Its balance; None where no strength was read."""
        read = self.strength if self.strength is not None else None
        if read is None and self.brix is not None:
            read = tds_of_brix(self.brix)[1]
        if not read:
            return None
        if self.kind == "percolation":
            return percolation(self.dose_g, self.water_g, read, self.retained)
        return immersion(self.dose_g, self.water_g, strength=read)

    def check(self) -> None:
        """A balance must come out."""
        self.brew()
