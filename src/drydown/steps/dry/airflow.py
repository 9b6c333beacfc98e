"""Air through a layer: pressure drop, fan power, heat of the air, a deep-bed relation."""

from __future__ import annotations

import math
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from drydown.errors import InputError, RangeError
from drydown.steps.dry.constants import AIR_VISCOSITY
from drydown.words import say

__all__ = ["ergun_pa_m", "fan_power_w_m2", "hukill_ratio", "least_heat_mj_kg", "pressure_drop_pa_m"]

Values = TypeVar("Values", float, NDArray[np.float64])

# crop: a [Pa s2/m3], b [m2 s/m3], from ASAE D272 (from memory). Coffee is not in it.
_D272 = {"shelled_corn": (2.07e4, 30.4), "soybeans": (1.02e4, 16.0), "peanuts": (3.80e3, 111.0)}


def pressure_drop_pa_m(crop: str, air_m_s: float, damp: bool = False) -> float:
    """Pressure drop of a metre of grain, for the crops of the standard.

    Equation: dP/L = a Q2 / ln(1 + b Q); wet grain 80 % of it.
    Args: crop (shelled_corn, soybeans, peanuts); air_m_s [m3/(m2 s)]; damp above 85 % RH.
    Returns: [Pa/m].
    Valid range: 0.006 to 0.3 m/s; packing adds up to 50 %. Coffee is not in the standard: use
    `ergun_pa_m` with a measured pressure.
    Source: ASAE D272.

    >>> round(pressure_drop_pa_m("shelled_corn", 0.1))
    148
    """
    if crop not in _D272:
        raise InputError(
            say("crop '{crop}' is not in the table.", crop=crop),
            fix=say("Choose: {d272}.", d272=", ".join(_D272)),
        )
    if not 0.006 <= air_m_s <= 0.35:
        raise RangeError(say("air must be from 0.006 to 0.35 m/s, got {air_m_s:g}.", air_m_s=air_m_s))
    a, b = _D272[crop]
    return a * air_m_s**2 / math.log(1.0 + b * air_m_s) * (0.8 if damp else 1.0)


def ergun_pa_m(
    air_m_s: float,
    diameter_m: Values,
    porosity: Values,
    air_kg_m3: float = 1.2,
    viscosity_pa_s: float = AIR_VISCOSITY,
) -> Values:
    """Pressure drop of a metre of spheres; for coffee a first guess to be scaled.

    Equation: 150 mu (1-e)2 v/(e3 d2) + 1.75 rho (1-e) v2/(e3 d).
    Args: air_m_s [m/s]; diameter_m [m]; porosity [-]; air_kg_m3 [kg/m3], 1.2 at sea level;
    viscosity_pa_s [Pa s], of air at 20 C if not given; numbers or arrays of one shape.
    Returns: [Pa/m].
    Valid range: porosity 0.3 to 0.65. Beans are no spheres: expect twice this, between the
    same and four times (own estimate); one measured pressure settles it.
    Source: Ergun 1952 (from memory); 83 Pa/m for parchment at 0.17 m/s in highland air (derived).

    >>> round(float(ergun_pa_m(0.2, 0.008, 0.45)))
    92
    """
    if not np.all((np.asarray(porosity) >= 0.3) & (np.asarray(porosity) <= 0.65)):
        raise RangeError(say("porosity must be from 0.3 to 0.65, got {porosity}.", porosity=porosity))
    viscous = 150.0 * viscosity_pa_s * (1.0 - porosity) ** 2 * air_m_s / (porosity**3 * diameter_m**2)
    return viscous + 1.75 * air_kg_m3 * (1.0 - porosity) * air_m_s**2 / (porosity**3 * diameter_m)


def fan_power_w_m2(pressure_pa: float, air_m_s: float, efficiency: float) -> float:
    """Electric power of a fan per square metre of bed.

    Equation: P = dp Q / eta. Args: pressure_pa [Pa]; air_m_s [m3/(m2 s)]; efficiency [0..1] of
    fan and motor. Returns: [W/m2]. Valid range: efficiency 0.1 to 0.9. Source: definition.

    >>> fan_power_w_m2(250.0, 0.2, 0.5)
    100.0
    """
    if not 0.1 <= efficiency <= 0.9:
        raise RangeError(
            say("efficiency must be from 0.1 to 0.9, got {efficiency:g}.", efficiency=efficiency)
        )
    return pressure_pa * air_m_s / efficiency


def hukill_ratio(depth_units: float, half_times: float) -> float:
    """Moisture ratio in a deep bed at a depth and time.

    Equation: MR = 2^D / (2^D + 2^Y - 1).
    Args: depth_units D [-]; half_times Y [half-response times]. Returns: [-].
    Valid range: D and Y from 0. Source: Hukill (from memory).

    >>> hukill_ratio(0.0, 1.0)
    0.5
    """
    if depth_units < 0 or half_times < 0:
        raise RangeError("depth and time must be 0 or more.")
    return float(2.0**depth_units / (2.0**depth_units + 2.0**half_times - 1.0))


def least_heat_mj_kg(
    outside_c: float, outside_rh: float, inlet_c: float, leaving_rh: float, pressure_pa: float
) -> float:
    """Heat of once-through air per kg of water, if it leaves adiabatically at a humidity.

    Equation: (h_in - h_out) / (W_leave - W_out) with h_leave = h_in and rh_leave given.
    Args: outside_c, inlet_c [C]; outside_rh, leaving_rh [fraction]; pressure_pa [Pa].
    Returns: [MJ/kg water]. Valid range: inlet above outside. Source: psychrometry; 20 C 75 %
    air at 84 kPa to 50 C, leaving at 30 % RH: 7.98 (derived).

    >>> round(least_heat_mj_kg(20.0, 0.7, 45.0, 0.9, 101325.0), 1)
    3.2
    """
    from scipy.optimize import brentq  # noqa: PLC0415

    from drydown.air.moist import enthalpy_j_kg, humidity_ratio, rh_from_vapour_pressure  # noqa: PLC0415
    from drydown.air.moist import vapour_pressure_pa as vapour  # noqa: PLC0415

    if inlet_c <= outside_c:
        raise RangeError(
            say(
                "inlet {inlet_c:g} C must be above the outside {outside_c:g} C.",
                inlet_c=inlet_c,
                outside_c=outside_c,
            )
        )
    e = vapour(outside_c, outside_rh)
    h_out = float(enthalpy_j_kg(outside_c, outside_rh, pressure_pa))
    w_out = float(humidity_ratio(outside_c, outside_rh, pressure_pa))
    h_in = float(enthalpy_j_kg(inlet_c, rh_from_vapour_pressure(inlet_c, e), pressure_pa))
    leaving = brentq(lambda t: float(enthalpy_j_kg(t, leaving_rh, pressure_pa)) - h_in, -5.0, inlet_c + 1.0)
    w_leave = float(humidity_ratio(leaving, leaving_rh, pressure_pa))
    if w_leave <= w_out:
        raise RangeError("air that leaves so dry takes up no water.")
    return (h_in - h_out) / (w_leave - w_out) / 1e6
