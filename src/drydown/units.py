"""Units and conversions, in one place. SI inside; trade units only at the edge.

Temperatures are in degrees Celsius (`_c`) unless a name ends in `_k`; air humidity is a
fraction (`rh`); time inside the model is hours from a start.
"""

from __future__ import annotations

__all__ = [
    "AIR_HEAT",
    "GAS_CONSTANT",
    "GAS_CONSTANT_AIR",
    "GAS_CONSTANT_VAPOUR",
    "GRAVITY",
    "HOUR_S",
    "STANDARD_PRESSURE_PA",
    "STEFAN_BOLTZMANN",
    "ZERO_C_K",
    "grams",
    "kelvin",
    "percent",
    "pressure_at_altitude_pa",
]

ZERO_C_K = 273.15
"""Kelvin at 0 degrees Celsius (exact, by definition)."""

HOUR_S = 3600.0
"""Seconds in an hour."""

GAS_CONSTANT = 8.31446261815324
"""Molar gas constant, J/(mol K) (exact, SI 2019)."""

GAS_CONSTANT_VAPOUR = 461.52
"""Gas constant of water vapour, J/(kg K): 8.314463 / 0.01801528."""

GAS_CONSTANT_AIR = 287.042
"""Gas constant of dry air, J/(kg K): ASHRAE Handbook of Fundamentals 2009, chapter 1."""

AIR_HEAT = 1006.0
"""Heat capacity of dry air at constant pressure, J/(kg K), as in the ASHRAE enthalpy equation."""

STEFAN_BOLTZMANN = 5.670374419e-8
"""Stefan-Boltzmann constant, W/(m2 K4) (SI 2019)."""

GRAVITY = 9.80665
"""Standard acceleration of gravity, m/s2."""

STANDARD_PRESSURE_PA = 101325.0
"""Standard atmosphere, Pa."""


def kelvin(temp_c: float) -> float:
    """Degrees Celsius to kelvin.

    Args: temp_c [C]. Returns: [K]. Valid range: above -273.15 C. Source: SI definition.
    """
    return temp_c + ZERO_C_K


def percent(fraction: float, digits: int = 1) -> str:
    """Write a fraction as per cent text, e.g. 0.115 -> "11.5 %".

    Args: fraction [-]. Returns: text. Valid range: any. Source: none needed.
    """
    return f"{fraction * 100:.{digits}f} %"


def grams(mass_kg: float) -> int:
    """Mass in whole grams, the unit the books keep.

    Args: mass_kg [kg]. Returns: [g]. Valid range: any. Source: definition.
    """
    return round(mass_kg * 1000.0)


def pressure_at_altitude_pa(altitude_m: float) -> float:
    """Mean air pressure at an altitude.

    Equation: P = 101.3 ((293 - 0.0065 z)/293)^5.26 kPa.
    Args: altitude_m [m above sea level].
    Returns: [Pa].
    Valid range: -500 to 6000 m; weather moves the true value by about 1 %.
    Source: FAO Irrigation and Drainage Paper 56, eq. 7 (example 2: 1800 m gives 81.8 kPa).
    """
    return float(101300.0 * ((293.0 - 0.0065 * altitude_m) / 293.0) ** 5.26)
