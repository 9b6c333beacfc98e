"""How moisture in parchment and the air around it hold each other in balance.

The default is the published fit to washed arabica parchment, in desorption. For other
species and forms the same value is shown and marked "not fitted for this species".
`oswin_*` is a smooth closed form refitted to the default; the drying engine uses it,
because it has an exact inverse and behaves well above the data.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import elementwise

from drydown.errors import NotFittedError, RangeError
from drydown.figures import Source, Status
from drydown.words import say

__all__ = [
    "FITTED",
    "OSWIN",
    "SOURCE",
    "TEMP_RANGE_C",
    "emc_db",
    "emc_wb",
    "erh",
    "fit_note",
    "oswin_emc_db",
    "oswin_erh",
    "require_fitted",
]

Array = NDArray[np.float64]

SOURCE = Source(
    "Trejos-Rodriguez, Roa-Mejia and Oliveros-Tascon 1989, Cenicafe 40(1):5-15, eq. 2 and "
    "Table 3, as quoted; washed arabica parchment, desorption, standard error 0.54 % db",
    Status.SECOND_HAND,
)
TEMP_RANGE_C = (5.0, 55.0)
RH_RANGE = (0.05, 0.99)
FITTED = frozenset({("arabica", "washed")})

_P = (61.030848, -108.371410, 74.46105)
_Q = (-0.037049, 0.070114, -0.035177)
# A re-issue of 2008 prints the first of _Q as -0.03049, which gives 13.44 % wb instead of
# 12.16 % at 25 C and 70 % RH. The value here reproduces the 1989 table.


@dataclass(frozen=True, slots=True)
class Oswin:
    """Constants of a = 1/(1 + ((A + B T)/M)^C), M in % dry basis, T in C."""

    a: float
    b: float
    c: float


OSWIN = Oswin(12.453, -0.05011, 3.8514)


def _guard(name: str, value: Array, low: float, high: float, unit: str) -> None:
    if not np.all((value >= low) & (value <= high)):
        raise RangeError(
            say(
                "{name} must be from {low:g} to {high:g} {unit}, got {tolist}.",
                name=name,
                low=low,
                high=high,
                unit=unit,
                tolist=np.asarray(value).tolist(),
            ),
            fix="The isotherm was measured inside this range only.",
        )


def _trejos(temp_c: Array, rh: Array) -> Array:
    base = rh * (_P[0] + rh * (_P[1] + rh * _P[2]))
    slope = rh * (_Q[0] + rh * (_Q[1] + rh * _Q[2]))
    return np.asarray(base * np.exp(slope * temp_c) / 100.0)


def emc_db(temp_c: float | Array, rh: float | Array) -> Array:
    """Moisture of washed parchment in balance with air.

    Equation: M = (p1 h + p2 h2 + p3 h3) exp[(q1 h + q2 h2 + q3 h3) T].
    Args: temp_c [C]; rh [fraction]; any broadcastable shapes.
    Returns: [kg water/kg dry matter].
    Valid range: 5 to 55 C, rh 0.05 to 0.99; refused outside. Weak above rh 0.85. Stated band
    +-0.5 point wb.
    Source: Trejos et al. 1989, Cenicafe 40(1):5-15 (second-hand).

    >>> round(float(emc_db(25.0, 0.70)), 4)
    0.1384
    """
    t, h = np.asarray(temp_c, dtype=float), np.asarray(rh, dtype=float)
    _guard("temp_c", t, *TEMP_RANGE_C, "C")
    _guard("rh", h, *RH_RANGE, "(a fraction)")
    return _trejos(t, h)


def emc_wb(temp_c: float | Array, rh: float | Array) -> Array:
    """Moisture of washed parchment in balance with air, wet basis.

    Equation: `emc_db`, then w = M / (1 + M).
    Args: temp_c [C]; rh [fraction]. Returns: [kg water/kg whole].
    Valid range: as `emc_db`. Source: as `emc_db`.

    >>> round(100 * float(emc_wb(25.0, 0.70)), 2)
    12.16
    """
    m = emc_db(temp_c, rh)
    return np.asarray(m / (1.0 + m))


def erh(temp_c: float | Array, moisture_db: float | Array) -> Array:
    """Relative humidity (= water activity) of air in balance with parchment.

    Equation: root of `emc_db`(T, h) = M in h, bracketed between rh 0.05 and 0.99.
    Args: temp_c [C]; moisture_db [kg/kg dry matter]; any broadcastable shapes.
    Returns: [fraction].
    Valid range: 5 to 55 C; moistures that the isotherm reaches in rh 0.05 to 0.99.
    Source: Trejos et al. 1989 (second-hand); monotone over the range, so the root is single.

    >>> round(float(erh(25.0, emc_db(25.0, 0.65))), 6)
    0.65
    """
    t, m = np.broadcast_arrays(np.asarray(temp_c, dtype=float), np.asarray(moisture_db, float))
    _guard("temp_c", t, *TEMP_RANGE_C, "C")
    low, high = _trejos(t, np.asarray(RH_RANGE[0])), _trejos(t, np.asarray(RH_RANGE[1]))
    if not np.all((m >= low) & (m <= high)):
        raise RangeError(
            say(
                "moisture_db {tolist} is outside what the isotherm covers ({min:.3f} to {max:.3f} kg/kg).",
                tolist=np.asarray(m).tolist(),
                min=low.min(),
                max=high.max(),
            ),
            fix="Wetter or drier coffee has no measured balance here.",
        )
    bracket = (np.full(t.shape, RH_RANGE[0]), np.full(t.shape, RH_RANGE[1]))
    found = elementwise.find_root(lambda h, t, m: _trejos(t, h) - m, bracket, args=(t, m))
    return np.asarray(found.x)


def oswin_emc_db(temp_c: float | Array, rh: float | Array) -> Array:
    """Moisture in balance with air by the smooth form of the drying engine.

    Equation: M = (A + B T) (h/(1 - h))^(1/C) / 100.
    Args: temp_c [C]; rh [fraction]. Returns: [kg/kg dry matter].
    Valid range: fitted 10 to 40 C and rh 0.2 to 0.8; form error up to 0.3 point wb there;
    used beyond it inside the engine only.
    Source: refit to Trejos et al. 1989 (derived).

    >>> round(float(oswin_emc_db(25.0, 0.70)), 3)
    0.14
    """
    t, h = np.asarray(temp_c, dtype=float), np.asarray(rh, dtype=float)
    return np.asarray((OSWIN.a + OSWIN.b * t) * (h / (1.0 - h)) ** (1.0 / OSWIN.c) / 100.0)


def oswin_erh(temp_c: float | Array, moisture_db: float | Array) -> Array:
    """Water activity by the smooth form of the drying engine, the inverse of `oswin_emc_db`.

    Equation: a = 1/(1 + ((A + B T)/M)^C), M in % db.
    Args: temp_c [C]; moisture_db [kg/kg dry matter, above 0]. Returns: [fraction].
    Valid range: as `oswin_emc_db`. Source: refit to Trejos et al. 1989 (derived).

    >>> round(float(oswin_erh(25.0, oswin_emc_db(25.0, 0.70))), 9)
    0.7
    """
    t, m = np.asarray(temp_c, dtype=float), np.asarray(moisture_db, dtype=float)
    return np.asarray(1.0 / (1.0 + ((OSWIN.a + OSWIN.b * t) / (100.0 * m)) ** OSWIN.c))


def fit_note(species: str, form: str) -> str:
    """Words to show beside an equilibrium value: empty where it was fitted, a warning elsewhere."""
    if (species, form) in FITTED:
        return ""
    return say(
        "not fitted for this species and form ({species}, {form}): arabica parchment shown",
        species=species,
        form=form,
    )


def require_fitted(species: str, form: str) -> None:
    """Raise `NotFittedError` where no isotherm was measured for this species and form."""
    note = fit_note(species, form)
    if note:
        raise NotFittedError(note)
