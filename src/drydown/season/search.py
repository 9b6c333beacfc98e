"""The cheapest design that holds: counts of things, shares of routes and how thin coffee lies, over the same
harvests and the same weather, bad designs given up early.

Each design is judged on units of the same seasons (common random numbers); after each unit those that do
worst
are given up (successive halving). The optimiser is a kept library's, seeded.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping, MutableMapping
from dataclasses import dataclass
from itertools import product
from typing import TYPE_CHECKING, Any

import numpy as np

from drydown.air.series import HourlyWeather
from drydown.errors import InputError
from drydown.fingerprint import MODEL, fingerprint
from drydown.season.harvest import Harvest
from drydown.season.kinds import kind_of
from drydown.season.simulate import UNIT, Weather
from drydown.season.study import Study, levels, mix_of, study
from drydown.station.building import Build
from drydown.station.model import Station
from drydown.words import say

if TYPE_CHECKING:
    import optuna

__all__ = ["Found", "Judged", "Tried", "choices_of", "mixed", "search", "stamp_of", "thinned"]

THIN = (0.7, 1.0)
"""Loads over the station's own that are tried."""
SHARES = (0.0, 0.5, 1.0)
"""Shares of a species' first route that are tried where it has two or more."""
SHORT = 10.0
"""What a service level that is missed by all costs, over the yearly money of what is there (own choice)."""


@dataclass(frozen=True, slots=True)
class Tried:
    """A design that was tried: its choices, yearly money [currency] in the mean, how far it misses the stated
    levels [fraction, 0 where it holds them], seasons it was judged on."""

    choices: Mapping[str, float]
    yearly: float
    short: float
    seasons: int

    @property
    def holds(self) -> bool:
        """Whether it holds every stated level, in the mean of its seasons."""
        return self.short <= 0.0

    def same(self, other: Tried) -> bool:
        """Whether it is the same design, on however many seasons."""
        return dict(self.choices) == dict(other.choices)


@dataclass(frozen=True, slots=True)
class Found:
    """What a search came to: all that was tried, best first, and the designs to look at side by side (as
    it is,
    and the best three of the trade-off between money and service)."""

    tried: tuple[Tried, ...]
    best: Tried
    beside: tuple[Tried, ...]
    holds: bool

    def front(self) -> list[Tried]:
        """Designs that no other beats in both, money and service; cheapest first."""
        whole = sorted((t for t in self.tried), key=lambda t: (t.yearly, t.short))
        kept: list[Tried] = []
        for one in whole:
            if not kept or one.short < kept[-1].short - 1e-9:
                kept.append(one)
        return kept


def choices_of(station: Station) -> dict[str, tuple[float, ...]]:
    """What a search may choose: counts of each option, the share of each species' first route, the load.

    Args: station with [build]. Returns: values by name. Raises `InputError` without one. Valid range: any.
    Source: the station file.
    """
    build = _build(station)
    found: dict[str, tuple[float, ...]] = {}
    for option in build.options:
        kind_of(option.kind)
        if option.most == 0:
            continue
        found[option.kind] = tuple(float(n) for n in range(option.most + 1))
    for species, routes in mix_of(station).items():
        if len(routes) >= 2:
            found[f"route:{species}"] = SHARES
    found["thin"] = THIN
    return found


def _build(station: Station) -> Build:
    if station.build is None:
        raise InputError(
            "what may be built, and at what price, is not stated.", "station file", "Add [build]."
        )
    return station.build


def thinned(station: Station, share: float) -> Station:
    """The station with its loads times a share; never below 2 kg/m2."""
    forms = {
        k: v.model_copy(update={"load_kg_m2": max(v.load_kg_m2 * share, 2.0)})
        for k, v in station.drying.items()
    }
    return station.model_copy(update={"drying": forms})


def mixed(station: Station, choices: Mapping[str, float]) -> dict[str, tuple[tuple[str, float], ...]]:
    """Routes of each species by a design's choices: the first route's share, the others in proportion."""
    found = dict(mix_of(station))
    for name, share in choices.items():
        species = name.removeprefix("route:")
        if species == name or species not in found:
            continue
        first, *rest = found[species]
        others = sum(s for _r, s in rest)
        parts = [(first[0], share), *((r, (1.0 - share) * s / others) for r, s in rest)]
        found[species] = tuple((r, s) for r, s in parts if s > 0.0)
    return found


def run(
    station: Station, weather: Weather, harvest: Harvest, choices: Mapping[str, float], seasons: int,
    seed: int,
    threads: int = 2, first: int = 0,
) -> Study:  # fmt: skip
    """A design by its choices, simulated. Args and Source: as `study`. Returns: `Study`. Valid range:
    choices of
    `choices_of`."""
    counts = {k: round(v) for k, v in choices.items() if k != "thin" and not k.startswith("route:") and v}
    here = thinned(station, choices.get("thin", 1.0))
    return study(here, weather, harvest, counts, seasons, seed, threads, first, mix=mixed(station, choices))


Judged = tuple[int, float, float, float]
"""A unit of a design's seasons: how many, yearly money, days with fresh fruit, lots past the mould rule,
in the
mean."""


def _judged(station: Station, units: list[Judged]) -> tuple[float, float]:
    """Yearly money in the mean, and how far the levels are missed in the mean."""
    fresh, mould = levels(_build(station))
    count = np.array([u[0] for u in units], dtype=float)
    money, days, past = (float(np.average([u[k] for u in units], weights=count)) for k in (1, 2, 3))
    return money, max(fresh - days, 0.0) + max(past - mould, 0.0)


def _unit(made: Study) -> Judged:
    """What a unit that was simulated comes to."""
    each = made.outcome.each
    return (
        made.outcome.seasons,
        float(made.costs.yearly.mean()),
        float(each["fresh_days"].mean()),
        float(each["mould_lots"].mean()),
    )


def _name(how: _How, choices: Mapping[str, float], first: int) -> str:
    """What a unit is kept by: all it is made of."""
    count = min(UNIT, how.seasons - first)
    made_of = repr((how.stamp, sorted(choices.items()), first, count, how.seed))
    return "design-" + hashlib.sha256(made_of.encode()).hexdigest()[:32]


def _unit_of(how: _How, choices: Mapping[str, float], first: int) -> Judged:
    """A unit of a design's seasons; what was kept is not simulated anew."""
    key, count = _name(how, choices, first), min(UNIT, how.seasons - first)
    if (found := how.kept.get(key)) is not None:
        return found
    judged = _unit(run(how.station, how.weather, how.harvest, choices, count, how.seed, how.threads, first))
    how.kept[key] = judged
    return judged


@dataclass(frozen=True, slots=True)
class _How:
    """What a search is made of; kept, units that were judged before, by name; stamp, of all they depend
    on."""

    station: Station
    weather: Weather
    harvest: Harvest
    seasons: int
    seed: int
    threads: int
    kept: MutableMapping[str, Judged]
    stamp: str


def search(
    station: Station, weather: Weather, harvest: Harvest, tries: int = 40, seasons: int = 100, seed: int = 1,
    threads: int = 2, tell: Callable[[int, Tried | None], None] | None = None, grid: bool = False,
    kept: MutableMapping[str, Judged] | None = None,
) -> Found:  # fmt: skip
    """Search the cheapest design that holds the stated levels.

    Args: station with [build]; weather; harvest; tries, designs looked at; seasons each is judged on at most;
    seed; threads; tell, is handed the number of designs done and the last; grid, every combination in place
    of a search; kept, any mapping: what is in it is not simulated anew, so that a search that was stopped
    goes on. Returns: `Found`; where none holds the levels, the one that misses them least. Raises
    `InputError` where prices are missing. Valid range: 2 to 2000 tries. Source: tree-structured Parzen
    estimator (Bergstra 2011) and successive halving (Jamieson and Talwalkar 2016) of the library optuna.
    """
    import optuna  # noqa: PLC0415 (heavy; only a search needs it)

    optuna.logging.set_verbosity(optuna.logging.ERROR)
    space = choices_of(station)
    plain = _as_it_is(station, space)
    if not 2 <= tries <= 2000:
        raise InputError("must be from 2 to 2000.", "tries")
    first = run(station, weather, harvest, plain, min(UNIT, seasons), seed, threads)
    if first.costs.unknown:
        raise InputError(
            say("no price is stated for {what}.", what=", ".join(first.costs.unknown)), "station file",
            "A search weighs money: state it.",
        )  # fmt: skip
    stamp = stamp_of(station, weather, harvest)
    how = _How(station, weather, harvest, seasons, seed, threads, {} if kept is None else kept, stamp)
    how.kept[_name(how, plain, 0)] = _unit(first)
    scale = max(abs(float(first.costs.income.mean())), 1.0)
    done: dict[int, Tried] = {}

    def one(trial: optuna.Trial) -> float:
        choices = {k: float(trial.suggest_categorical(k, list(v))) for k, v in space.items()}
        value = _race(trial, how, choices, scale, done)
        if tell is not None:
            tell(len(done), done.get(trial.number))
        return value

    sampler: Any = optuna.samplers.TPESampler(seed=seed, n_startup_trials=min(10, tries // 2))
    if grid:
        sampler = optuna.samplers.GridSampler({k: list(v) for k, v in space.items()}, seed=seed)
        tries = len(list(product(*space.values())))
    pruner = optuna.pruners.SuccessiveHalvingPruner(min_resource=1, reduction_factor=2)
    made = optuna.create_study(sampler=sampler, pruner=pruner)
    if not grid:
        made.enqueue_trial(plain)
    made.optimize(one, n_trials=tries)
    return _ordered(list(done.values()), plain)


def stamp_of(station: Station, weather: Weather, harvest: Harvest | None) -> str:
    """Hash of all that decides what a design comes to, but the design; harvest None where it is stated
    apart."""
    air = weather.digest() if isinstance(weather, HourlyWeather) else repr(weather)
    model = fingerprint(*MODEL, "way", "season")
    return hashlib.sha256(f"{model}{station.model_dump_json()}{air}{harvest!r}".encode()).hexdigest()


def _as_it_is(station: Station, space: Mapping[str, tuple[float, ...]]) -> dict[str, float]:
    """Nothing bought, loads and routes as stated, as near as the choices allow."""
    own = mix_of(station)
    found = {}
    for name, values in space.items():
        wanted = 1.0 if name == "thin" else 0.0
        if name.startswith("route:"):
            wanted = own[name.removeprefix("route:")][0][1]
        found[name] = min(values, key=lambda v: abs(v - wanted))
    return found


def _race(
    trial: optuna.Trial, how: _How, choices: dict[str, float], scale: float, done: dict[int, Tried]
) -> float:
    """Unit by unit; given up where it is among the worst so far."""
    import optuna  # noqa: PLC0415

    parts: list[Judged] = []
    value = np.inf
    for step, first in enumerate(range(0, how.seasons, UNIT)):
        try:
            parts.append(_unit_of(how, choices, first))
        except InputError:  # a route without its pulper or tank
            raise optuna.TrialPruned from None
        money, short = _judged(how.station, parts)
        seen = sum(p[0] for p in parts)
        done[trial.number] = Tried(choices, money, short, seen)
        value = money + SHORT * scale * short
        trial.report(value, step)
        if seen < how.seasons and trial.should_prune():
            raise optuna.TrialPruned
    return value


def _ordered(tried: list[Tried], plain: Mapping[str, float]) -> Found:
    """Best first; those that were judged on most seasons decide."""
    most = max(t.seasons for t in tried)
    whole = sorted((t for t in tried if t.seasons == most), key=lambda t: (t.short, t.yearly))
    holding = [t for t in whole if t.holds]
    best = min(holding, key=lambda t: t.yearly) if holding else whole[0]
    rest = [t for t in tried if t.seasons < most]
    made = Found((*whole, *sorted(rest, key=lambda t: (t.short, t.yearly))), best, (), bool(holding))
    as_is = [t for t in tried if dict(t.choices) == dict(plain)]
    front = [t for t in Found(tuple(whole), best, (), bool(holding)).front() if t is not best]
    beside: list[Tried] = []
    for one in (*as_is, best, *front):
        if not any(one.same(x) for x in beside):
            beside.append(one)
    if best not in beside[:4]:
        beside.insert(1, best)
    return Found(made.tried, best, tuple(beside[:4]), bool(holding))
