"""Fruit by day: seasons told apart, the crop as expected, the days to come; invented series, closed forms."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest

from drydown.errors import RangeError
from drydown.station.harvest import crop_until, expected_days, seasons
from drydown.station.trade import Crop

BEGIN = date(2026, 9, 7)  # a Monday


def test_seasons_are_parted_by_sixty_days_without_fruit() -> None:
    fruit = {
        BEGIN: 10.0,
        BEGIN + timedelta(days=60): 20.0,
        BEGIN + timedelta(days=121): 5.0,
        BEGIN + timedelta(3): 0,
    }
    found = seasons(fruit)
    assert [s.first for s in found] == [BEGIN, BEGIN + timedelta(days=121)]
    assert found[0].kg.sum() == 30.0
    assert found[0].so_far()[-1] == 30.0
    assert seasons({}) == []


def test_a_crop_s_band_holds_44_percent_within_a_fifth() -> None:
    """Rendon et al. 2008, Cenicafe 59(3): production within 20 % of the forecast in 44.1 % of cases."""
    from scipy.stats import norm

    crop = Crop(fruit_kg=100_000.0, begins=BEGIN, ends=BEGIN + timedelta(days=89))
    low, middle, high = crop_until(crop, crop.ends)
    assert middle == pytest.approx(100_000.0)
    spread = (high - low) / 2.0 / norm.ppf(0.9)
    within = norm.cdf(20_000.0 / spread) - norm.cdf(-20_000.0 / spread)
    assert within == pytest.approx(0.441, abs=0.01)
    assert crop_until(crop, BEGIN - timedelta(days=1))[1] == 0.0
    assert crop_until(crop, BEGIN + timedelta(days=44))[1] == pytest.approx(50_000.0, rel=0.02)


def made(
    days: int, seed: int, weekday: list[float], grows: float = 0.0, noise: float = 0.3
) -> dict[date, float]:
    rng = np.random.default_rng(seed)
    return {
        BEGIN + timedelta(days=n): float(
            1000.0 * weekday[n % 7] * np.exp(grows * n + noise * rng.standard_normal())
        )
        for n in range(days)
    }


def test_weekdays_and_a_closed_sunday_are_learnt() -> None:
    week = [1.5, 1.0, 1.0, 1.0, 1.0, 0.5, 0.0]
    (season,) = seasons(made(28, 1, week, noise=0.05))
    coming = expected_days(season, BEGIN + timedelta(days=27), 7)
    kg = np.array([d.kg for d in coming])
    assert kg[6] == 0.0
    assert kg[0] == pytest.approx(1500.0, rel=0.15)
    assert kg[5] == pytest.approx(500.0, rel=0.25)
    assert all(d.low <= d.kg <= d.high for d in coming)


def test_eight_in_ten_days_lie_between_low_and_high() -> None:
    """Over 60 invented stations whose fruit grows or falls, a week told after four weeks."""
    inside = total = 0
    for seed in range(60):
        grows = (-0.02, 0.0, 0.02)[seed % 3]
        fruit = made(35, seed, [1.2, 1.0, 1.0, 1.0, 1.1, 0.9, 0.8], grows)
        (season,) = seasons({d: kg for d, kg in fruit.items() if (d - BEGIN).days < 28})
        for told in expected_days(season, BEGIN + timedelta(days=27), 7):
            inside += told.low <= fruit[told.on] <= told.high
            total += 1
    assert 0.70 <= inside / total <= 0.95


def test_few_days_are_refused_in_a_sentence() -> None:
    (season,) = seasons(made(5, 1, [1.0] * 7))
    with pytest.raises(RangeError, match="too few"):
        expected_days(season, BEGIN + timedelta(days=4), 3)
