"""The weather generator: constants and long-run behaviour."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from scipy.linalg import solve_discrete_lyapunov

from drydown.air.normals import (
    RESIDUAL_A,
    RESIDUAL_B,
    MonthNormals,
    generate,
    month_sun_kwh,
    residuals,
    wet_day_chances,
)
from drydown.air.series import Site
from drydown.errors import InputError, RangeError

SITE = Site(-3.4, 45.0, 1690.0, 3.0)
MONTH = MonthNormals(25.0, 13.5, 0.70, 90.0, 12.0, 2.0, 5.2)
YEAR = tuple(replace(MONTH, rain_mm=60.0 + 10 * m, rain_days=8.0 + m) for m in range(12))


def test_a_date_has_one_weather_whatever_the_start_and_the_horizon() -> None:
    """Two lots a day apart, two horizons, two numbers of members: the same futures on the same dates."""
    start = datetime(2026, 3, 4, 6, tzinfo=SITE.zone)
    long, short = generate(SITE, YEAR, start, 480, 6, 9), generate(SITE, YEAR, start, 240, 3, 9)
    later = generate(SITE, YEAR, start + timedelta(days=1), 240, 6, 9)
    for name in ("temp_c", "rh", "ghi_wm2", "wind_ms", "rain_mm", "sky_wm2"):
        whole = getattr(long, name)
        assert np.array_equal(whole[:3, :240], getattr(short, name))
        assert np.allclose(whole[:, 24:264], getattr(later, name), atol=2e-3 if name == "temp_c" else 0.5)
    assert np.allclose(long.rain_mm[:, 24:264], later.rain_mm)


def test_residual_constants_were_read_row_by_row() -> None:
    # Stationary covariance and lag-1 covariance of the published matrices (derived); a
    # row/column mix-up fails this.
    covariance = solve_discrete_lyapunov(RESIDUAL_A, RESIDUAL_B @ RESIDUAL_B.T)
    expected = [[1.0, 0.634, 0.186], [0.634, 1.001, -0.193], [0.186, -0.193, 1.0]]
    assert covariance == pytest.approx(np.array(expected), abs=0.004)
    lag = [[0.621, 0.446, 0.087], [0.563, 0.674, -0.100], [0.015, -0.090, 0.250]]
    assert RESIDUAL_A @ covariance == pytest.approx(np.array(lag), abs=0.004)
    assert max(abs(np.linalg.eigvals(RESIDUAL_A))) == pytest.approx(0.688, abs=0.001)


def test_drawn_residuals_have_that_covariance() -> None:
    x = residuals(np.random.default_rng(1).standard_normal((400, 420, 3))).reshape(-1, 3)
    expected = solve_discrete_lyapunov(RESIDUAL_A, RESIDUAL_B @ RESIDUAL_B.T)
    assert np.cov(x.T) == pytest.approx(expected, abs=0.02)


@pytest.mark.parametrize("days", [0.0, 3.0, 12.0, 25.0])
def test_chain_keeps_the_share_of_wet_days(days: float) -> None:
    # Geng et al. 1986: f = P(W|D) / (1 + P(W|D) - P(W|W)).
    after_dry, after_wet = wet_day_chances(days, 30.0)
    assert after_dry / (1.0 + after_dry - after_wet) == pytest.approx(days / 30.0)


def test_long_run_means_are_the_normals() -> None:
    w = generate(SITE, YEAR, datetime(2026, 1, 1, tzinfo=SITE.zone), 8760, 40, 3)
    assert w.temp_c.mean() == pytest.approx((25.0 + 13.5) / 2.0, abs=0.4)
    assert w.rh.mean() == pytest.approx(0.70, abs=0.02)
    assert w.ghi_wm2.sum() / 40 / 365 / 1e3 == pytest.approx(5.2, rel=0.02)
    assert w.wind_ms.mean() == pytest.approx(2.0, rel=0.03)
    assert w.rain_mm.sum() / 40 == pytest.approx(sum(n.rain_mm for n in YEAR), rel=0.06)
    wet = (w.rain_mm.reshape(40, 365, 24).sum(axis=2) > 0).sum() / 40
    assert wet == pytest.approx(sum(n.rain_days for n in YEAR), rel=0.04)


def test_same_seed_same_weather_and_another_seed_another() -> None:
    start = datetime(2026, 5, 1, 9, tzinfo=UTC)
    one, two = generate(SITE, YEAR, start, 240, 5, 9), generate(SITE, YEAR, start, 240, 5, 9)
    assert one.digest() == two.digest()
    assert one.digest() != generate(SITE, YEAR, start, 240, 5, 10).digest()


def test_sun_of_a_month_by_what_is_known() -> None:
    assert month_sun_kwh(SITE, 1, MONTH) == (5.2, "measured sun")
    hours = replace(MONTH, ghi_kwh_m2=None, sunshine_h=6.0)
    assert month_sun_kwh(SITE, 1, hours)[1] == "sunshine hours"
    last = month_sun_kwh(SITE, 1, replace(MONTH, ghi_kwh_m2=None))
    assert "weak" in last[1]
    assert 4.0 < last[0] < 7.0


@pytest.mark.parametrize(
    "change",
    [{"tmax_c": 10.0}, {"rh": 70.0}, {"rain_days": 0.0}, {"rain_mm": -1.0}, {"wind_ms": 99.0}],
)
def test_impossible_normals_are_refused(change: dict[str, float]) -> None:
    with pytest.raises(InputError):
        replace(MONTH, **change)


def test_sun_in_the_wrong_unit_is_noticed() -> None:
    # 5.2 kWh is 18.7 MJ: typed as kWh it is far above a clear sky.
    with pytest.raises(InputError, match="Check the unit"):
        generate(
            SITE, tuple(replace(n, ghi_kwh_m2=18.7) for n in YEAR), datetime(2026, 1, 1, tzinfo=UTC), 24, 1, 1
        )


def test_bounds_on_size() -> None:
    start = datetime(2026, 1, 1, tzinfo=UTC)
    with pytest.raises(RangeError):
        generate(SITE, YEAR, start, 24, 0, 1)
    with pytest.raises(InputError, match="twelve"):
        generate(SITE, YEAR[:3], start, 24, 1, 1)
