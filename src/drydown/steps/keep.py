"""Keeping dry coffee: what it is kept in, the air of its store, its drift, and dew inside a sealed lot."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray

from drydown.air.moist import dew_point_c, rh_from_vapour_pressure, vapour_pressure_pa
from drydown.errors import InputError, RangeError
from drydown.figures import Source, Status
from drydown.matter.sorption import emc_db, erh
from drydown.words import say

__all__ = ["WALL_SOURCE", "Bag", "bag", "bag_names", "drift_db", "store_air", "sweats_below_c"]

Array = NDArray[np.float64]
WALL_SOURCE = Source(
    "air of a store follows outdoor air through its walls in 12 to 72 h, and its vapour in 6 to 36 h (own "
    "estimate); coffee itself holds it steadier",
    Status.OWN_ESTIMATE,
)
LOWEST_RH, HIGHEST_RH = 0.10, 0.97


@dataclass(frozen=True, slots=True)
class Bag:
    """What coffee is kept in: name, whether it is sealed, time constant [day] low, middle, high."""

    name: str
    sealed: bool
    days: tuple[float, float, float]
    source: Source

    def draw(self, rng: np.random.Generator, members: int) -> Array:
        """Time constants of a kind of bag.

        Args: rng; members. Returns: (member,) [day], log-normal, P5 and P95 at low and high about the middle.
        Source: the bag's own.
        """
        low, middle, high = np.log(self.days)
        z = rng.standard_normal(members)
        return np.asarray(np.exp(middle + np.where(z < 0.0, middle - low, high - middle) / 1.645 * z))


@cache
def _bags() -> dict[str, Bag]:
    text = files("drydown.steps").joinpath("bags.toml").read_text(encoding="utf-8")
    found = {}
    for name, row in tomllib.loads(text)["bags"].items():
        low, middle, high = row["days"]
        source = Source(row["source"], Status(row["status"]))
        found[name] = Bag(name, row["sealed"], (low, middle, high), source)
    return found


def bag_names() -> list[str]:
    """Names of all kinds of bag.

    Args: none. Returns: names [text]. Valid range: none. Source: `bags.toml`.

    >>> bag_names()[0]
    'jute'
    """
    return list(_bags())


def bag(name: str) -> Bag:
    """A kind of bag by name.

    Args: name [text]. Returns: `Bag`, its time constants in [day]. Valid range: `bag_names`; else
    `InputError`. Source: `bags.toml`.

    >>> bag("hermetic bag").sealed
    True
    """
    if name not in _bags():
        raise InputError(say("'{name}' is not one of {names}.", name=name, names=", ".join(_bags())), "bag")
    return _bags()[name]


def store_air(temp_c: Array, rh: Array, walls_h: Array, vapour_h: Array) -> tuple[Array, Array]:
    """Air inside a store from the air outside, both by the hour.

    Equation: x_in' = (x_out - x_in)/tau for temperature and for vapour pressure, exact over each hour, from
    the mean of the first day; rh from both, held between 0.10 and 0.97.
    Args: temp_c, rh (member, hour) [C], [fraction]; walls_h, vapour_h (member,) [h], above 0.
    Returns: temp_c, rh inside (member, hour).
    Valid range: outdoor air of -20 to 60 C. Source: first-order lag; constants by `WALL_SOURCE`.

    >>> still, tau = np.full((1, 24), 20.0), np.array([24.0])
    >>> round(float(store_air(still, np.full((1, 24), 0.6), tau, tau)[1][0, -1]), 6)
    0.6
    """
    if np.any(walls_h <= 0.0) or np.any(vapour_h <= 0.0):
        raise RangeError("must be above 0 h.", "time constant of a store")
    inside_c = _lagged(temp_c, walls_h)
    vapour = _lagged(vapour_pressure_pa(temp_c, rh), vapour_h)
    inside = np.clip(rh_from_vapour_pressure(inside_c, vapour), LOWEST_RH, HIGHEST_RH)
    return inside_c, np.asarray(inside)


def _lagged(outside: Array, tau_h: Array) -> Array:
    keeps = np.exp(-1.0 / tau_h)
    found = np.empty_like(outside)
    now = outside[:, :24].mean(axis=1)
    for hour in range(outside.shape[1]):
        now = outside[:, hour] + (now - outside[:, hour]) * keeps
        found[:, hour] = now
    return found


def drift_db(moisture_db: Array, temp_c: Array, rh: Array, tau_days: Array) -> Array:
    """Moisture of kept coffee by the day.

    Equation: M' = (M_e(T, rh) - M)/tau, exact over each day at its mean air; M_e by `matter.sorption.emc_db`.
    Args: moisture_db (member,) [kg/kg dry matter]; temp_c, rh (member, day) [C], [fraction]; tau_days
    (member,) [day], above 0. Returns: (member, day + 1) [kg/kg dry matter].
    Valid range: 5 to 55 C, rh 0.05 to 0.99. Source: first-order approach; constants by kind of bag in
    `bags.toml`.

    >>> start = emc_db(20.0, 0.65).reshape(1)
    >>> run = drift_db(start, np.full((1, 30), 20.0), np.full((1, 30), 0.65), np.array([7.0]))
    >>> bool(abs(run[0, -1] - start[0]) < 1e-12)
    True
    """
    keeps = np.exp(-1.0 / tau_days)
    balance = emc_db(np.clip(temp_c, 5.0, 55.0), rh)
    found = np.empty((moisture_db.size, temp_c.shape[1] + 1))
    found[:, 0] = moisture_db
    for day in range(temp_c.shape[1]):
        found[:, day + 1] = balance[:, day] + (found[:, day] - balance[:, day]) * keeps
    return found


def sweats_below_c(temp_c: float, moisture_wb: float) -> float:
    """Temperature of a wall or liner below which the air in a sealed lot drops its water.

    Equation: dew point of air at the lot's temperature and its water activity by the isotherm.
    Args: temp_c [C]; moisture_wb [fraction]. Returns: [C].
    Valid range: 5 to 55 C; moistures the isotherm covers. Source: as `matter.sorption.erh`.

    >>> round(sweats_below_c(25.0, 0.12), 1)
    18.9
    """
    held = float(erh(temp_c, moisture_wb / (1.0 - moisture_wb)))
    return float(dew_point_c(temp_c, held))
