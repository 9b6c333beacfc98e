"""The station file's rules of a whole season and of what may be built: hours of the gate, shares of
species and
routes, service levels, things to choose from with the station's own prices."""

from __future__ import annotations

from typing import Annotated, Self

from pydantic import Field, model_validator

from drydown.station.part import Hour, Part, RouteName, SpeciesName
from drydown.station.work import DAYS, DayName
from drydown.words import say

__all__ = ["Build", "Option", "SeasonHabits"]

Percent = Annotated[float, Field(ge=0, le=100)]


class SeasonHabits(Part):
    """How fruit comes and which routes it takes over a season."""

    gate_from_h: Hour
    gate_until_h: Hour
    hours_from_tree: Annotated[float, Field(ge=0, le=48)]
    delivery_days: tuple[DayName, ...] = DAYS
    species_percent: dict[SpeciesName, Percent]
    route_percent: dict[SpeciesName, dict[RouteName, Percent]] = {}
    bad_year_percent: Percent = 0.0
    bad_year_brings_percent: Percent = 50.0
    pulper_hours_between_breakdowns: Annotated[float, Field(gt=0, le=1e5)] | None = None
    pulper_hours_to_mend: Annotated[float, Field(gt=0, le=1000)] | None = None
    delivery_minutes: Annotated[float, Field(gt=0, le=60)] | None = None
    delivery_kg: Annotated[float, Field(gt=0, le=5000)] | None = None

    @model_validator(mode="after")
    def _sums(self) -> Self:
        if self.gate_until_h <= self.gate_from_h:
            raise ValueError("the gate must close after it opens")
        shares = [("species", self.species_percent), *self.route_percent.items()]
        for name, table in shares:
            if abs(sum(table.values()) - 100.0) > 0.01:
                raise ValueError(say("shares of {name} must add up to 100 %", name=name))
        if (self.pulper_hours_between_breakdowns is None) != (self.pulper_hours_to_mend is None):
            raise ValueError("breakdowns need both, hours between them and hours to mend")
        if (self.delivery_minutes is None) != (self.delivery_kg is None):
            raise ValueError("the scale needs both, minutes a delivery and its kilograms")
        if not self.delivery_days:
            raise ValueError("fruit must come on one day of the week at least")
        return self


class Option(Part):
    """A thing that may be built or bought: its kind (`season/kinds.toml`), what one costs here, and the most
    that a search may buy (0: it is priced only for growers' advice); size in the kind's unit, where it is
    another."""

    kind: Annotated[str, Field(pattern="^[a-z_]{2,40}$")]
    price: Annotated[float, Field(ge=0, le=1e12)]
    most: Annotated[int, Field(ge=0, le=50)]
    size: Annotated[float, Field(gt=0, le=1e6)] | None = None


class Build(Part):
    """What a design must hold, and what may be built."""

    fresh_hours: Annotated[float, Field(ge=1, le=72)]
    fresh_days_percent: Percent
    mould_lots_percent: Percent
    interest_percent: Annotated[float, Field(ge=0, le=100)]
    upkeep_percent: Annotated[float, Field(ge=0, le=100)]
    days_until_paid: Annotated[float, Field(ge=0, le=365)]
    fuel_price_per_kg: Annotated[float, Field(ge=0, le=1e9)] | None = None
    options: Annotated[tuple[Option, ...], Field(min_length=1, max_length=20)]

    @model_validator(mode="after")
    def _once(self) -> Self:
        kinds = [o.kind for o in self.options]
        if len(set(kinds)) < len(kinds):
            raise ValueError("a kind stands twice in build.options")
        return self
