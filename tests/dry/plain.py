"""The equations of docs/drying.md, D1 to D27, once more: plain numpy, nothing shared with the kernel.

Written from the table of equations, every constant typed anew. Slow and simple on purpose.
"""

from __future__ import annotations

import itertools
from functools import cache

import numpy as np
from numpy.typing import NDArray

__all__ = ["Terms", "plain_rates"]

Array = NDArray[np.float64]
Terms = dict[str, Array]
N, M = 6, 6
RV, RA, CP, G, GAS, SIGMA = 461.52, 287.042, 1006.0, 9.80665, 8.31446261815324, 5.670374419e-8
A, B, C = 12.453, -0.05011, 3.8514


@cache
def geometry() -> tuple[Array, Array]:
    """D1: shares of volume and exchange factors."""
    edges = np.cbrt(np.array([0.98 * i / N for i in range(N + 1)] + [1.0]))
    nodes = np.array([0.75 * (b**4 - a**4) / (b**3 - a**3) for a, b in itertools.pairwise(edges)])
    factors = np.array([3.0 * edges[i + 1] ** 2 / (nodes[i + 1] - nodes[i]) for i in range(N)])
    return edges[1:] ** 3 - edges[:-1] ** 3, factors


def layer(p: dict[str, float], air: dict[str, float], mean: float, n: int) -> dict[str, float]:
    """D12 to D17: the layer and its exchange, before air is drawn through it."""
    k, kelvin = air["covered"], air["temp_c"] + 273.15
    share = min(max((mean - p["x_dry"]) / (p["x_wet"] - p["x_dry"]), 0.0), 1.0)
    dz = p["load_dm_kg_m2"] / (n * (p["dm_dry_kg_m3"] + (p["dm_wet_kg_m3"] - p["dm_dry_kg_m3"]) * share))
    eps, r = p["porosity"], p["radius_m"]
    dv = 2.5e-5 * 101325.0 / p["pressure_pa"]
    sherwood = 2.6 + (0.935 * (2.0 * r * p["air_m_s"] / 1.6e-5) ** 0.6 if p["air_m_s"] > 0 else 0.0)
    smaller = 1.0 + ((p["dm_dry_kg_m3"] / p["dm_wet_kg_m3"]) ** (2.0 / 3.0) - 1.0) * (1.0 - share)
    surface = 3.0 * (1.0 - eps) / r * dz
    u = 0.635 * air["wind"] * (1.0 - k)
    q = np.exp(-dz / p["light_depth_m"])
    fan = 1.0 if p["air_m_s"] > 0 else 0.0
    y = (1.0 - q**n) * (1.0 - fan) * (1.0 - k * air["rain"])
    h0 = (1.0 - k) * (2.8 + 3.0 * u) + 1.5 * k
    ht = h0 * p["h_scale"] * y
    hu = (0.8 * (1.0 - k) * (2.8 + 1.5 * u) + 0.5 * k) * p["h_scale"] * y * p["open_below"]
    gp = dv * eps**1.5 * (1.0 + 3.0 * u) / (RV * kelvin * dz)
    b = (1.0 - 0.85 * k) * RA / (0.90 * CP * p["pressure_pa"] * RV)

    def series(one: float, other: float) -> float:
        return one * other / (one + other) if one > 0 else 0.0

    return {
        "dz": dz, "A": surface, "q": float(q), "gp": gp, "ht": ht, "hu": hu, "h0": h0, "fan": fan, "u": u,
        "gb": smaller * surface * sherwood * dv / (2.0 * r) / (RV * kelvin), "smaller": smaller,
        "hull": smaller * surface * p["hull_kg_m2_s_pa"], "gt": series(ht * b, 2.0 * gp),
        "gu": series(hu * b, 2.0 * gp), "hr": (3.3 * (1.0 - k) + 0.5 * k) * y * p["open_below"],
        "fh": 1000.0 * p["film_m"] * surface, "hold": 1000.0 * p["film_hold_m"] * surface,
    }  # fmt: skip


def shrink(x: float) -> float:
    """D19: x/(e^x - 1)."""
    x = min(x, 15.0)
    return x / np.expm1(x) if x > 1e-9 else 1.0


def through(p: dict[str, float], air: dict[str, float], bed: dict[str, float], t: Array) -> dict[str, float]:
    """D18 to D22: air through the layer, the air inside, the burner."""
    kelvin, k = air["temp_c"] + 273.15, air["covered"]
    rho = p["pressure_pa"] / (RA * kelvin)
    again, flow = p["recirculated"], p["air_m_s"]
    vents = flow * (1.0 - again) / again if again > 0 else p["vent_m_s"]
    inside = vents > 0.0
    lam = p["cover_w_m2k"] + vents * CP * rho
    gain = p["floor_gain"] * air["sun"]

    def air_in(top: float, under: float, carried: float) -> float:
        if not inside:
            return air["temp_c"]
        return float((lam * air["temp_c"] + gain + (top + carried) * t[0] + under * t[-1])
                     / (lam + top + under + carried))  # fmt: skip

    still = air_in(bed["ht"], bed["hu"] + bed["hr"], 0.0)
    drive = rho * G * max(float(t.mean()) - still, 0.0) / kelvin
    drive += p["wind_draw"] * rho * (0.635 * air["wind"]) ** 2 / 2.0 / (t.size * bed["dz"])
    eps, d = p["porosity"], 2.0 * p["radius_m"]
    slow = 150.0 * p["air_resistance"] * 1.81e-5 * (1.0 - eps) ** 2 / (eps**3 * d**2)
    fast = 1.75 * p["air_resistance"] * rho * (1.0 - eps) / (eps**3 * d)
    drawn = (np.sqrt(slow**2 + 4.0 * fast * drive) - slow) / (2.0 * fast) if drive > 0 else 0.0
    v = flow if flow > 0 else drawn * (1.0 - k) * p["open_below"] * (1.0 - bed["q"] ** t.size)
    carried, gv = v * CP * rho, v / (RV * kelvin)
    ht, hu, gt, gu = bed["ht"], bed["hu"], bed["gt"], bed["gu"]
    if flow <= 0:
        ht *= shrink(carried / ht) if ht > 0 else 0.0
        hu *= shrink(carried / hu) if hu > 0 else 0.0
        gt *= shrink(gv / gt) if gt > 0 else 0.0
        gu *= shrink(gv / gu) if gu > 0 else 0.0
    hu += bed["hr"]
    t_in = air_in(ht, hu, carried)
    blown = min(p["air_set_c"], p["bean_cap_c"] + 3.0 * (p["bean_cap_c"] - t[-1]))
    return {
        "ht": ht, "hu": hu, "gt": gt, "gu": gu, "gv": gv, "C": carried, "t_in": t_in,
        "t_b": max(blown, t_in), "vents": vents / (RV * kelvin), "p_a": air["vapour_pa"],
    }  # fmt: skip


def pores(give: Array, source: Array, bed: dict[str, float], path: dict[str, float]) -> tuple[Array, float]:
    """D11 and D21: vapour pressure in the pores and of the air inside, as one linear system.

    A surface gives `source - give p`.
    """
    n = source.size
    system, right = np.zeros((n + 1, n + 1)), np.zeros(n + 1)
    for j in range(n):
        up = path["gt"] if j == 0 else bed["gp"]
        down = (path["gu"] if j == n - 1 else bed["gp"]) + path["gv"]
        system[j, j] = give[j] + up + down
        system[j, j - 1 if j > 0 else n] -= up
        system[j, j + 1 if j < n - 1 else n] -= down
        right[j] = source[j]
    if path["vents"] > 0:
        system[n, n] = path["vents"] + path["gt"] + path["gv"] + path["gu"]
        system[n, 0] -= path["gt"] + path["gv"]
        system[n, n - 1] -= path["gu"]
        right[n] = path["vents"] * path["p_a"]
    else:
        system[n, n], right[n] = 1.0, path["p_a"]
    found: Array = np.linalg.solve(system, right).astype(np.float64)
    return found[:n], float(found[n])


def plain_rates(
    p: dict[str, float], air: dict[str, float], x: Array, film: Array, t: Array, s: Array
) -> Terms:
    """Every term and rate at one moment.

    x (layer, N + 1) kg/kg; film (layer) kg/m2; t (layer) C; s (M) C. Returns terms by name.
    """
    n, (v, f) = x.shape[0], geometry()
    bed = layer(p, air, float((x @ v).mean()), n)
    path = through(p, air, bed, t)
    skin = np.maximum(x[:, N], 5e-3)
    aw = 1.0 / (1.0 + ((A + B * t) * p["isotherm_scale"] / (100.0 * skin)) ** C)
    ps = 610.55 * np.exp(17.1032 * t / (t + 234.449))
    free = np.maximum(film, 0.0)
    w = free / (free + bed["fh"])
    gs = 1.0 / (1.0 / bed["gb"] + 1.0 / bed["hull"])
    # D7 and D11 hold for one set of dewing layers: every set is tried until one is consistent.
    for dewing in itertools.product((0.0, 1.0), repeat=n):
        on = np.array(dewing)
        face = bed["gb"] * (w + (1.0 - w) * on)
        pv, p_in = pores(
            face + (1.0 - w) * gs * (1.0 - on), ps * (face + (1.0 - w) * gs * (aw - on)), bed, path
        )
        if ((pv > ps) == (on > 0)).all():
            break
    dew = np.minimum(ps - pv, 0.0)
    es = (1.0 - w) * gs * (aw * ps - pv - dew)
    ef = w * bed["gb"] * (ps - pv) + (1.0 - w) * bed["gb"] * dew
    d = (
        bed["smaller"]
        * p["d40_m2_s"]
        / p["radius_m"] ** 2
        * np.exp(-p["ea_j_mol"] / GAS * (1.0 / (t + 273.15) - 1.0 / 313.15))
    )
    load = p["load_dm_kg_m2"] / n
    soak = w * load * d * f[N - 1] * np.maximum(p["x_soak"] - x[:, N], 0.0)
    falling, caught = air["rain"] * (1.0 - air["covered"]) / 3600.0, np.zeros(n)
    for j in range(n):
        caught[j] = falling * (1.0 - min(max(film[j] / bed["hold"], 0.0), 1.0))
        falling -= caught[j]
    between = d[:, None] * f * (x[:, :-1] - x[:, 1:])
    dx = np.zeros_like(x)
    dx[:, :-1] -= between
    dx[:, 1:] += between
    dx[:, N] += (soak - es) / load
    heat, slab = _heat(p, air, bed, path, t, s)
    latent = 2502400.0 - 2429.5 * t
    heat = heat - latent * (1.0 + 1.44408 * np.exp(-21.6011 * skin)) * es - latent * ef
    return {
        "aw": aw, "ps": ps, "wet": w, "pv": pv, "es": es, "ef": ef, "soak": soak, "caught": caught,
        "p_in": np.array([p_in]), "t_in": np.array([path["t_in"]]), "t_b": np.array([path["t_b"]]),
        "dx": dx / v, "dfilm": caught - ef - soak, "heat": heat, "slab": slab,
        "dt": heat / (load * (1650.0 + 4190.0 * (x @ v)) + 4190.0 * free),
        "ds": slab / (p["slab_j_m3k"] * 0.1 / M),
    }  # fmt: skip


def _heat(
    p: dict[str, float],
    air: dict[str, float],
    bed: dict[str, float],
    path: dict[str, float],
    t: Array,
    s: Array,
) -> tuple[Array, Array]:
    """D23, D24 and D27: all heat but that of evaporation, into layers and slab."""
    n, q, k = t.size, bed["q"], air["covered"]
    ground = q**n
    light = air["sun"] * (1.0 - k)
    heat = np.array([p["absorptance"] * light * q**j * (1.0 - q) for j in range(n)])
    for j in range(n):
        below = t[j + 1] if j < n - 1 else path["t_b"]
        heat[j] += path["C"] * (below - t[j])
        for other in (j - 1, j + 1):
            if 0 <= other < n:
                heat[j] += 0.12 / bed["dz"] * (t[other] - t[j])
    heat[0] += path["ht"] * (path["t_in"] - t[0])
    heat[0] += p["emissivity"] * (1.0 - k) * (1.0 - ground) * (air["sky"] - SIGMA * (t[0] + 273.15) ** 4)
    heat[-1] += path["hu"] * (path["t_in"] - t[-1])
    slab = np.zeros(M)
    if p["open_below"] or bed["fan"]:
        return heat, slab
    touch = 12.0 * (1.0 - ground) * (t[-1] - s[0])
    heat[-1] -= touch
    slab[0] = touch + p["slab_absorptance"] * light * ground
    slab[0] += ground * bed["h0"] * p["h_scale"] * (path["t_in"] - s[0])
    slab[0] += p["emissivity"] * (1.0 - k) * ground * (air["sky"] - SIGMA * (s[0] + 273.15) ** 4)
    for i in range(M - 1):
        flow = p["slab_k_w_mk"] / (0.1 / M) * (s[i] - s[i + 1])
        slab[i] -= flow
        slab[i + 1] += flow
    slab[-1] += 2.4 * (p["ground_c"] - s[-1])
    return heat, slab
