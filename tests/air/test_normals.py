"""The weather generator: constants and long-run behaviour."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from scipy.linalg import solve_discrete_lyapunov

from drydown.air.generator import LAG, TOGETHER, _residuals, generate
from drydown.air.learn import learn, normals_from
from drydown.air.normals import MonthNormals, month_sun_kwh
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


def test_residuals_hang_together_and_remember_as_stated() -> None:
    # A first-order process with noise R - lag R lag keeps covariance R and lag-1 covariance lag R (scipy's
    # solver of the discrete Lyapunov equation); a row and column mix-up fails this.
    noise = TOGETHER - LAG[:, None] * TOGETHER * LAG[None, :]
    assert np.linalg.eigvalsh(noise).min() > 0.0
    assert solve_discrete_lyapunov(np.diag(LAG), noise) == pytest.approx(TOGETHER, abs=1e-12)
    x = _residuals(np.random.default_rng(1).standard_normal((400, 420, 5)))[:, 40:]
    flat = x.reshape(-1, 5)
    assert np.cov(flat.T) == pytest.approx(TOGETHER, abs=0.02)
    lagged = np.mean(x[:, 1:, :, None] * x[:, :-1, None, :], axis=(0, 1))
    assert np.diag(lagged) == pytest.approx(LAG, abs=0.02)


@pytest.mark.parametrize("stays", [0.1, 0.3, 0.45])
def test_the_chain_keeps_the_share_of_wet_days_and_its_persistence(stays: float) -> None:
    # f = P(W|D)/(1 + P(W|D) - P(W|W)); persistence r = P(W|W) - P(W|D): both counted from what comes out.
    year = tuple(replace(MONTH, rain_days=10.0, rain_mm=80.0) for _ in range(12))
    start = datetime(2026, 1, 1, tzinfo=SITE.zone)
    w = generate(SITE, year, start, 8760, 30, 3, {"rain_persistence": stays})
    wet = w.rain_mm.reshape(30, 365, 24).sum(axis=2) >= 1.0
    assert wet.mean() == pytest.approx(10.0 / 30.4, abs=0.015)
    after_wet, after_dry = wet[:, 1:][wet[:, :-1]].mean(), wet[:, 1:][~wet[:, :-1]].mean()
    assert after_wet - after_dry == pytest.approx(stays, abs=0.03)


def test_the_day_follows_the_sun_and_not_the_clock() -> None:
    # Parton and Logan 1981: coldest at sunrise, warmest after the sun's noon. The same sun on a clock two
    # hours on.
    on = replace(SITE, utc_offset_h=5.0)
    start = datetime(2026, 3, 1, tzinfo=SITE.zone)
    known = {"warmest_after_noon_h": 1.5}
    here = generate(SITE, YEAR, start, 720, 20, 3, known).temp_c.reshape(20, 30, 24).mean(axis=(0, 1))
    there = generate(on, YEAR, start.replace(tzinfo=on.zone), 720, 20, 3, known).temp_c
    late = there.reshape(20, 30, 24).mean(axis=(0, 1))
    assert late.argmax() - here.argmax() == 2
    assert late.argmin() - here.argmin() in (2, -22)
    assert here.argmin() in (5, 6)


def test_what_a_station_knows_of_its_climate_is_kept() -> None:
    # Each number counted back from what was generated, by the estimators a station learns with.
    known = {"wet_sun": 0.70, "rain_persistence": 0.40, "wind_night": 0.70, "rain_usual_h": 6.0}
    rainy = tuple(replace(MONTH, rain_days=13.0, rain_mm=110.0) for _ in range(12))
    series = generate(SITE, rainy, datetime(2026, 1, 1, tzinfo=SITE.zone), 9600, 8, 3, known)
    found = [learn(series.draw(np.array([m]))) for m in range(8)]
    for name, value in known.items():
        told = np.mean([f[name].value for f in found])
        assert told == pytest.approx(value, abs=0.06 if name != "rain_usual_h" else 1.0), name
    again = [m for m in normals_from(series.draw(np.array([0]))) if m is not None]
    assert np.mean([m.rain_days for m in again]) == pytest.approx(13.0, rel=0.25)


def test_long_run_means_are_the_normals() -> None:
    w = generate(SITE, YEAR, datetime(2026, 1, 1, tzinfo=SITE.zone), 8760, 40, 3)
    day = w.temp_c.reshape(40, 365, 24)
    # Hour means reach to within half a degree of the moment's high and low.
    assert day.max(axis=2).mean() == pytest.approx(25.0, abs=0.4)
    assert day.min(axis=2).mean() == pytest.approx(13.5, abs=0.4)
    assert w.rh.mean() == pytest.approx(0.70, abs=0.02)
    assert w.ghi_wm2.sum() / 40 / 365 / 1e3 == pytest.approx(5.2, rel=0.02)
    assert w.wind_ms.mean() == pytest.approx(2.0, rel=0.03)
    assert w.rain_mm.sum() / 40 == pytest.approx(sum(n.rain_mm for n in YEAR), rel=0.06)
    wet = (w.rain_mm.reshape(40, 365, 24).sum(axis=2) >= 1.0).sum() / 40  # days of 1 mm and more
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
