"""Fermentation: how far the mucilage has let go, by hours and temperature; what late washing risks.

No degree-hour law was found published: the temperature's part is our own estimate, and a station's own tanks
correct it (`outlook/tank.py`). The hand, the fall of the mass and the void probe decide.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from drydown.errors import RangeError
from drydown.figures import Source, Status
from drydown.words import say

__all__ = [
    "FALL_SHARE", "HOURS_SOURCE", "LATE_SOURCE", "VOID_MM", "at_20_c", "late_risk", "let_go", "sugar_used",
]  # fmt: skip

Array = NDArray[np.float64]
HOURS_SOURCE = Source(
    "14 to 20 h in the Colombian hills (Cenicafe AT 432, 2013), 12 to 18 h mild and 30 to 40 h cold (Spon's "
    "Encyclopaedia), taken as 12 to 20 h at 20 C; own estimate for other temperatures: 2 to 2.5 times "
    "quicker "
    "for 10 C more, which no paper was found for",
    Status.OWN_ESTIMATE,
)
LATE_SOURCE = Source(
    "washing 2 to 8 h after the end at 19 C: 0 to 11 % chance of a defective cup (Cenicafe journal); "
    "later than "
    "that our own estimate; growers' texts say that 2 to 3 h can be enough",
    Status.OWN_ESTIMATE,
)
FALL_SHARE = 0.07
"""The mass in a tank falls by so much of its height by the end: Penuela 2012, Cenicafe 63(1)."""
VOID_MM = 85.0
"""Void in the 500 mL cone at which 95 % of the mucilage is off in nine cases of ten: Penuela 2012."""
HALF_AT, STEEP = 0.60, float(np.log(19.0) / 0.40)
"""Where half has let go, as a share of the time to the end, and how steeply (95 % at the end): own
estimate."""
LATE_19_C, LATE_H, MOST_RISK_H = 0.11, 8.0, 24.0
SUGARS = {"reducing": (0.055, 50.3), "total": (0.048, 48.9)}
"""Rate [1/h] and hour of half of the sugars at about 20 C: rates Puerta 2013, Cenicafe 64(1); hours from
its 15.9 and 20 % at 20 h."""


def at_20_c(hours: float | Array, temp_c: float | Array, q10: float | Array) -> float | Array:
    """Hours at a temperature as hours at 20 C.

    Equation: t Q10^((T - 20)/10). Args: hours [h]; temp_c [C]; q10 [-]. Returns: [h]. Valid range: 10 to 35
    C; colder and warmer is taken as the end of it. Source: own estimate (`HOURS_SOURCE`).

    >>> float(at_20_c(10.0, 20.0, 2.2))
    10.0
    """
    return hours * q10 ** ((np.clip(temp_c, 10.0, 35.0) - 20.0) / 10.0)


def let_go(progress: float | Array) -> float | Array:
    """Share of the mucilage that has let go, by the share of the time to the end.

    Equation: 1/(1 + exp(-s (p - p50))), 95 % at p = 1. Args: progress [-], hours at 20 C over the hours to
    the
    end. Returns: [fraction]. Valid range: 0 and more. Source: sigmoid as Puerta 2013 found for its sugars;
    shape own estimate; 95 % at the end as the probe of Penuela 2012.

    >>> round(float(let_go(1.0)), 3)
    0.95
    """
    return 1.0 / (1.0 + np.exp(-STEEP * (np.asarray(progress) - HALF_AT)))


def sugar_used(hours: float, which: str = "reducing") -> float:
    """Share of the mucilage's sugars that is gone at about 20 C.

    Equation: logistic 1/(1 + exp(-k (t - t50))). Args: hours [h]; which, "reducing" or "total".
    Returns: [fraction]. Valid range: 0 to 74 h. Source: Puerta 2013, Cenicafe 64(1): 15.9 and 20 % at 20 h;
    the law that its rate seems to be of, 1 - exp(-k t), would say 67 %.

    >>> round(sugar_used(20.0), 3)
    0.159
    """
    if not 0.0 <= hours <= 74.0:
        raise RangeError(say("must be from 0 to 74 h, got {hours:g}.", hours=hours), "fermentation")
    k, half = SUGARS[which]
    return float(1.0 / (1.0 + np.exp(-k * (hours - half))))


def late_risk(hours_late: float | Array, temp_c: float = 19.0) -> float | Array:
    """Chance of a defective cup by washing later than the end: a slope, no cliff.

    Equation: 0.11 t/8 until 8 h late at 19 C, on to 1 at 24 h; warmer counts as longer (Q10 2.2). Args:
    hours_late
    [h]; temp_c [C]. Returns: [fraction]. Valid range: any; 0 before the end. Source: `LATE_SOURCE`.

    >>> round(float(late_risk(8.0)), 2)
    0.11
    """
    late = np.maximum(hours_late, 0.0) * 2.2 ** ((np.clip(temp_c, 10.0, 35.0) - 19.0) / 10.0)
    slow = LATE_19_C * late / LATE_H
    fast = LATE_19_C + (1.0 - LATE_19_C) * (late - LATE_H) / (MOST_RISK_H - LATE_H)
    return np.asarray(np.minimum(np.where(late <= LATE_H, slow, fast), 1.0))
