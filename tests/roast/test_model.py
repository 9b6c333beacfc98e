"""The roast model: printed values, closure, signs, a kept solver beside it."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from drydown.errors import RangeError
from drydown.steps.roast.gas import CO2_G_MOL, CO_G_MOL, air_m3_h, half_degassed_h, litres, ppm_in_room
from drydown.steps.roast.model import (
    COLUMNS,
    EVAPORATION_KJ_KG,
    Batch,
    Roaster,
    RoastRun,
    bean_heat_kj_kg_k,
    drying_rate,
    organic_share,
    roast,
)

BATCH = Batch(1.0, 0.12 / 1.12, 210.0, ((0.0, 303.0),))


@pytest.fixture(scope="module")
def run() -> RoastRun:
    return roast(Roaster(), BATCH, 900.0)


@pytest.mark.parametrize(("x", "told"), [(0.05, 1.471), (0.13, 1.721), (0.20, 1.913)])
def test_heat_of_a_bean(x: float, told: float) -> None:
    """Schwartzberg 2002, from memory; arithmetic by hand at 28 C (T10)."""
    assert float(bean_heat_kj_kg_k(28.0, x)) == pytest.approx(told, abs=1e-3)


def test_isothermal_drying() -> None:
    """1/X - 1/X0 = k t at 200 C, 6.5 mm, 300 s from 0.12 (T11)."""
    k = float(drying_rate(200.0, 6.5))
    assert k == pytest.approx(0.08565, abs=1e-5)
    assert 1.0 / (1.0 / 0.12 + k * 300.0) == pytest.approx(0.029386, abs=1e-5)


def test_activation_energies() -> None:
    """9889 K and 5500 K as kJ/mol (T12): read off the rates themselves between two temperatures."""
    hot, cold = drying_rate(220.0, 6.5), drying_rate(180.0, 6.5)
    kelvin = 1.0 / (1.0 / 453.15 - 1.0 / 493.15)
    assert float(np.log(hot / cold)) * kelvin * 8.314462618e-3 == pytest.approx(82.22, abs=0.01)


@pytest.mark.parametrize(
    ("bean", "at", "x", "released", "probe"),
    [
        (100, 78.7, 0.1199, 1.2, 90.1), (150, 173.5, 0.1164, 14.1, 136.5), (175, 268.5, 0.0985, 47.6, 168.2),
        (196, 422.8, 0.0575, 119.1, 192.2), (205, 494.7, 0.0421, 150.6, 201.3),
        (220, 626.6, 0.0229, 195.6, 216.8), (224, 669.5, 0.0189, 205.6, 221.1),
        (228, 719.2, 0.01524, 214.5, 225.55),
    ],
)  # fmt: skip
def test_the_trial_drum(run: RoastRun, bean: int, at: float, x: float, released: float, probe: float) -> None:
    """Regression values of the references' trial model (T13), made by other code: 0.5 %."""
    second = run.when("bean_c", float(bean))
    assert second[0] == pytest.approx(at, rel=5e-3)
    here = run.at(second)[0]
    assert here[COLUMNS.index("moisture_db")] == pytest.approx(x, rel=5e-3, abs=2e-4)
    assert here[COLUMNS.index("reaction_kj_kg")] == pytest.approx(released, rel=5e-3, abs=0.1)
    assert here[COLUMNS.index("probe_c")] == pytest.approx(probe, abs=0.3)


def test_losses_of_the_trial_drum(run: RoastRun) -> None:
    """Organic 6.6 %, in all 15.3 %, 520 kJ/kg green to the beans (T13)."""
    second = run.when("bean_c", 228.0)
    here = run.at(second)[0]
    assert 100 * here[COLUMNS.index("organic")] == pytest.approx(6.6, abs=0.05)
    assert 100 * run.loss(second)[0] == pytest.approx(15.3, abs=0.05)
    assert here[COLUMNS.index("beans_kj")] == pytest.approx(520.0, rel=5e-3)


def test_heat_closes(run: RoastRun) -> None:
    """Gas and reactions in; beans, steam, metal and shell out: integrated by Simpson's rule, not by the
    model."""
    from scipy.integrate import simpson

    v, t, dry, r = run.values[0], run.seconds, BATCH.dry_kg, run.roaster
    bean, x = v[:, COLUMNS.index("bean_c")], v[:, COLUMNS.index("moisture_db")]
    rise = np.gradient(bean, t, edge_order=2)
    warmed = simpson(dry * (1.0 + x) * bean_heat_kj_kg_k(bean, x) * rise, x=t)
    steam = dry * EVAPORATION_KJ_KG * (x[0] - x[-1])
    freed = dry * v[-1, COLUMNS.index("reaction_kj_kg")]
    assert v[-1, COLUMNS.index("beans_kj")] + freed == pytest.approx(warmed + steam, rel=1e-4)
    metal = r.metal_kg * r.metal_kj_kg_k * (v[-1, COLUMNS.index("metal_c")] - BATCH.charge_c)
    out = v[-1, COLUMNS.index("beans_kj")] + metal + v[-1, COLUMNS.index("shell_kj")]
    assert v[-1, COLUMNS.index("gas_kj")] == pytest.approx(out, rel=1e-6)


def test_mass_closes(run: RoastRun) -> None:
    """Green = roasted + steam + organic, at any second."""
    for second in (0.0, 300.0, 719.0):
        here = run.at(np.array([second]))[0]
        x, organic = here[COLUMNS.index("moisture_db")], here[COLUMNS.index("organic")]
        roasted = BATCH.dry_kg * (1.0 - organic + x)
        steam = BATCH.dry_kg * (0.12 - x)
        assert roasted + steam + BATCH.dry_kg * organic == pytest.approx(1.0, rel=1e-9)
        assert run.loss(np.array([second]))[0] == pytest.approx(1.0 - roasted, abs=1e-9)


def drop(batch: Batch = BATCH, **more: Any) -> float:
    return float(roast(Roaster(**more), batch, 2400.0).when("bean_c", 228.0)[0])


def test_signs() -> None:
    """Wetter, bigger: later; hotter drum or gas: sooner; no reaction heat: much later (T13 gives the
    sizes)."""
    plain = drop()
    wetter = drop(Batch(1.0, 0.14 / 1.14, 210.0, ((0.0, 303.0),)))
    bigger = drop(Batch(1.15, 0.12 / 1.12, 210.0, ((0.0, 303.0),)))
    hotter = drop(Batch(1.0, 0.12 / 1.12, 230.0, ((0.0, 303.0),)))
    gas = drop(Batch(1.0, 0.12 / 1.12, 210.0, ((0.0, 313.0),)))
    small = drop(Batch(1.0, 0.12 / 1.12, 210.0, ((0.0, 303.0),), bean_mm=6.0))
    assert wetter / plain == pytest.approx(1.11, abs=0.01)
    assert bigger / plain == pytest.approx(1.15, abs=0.015)
    assert hotter / plain == pytest.approx(0.91, abs=0.01)
    assert gas / plain == pytest.approx(0.90, abs=0.01)
    assert small / plain == pytest.approx(0.98, abs=0.01)


def test_no_reaction_heat_is_half_as_long_again(monkeypatch: pytest.MonkeyPatch) -> None:
    from drydown.steps.roast import model

    plain = drop()
    monkeypatch.setattr(model, "reaction_kw_kg", lambda temp, _he: np.zeros_like(temp))
    assert drop() / plain == pytest.approx(1.54, abs=0.02)


def test_within_a_tenth_of_a_kelvin_of_cvode() -> None:
    """CVODE (sksundae) on the same right-hand side written out anew, without the model's code."""
    from sksundae.cvode import CVODE

    dry, area = 1.0 / 1.12, 6.0 / (1200.0 * 6.5e-3)
    flow, h, f = 0.006 * 1.05, 0.020, 0.15

    def side(_t: float, y: Any, dy: Any) -> None:
        b, m, x, he, p = y
        gas = flow * (303.0 - (b + f * m) / (1 + f)) * (1 - np.exp(-h * area * (1 + f) / flow))
        metal = f * (h * area * (b - m) + gas) / (1 + f)
        touch = 3e-3 * (m - b)
        dx = -4.32e9 * x * x / 6.5**2 * np.exp(-9889.0 / (b + 273.15))
        q = 116200.0 * np.exp(-5500.0 / (b + 273.15)) * (232.0 - he) / 232.0
        cp = 1.099 + 0.007 * b + 5.0 * x
        dy[0] = (gas - metal + touch + dry * (q + 2790.0 * dx)) / (dry * cp)
        dy[1] = (metal - touch - 1e-3 * (m - 25.0)) / 4.0
        dy[2], dy[3], dy[4] = dx, q, (b - p) / 30.0

    times = np.linspace(0.0, 900.0, 91)
    solver = CVODE(side, rtol=1e-10, atol=1e-10)
    theirs = np.asarray(solver.solve(times, np.array([25.0, 210.0, 0.12, 0.0, 210.0])).y)
    own = roast(Roaster(), BATCH, 900.0)
    for column, name in ((0, "bean_c"), (1, "metal_c"), (4, "probe_c")):
        mine = np.interp(times, own.seconds, own.column(name)[0])
        assert np.abs(mine - theirs[:, column]).max() < 0.1


def test_a_probe_lags_by_its_time(run: RoastRun) -> None:
    """tau x rate of rise, 30 s at 4.57 C/min: 2.29 C (T14), 2.45 by the equation."""
    second = run.when("bean_c", 228.0)
    here = run.at(second)[0]
    assert here[COLUMNS.index("bean_c")] - here[COLUMNS.index("probe_c")] == pytest.approx(2.45, abs=0.2)


def test_hot_air_and_electric_heat() -> None:
    """A hot-air roaster has no metal that matters; power and inlet are one thing: 0.5 kW over 0.0063 kW/K."""
    air = Roaster(gas_kg_s=0.03, h_w_m2k=80.0, metal_share=0.0, contact_w_k=0.0)
    batch = Batch(0.1, 0.11, 200.0, ((0.0, 240.0),))
    power = Batch(0.1, 0.11, 200.0, ((0.0, (240.0 - 25.0) * 0.03 * 1.05),), "heat_kw")
    one, other = (roast(air, b, 600.0).when("bean_c", 215.0)[0] for b in (batch, power))
    assert one == pytest.approx(other)
    assert 60.0 < one < 400.0
    assert power.hottest(air) == pytest.approx(240.0)


def test_a_bean_never_gets_hotter_than_its_gas_and_drum() -> None:
    """Second law, but for the heat of the reactions: 10 C of room."""
    run = roast(Roaster(), Batch(1.0, 0.11, 210.0, ((0.0, 210.0),)), 2400.0)
    assert run.column("bean_c").max() < 220.0
    assert np.isinf(run.when("bean_c", 228.0)[0])


def test_organic_loss_and_green_equivalent() -> None:
    """T9: 11 and 2 % wb, 15 % loss: 6.40 %. T8: the ICO's 1.19 is a loss of 15.97 %, 60 kg give 50.42."""
    assert 100 * organic_share(0.11, 0.02, 0.15) == pytest.approx(6.40, abs=0.01)
    assert pytest.approx(15.97, abs=0.005) == 100 * (1.0 - 1.0 / 1.19)
    assert pytest.approx(50.42, abs=0.01) == 60.0 / 1.19


def test_gas_in_a_room() -> None:
    """T20 and T21: 10 mg/g of a kilogram 5.56 L; 1 g CO in 30 m3 29.1 ppm; half gone after 27 h and 1.4 h."""
    assert litres(10.0, CO2_G_MOL) == pytest.approx(5.56, rel=0.01)
    assert ppm_in_room(1.0, CO_G_MOL, 30.0) == pytest.approx(29.1, rel=0.01)
    assert half_degassed_h(400.0, 0.5e-13) == pytest.approx(27.0, rel=0.03)
    assert half_degassed_h(400.0, 10e-13) == pytest.approx(1.4, rel=0.04)
    assert air_m3_h(2.0, CO_G_MOL, 35.0) == pytest.approx(2.0 * air_m3_h(1.0, CO_G_MOL, 35.0))


@pytest.mark.parametrize(
    "wrong",
    [
        {"green_kg": 0.0}, {"moisture_wb": 0.5}, {"charge_c": 500.0}, {"heat": ()}, {"heat": ((5.0, 300.0),)},
        {"heat": ((0.0, 600.0),)}, {"kind": "steam"}, {"bean_mm": 30.0},
    ],
)  # fmt: skip
def test_what_cannot_be_roasted_is_refused(wrong: dict[str, Any]) -> None:
    plain: dict[str, Any] = {"green_kg": 1.0, "moisture_wb": 0.11, "charge_c": 200.0, "heat": ((0.0, 300.0),)}
    with pytest.raises(RangeError):
        Batch(**(plain | wrong))
