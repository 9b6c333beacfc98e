"""Parchment isotherm. Table computed from Trejos et al. 1989, Cenicafe 40(1) (second-hand
constants); anchors are published pairs that know nothing of the model."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from drydown.errors import NotFittedError, RangeError
from drydown.matter.sorption import (
    emc_db,
    emc_wb,
    erh,
    fit_note,
    oswin_emc_db,
    oswin_erh,
    require_fitted,
)

RH = [0.40, 0.50, 0.60, 0.65, 0.70, 0.75, 0.80, 0.85]
TABLE = {
    15: [9.78, 10.51, 11.33, 11.87, 12.55, 13.40, 14.44, 15.69],
    20: [9.53, 10.26, 11.10, 11.66, 12.35, 13.21, 14.27, 15.53],
    25: [9.28, 10.01, 10.88, 11.45, 12.16, 13.03, 14.10, 15.37],
    30: [9.03, 9.77, 10.66, 11.24, 11.96, 12.85, 13.93, 15.21],
    35: [8.80, 9.54, 10.44, 11.04, 11.77, 12.67, 13.76, 15.06],
    40: [8.57, 9.31, 10.23, 10.84, 11.59, 12.50, 13.60, 14.90],
}
INVERSE_T = [10, 15, 20, 25, 30, 35]
INVERSE = {
    10.0: [39.4, 42.9, 46.5, 49.9, 52.9, 55.5],
    11.5: [59.3, 61.7, 63.7, 65.4, 66.9, 68.3],
    12.0: [64.2, 66.0, 67.6, 69.0, 70.2, 71.4],
    13.0: [71.6, 72.8, 73.9, 74.8, 75.7, 76.6],
    14.0: [77.2, 78.0, 78.8, 79.6, 80.3, 81.0],
}


@pytest.mark.parametrize("temp", TABLE)
def test_table_of_equilibrium_moisture(temp: int) -> None:
    assert 100.0 * emc_wb(temp, np.array(RH)) == pytest.approx(TABLE[temp], abs=0.02)


@pytest.mark.parametrize("percent", INVERSE)
def test_table_of_equilibrium_humidity(percent: float) -> None:
    moisture = percent / (100.0 - percent)
    assert 100.0 * erh(np.array(INVERSE_T, float), moisture) == pytest.approx(INVERSE[percent], abs=0.06)


def test_the_misprint_is_not_reproduced() -> None:
    # A re-issue of 2008 prints a constant that gives 13.44 % wb here.
    assert 100.0 * float(emc_wb(25.0, 0.70)) == pytest.approx(12.16, abs=0.02)
    assert abs(100.0 * float(emc_wb(25.0, 0.70)) - 13.44) > 1.0


def test_dry_basis_values() -> None:
    assert 100.0 * emc_db(25.0, np.array([0.6, 0.7, 0.8])) == pytest.approx([12.21, 13.84, 16.41], abs=0.02)


def test_published_pair_of_water_activity_and_moisture() -> None:
    # Osorio et al. 2026 (second-hand): mean aw 0.621 at 11.35 % wb, 216 arabica samples;
    # stated tolerance of the model +-0.5 point.
    assert 100.0 * float(emc_wb(25.0, 0.621)) == pytest.approx(11.35, abs=0.5)


def test_published_store_band() -> None:
    # Anacafe wet-milling text: 20 C and about 65 % RH hold parchment at 10-12 %.
    assert 10.0 <= 100.0 * float(emc_wb(20.0, 0.65)) <= 12.0


@given(st.floats(5.0, 55.0), st.floats(0.06, 0.98))
def test_there_and_back(temp: float, rh: float) -> None:
    assert float(erh(temp, emc_db(temp, rh))) == pytest.approx(rh, abs=1e-9)


@given(st.floats(5.0, 55.0), st.floats(0.06, 0.95), st.floats(0.001, 0.03))
def test_damper_air_means_wetter_parchment(temp: float, rh: float, more: float) -> None:
    assert float(emc_db(temp, rh + more)) > float(emc_db(temp, rh))


@pytest.mark.parametrize(("temp", "rh"), [(4.0, 0.6), (56.0, 0.6), (25.0, 0.04), (25.0, 1.0), (25.0, 60.0)])
def test_refuses_outside_the_data(temp: float, rh: float) -> None:
    with pytest.raises(RangeError):
        emc_db(temp, rh)


def test_refuses_moisture_it_does_not_cover() -> None:
    with pytest.raises(RangeError, match="outside what the isotherm covers"):
        erh(25.0, 0.9)


@pytest.mark.parametrize(("rh", "percent"), [(0.6, 11.07), (0.7, 12.25), (0.8, 13.83)])
def test_smooth_form_of_the_engine(rh: float, percent: float) -> None:
    # Printed comparison of the refit at 25 C; form error against the default up to 0.3 point.
    m = float(oswin_emc_db(25.0, rh))
    assert 100.0 * m / (1.0 + m) == pytest.approx(percent, abs=0.01)
    assert 100.0 * abs(m / (1 + m) - float(emc_wb(25.0, rh))) < 0.31


@given(st.floats(5.0, 55.0), st.floats(0.05, 0.98))
def test_smooth_form_there_and_back(temp: float, rh: float) -> None:
    assert float(oswin_erh(temp, oswin_emc_db(temp, rh))) == pytest.approx(rh, abs=1e-10)


def test_says_where_it_was_not_fitted() -> None:
    assert fit_note("arabica", "washed") == ""
    assert "not fitted for this species" in fit_note("robusta", "washed")
    with pytest.raises(NotFittedError, match="liberica"):
        require_fitted("liberica", "cherry")
