"""Moist air against CoolProp's humid air and printed handbook values."""

from __future__ import annotations

import CoolProp.CoolProp as cp
import numpy as np
import pytest
from CoolProp.HumidAirProp import HAPropsSI
from hypothesis import given
from hypothesis import strategies as st

from drydown.air.moist import (
    density_kg_m3,
    dew_point_c,
    enthalpy_j_kg,
    humidity_ratio,
    psychrometric_constant_pa_k,
    rh_from_vapour_pressure,
    saturation_pressure_pa,
    vapour_pressure_from_wet_bulb_pa,
    vapour_pressure_pa,
    wet_bulb_c,
)
from drydown.errors import RangeError
from drydown.units import kelvin, pressure_at_altitude_pa

GRID = [(t, rh, p) for t in (5.0, 20.0, 35.0, 55.0) for rh in (0.2, 0.6, 0.95) for p in (75e3, 101325.0)]


def test_saturation_pressure_against_coolprop() -> None:
    for t in np.arange(0.5, 100.0, 5.0):
        assert float(saturation_pressure_pa(t)) == pytest.approx(
            cp.PropsSI("P", "T", kelvin(t), "Q", 0, "Water"), rel=5e-4
        )


@pytest.mark.parametrize(
    ("temp", "kpa"), [(1.0, 0.657), (20.0, 2.338), (24.5, 3.075), (30.0, 4.243), (45.0, 9.585)]
)
def test_saturation_pressure_against_print(temp: float, kpa: float) -> None:
    # FAO-56 annex table 2.3 and example 3 use another formula (Tetens): 0.3 % apart at most.
    assert float(saturation_pressure_pa(temp)) / 1e3 == pytest.approx(kpa, rel=3e-3)


@pytest.mark.parametrize(("temp", "rh", "pressure"), GRID)
def test_humid_air_against_coolprop(temp: float, rh: float, pressure: float) -> None:
    state = ("T", kelvin(temp), "R", rh, "P", pressure)
    # No enhancement factor: 0.5 %, times p/(p - e) in hot damp thin air; temperatures within 0.1 C.
    assert float(humidity_ratio(temp, rh, pressure)) == pytest.approx(HAPropsSI("W", *state), rel=8e-3)
    assert float(dew_point_c(temp, rh)) == pytest.approx(HAPropsSI("D", *state) - 273.15, abs=0.1)
    moist = 1.0 / HAPropsSI("Vha", *state)
    assert float(density_kg_m3(temp, rh, pressure)) == pytest.approx(moist, rel=2e-3)
    assert float(enthalpy_j_kg(temp, rh, pressure)) == pytest.approx(
        HAPropsSI("H", *state), rel=9e-3, abs=150
    )
    if HAPropsSI("B", *state) > 273.15:
        assert float(wet_bulb_c(temp, rh, pressure)) == pytest.approx(
            HAPropsSI("B", *state) - 273.15, abs=0.1
        )


@pytest.mark.parametrize(
    ("temp", "rh", "pressure", "w", "dew", "wet", "h"),
    [(25.0, 0.60, 101325.0, 0.011895, 16.70, 19.47, 55453.0),
     (20.0, 0.80, 82000.0, 0.014523, 16.45, 17.52, 56981.0),
     (40.0, 0.25, 84000.0, 0.013974, 16.23, 22.78, 76229.0)],
)  # fmt: skip
def test_printed_states(
    temp: float, rh: float, pressure: float, w: float, dew: float, wet: float, h: float
) -> None:
    # Computed with independent open libraries (derived).
    assert float(humidity_ratio(temp, rh, pressure)) == pytest.approx(w, abs=2e-6)
    assert float(dew_point_c(temp, rh)) == pytest.approx(dew, abs=0.006)
    assert float(wet_bulb_c(temp, rh, pressure)) == pytest.approx(wet, abs=0.006)
    assert float(enthalpy_j_kg(temp, rh, pressure)) == pytest.approx(h, abs=8.0)


def test_fao56_pressure_and_psychrometer() -> None:
    # FAO-56 examples 2 and 4.
    assert pressure_at_altitude_pa(1800.0) / 1e3 == pytest.approx(81.8, abs=0.05)
    assert float(psychrometric_constant_pa_k(81.8e3)) / 1e3 == pytest.approx(0.054, abs=5e-4)
    e = vapour_pressure_from_wet_bulb_pa(25.6, 19.5, 87.9e3)
    assert float(e) / 1e3 == pytest.approx(1.91, abs=0.006)


@given(st.floats(-20.0, 60.0), st.floats(0.05, 0.99))
def test_dew_point_brings_back_the_humidity(temp: float, rh: float) -> None:
    dew = float(dew_point_c(temp, rh))
    assert dew <= temp
    assert float(rh_from_vapour_pressure(temp, saturation_pressure_pa(dew))) == pytest.approx(rh, rel=1e-6)


@given(st.floats(2.0, 50.0), st.floats(0.1, 0.99))
def test_wet_bulb_lies_between(temp: float, rh: float) -> None:
    wet = float(wet_bulb_c(temp, rh))
    assert float(dew_point_c(temp, rh)) - 1e-6 <= wet <= temp + 1e-6


def test_shapes_are_kept() -> None:
    temps, rhs = np.array([[10.0, 20.0], [30.0, 40.0]]), np.array([0.3, 0.6])
    assert vapour_pressure_pa(temps, rhs).shape == (2, 2)
    assert wet_bulb_c(temps, rhs).shape == (2, 2)


@pytest.mark.parametrize(("temp", "rh"), [(25.0, 60.0), (25.0, -0.1), (200.0, 0.5), (float("nan"), 0.5)])
def test_refusals(temp: float, rh: float) -> None:
    with pytest.raises(RangeError):
        humidity_ratio(temp, rh)


def test_swapped_bulbs_are_noticed() -> None:
    with pytest.raises(RangeError, match="swapped"):
        vapour_pressure_from_wet_bulb_pa(19.5, 25.6, 87.9e3)
