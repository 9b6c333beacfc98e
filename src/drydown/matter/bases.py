"""Wet and dry basis.

`moisture_wb` is kg water per kg of the whole; `moisture_db` is kg water per kg dry matter.
Both are fractions. All functions take numbers or numpy arrays.
"""

from __future__ import annotations

from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from drydown.errors import RangeError
from drydown.words import say

__all__ = ["db_from_wb", "dry_matter_kg", "mass_at_moisture_kg", "wb_from_db"]

Number = TypeVar("Number", float, NDArray[np.float64])


def _refuse_wb(moisture_wb: Number) -> None:
    inside = (np.asarray(moisture_wb) >= 0.0) & (np.asarray(moisture_wb) < 1.0)
    if not np.all(inside):
        raise RangeError(
            say(
                "moisture_wb must be from 0 to below 1 (a fraction), got {moisture_wb}.",
                moisture_wb=moisture_wb,
            ),
            fix="Write 11 % as 0.11.",
        )


def db_from_wb(moisture_wb: Number) -> Number:
    """Dry-basis moisture from wet-basis moisture.

    Equation: X = w / (1 - w).
    Args: moisture_wb [kg/kg whole].
    Returns: [kg/kg dry matter], same shape.
    Valid range: 0 <= moisture_wb < 1; refused outside.
    Source: definition.

    >>> round(db_from_wb(0.53), 4)
    1.1277
    """
    _refuse_wb(moisture_wb)
    return moisture_wb / (1.0 - moisture_wb)


def wb_from_db(moisture_db: Number) -> Number:
    """Wet-basis moisture from dry-basis moisture.

    Equation: w = X / (1 + X).
    Args: moisture_db [kg/kg dry matter].
    Returns: [kg/kg whole], same shape.
    Valid range: moisture_db >= 0; refused outside.
    Source: definition.

    >>> round(wb_from_db(1.0), 3)
    0.5
    """
    if not np.all(np.asarray(moisture_db) >= 0.0):
        raise RangeError(say("moisture_db must be 0 or more, got {moisture_db}.", moisture_db=moisture_db))
    return moisture_db / (1.0 + moisture_db)


def mass_at_moisture_kg(mass_kg: Number, from_wb: float, to_wb: float) -> Number:
    """Mass of the same dry matter at another moisture.

    Equation: m2 = m1 (1 - w1) / (1 - w2).
    Args: mass_kg [kg]; from_wb, to_wb [kg/kg whole].
    Returns: [kg], same shape as mass_kg.
    Valid range: moistures from 0 to below 1.
    Source: dry matter is conserved; Oliveros et al. 2010, Cenicafe 61(2): 53 % to 11 % loses
    47.3 % of the mass (exactly 47.19 %).

    >>> round(1.0 - mass_at_moisture_kg(1.0, 0.53, 0.11), 4)
    0.4719
    """
    _refuse_wb(from_wb)
    _refuse_wb(to_wb)
    return mass_kg * ((1.0 - from_wb) / (1.0 - to_wb))


def dry_matter_kg(mass_kg: Number, moisture_wb: float) -> Number:
    """Dry matter in a mass.

    Equation: m_d = m (1 - w).
    Args: mass_kg [kg]; moisture_wb [kg/kg whole].
    Returns: [kg], same shape as mass_kg.
    Valid range: 0 <= moisture_wb < 1.
    Source: definition.

    >>> round(dry_matter_kg(100.0, 0.11), 6)
    89.0
    """
    _refuse_wb(moisture_wb)
    return mass_kg * (1.0 - moisture_wb)
