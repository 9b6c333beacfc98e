"""The station file's rules of work: shifts and people, breakdowns, what work and rent cost, orders,
prices."""

from __future__ import annotations

from datetime import date, datetime
from typing import Annotated, Self

from pydantic import Field, model_validator

from drydown.station.part import Hour, Part, RouteName, SpeciesName, Text
from drydown.words import say

__all__ = ["DAYS", "Breakdown", "GreenPrice", "Order", "Shift", "Work"]

DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
DayName = Annotated[str, Field(pattern="^(mon|tue|wed|thu|fri|sat|sun)$")]


class Shift(Part):
    """Hours in which people are there, and how many; every day, unless days are named."""

    name: Text
    from_h: Hour
    until_h: Hour
    people: Annotated[int, Field(ge=1, le=1000)]
    days: tuple[DayName, ...] = DAYS

    @model_validator(mode="after")
    def _order(self) -> Self:
        if self.until_h <= self.from_h:
            raise ValueError(
                say("shift {name} must end after it begins; one over midnight is two", name=self.name)
            )
        return self


class Breakdown(Part):
    """A thing of the station that cannot be used for a time."""

    thing: Text
    begins: datetime
    ends: datetime

    @model_validator(mode="after")
    def _order(self) -> Self:
        if self.ends <= self.begins:
            raise ValueError(say("the breakdown of {thing} must end after it begins", thing=self.thing))
        return self


class Order(Part):
    """Green coffee that a buyer waits for: kind, mass, and the day by which it must be dry."""

    buyer: Text
    species: SpeciesName
    route: RouteName
    green_kg: Annotated[float, Field(gt=0, le=1e7)]
    by: date


class GreenPrice(Part):
    """What a kilogram of green of a kind brings here."""

    species: SpeciesName
    route: RouteName
    per_kg: Annotated[float, Field(gt=0, le=1e9)]


class Work(Part):
    """What the week's plan knows of people and money; what is absent is left out of it, and said."""

    shifts: tuple[Shift, ...] = ()
    pulping_people: Annotated[int, Field(ge=1, le=50)] | None = None
    washing_people: Annotated[int, Field(ge=1, le=50)] | None = None
    wage_per_h: Annotated[float, Field(gt=0, le=1e7)] | None = None
    breakdowns: tuple[Breakdown, ...] = ()
    orders: tuple[Order, ...] = ()
    green_prices: tuple[GreenPrice, ...] = ()

    @model_validator(mode="after")
    def _once(self) -> Self:
        kinds = [(p.species, p.route) for p in self.green_prices]
        if len(set(kinds)) < len(kinds):
            raise ValueError("a green price stands twice for the same species and route")
        return self

    def green_price(self, species: str, route: str) -> float | None:
        """Price of a kind of green; None where none is stated."""
        return next((p.per_kg for p in self.green_prices if (p.species, p.route) == (species, route)), None)
