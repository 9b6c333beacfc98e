"""Keeping: published balances and dew points, closed forms, signs."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from drydown.errors import InputError, RangeError
from drydown.matter.sorption import emc_db
from drydown.outlook.keeping import DAYS, Kept, StoreAir, kept, months_words
from drydown.steps.keep import WALL_SOURCE, bag, bag_names, drift_db, store_air, sweats_below_c

MEMBERS = 200


def still(temp_c: float, rh: float, days: int = DAYS) -> StoreAir:
    """A store whose air never changes."""
    shape = (MEMBERS, 24 * days)
    return StoreAir(np.full(shape, temp_c), np.full(shape, rh), "still", WALL_SOURCE)


def month(wb: float, name: str, air: StoreAir, nights_c: float = 15.0) -> Kept:
    return kept(wb, 0.125, bag(name), air, np.full((MEMBERS, DAYS), nights_c), seed=3)


@pytest.mark.parametrize(("temp_c", "wb", "dew_c"), [(25, 0.12, 18.9), (30, 0.12, 24.0), (30, 0.13, 25.2)])
def test_a_sealed_lot_sweats_below_its_dew_point(temp_c: float, wb: float, dew_c: float) -> None:
    """By hand from the isotherm of Trejos et al. 1989 and Magnus' equation (17.62, 243.12)."""
    assert sweats_below_c(temp_c, wb) == pytest.approx(dew_c, abs=0.1)


def test_jute_is_in_balance_after_about_three_weeks() -> None:
    """Anacafe, text on wet milling: bagged coffee takes about three weeks to come into balance."""
    run = drift_db(
        np.array([0.16]), np.full((1, 21), 20.0), np.full((1, 21), 0.65), np.array([bag("jute").days[1]])
    )
    end = float(emc_db(20.0, 0.65))
    assert abs(run[0, -1] - end) < 0.06 * abs(0.16 - end)


def test_coffee_keeps_its_moisture_at_20_c_and_65_percent() -> None:
    """Anacafe, text on wet milling: at 20 C and about 65 % RH 10 to 12 % holds for months."""
    run = drift_db(np.full(50, 0.11 / 0.89), np.full((50, 180), 20.0), np.full((50, 180), 0.65),
                   bag("jute").draw(np.random.default_rng(1), 50))  # fmt: skip
    wet = run / (1.0 + run)
    assert wet.min() >= 0.10
    assert wet.max() <= 0.12


def test_a_store_at_80_percent_takes_coffee_out_of_the_rule() -> None:
    """Codex CXC 69-2009, as quoted: above 80 % RH coffee takes up water; 12.5 % wb is its rule."""
    assert month(0.11, "jute", still(25.0, 0.80)).leaves_day is not None
    assert month(0.11, "jute", still(25.0, 0.60)).leaves_day is None


def test_signs() -> None:
    damp = still(25.0, 0.80)
    then = [
        month(0.11, name, damp).then.value
        for name in ("jute", "woven plastic", "closed liner", "hermetic bag")
    ]
    assert then == sorted(then, reverse=True)
    assert then[0] > then[-1] + 1.0
    assert month(0.12, "jute", still(25.0, 0.55)).then.value < 12.0
    assert month(0.12, "hermetic bag", damp, nights_c=10.0).sweats
    assert not month(0.12, "hermetic bag", damp, nights_c=22.0).sweats
    assert month(0.12, "jute", damp, nights_c=5.0).sweats_c is None
    low, high = (month(0.11, "jute", damp).then.low, month(0.11, "jute", damp).then.high)
    assert low < then[0] < high


def test_walls_damp_a_day_as_a_first_order_lag_does() -> None:
    """Amplitude 1/sqrt(1 + (w tau)^2) of a sine; and the whole against scipy's solver."""
    hours = np.arange(24.0 * 20)
    outside = 20.0 + 6.0 * np.sin(2.0 * np.pi * hours / 24.0)
    inside, rh = store_air(outside[None], np.full((1, hours.size), 0.6), np.array([24.0]), np.array([24.0]))
    swing = (inside[0, -48:].max() - inside[0, -48:].min()) / 2.0
    assert swing == pytest.approx(6.0 / np.hypot(1.0, 2.0 * np.pi), rel=0.03)
    fine = solve_ivp(
        lambda t, y: (outside[min(int(t), hours.size - 1)] - y) / 24.0, (0.0, hours.size), [20.0],
        t_eval=[hours.size], max_step=0.5, rtol=1e-8,
    )  # fmt: skip
    assert inside[0, -1] == pytest.approx(fine.y[0, -1], abs=0.02)
    assert rh.max() < 0.97


def test_months_are_bands_with_a_source_and_no_day() -> None:
    for form in ("parchment", "green", "cherry", "mucilage"):
        found = months_words(form)
        assert found is not None
        assert found[1].text


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(InputError, match="not one of jute"):
        bag("cardboard")
    with pytest.raises(RangeError):
        store_air(np.full((1, 24), 20.0), np.full((1, 24), 0.5), np.array([0.0]), np.array([1.0]))
    assert len(bag_names()) == 5
