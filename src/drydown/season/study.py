"""A study of one station: from its file to simulated seasons and what is told of them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
from numpy.typing import NDArray

from drydown.air.normals import MonthNormals
from drydown.air.series import HourlyWeather
from drydown.errors import InputError
from drydown.figures import Band, Figure, Source, Status
from drydown.season.costs import CAPITAL_SOURCE, Costs, costs_of
from drydown.season.design import Design, Hours, design_of
from drydown.season.harvest import HARVEST_SOURCE, Harvest
from drydown.season.kinds import with_bought
from drydown.season.outcome import CAUSES, Outcome, outcome_of
from drydown.season.simulate import Seasons, Weather, simulate
from drydown.station.building import Build
from drydown.station.model import Station
from drydown.station.work import DAYS
from drydown.way.waiting import WAIT_SOURCE
from drydown.words import say

__all__ = ["Change", "Study", "changed", "figures_of", "harvest_of", "hours_of", "study"]

Array = NDArray[np.float64]
ENGINE = Source("the drying engine, lot by lot and hour by hour (docs/drying.md)", Status.DERIVED)
YARD = Source("the steps of a lot (docs/season.md); people, machines and places as stated", Status.DERIVED)


@dataclass(frozen=True, slots=True)
class Change:
    """What is asked "and if": warmer [C]; rain, crop, peak, price, over what is stated; peak narrows the
    harvest curve."""

    warmer_c: float = 0.0
    rain: float = 1.0
    crop: float = 1.0
    peak: float = 1.0
    price: float = 1.0


@dataclass(frozen=True, slots=True)
class Study:
    """A design, its seasons, and what came of them."""

    design: Design
    counts: Mapping[str, int]
    units: tuple[Seasons, ...]
    outcome: Outcome
    costs: Costs
    fresh_h: float


def harvest_of(station: Station, begins: date | None = None) -> Harvest:
    """The harvest as the station file states it; refused in a sentence where it does not.

    Args: station; begins, another first day. Returns: `Harvest`. Valid range: any station with [crop] and
    [season]. Source: the station file; spreads by `HARVEST_SOURCE`.
    """
    if station.crop is None:
        raise InputError("the crop that is expected is not stated.", "station file", "Add [crop].")
    if station.season is None:
        raise InputError("how fruit comes over a season is not stated.", "station file", "Add [season].")
    habits, crop = station.season, station.crop
    missing = [s for s in habits.species_percent if s not in station.species]
    if missing:
        raise InputError(say("'{s}' is not taken in here.", s=missing[0]), "season.species_percent")
    days = (crop.ends - crop.begins).days + 1
    if days > 330:
        raise InputError(
            "a season of more than 330 days cannot be simulated.", "crop", "State its main part."
        )
    on = len(habits.delivery_days)
    week = tuple(7.0 / on if d in habits.delivery_days else 0.0 for d in DAYS)
    species = tuple((s, p / 100.0) for s, p in habits.species_percent.items() if p > 0.0)
    return Harvest(
        crop.fruit_kg, begins or crop.begins, days, species, week, bad_chance=habits.bad_year_percent / 100.0,
        bad_share=habits.bad_year_brings_percent / 100.0,
    )  # fmt: skip


def hours_of(station: Station) -> Hours:
    """The gate's hours and breakdowns as the station file states them."""
    if station.season is None:
        raise InputError("how fruit comes over a season is not stated.", "station file", "Add [season].")
    h = station.season
    return Hours(
        h.gate_from_h, h.gate_until_h, h.hours_from_tree, h.delivery_minutes or 0.0, h.delivery_kg or 40.0,
        h.pulper_hours_between_breakdowns or 0.0, h.pulper_hours_to_mend or 0.0,
    )  # fmt: skip


def mix_of(station: Station) -> dict[str, tuple[tuple[str, float], ...]]:
    """Routes of each species as the station file states them."""
    if station.season is None:
        return {}
    return {
        s: tuple((r, p / 100.0) for r, p in routes.items() if p > 0.0)
        for s, routes in station.season.route_percent.items()
    }


def changed(
    station: Station, weather: Weather, harvest: Harvest, change: Change
) -> tuple[Station, Weather, Harvest]:
    """Station, weather and harvest as they would be.

    Args: station; weather; harvest; change. Returns: the three. Raises `InputError` for own years of weather,
    which are not bent. Valid range: warmer by up to 5 C, factors of 0.3 to 3. Source: normals moved, their
    humidity kept (own choice).
    """
    if not (
        abs(change.warmer_c) <= 5.0
        and all(0.3 <= x <= 3.0 for x in (change.rain, change.crop, change.peak, change.price))
    ):
        raise InputError("must be up to 5 C, and factors from 0.3 to 3.", "the change")
    harvest = replace(harvest, fruit_kg=harvest.fruit_kg * change.crop, width=harvest.width * change.peak)
    if (change.warmer_c, change.rain) != (0.0, 1.0):
        if isinstance(weather, HourlyWeather):
            raise InputError("own years of weather are not bent.", "the change", "State monthly normals.")
        weather = tuple(_bent(m, change) for m in weather)
    if change.price != 1.0:
        prices = tuple(
            p.model_copy(update={"per_kg": p.per_kg * change.price}) for p in station.work.green_prices
        )
        station = station.model_copy(
            update={"work": station.work.model_copy(update={"green_prices": prices})}
        )
    return station, weather, harvest


def _bent(month: MonthNormals, change: Change) -> MonthNormals:
    days = min(month.rain_days * change.rain**0.5, 31.0)
    return replace(
        month, tmax_c=month.tmax_c + change.warmer_c, tmin_c=month.tmin_c + change.warmer_c,
        rain_mm=month.rain_mm * change.rain, rain_days=days,
    )  # fmt: skip


def study(
    station: Station, weather: Weather, harvest: Harvest, counts: Mapping[str, int] | None = None,
    seasons: int = 100, seed: int = 1, threads: int = 2, first: int = 0,
    tell: Callable[[int], None] | None = None, mix: Mapping[str, tuple[tuple[str, float], ...]] | None = None,
) -> Study:  # fmt: skip
    """Simulate a station, with so many more things, over seasons.

    Args: station; weather; harvest; counts of what is bought, by kind; seasons, seed, threads, first, tell as
    `simulate`; mix, other shares of routes than stated. Returns: `Study`. Raises `InputError` for a station
    that does not state what is needed. Valid range: as `simulate`. Source: as `simulate`.
    """
    build = station.build
    if counts and build is None:
        raise InputError("nothing may be bought: [build] is not stated.", "station file")
    options = {} if build is None else {o.kind: o for o in build.options}
    bought = with_bought(station, options, counts or {})
    design = design_of(bought, hours_of(station), mix or mix_of(station))
    units = simulate(design, weather, harvest, seasons, seed, threads, tell, first)
    fresh = 12.0 if build is None else build.fresh_hours
    outcome = outcome_of(design, units, fresh)
    return Study(
        design,
        counts or {},
        tuple(units),
        outcome,
        costs_of(design, build, counts or {}, units, outcome),
        fresh,
    )


def figures_of(found: Study, currency: str = "") -> dict[str, Figure]:
    """What came of a study, P10 to P90 over its seasons.

    Args: found; currency. Returns: figures by name. Valid range: any study. Source: each with its own.
    """
    each, costs = found.outcome.each, found.costs
    told = {"seasons": str(found.outcome.seasons), "lots a season": f"{each['lots'].mean():.0f}"}
    h = found.fresh_h
    rows: list[tuple[str, Array, str, float, str, Source]] = [
        ("fruit", each["fruit_kg"], "kg", 1.0, say("fruit of a season"), HARVEST_SOURCE),
        ("peak_day", each["peak_day_kg"], "kg", 1.0, say("fruit of its largest day"), HARVEST_SOURCE),
        ("in_time", each["in_time"], "%", 100.0, say("fruit pulped or spread within {h:g} h", h=h), YARD),
        ("days_all_fresh", each["fresh_days"], "%", 100.0, say("days without fruit over {h:g} h", h=h), YARD),
        ("mould_lots", each["mould_lots"], "%", 100.0, say("lots over 5 days in the mould window"), ENGINE),
        ("days", each["dry_days"], "days", 1.0, say("days on the beds, a season's middle lot"), ENGINE),
        ("lost", each["lost_share"], "%", 100.0, say("share of the green's worth that was lost"),
        WAIT_SOURCE),
        ("green", each["green_kg"], "kg", 1.0, say("green coffee"), YARD),
        ("area_used", each["area_used"], "%", 100.0, say("area in use on the fullest day"), YARD),
        ("days_without_room", each["full_days"], "days", 1.0, say("days a lot waited over 12 h"), YARD),
        ("water_day", each["water_day_l"], "L", 1.0, say("water drawn on the thirstiest day"), YARD),
        ("effluent_day", each["effluent_day_l"], "L", 1.0, say("let out on that with most"), YARD),
        ("water", each["water_l"], "L", 1.0, say("water of a season"), YARD),
        ("people", each["people_h"], "h", 1.0, say("hours of work"), YARD),
        ("store", each["store_kg"], "kg", 1.0, say("dry coffee in the store on its fullest day"), YARD),
    ]  # fmt: skip
    if not costs.unknown:
        money: list[tuple[str, Array, str]] = [
            ("yearly_cost", costs.yearly, say("bought things and upkeep, wages, fuel, and worth lost")),
            ("lost_worth", costs.lost, say("worth of green that was lost")),
            ("left", costs.left, say("price of the green less fruit, wages, fuel, bought things")),
            ("working_capital", costs.dips, say("most that is paid out before it comes back")),
        ]
        rows += [(k, v, currency, 1.0, rule, CAPITAL_SOURCE) for k, v, rule in money]
        rows.append(
            (
                "cost_per_kg_green",
                costs.per_kg,
                f"{currency}/kg",
                1.0,
                say("all costs over the green"),
                CAPITAL_SOURCE,
            )
        )
    return {k: _figure(v * scale, unit, rule, told, source) for k, v, unit, scale, rule, source in rows}


def _figure(values: Array, unit: str, rule: str, told: dict[str, str], source: Source) -> Figure:
    known = values[np.isfinite(values)]
    low, middle, high = np.percentile(known, (10, 50, 90)) if known.size else (0.0, 0.0, 0.0)
    return Figure(float(middle), unit, float(low), float(high), Band.P10_P90, rule, told, (source,))


def causes_of(found: Study) -> dict[str, Figure]:
    """Kilograms of fruit a season whose lot lost by each cause, P10 to P90."""
    told = {"seasons": str(found.outcome.seasons)}
    return {
        cause: _figure(
            found.outcome.lost_kg[:, k],
            "kg",
            say("fruit of lots that lost 2 % of their worth and more by it"),
            told,
            WAIT_SOURCE,
        )
        for k, cause in enumerate(CAUSES)
    }


def levels(build: Build) -> tuple[float, float]:
    """Service levels as shares: days with fresh fruit at least, lots past the mould rule at most."""
    return build.fresh_days_percent / 100.0, build.mould_lots_percent / 100.0
