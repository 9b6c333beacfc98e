"""Money of seasons: what was bought, spread over its life, work, fuel, fruit, and what the green brings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from drydown.figures import Source, Status
from drydown.season.design import Design
from drydown.season.kinds import kind_of
from drydown.season.outcome import Outcome, rows_of
from drydown.season.simulate import TAIL_DAYS, Seasons
from drydown.station.building import Build
from drydown.steps.dry.fuel import BURNER_BAND, fuel
from drydown.words import say

__all__ = ["CAPITAL_SOURCE", "Costs", "costs_of", "once_of", "yearly"]

Array = NDArray[np.float64]
CAPITAL_SOURCE = Source("capital recovery i/(1 - (1 + i)^-n), an annuity", Status.DERIVED)


@dataclass(frozen=True, slots=True)
class Costs:
    """Money of each season [currency], (season,) where it varies: once, what is bought; capital, its yearly
    share and upkeep; wages, fuel, fruit; income, what the green brings after what was lost; lost, worth that
    was lost; dips, the most that is out at once; per_kg, all costs over the green; unknown, what no price is
    stated for."""

    once: float
    capital: float
    wages: Array
    fuel: Array
    fruit: Array
    income: Array
    lost: Array
    dips: Array
    per_kg: Array
    unknown: tuple[str, ...]

    @property
    def yearly(self) -> Array:
        """What a design is judged by: capital, wages, fuel, and what is lost."""
        return np.asarray(self.capital + self.wages + self.fuel + self.lost)

    @property
    def left(self) -> Array:
        """What is left of the green's price."""
        return np.asarray(self.income - self.capital - self.wages - self.fuel - self.fruit)


def yearly(price: float, life_years: float, interest: float) -> float:
    """A price as an even sum each year of its life.

    Equation: p i/(1 - (1 + i)^-n); p/n without interest. Args: price; life_years [years]; interest
    [fraction a year]. Returns: [currency a year]. Valid range: life above 0. Source: an annuity.

    >>> round(yearly(1000.0, 10.0, 0.10), 2)
    162.75
    """
    return (
        price / life_years if interest == 0.0 else price * interest / (1.0 - (1.0 + interest) ** -life_years)
    )


def once_of(build: Build, counts: Mapping[str, int]) -> tuple[float, float]:
    """What counts of options cost at once, and each year with upkeep [currency]."""
    prices = {o.kind: o.price for o in build.options}
    interest, upkeep = build.interest_percent / 100.0, build.upkeep_percent / 100.0
    once = sum(prices[k] * n for k, n in counts.items())
    each = sum(n * yearly(prices[k], kind_of(k).life_years, interest) for k, n in counts.items())
    return once, each + upkeep * once


def costs_of(
    design: Design, build: Build | None, counts: Mapping[str, int], units: Sequence[Seasons], outcome: Outcome
) -> Costs:
    """Money of seasons.

    Args: design; build, prices and interest, None where nothing is bought; counts of options; units and their
    outcome. Returns: `Costs`; what no price is stated for is 0 and named in `unknown`. Valid range: any.
    Source: prices as the station states them; `CAPITAL_SOURCE`.
    """
    once, capital = (0.0, 0.0) if build is None else once_of(build, counts)
    work = design.station.work
    unknown: list[str] = []
    wage = work.wage_per_h or 0.0
    if work.wage_per_h is None:
        unknown.append(say("wages"))
    prices = {k: work.green_price(*k) for k in design.chains}
    unknown += [
        say("green price of {s}, {r}", s=s, r=r.replace("_", " "))
        for (s, r), p in prices.items()
        if p is None
    ]
    price = {k: p or 0.0 for k, p in prices.items()}
    mj = _fuel_price(design, build, unknown)
    fuels = outcome.each["burner_mj"] * mj
    wages = outcome.each["people_h"] * wage
    paid_after = 0.0 if build is None else build.days_until_paid
    sums = np.array([
        _trade(design, unit, s, price, wage, paid_after) for unit in units for s in range(len(unit.lots))
    ])  # fmt: skip
    fruit, income, lost, dips = sums.T
    green = np.maximum(outcome.each["green_kg"], 1e-9)
    per_kg = (capital + wages + fuels + fruit) / green
    return Costs(once, capital, wages, fuels, fruit, income, lost, dips, per_kg, tuple(unknown))


def _fuel_price(design: Design, build: Build | None, unknown: list[str]) -> float:
    """Money for a megajoule that the air takes up."""
    dryers = design.station.equipment.dryers
    if not dryers:
        return 0.0
    named = next((d.fuel for d in dryers if d.fuel), None)
    if build is None or build.fuel_price_per_kg is None or named is None:
        unknown.append(say("fuel"))
        return 0.0
    share = next((d.burner_percent / 100.0 for d in dryers if d.burner_percent), BURNER_BAND[1])
    return build.fuel_price_per_kg / (fuel(named).mj_kg * share)


def _trade(
    design: Design,
    unit: Seasons,
    s: int,
    price: Mapping[tuple[str, str], float],
    wage: float,
    paid_after: float,
) -> tuple[float, float, float, float]:
    """Fruit paid, income, worth lost, and the deepest that cash goes in one season."""
    money = design.station.money
    lots, last = unit.lots[s], 24.0 * (unit.harvest.days + TAIL_DAYS)
    kept = rows_of(lots, design, last).kept
    days = unit.harvest.days + TAIL_DAYS + int(np.ceil(paid_after)) + 2
    cash, fruit, income, lost = np.zeros(days), 0.0, 0.0, 0.0
    for lot, share in zip(lots, kept, strict=True):
        chain = design.chains[lot.species, lot.route]
        paid = (lot.kg + lot.floaters_kg) * money.cherry_price_per_kg[lot.species]
        worth = lot.kg * chain.green_kg * price[lot.species, lot.route]
        fruit, income, lost = fruit + paid, income + worth * share, lost + worth * (1.0 - share)
        cash[lot.day] -= paid + wage * chain.people_h * lot.kg
        out = lot.hulled if lot.hulled == lot.hulled else lot.stored if lot.stored == lot.stored else last
        cash[min(int(out // 24 + paid_after), days - 1)] += worth * share
    return fruit, income, lost, float(max(-np.cumsum(cash).min(), 0.0))
