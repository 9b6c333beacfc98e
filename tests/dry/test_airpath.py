"""Air drawn up through a warm bed, air taken again by a machine, air shut in by a film."""

from __future__ import annotations

import numpy as np
import pytest
from fluids.packed_bed import Ergun

from drydown.errors import InputError, RangeError
from drydown.steps.dry.airflow import ergun_pa_m
from drydown.steps.dry.airpath import against
from drydown.steps.dry.bed import bed_geometry
from drydown.steps.dry.data import Place, place
from drydown.steps.dry.fuel import fuel, fuel_names
from drydown.steps.dry.kernel import capacities, rates
from drydown.steps.dry.lanes import read_air
from drydown.steps.dry.layout import BED_LAYERS, LANES, column
from drydown.steps.dry.routine import Routine
from drydown.steps.dry.rows import (
    AIR1,
    BED1,
    DRIFT,
    EF,
    ES,
    GBOT,
    GFLOW,
    GPORE,
    GTOP,
    HBOT,
    HFLOW,
    HTOP,
    LINKG,
    NOW,
    PAIR,
    PIN,
    PV,
    SIDE,
    STATE,
    T0,
    TA,
    TAIR,
    TOUCH,
    W,
)  # fmt: skip
from drydown.steps.dry.run import DryingRun, dry
from drydown.units import GAS_CONSTANT_VAPOUR
from tests.dry.cases import fair_weather, one_member, typical
from tests.dry.reference import work_space

STILL = Routine(rake_hours=(), cover_from=None, rain_cover_mm=None)
NOON = 5
L = BED_LAYERS


def _moment(name: str, where: Place, temps: tuple[float, ...]) -> tuple[np.ndarray, np.ndarray]:
    """Work space after one call of the rates at noon with layers at `temps`, and the parameter table."""
    calm = typical(name) | {"wind_draw": np.zeros(1)}
    table, hourly, _raked, start = one_member(calm, where, fair_weather(2), STILL, 6.0)
    ws = work_space(table, start)
    for j, temp in enumerate(temps):
        ws[(STATE + T0 + j) * W : (STATE + T0 + j + 1) * W] = temp
    lanes = np.ascontiguousarray(np.repeat(hourly[:, :, None], LANES, axis=2))
    read_air(ws, lanes, NOON, 0.5, AIR1)
    capacities(ws, STATE, L, 0.0, DRIFT)
    bed_geometry(ws, AIR1, BED1, STATE, L)
    rates(ws, STATE, NOW, BED1, AIR1, SIDE, L)
    return ws, table


def _row(ws: np.ndarray, row: int) -> float:
    return float(ws[row * W])


@pytest.mark.parametrize("name", ["parchment", "cherry"])
@pytest.mark.parametrize("warmer", [2.0, 10.0, 30.0])
def test_drawn_air_balances_its_lift(name: str, warmer: float) -> None:
    # Ergun by the library fluids: pressure drop at the drawn speed, times the resistance factor,
    # equals the lift of the warm air in the layer.
    cool, _table = _moment(name, place("raised_bed"), (10.0,) * L)
    assert _row(cool, BED1 + GFLOW) == 0.0
    air = _row(cool, AIR1 + TA)
    ws, table = _moment(name, place("raised_bed"), (air + warmer,) * L)
    kelvin = air + 273.15
    covered = _row(ws, BED1 + TOUCH) / 12.0  # the share of the ground that beans cover
    speed = _row(ws, BED1 + GFLOW) * GAS_CONSTANT_VAPOUR * kelvin / covered
    density = table[column("pressure_pa")] / (287.042 * kelvin)
    diameter, porosity = 2.0 * table[column("radius_m")], table[column("porosity")]
    drop = Ergun(dp=diameter, voidage=porosity, vs=speed, rho=density, mu=1.81e-5, L=1.0)
    lift = density * 9.80665 * warmer / kelvin
    assert drop * table[column("air_resistance")] == pytest.approx(lift, rel=1e-6)
    assert ergun_pa_m(speed, diameter, porosity, density) == pytest.approx(drop, rel=1e-9)


@pytest.mark.parametrize("where", ["raised_bed", "patio", "tunnel", "static_bin", "again"])
def test_pore_vapour_and_chamber_against_a_dense_solve(where: str) -> None:
    # numpy's dense solver on the balances written anew: each layer, and the air of the chamber.
    spot = place("tray_dryer").set_to(recirculated=0.7) if where == "again" else place(where)
    ws, _table = _moment("parchment", spot, (30.0, 28.0, 26.0, 25.0))
    found = np.array([_row(ws, NOW + PV + j) for j in range(L)])
    top, below, pore, flow = (_row(ws, BED1 + r) for r in (GTOP, GBOT, GPORE, GFLOW))
    outside, fresh, met = (_row(ws, BED1 + r) for r in (PAIR, LINKG, PIN))
    given = np.array([_row(ws, NOW + ES + j) + _row(ws, NOW + EF + j) for j in range(L)])
    matrix, right = np.zeros((L + 1, L + 1)), np.append(given, 0.0)
    for j in range(L):
        up, down = (top if j == 0 else pore), (below if j == L - 1 else pore)
        matrix[j, j] += up + down + flow
        matrix[j, L if j == 0 else j - 1] -= up
        matrix[j, L if j == L - 1 else j + 1] -= down + flow
    if fresh > 0.0:
        matrix[L, L] = fresh + top + below + flow
        matrix[L, 0] -= top + flow
        matrix[L, L - 1] -= below
        right[L] = fresh * outside
    else:
        matrix[L, L], right[L] = 1.0, outside
    solved = np.linalg.solve(matrix, right)
    assert np.append(found, met) == pytest.approx(solved, rel=1e-9)


def test_air_of_a_tunnel_and_of_a_closed_machine_balances_its_heat() -> None:
    warm = (40.0, 36.0, 33.0, 30.0)
    ws, table = _moment("parchment", place("tunnel"), warm)
    outside, met = _row(ws, AIR1 + TA), _row(ws, BED1 + TAIR)
    top, below, through = (_row(ws, BED1 + r) for r in (HTOP, HBOT, HFLOW))
    air_j_m3k = 1006.0 * table[column("pressure_pa")] / (287.042 * (outside + 273.15))
    link = table[column("cover_w_m2k")] + table[column("vent_m_s")] * air_j_m3k
    sun = place("tunnel").light * fair_weather(2).ghi_wm2[0, NOON] * table[column("floor_gain")]
    gain = link * (outside - met) + sun + top * (warm[0] - met) + below * (warm[-1] - met)
    assert gain + through * (warm[0] - met) == pytest.approx(0.0, abs=1e-6)
    ws, _ = _moment("parchment", place("tray_dryer").set_to(recirculated=0.6), warm)
    outside = _row(ws, AIR1 + TA)
    assert _row(ws, BED1 + TAIR) == pytest.approx(0.4 * outside + 0.6 * warm[0], abs=1e-9)


@pytest.mark.parametrize("ratio", [1e-4, 0.019, 0.021, 0.5, 2.0, 8.0])
def test_exchange_through_a_film_that_air_passes(ratio: float) -> None:
    # Advection and conduction across a film by scipy's boundary-value solver: flux out where air leaves,
    # flux in where it enters, for a unit step of temperature; film conductance 1, carried = ratio.
    from scipy.integrate import solve_bvp

    def flux(bed: float, air: float, leaves: bool) -> float:
        """Upward flux at the bed's face, less what the passing air brings along at the air's state."""
        low, high = (bed, air) if leaves else (air, bed)
        solved = solve_bvp(
            lambda _z, y: np.vstack([y[1], ratio * y[1]]),
            lambda a, b: np.array([a[0] - low, b[0] - high]),
            np.linspace(0.0, 1.0, 41), np.vstack([np.linspace(low, high, 41), np.full(41, high - low)]),
            tol=1e-10,
        )  # fmt: skip
        return float(ratio * solved.y[0, 0] - solved.y[1, 0])

    film = against(ratio, 1.0, 0.0)
    assert flux(1.0, 0.0, leaves=True) == pytest.approx(ratio + film, rel=1e-6)
    assert -flux(1.0, 0.0, leaves=False) == pytest.approx(film, rel=1e-6)
    assert against(ratio, 1.0, 1.0) == 1.0


@pytest.mark.parametrize("where", ["raised_bed", "patio", "tunnel"])
@pytest.mark.parametrize(("name", "usual"), [("parchment", 12 / 2.13), ("cherry", 25 / 2.9)])
def test_a_thin_load_is_not_slow(where: str, name: str, usual: float) -> None:
    # Common practice, no source: spread thinner, it dries no later. Fewer beans than cover the ground
    # once took half the sun and paid the losses of a whole layer (cherry of 6 kg/m2: 23 days).
    days = [
        dry(typical(name), place(where), fair_weather(40), Routine(), usual * share, 0.11).done_h[0] / 24.0
        for share in (0.25, 0.5, 1.0, 2.0)
    ]
    assert days[3] > days[2]
    assert days[1] < 1.1 * days[2]
    assert days[0] < 1.25 * days[2]


def _machine(share: float) -> tuple[DryingRun, float]:
    spot = place("tray_dryer").set_to(air_set_c=45.0, recirculated=share)
    run = dry(typical("parchment"), spot, fair_weather(20), STILL, 10.0, 0.11)
    end = int(np.ceil(run.done_h[0]))
    return run, float(run.column("burner_mj_m2")[0, end] / run.column("evaporated_kg_m2")[0, end])


def test_air_taken_again_saves_heat_and_costs_time() -> None:
    # Latent heat of free water, 2.4 MJ/kg at 40 C, is the least any air can do (steam tables).
    runs = [_machine(share) for share in (0.0, 0.5, 0.8, 0.95)]
    heats, hours = [heat for _run, heat in runs], [float(run.done_h[0]) for run, _heat in runs]
    assert heats == sorted(heats, reverse=True)
    assert hours == sorted(hours)
    assert heats[-1] > 2.4
    assert heats[2] < 0.4 * heats[0]
    for run, _heat in runs:
        assert np.abs(run.column("water_residual")).max() < 1e-9
        assert np.abs(run.column("heat_residual")).max() < 1e-9


def test_a_bed_that_lets_air_through_is_cooler() -> None:
    hottest, hours = [], []
    for resistance in (1.0, 2.0, 4.0, 1e9):
        given = typical("cherry") | {"air_resistance": np.array([resistance])}
        run = dry(given, place("raised_bed"), fair_weather(40), Routine(), 8.6, 0.11)
        hottest.append(float(run.column("bean_temp_high_c").max()))
        hours.append(float(run.done_h[0]))
    assert hottest == sorted(hottest)
    assert hours == sorted(hours, reverse=True)
    tight = typical("cherry") | {"air_resistance": np.array([1e9])}
    floors = [
        dry(p, place("patio"), fair_weather(5), Routine(), 8.6, 0.11).values
        for p in (typical("cherry"), tight)
    ]
    assert np.array_equal(floors[0], floors[1])


def test_a_thin_load_in_a_gale_is_followed() -> None:
    gale = place("tray_dryer").set_to(air_m_s=2.5, air_set_c=100.0, bean_cap_c=99.0)
    # Steps may go far below a second now: it is followed, and no bean is hotter than the burner's air.
    run = dry(typical("parchment"), gale, fair_weather(4), STILL, 0.5, 0.11)
    assert run.column("bean_temp_high_c").max() <= 100.5


def test_machines_refuse_what_they_cannot_be() -> None:
    with pytest.raises(RangeError, match="recirculated"):
        place("drum").set_to(recirculated=0.99)
    with pytest.raises(RangeError, match="burner"):
        place("drum").set_to(burner=1.4)
    with pytest.raises(InputError, match="no fan"):
        place("patio").set_to(recirculated=0.5)
    with pytest.raises(InputError, match="not known"):
        place("drum").set_to(fuel_name="peat")
    # Coffee husk 18.98 MJ/kg (journal paper, read); LPG 46, wood at 20 % 15-16 (from memory, sure).
    assert fuel("coffee_husk").mj_kg == 18.98
    assert len(fuel_names()) == 6
