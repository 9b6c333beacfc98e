"""Moist air: vapour pressure, humidity, dew point, wet bulb, enthalpy, density.

All functions take numbers or numpy arrays and broadcast. Air is treated as a perfect-gas
mixture without the enhancement factor: humidity ratios come out up to 0.5 % below real air.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import elementwise

from drydown.errors import RangeError
from drydown.units import AIR_HEAT, GAS_CONSTANT_AIR, STANDARD_PRESSURE_PA, ZERO_C_K
from drydown.words import say

__all__ = [
    "MAGNUS_C",
    "MAGNUS_GROWTH",
    "MAGNUS_PA",
    "density_kg_m3",
    "dew_point_c",
    "enthalpy_j_kg",
    "humidity_ratio",
    "magnus_dew_c",
    "magnus_pa",
    "psychrometric_constant_pa_k",
    "rh_from_vapour_pressure",
    "saturation_pressure_pa",
    "vapour_pressure_from_wet_bulb_pa",
    "vapour_pressure_pa",
    "wet_bulb_c",
]

Array = NDArray[np.float64]
Values = float | Array

MOLAR_RATIO = 0.621945
MAGNUS_PA, MAGNUS_GROWTH, MAGNUS_C = 610.55, 17.1032, 234.449
"""610.55 exp(17.1032 T/(T + 234.449)) Pa, where speed matters: Magnus' form refitted by us to the equation of
`saturation_pressure_pa`, within 0.15 % from 0 to 100 C."""
_WATER = (-5.8002206e3, 1.3914993, -4.8640239e-2, 4.1764768e-5, -1.4452093e-8, 0.0, 6.5459673)
_ICE = (-5.6745359e3, 6.3925247, -9.677843e-3, 6.2215701e-7, 2.0747825e-9, -9.484024e-13, 4.1635019)


def _check(name: str, value: Array, low: float, high: float, unit: str) -> None:
    if not np.all((value >= low) & (value <= high)):
        bad = value[~((value >= low) & (value <= high))].ravel()[0]
        raise RangeError(
            say(
                "{name} must be from {low:g} to {high:g} {unit}, got {bad:g}.",
                name=name,
                low=low,
                high=high,
                unit=unit,
                bad=bad,
            )
        )


def _temp(temp_c: Values) -> Array:
    t = np.asarray(temp_c, dtype=float)
    _check("temp_c", t, -60.0, 100.0, "C")
    return t


def _rh(rh: Values) -> Array:
    h = np.asarray(rh, dtype=float)
    _check("rh", h, 0.0, 1.0, "(a fraction: write 60 % as 0.6)")
    return h


def _ln_saturation(kelvin: Array, c: tuple[float, ...]) -> Array:
    poly = c[1] + kelvin * (c[2] + kelvin * (c[3] + kelvin * (c[4] + kelvin * c[5])))
    return np.asarray(c[0] / kelvin + poly + c[6] * np.log(kelvin))


def saturation_pressure_pa(temp_c: Values) -> Array:
    """Saturation vapour pressure over water (over ice below 0 C).

    Equation: ln p = C8/T + C9 + C10 T + C11 T2 + C12 T3 + C13 ln T, T in kelvin.
    Args: temp_c [C]. Returns: [Pa].
    Valid range: -60 to 100 C; within 0.05 % of the current water standard.
    Source: Hyland and Wexler 1983 (over water, as printed in open psychrometric codes; over ice
    from memory; both checked against CoolProp and printed values).

    >>> round(float(saturation_pressure_pa(20.0)))
    2339
    """
    t = _temp(temp_c)
    kelvin = t + ZERO_C_K
    water, ice = _ln_saturation(kelvin, _WATER), _ln_saturation(kelvin, _ICE)
    return np.asarray(np.exp(np.where(t >= 0.0, water, ice)))


def magnus_pa(temp_c: Values) -> Array:
    """Saturation vapour pressure where speed matters; nothing is checked.

    Equation: 610.55 exp(17.1032 T/(T + 234.449)). Args: temp_c [C]. Returns: [Pa].
    Valid range: 0 to 100 C within 0.15 %. Source: Magnus' form, refitted to `saturation_pressure_pa`.

    >>> round(float(magnus_pa(80.0)) / 1e3, 1)
    47.4
    """
    t = np.asarray(temp_c, dtype=float)
    return np.asarray(MAGNUS_PA * np.exp(MAGNUS_GROWTH * t / (t + MAGNUS_C)))


def magnus_dew_c(temp_c: Values, rh: Values) -> Array:
    """Dew point where speed matters; nothing is checked.

    Equation: `magnus_pa` turned round. Args: temp_c [C]; rh [fraction, above 0]. Returns: [C].
    Valid range: 0 to 100 C within 0.1 C. Source: as `magnus_pa`.

    >>> round(float(magnus_dew_c(20.0, 0.5)), 1)
    9.3
    """
    t = np.asarray(temp_c, dtype=float)
    ln = np.log(rh) + MAGNUS_GROWTH * t / (t + MAGNUS_C)
    return np.asarray(MAGNUS_C * ln / (MAGNUS_GROWTH - ln))


def vapour_pressure_pa(temp_c: Values, rh: Values) -> Array:
    """Vapour pressure of air.

    Equation: e = rh p_sat(T). Args: temp_c [C]; rh [fraction]. Returns: [Pa].
    Valid range: -60 to 100 C, rh 0 to 1. Source: definition.

    >>> round(float(vapour_pressure_pa(20.0, 0.5)))
    1169
    """
    return np.asarray(_rh(rh) * saturation_pressure_pa(temp_c))


def rh_from_vapour_pressure(temp_c: Values, vapour_pa: Values) -> Array:
    """Relative humidity from vapour pressure, capped at 1.

    Equation: rh = min(1, e / p_sat(T)). Args: temp_c [C]; vapour_pa [Pa]. Returns: [fraction].
    Valid range: -60 to 100 C. Source: definition.

    >>> round(float(rh_from_vapour_pressure(20.0, vapour_pressure_pa(20.0, 0.5))), 9)
    0.5
    """
    return np.asarray(np.minimum(1.0, np.asarray(vapour_pa) / saturation_pressure_pa(temp_c)))


def humidity_ratio(temp_c: Values, rh: Values, pressure_pa: Values = STANDARD_PRESSURE_PA) -> Array:
    """Humidity ratio (kg vapour per kg dry air).

    Equation: W = 0.621945 e / (P - e).
    Args: temp_c [C]; rh [fraction]; pressure_pa [Pa]. Returns: [kg/kg dry air].
    Valid range: -60 to 100 C while e < P; about 0.4 % low (no enhancement factor).
    Source: perfect-gas mixture, printed handbooks.

    >>> round(float(humidity_ratio(20.0, 0.5)), 4)
    0.0073
    """
    e, p = vapour_pressure_pa(temp_c, rh), np.asarray(pressure_pa, dtype=float)
    if np.any(e >= p):
        raise RangeError("vapour pressure reaches air pressure: the air would be all steam.")
    return np.asarray(MOLAR_RATIO * e / (p - e))


def dew_point_c(temp_c: Values, rh: Values) -> Array:
    """Temperature at which this air begins to drop water.

    Equation: root of ln p_sat(Td) = ln(rh p_sat(T)) in Td, by steps along the Magnus slope.
    Args: temp_c [C]; rh [fraction, above 0]. Returns: [C].
    Valid range: results from -60 to 100 C. Source: definition.

    >>> round(float(dew_point_c(20.0, 0.5)), 1)
    9.3
    """
    t, h = np.broadcast_arrays(_temp(temp_c), _rh(rh))
    _check("rh", h, 1e-4, 1.0, "for a dew point")
    target = np.log(h * saturation_pressure_pa(t))
    a = target - np.log(610.94)
    dew = np.clip(243.04 * a / (17.625 - a), -60.0, 100.0)
    for _ in range(12):
        gap = target - np.log(saturation_pressure_pa(dew))
        slope = np.where(
            dew >= 0.0, 17.625 * 243.04 / (dew + 243.04) ** 2, 22.46 * 272.62 / (dew + 272.62) ** 2
        )
        dew = np.clip(dew + gap / slope, -60.0, 100.0)
        if np.abs(gap).max() < 1e-12:
            break
    return np.asarray(np.where(h >= 1.0, t, dew))


def enthalpy_j_kg(temp_c: Values, rh: Values, pressure_pa: Values = STANDARD_PRESSURE_PA) -> Array:
    """Enthalpy of moist air per kg of dry air, zero for dry air at 0 C.

    Equation: h = 1006 T + W (2501000 + 1860 T).
    Args: temp_c [C]; rh [fraction]; pressure_pa [Pa]. Returns: [J/kg dry air].
    Valid range: -20 to 80 C. Source: printed handbooks.

    >>> round(float(enthalpy_j_kg(20.0, 0.5)) / 1000, 1)
    38.6
    """
    t, w = np.asarray(temp_c, dtype=float), humidity_ratio(temp_c, rh, pressure_pa)
    return np.asarray(AIR_HEAT * t + w * (2.501e6 + 1860.0 * t))


def density_kg_m3(temp_c: Values, rh: Values, pressure_pa: Values = STANDARD_PRESSURE_PA) -> Array:
    """Density of moist air (kg moist air per m3).

    Equation: rho = (P - e)/(Ra T) + e/(Rv T).
    Args: temp_c [C]; rh [fraction]; pressure_pa [Pa]. Returns: [kg/m3].
    Valid range: -60 to 100 C. Source: perfect-gas mixture.

    >>> round(float(density_kg_m3(20.0, 0.5)), 3)
    1.199
    """
    e = vapour_pressure_pa(temp_c, rh)
    kelvin = np.asarray(temp_c, dtype=float) + ZERO_C_K
    dry = (np.asarray(pressure_pa) - e) / (GAS_CONSTANT_AIR * kelvin)
    return np.asarray(dry + e * MOLAR_RATIO / (GAS_CONSTANT_AIR * kelvin))


def wet_bulb_c(temp_c: Values, rh: Values, pressure_pa: Values = STANDARD_PRESSURE_PA) -> Array:
    """Thermodynamic wet-bulb temperature.

    Equation: root in Tw of W = [(2501 - 2.326 Tw) Ws(Tw) - 1.006 (T - Tw)] /
    (2501 + 1.86 T - 4.186 Tw).
    Args: temp_c [C]; rh [fraction]; pressure_pa [Pa]. Returns: [C].
    Valid range: wet bulbs from 0 to 80 C. Source: printed handbooks (psychrometric equation).

    >>> round(float(wet_bulb_c(30.0, 0.5)), 1)
    22.0
    """
    t, h, p = np.broadcast_arrays(_temp(temp_c), _rh(rh), np.asarray(pressure_pa, dtype=float))
    w = humidity_ratio(t, h, p)

    def gap(tw: Array, t: Array, w: Array, p: Array) -> Array:
        e = saturation_pressure_pa(np.clip(tw, -60.0, 100.0))
        ws = MOLAR_RATIO * e / (p - e)
        top = (2501.0 - 2.326 * tw) * ws - 1.006 * (t - tw)
        return np.asarray(top / (2501.0 + 1.86 * t - 4.186 * tw) - w)

    found = elementwise.find_root(gap, (np.full(t.shape, -20.0), t + 1e-9), args=(t, w, p))
    if not np.all(found.success):
        raise RangeError("no wet bulb between -20 C and the air temperature was found.")
    return np.asarray(found.x)


def psychrometric_constant_pa_k(pressure_pa: Values) -> Array:
    """Psychrometric constant of a ventilated wet bulb.

    Equation: gamma = 0.000665 P. Args: pressure_pa [Pa]. Returns: [Pa/K].
    Valid range: 50 to 110 kPa. Source: FAO Irrigation and Drainage Paper 56, eq. 8.

    >>> round(float(psychrometric_constant_pa_k(81800.0)))
    54
    """
    return np.asarray(0.665e-3 * np.asarray(pressure_pa, dtype=float))


def vapour_pressure_from_wet_bulb_pa(dry_c: Values, wet_c: Values, pressure_pa: Values) -> Array:
    """Vapour pressure from a ventilated dry and wet bulb pair.

    Equation: e = p_sat(Tw) - 0.000662 P (T - Tw).
    Args: dry_c, wet_c [C]; pressure_pa [Pa]. Returns: [Pa].
    Valid range: wet not above dry, 0 to 60 C. Source: FAO-56 eq. 15 (example 4: 1.91 kPa).

    >>> round(float(vapour_pressure_from_wet_bulb_pa(25.6, 19.5, 87900.0)) / 1000, 2)
    1.91
    """
    dry, wet = np.asarray(dry_c, dtype=float), np.asarray(wet_c, dtype=float)
    if np.any(wet > dry):
        raise RangeError("the wet bulb reads above the dry bulb; were the two swapped?")
    drop = 0.662e-3 * np.asarray(pressure_pa, dtype=float) * (dry - wet)
    return np.asarray(saturation_pressure_pa(wet) - drop)
