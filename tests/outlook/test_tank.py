"""Fermentation: published kinetics, and windows that a station's own tanks narrow and that hold."""

from __future__ import annotations

import numpy as np
import pytest

from drydown.errors import InputError
from drydown.outlook.tank import TankRun, learnt_hours, window_of
from drydown.steps.ferment import late_risk, let_go, sugar_used


def test_sugars_are_those_of_the_paper() -> None:
    """Puerta 2013, Cenicafe 64(1): 15.9 % of reducing and 20 % of total sugars gone at 20 h, half at 45 to
    47 h or a little later; a first-order reading of its rate (67 % at 20 h) is a trap."""
    assert sugar_used(20.0, "reducing") == pytest.approx(0.159, abs=5e-4)
    assert sugar_used(20.0, "total") == pytest.approx(0.200, abs=1.5e-3)
    assert 0.35 < sugar_used(46.0, "reducing") < 0.5
    hours = np.arange(0.0, 74.0, 0.5)
    rate = np.diff([sugar_used(h, "total") for h in hours])
    assert 44.0 < hours[int(np.argmax(rate))] < 52.0  # the peak of sugar loss: 45 to 47 h in the paper


def test_late_washing_is_a_slope() -> None:
    """Cenicafe journal: 0 to 11 % chance of a defective cup 2 to 8 h after the end at 19 C."""
    risks = [float(late_risk(h)) for h in (0.0, 2.0, 4.0, 6.0, 8.0, 12.0, 36.0)]
    assert risks[0] == 0.0
    assert all(0.0 < r <= 0.11 + 1e-12 for r in risks[1:5])
    assert risks == sorted(risks)
    assert risks[-1] == 1.0
    assert float(late_risk(4.0, 29.0)) > 1.8 * float(late_risk(4.0, 19.0))


def test_most_has_let_go_at_the_end_and_little_at_the_beginning() -> None:
    """Penuela 2012: 95 % is off where the probe says ready; the start is slow."""
    assert float(let_go(1.0)) == pytest.approx(0.95)
    assert float(let_go(0.0)) < 0.02
    assert np.all(np.diff(let_go(np.linspace(0, 1.5, 50))) > 0.0)


def _station(rng: np.random.Generator) -> tuple[float, float, float, float]:
    """An invented station: its middle, spread, Q10, and the warmth of its season."""
    middle = np.log(16.0) + 0.20 * rng.standard_normal()
    spread = 0.14 * np.sqrt(6.0 / rng.chisquare(6.0))
    return middle, spread, rng.uniform(2.0, 2.5), rng.uniform(12.0, 28.0)


def _tank(rng: np.random.Generator, station: tuple[float, float, float, float]) -> tuple[float, TankRun]:
    """A tank: true hours to its end, and what tests each two hours from eight hours on told of it."""
    middle, spread, q10, season = station
    temp = season + 1.5 * rng.standard_normal()
    true_c = np.clip(temp + rng.standard_normal(), 10.0, 35.0)
    end = float(np.exp(middle + spread * rng.standard_normal()) * q10 ** ((20.0 - true_c) / 10.0))
    every = max(1.0, 0.08 * end)
    tests = np.arange(0.4 * end, 4.0 * end, every) + rng.uniform(0, every)
    before = tests[tests < end]
    return end, TankRun(float(before[-1]) if before.size else 0.0, float(tests[tests >= end][0]), float(temp))


def test_ten_tanks_narrow_the_window_and_it_holds() -> None:
    """100 invented stations of 12 to 28 C: after ten tanks the window holds 70 to 90 % of the next ten."""
    inside, before, widths = [], [], []
    for number in range(100):
        rng = np.random.default_rng([11, number])
        station = _station(rng)
        known = learnt_hours([_tank(rng, station)[1] for _ in range(10)])
        nothing = learnt_hours([])
        for _ in range(10):
            end, run = _tank(rng, station)
            told = window_of(known, run.temp_c, seed=number).hours
            plain = window_of(nothing, run.temp_c, seed=number).hours
            inside.append(told.low <= end <= told.high)
            before.append(plain.low <= end <= plain.high)
            widths.append((told.high - told.low) / (plain.high - plain.low))
    assert 0.70 <= np.mean(inside) <= 0.90, np.mean(inside)
    assert 0.70 <= np.mean(before) <= 0.90, np.mean(before)
    assert np.median(widths) < 0.85, np.median(widths)


def test_a_test_that_says_not_yet_moves_the_window_on() -> None:
    time = learnt_hours([])
    early, later = window_of(time, 20.0), window_of(time, 20.0, not_yet_h=18.0)
    assert later.hours.low >= 18.0
    assert later.hours.value > early.hours.value
    odd = window_of(time, 20.0, not_yet_h=70.0)  # what the hours do not expect: the test rules
    assert odd.hours.low >= 70.0
    assert window_of(time, 20.0, not_yet_h=10.0, ready_h=12.0).hours.high <= 12.0
    assert window_of(time, 12.0).hours.value > 1.7 * early.hours.value
    assert early.risk(8.0) < early.risk(20.0) < early.risk(40.0)


def test_a_tank_cannot_be_ready_before_it_was_not() -> None:
    with pytest.raises(InputError, match="ready before"):
        learnt_hours([TankRun(14.0, 12.0, 20.0)])
