"""What a place's weather does beyond its monthly means: known where it was measured, drawn where not."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from drydown.air.series import Site
from drydown.errors import InputError, RangeError
from drydown.figures import ln_sd
from drydown.tables import table
from drydown.words import say

__all__ = ["CLIMATE", "check_climate", "climate_limits", "climate_of", "sun_spread_at"]

Array = NDArray[np.float64]
CLIMATE = (
    "rain_persistence", "rain_spread", "rain_usual_h", "rain_width_h", "wet_sun", "rain_sun", "sun_spread",
    "high_spread_c", "low_spread_c", "vapour_spread", "wind_spread", "wind_night", "warmest_after_noon_h",
    "odd_sun", "odd_heat_c",
)  # fmt: skip
"""Names of `climate.toml`, in the order of their streams of chance."""
PLAIN = {"rain_usual_h", "wet_sun", "rain_persistence"}
"""Drawn evenly between low and high; all others lognormal."""
STREAM = 77
FROM_EQUATOR_DEG, PER_DEGREE_C = 12.0, 0.16
"""Highs and lows swing more away from the equator: 3.4 C at 22.7 S, 1.6 within 14 degrees (six stations)."""
MOST_SWING_C = 3.0
MID_SUN, DULLER_POWER = 0.72, 0.8
"""Clearness that `sun_spread` is told at, and how it grows where skies are duller."""


def climate_limits() -> Mapping[str, tuple[float, float]]:
    """What a station may say of itself.

    Equation: 0.4 of each low to 2.5 of each high; an hour from 0 to 24. Args: none. Returns: name -> (low,
    high) [in the unit of its name]. Valid range: the names of `CLIMATE`. Source: own choice.

    >>> climate_limits()["rain_usual_h"]
    (0.0, 24.0)
    """
    rows = table("drydown.air", "climate.toml")
    return {
        k: (0.0, 24.0) if k == "rain_usual_h" else (0.4 * rows[k]["low"], 2.5 * rows[k]["high"])
        for k in CLIMATE
    }


def check_climate(known: Mapping[str, float]) -> None:
    """Refuse what is no number of a climate, or outside `climate_limits`.

    Args: known, numbers by name, most of them [1]. Returns: nothing. Raises `InputError`, `RangeError`.
    Valid range: `climate_limits`. Source: own choice.

    >>> check_climate({"wet_sun": 0.8})
    """
    limits = climate_limits()
    for name, value in known.items():
        if name not in limits:
            raise InputError(
                say("'{name}' is not known of a climate.", name=name),
                fix=say("Choose: {names}.", names=", ".join(limits)),
            )
        low, high = limits[name]
        if not low <= value <= high:
            raise RangeError(
                say("must be from {low:g} to {high:g}, got {value:g}.", low=low, high=high, value=value), name
            )


def sun_spread_at(clearness: float | Array, spread: float | Array) -> Array:
    """Spread of a day's sun over its mean, where the mean day has that clearness: more where skies are dull.

    Equation: s (0.72/k)^0.8. Args: clearness k, spread s of `climate.toml` [-]. Returns: [-]. Valid range:
    k from 0.2 up. Source: six measured stations.

    >>> float(sun_spread_at(0.72, 0.21))
    0.21
    """
    return np.asarray(spread * (MID_SUN / np.maximum(clearness, 0.2)) ** DULLER_POWER)


def climate_of(site: Site, known: Mapping[str, float], members: int, seed: int) -> dict[str, Array]:
    """Every number of `CLIMATE` for every member.

    Args: site; known, the station's own by name; members [count]; seed. Returns: name -> (members,).
    Valid range: `climate_limits`. Source: `climate.toml`; each number has a stream of its own, so that a
    member keeps its climate however many members there are.

    >>> made = climate_of(Site(-3.4, 45.0, 1690.0, 3.0), {"wet_sun": 0.8}, 3, 1)
    >>> made["wet_sun"].tolist()
    [0.8, 0.8, 0.8]
    """
    check_climate(known)
    rows, made = table("drydown.air", "climate.toml"), {}
    for number, name in enumerate(CLIMATE):
        row, rng = rows[name], np.random.default_rng([seed, STREAM, number])
        if name in known:
            made[name] = np.full(members, float(known[name]))
        elif name in PLAIN:
            made[name] = row["low"] + (row["high"] - row["low"]) * rng.random(members)
        else:
            spread = ln_sd(row["low"], row["high"])
            made[name] = row["typical"] * np.exp(spread * rng.standard_normal(members))
    swing = min(PER_DEGREE_C * max(abs(site.latitude_deg) - FROM_EQUATOR_DEG, 0.0), MOST_SWING_C)
    if "high_spread_c" not in known:
        made["high_spread_c"] = made["high_spread_c"] + swing
    if "low_spread_c" not in known:
        made["low_spread_c"] = made["low_spread_c"] + 0.7 * swing
    return made
