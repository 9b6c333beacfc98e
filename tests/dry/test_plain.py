"""The kernel's rates against the equations written a second time (`plain.py`), term by term."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from drydown.steps.dry.bed import bed_geometry
from drydown.steps.dry.compiled import compiled
from drydown.steps.dry.constants import V
from drydown.steps.dry.kernel import capacities, rates
from drydown.steps.dry.lanes import begin, read_air, state_rows
from drydown.steps.dry.layout import BED_LAYERS, LANES, MACHINE_LAYERS, PARAMETERS
from drydown.steps.dry.rows import (
    AIR1,
    AW,
    BED1,
    CAP,
    CAUGHT,
    DRIFT,
    EF,
    ES,
    F0,
    NOW,
    NS,
    PHI,
    PIN,
    PS,
    PV,
    S0,
    SIDE,
    SIZE,
    SLABHEAT,
    SOAK,
    STATE,
    T0,
    TAIR,
    TIN,
    X0,
    M,
    W,
)
from tests.dry.plain import plain_rates

KINDS = ("mesh", "floor", "tunnel", "bin", "bin that takes its air again", "tray unheated")
TERMS = ("aw", "ps", "wet", "pv", "es", "ef", "soak", "caught", "p_in", "t_in", "t_b", "dx", "dfilm", "heat",
         "slab", "dt", "ds")  # fmt: skip


@compiled
def kernel_rates(ws: Any, hourly: Any, layers: int) -> None:
    """The kernel's own way from air and state to rates."""
    read_air(ws, hourly, 0, 0.5, AIR1)
    capacities(ws, STATE, layers, 0.0, DRIFT)
    bed_geometry(ws, AIR1, BED1, STATE, layers)
    rates(ws, STATE, NOW, BED1, AIR1, SIDE, layers)


def drawn(kind: str, rng: np.random.Generator) -> tuple[dict[str, float], dict[str, float], list[Any]]:
    """A random parameter set, air and state of a kind of place."""
    machine = kind.startswith(("bin", "tray"))
    n = MACHINE_LAYERS if machine else BED_LAYERS
    p = {
        "radius_m": rng.uniform(0.003, 0.008), "d40_m2_s": 10 ** rng.uniform(-11.3, -10.0),
        "ea_j_mol": rng.uniform(3e4, 6e4), "absorptance": rng.uniform(0.4, 0.95),
        "light_depth_m": rng.uniform(0.004, 0.015), "porosity": rng.uniform(0.35, 0.55),
        "dm_wet_kg_m3": rng.uniform(200, 400), "dm_dry_kg_m3": rng.uniform(200, 600),
        "x_wet": rng.uniform(0.8, 2.2), "x_dry": 0.12, "x_soak": rng.uniform(0.6, 2.2),
        "isotherm_scale": rng.uniform(0.9, 1.2), "film_m": 2e-5, "film_hold_m": 1e-4,
        "load_dm_kg_m2": rng.uniform(1.0, 100.0 if machine else 20.0),
        "emissivity": 0.0 if machine else 0.93, "open_below": float(kind in {"mesh", "tunnel"}),
        "h_scale": rng.uniform(0.7, 1.4), "pressure_pa": rng.uniform(7.5e4, 1.02e5),
        "slab_absorptance": rng.uniform(0.3, 0.9), "ground_c": rng.uniform(10, 30),
        "vent_m_s": rng.uniform(0.005, 0.05) if kind == "tunnel" else 0.0,
        "cover_w_m2k": 6.0 if kind == "tunnel" else 0.0, "floor_gain": 0.3 if kind == "tunnel" else 0.0,
        "air_m_s": rng.uniform(0.05, 0.6) if machine else 0.0,
        "air_set_c": -np.inf if kind == "tray unheated" or not machine else rng.uniform(30, 70),
        "bean_cap_c": rng.uniform(35, 60) if machine else np.inf,
        "recirculated": 0.7 if "again" in kind else 0.0, "air_resistance": rng.uniform(1, 4),
        "hull_kg_m2_s_pa": 10 ** rng.uniform(-9.5, -6.0), "wind_draw": rng.uniform(0.0, 0.3),
        "slab_k_w_mk": rng.uniform(0.5, 2.0), "slab_j_m3k": rng.uniform(1.4e6, 2.4e6),
    }  # fmt: skip
    covered = float(rng.uniform() < 0.3)
    air = {
        "temp_c": rng.uniform(5, 38), "rh": rng.uniform(0.2, 0.99), "sun": rng.uniform(0, 1000),
        "wind": rng.uniform(0, 6), "rain": rng.uniform(0, 0.7) if covered else max(0.0, rng.uniform(-4, 4)),
        "sky": rng.uniform(250, 430), "covered": covered,
    }  # fmt: skip
    air["vapour_pa"] = air["rh"] * 610.55 * float(np.exp(17.1032 * air["temp_c"] / (air["temp_c"] + 234.449)))
    x = rng.uniform(0.06, 1.6, (n, NS))
    film = rng.uniform(0, 0.4, n) * (rng.uniform(size=n) < 0.7)
    return p, air, [x, film, rng.uniform(2, 55, n), rng.uniform(10, 45, M)]


def by_kernel(p: dict[str, float], air: dict[str, float], state: list[Any]) -> dict[str, Any]:
    """The same terms out of the kernel's work space."""
    x, film, t, s = state
    n = x.shape[0]
    ws = np.zeros(SIZE)
    table = np.repeat(np.array([[p[name]] for name in PARAMETERS]), LANES, axis=1)
    begin(ws, table, np.full((state_rows(n), LANES), 0.5), n)
    grid = ws.reshape(-1, W)
    grid[STATE + X0 : STATE + X0 + n * NS] = x.reshape(-1, 1)
    grid[STATE + F0 : STATE + F0 + n], grid[STATE + T0 : STATE + T0 + n] = film[:, None], t[:, None]
    grid[STATE + S0 : STATE + S0 + M] = s[:, None]
    names = ("temp_c", "rh", "sun", "wind", "rain", "sky", "covered")
    hourly = np.repeat(np.array([[air[name]] for name in names])[None], LANES, axis=2)
    kernel_rates(ws, np.ascontiguousarray(hourly), n)

    def rows(first: int, count: int = n) -> Any:
        return grid[first : first + count, 0].copy()

    side = rows(SIDE + X0, n * NS).reshape(n, NS)
    heat, slab = rows(SIDE + T0), rows(SIDE + S0, M)
    return {
        "aw": rows(NOW + AW), "ps": rows(NOW + PS), "wet": rows(NOW + PHI), "pv": rows(NOW + PV),
        "es": rows(NOW + ES), "ef": rows(NOW + EF), "soak": rows(NOW + SOAK), "caught": rows(NOW + CAUGHT),
        "p_in": rows(BED1 + PIN, 1), "t_in": rows(BED1 + TAIR, 1), "t_b": rows(BED1 + TIN, 1), "dx": side / V,
        "dfilm": rows(SIDE + F0), "heat": heat, "slab": slab, "dt": heat / rows(CAP),
        "ds": slab / rows(SLABHEAT, 1),
    }  # fmt: skip


@pytest.mark.parametrize("kind", KINDS)
def test_the_kernel_s_rates_are_the_equations(kind: str) -> None:
    rng = np.random.default_rng(KINDS.index(kind))
    seen = dict.fromkeys(TERMS, 0.0)
    for _case in range(60):
        p, air, state = drawn(kind, rng)
        plain, kernel = plain_rates(p, air, *state), by_kernel(p, air, state)
        for term in TERMS:
            scale = max(float(np.abs(plain[term]).max()), 1e-12)
            worst = float(np.abs(plain[term] - kernel[term]).max()) / scale
            assert worst < 2e-6, (kind, term, worst, plain[term], kernel[term])
            seen[term] = max(seen[term], float(np.abs(plain[term]).max()))
    idle = set() if kind == "floor" else {"slab", "ds"}
    assert all(value > 0.0 for term, value in seen.items() if term not in idle), seen
