"""The station file's rules of trade: money, classes, deductions, containers, how lots form."""

from __future__ import annotations

import re
from datetime import date
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from drydown.errors import InputError
from drydown.station.part import Part, Share, SpeciesName
from drydown.trade.coins import to_minor
from drydown.words import say

__all__ = [
    "Container",
    "Crop",
    "Deduction",
    "FruitClass",
    "Gate",
    "Loggers",
    "Measured",
    "Money",
    "Scale",
    "Wet",
]


class FruitClass(Part):
    """A price class by counted ripeness: from this share of ripe fruit on, this part of the price."""

    name: Annotated[str, Field(min_length=1, max_length=40)]
    ripe_from_percent: Annotated[float, Field(ge=0, le=100)]
    price_percent: Annotated[float, Field(ge=0, le=300)]


class Loggers(Part):
    """The station's own MQTT broker; its password stands in broker.secret beside the books, never here."""

    broker: Annotated[str, Field(min_length=1, max_length=200)]
    port: Annotated[int, Field(ge=1, le=65535)] = 1883
    topic: Annotated[str, Field(min_length=1, max_length=200)]
    user: Annotated[str, Field(max_length=80)] = ""
    tls: bool = False
    ca_file: Annotated[str, Field(max_length=400)] = ""
    client_id: Annotated[str, Field(pattern=r"^[A-Za-z0-9-]{1,23}$")] = "drydown-desk"


Address = Annotated[str, Field(pattern=r"^[^@\s,<>]+@[^@\s,<>]+$", max_length=200)]


class Alarms(Part):
    """The station's own mail server; its password stands in mail.secret beside the books, never here."""

    server: Annotated[str, Field(min_length=1, max_length=200)]
    port: Annotated[int, Field(ge=1, le=65535)]
    security: Literal["tls", "starttls", "none"]
    user: Annotated[str, Field(max_length=200)] = ""
    sender: Address
    to: Annotated[tuple[Address, ...], Field(min_length=1, max_length=20)]


class Deduction(Part):
    """Held back from each delivery by a rule that growers have seen: of the value, or by weight."""

    name: Annotated[str, Field(min_length=1, max_length=40)]
    percent: Annotated[float, Field(ge=0, le=50)] | None = None
    per_kg: Annotated[float, Field(ge=0, le=1e6)] | None = None

    @model_validator(mode="after")
    def _one(self) -> Self:
        if (self.percent is None) == (self.per_kg is None):
            raise ValueError(say("deduction '{name}' needs either percent or per_kg", name=self.name))
        return self


class Money(Part):
    """Currency, what a kilogram of ripe fruit is paid, and the published rules about it."""

    currency: Annotated[str, Field(pattern=r"^[A-Z]{3}$")]
    decimals: Annotated[int, Field(ge=0, le=3)]
    cherry_price_per_kg: dict[SpeciesName, Annotated[float, Field(gt=0, le=1e9)]]
    classes: tuple[FruitClass, ...] = ()
    deductions: tuple[Deduction, ...] = ()

    @model_validator(mode="after")
    def _whole_coins(self) -> Self:
        for name, price in self.cherry_price_per_kg.items():
            coins = price * 10**self.decimals
            if abs(coins - round(coins)) > 1e-6:
                raise ValueError(
                    say(
                        "the price of {name}, {price:g}, has more digits than money.decimals allows",
                        name=name,
                        price=price,
                    )
                )
        for names in ([c.name for c in self.classes], [d.name for d in self.deductions]):
            if len(set(names)) < len(names):
                raise ValueError("a class or deduction stands twice")
        return self

    def coins(self, amount: float | Decimal) -> int:
        """An amount of this currency in its smallest coin, half to even."""
        exact = Decimal(str(amount)) * 10**self.decimals
        return int(exact.to_integral_value(ROUND_HALF_EVEN))

    def exact_coins(self, amount: Decimal) -> int:
        """An amount that someone typed; refused when it has more digits than the currency has coins."""
        exact = amount * 10**self.decimals
        if exact != exact.to_integral_value():
            raise InputError(
                say(
                    "{amount} has more digits after the point than {currency} has ({decimals}).",
                    amount=amount,
                    currency=self.currency,
                    decimals=self.decimals,
                ),
                "amount",
            )
        return int(exact)

    def fruit_class(self, ripe_percent: float | None) -> FruitClass | None:
        """The best class the counted ripeness reaches; none without a count or without classes."""
        if ripe_percent is None:
            return None
        reached = [c for c in self.classes if ripe_percent >= c.ripe_from_percent]
        return max(reached, key=lambda c: c.ripe_from_percent, default=None)

    def price_coins(self, species: str, ripe_percent: float | None) -> int:
        """Price per kg of fruit in the smallest coin, by class where one is reached."""
        base = Decimal(str(self.cherry_price_per_kg[species]))
        found = self.fruit_class(ripe_percent)
        return self.coins(base * Decimal(str(found.price_percent)) / 100 if found else base)

    def value_coins(self, net_g: int, price_coins: int) -> int:
        """What fruit is worth before deductions, whole smallest coins."""
        return to_minor(Decimal(net_g) * price_coins / 1000, 0)

    def held_back(self, net_g: int, value_coins: int) -> tuple[tuple[str, int], ...]:
        """Each deduction from a delivery, in the smallest coin."""
        return tuple((d.name, self._deducted(d, net_g, value_coins)) for d in self.deductions)

    def _deducted(self, rule: Deduction, net_g: int, value_coins: int) -> int:
        if rule.percent is not None:
            exact = Decimal(value_coins) * Decimal(str(rule.percent)) / 100
            return int(exact.to_integral_value(ROUND_HALF_EVEN))
        return self.coins(Decimal(net_g) / 1000 * Decimal(str(rule.per_kg)))


class Container(Part):
    """A tin, crate or bag the growers bring fruit in: what it holds and what it weighs empty."""

    name: Annotated[str, Field(min_length=1, max_length=40)]
    litres: Annotated[float, Field(gt=0, le=2000)]
    tare_kg: Annotated[float, Field(ge=0, le=200)]

    @property
    def tare_g(self) -> int:
        """What one of them weighs empty, g."""
        return round(self.tare_kg * 1000)


class Scale(Part):
    """A scale on a serial port: how its frames look. Only whole frames that say stable are taken.

    `pattern` is a regular expression for one frame, with groups `value`, and where the scale
    tells them `stable` and `unit` (kg or g); `stable_mark` is what `stable` must then read.
    """

    port: Annotated[str, Field(min_length=1, max_length=120)]
    baud: Annotated[int, Field(ge=300, le=1_000_000)]
    pattern: Annotated[str, Field(min_length=1, max_length=200)]
    stable_mark: Annotated[str, Field(max_length=20)] = ""

    @model_validator(mode="after")
    def _groups(self) -> Self:
        try:
            groups = re.compile(self.pattern).groupindex
        except re.error as error:
            raise ValueError(
                say("scale pattern is not a regular expression: {error}", error=error)
            ) from error
        if "value" not in groups:
            raise ValueError("scale pattern needs a group (?P<value>...)")
        if ("stable" in groups) != bool(self.stable_mark):
            raise ValueError("scale needs a group (?P<stable>...) and a stable_mark, both or neither")
        return self


class Gate(Part):
    """How fruit is taken in and which deliveries share a lot."""

    containers: tuple[Container, ...] = ()
    lots_apart_by: Literal["class", "village"] | None = None
    lot_max_kg: Annotated[float, Field(gt=0, le=1e6)] | None = None
    scale: Scale | None = None

    @model_validator(mode="after")
    def _once(self) -> Self:
        names = [c.name for c in self.containers]
        if len(set(names)) < len(names):
            raise ValueError("a container stands twice")
        return self

    def counted(self, name: str, count: float | None, typed: bool) -> tuple[Container | None, int]:
        """The container that counts, and how many: one where no number was said.

        None where an empty weight was typed and no number: then the container was only shown.
        """
        tin = None if typed and not count else self.container(name)
        return tin, 1 if count is None else round(count)

    def container(self, name: str) -> Container | None:
        """A container by name."""
        return next((c for c in self.containers if c.name == name), None)


class Measured(Part):
    """What the station has measured of its own losses and water; absent rows are assumed."""

    float_share: Share | None = None
    pulper_loss_share: Share | None = None
    huller_loss_share: Share | None = None
    husking_loss_share: Share | None = None
    pulp_water_l_kg_cherry: Annotated[float, Field(ge=0, le=40)] | None = None
    wash_water_l_kg_parchment: Annotated[float, Field(ge=0, le=100)] | None = None


class Wet(Part):
    """Water the wet side may draw and let out in a day, ponds and the place for pulp; absent: not told.

    what may be let out is the station's own permit: local law says what and where.
    """

    supply_l_day: Annotated[float, Field(gt=0, le=1e8)] | None = None
    may_let_out_l_day: Annotated[float, Field(gt=0, le=1e8)] | None = None
    ponds_l: Annotated[float, Field(gt=0, le=1e9)] | None = None
    pulp_heap_kg: Annotated[float, Field(gt=0, le=1e7)] | None = None


class Crop(Part):
    """The fruit that was expected of this season, as it was said before it began."""

    fruit_kg: Annotated[float, Field(gt=0, le=1e9)]
    begins: date
    ends: date

    @model_validator(mode="after")
    def _order(self) -> Self:
        days = (self.ends - self.begins).days
        if not 7 <= days <= 365:
            raise ValueError(say("crop must end 7 to 365 days after it begins, got {d}", d=days))
        return self
