"""Constants of the drying kernel and the rows of its parameters."""

from __future__ import annotations

from drydown.matter.sorption import OSWIN
from drydown.steps.dry.layout import column, shell_geometry
from drydown.steps.dry.rows import M, P
from drydown.units import (
    AIR_HEAT,
    GAS_CONSTANT,
    GAS_CONSTANT_AIR,
    GAS_CONSTANT_VAPOUR,
    STANDARD_PRESSURE_PA,
    STEFAN_BOLTZMANN,
    ZERO_C_K,
)

V, FACTORS = shell_geometry()
OSWIN_A, OSWIN_B, OSWIN_C = OSWIN.a, OSWIN.b, OSWIN.c
RV, RA, SIGMA, GAS, KELVIN = GAS_CONSTANT_VAPOUR, GAS_CONSTANT_AIR, STEFAN_BOLTZMANN, GAS_CONSTANT, ZERO_C_K
D40_KELVIN = 40.0 + ZERO_C_K
"""Temperature that diffusivities are stated at, K (D3)."""
WIND_TO_BED = 0.635
"""Wind at 1 m over wind at 10 m, FAO-56 log law."""
SHERWOOD = 2.6
"""Vapour exchange of one bean in slow pore air (sphere: 2 + 0.6 Re^0.5 Sc^1/3)."""
BED_CONDUCTIVITY = 0.12
AIR_CP, AIR_VISCOSITY, WATER_KG_M3 = AIR_HEAT, 1.81e-5, 1000.0
VAPOUR_DIFFUSIVITY = 2.5e-5 * STANDARD_PRESSURE_PA
"""Diffusivity of vapour in air times pressure, m2/s Pa (D13)."""
DRIEST = 5e-3
"""Moisture of a skin, kg/kg, below which the isotherm is not asked (D4)."""
SLAB_STEP_M, SLAB_CONTACT = 0.1 / M, 12.0
GROUND_LINK = 2.4
"""Half a metre of soil under a floor, W/(m2 K): conductivity 1.2 W/(m K) over 0.5 m."""
CAP_GAIN = 3.0
"""Kelvin of burner turned down per kelvin that the hottest layer comes near its cap."""

(
    RADIUS, D40, EA, ABSORB, LIGHT, PORES, DM_WET, DM_DRY, X_WET, X_DRY, X_SOAK, ISO, FILM, FILM_HOLD,
    LOAD, EMIT, OPEN, HSCALE, PRESSURE, SLAB_ABSORB, GROUND, VENT, FILM_U, FLOOR_GAIN, AIR_FLOW, AIR_SET, BEAN_CAP,
    RECIRCULATED, RESIST, HULL, WIND_DRAW, SLAB_K, SLAB_RHO_C,
) = (P + column(name) for name in (
    "radius_m", "d40_m2_s", "ea_j_mol", "absorptance", "light_depth_m", "porosity", "dm_wet_kg_m3",
    "dm_dry_kg_m3", "x_wet", "x_dry", "x_soak", "isotherm_scale", "film_m", "film_hold_m",
    "load_dm_kg_m2", "emissivity", "open_below", "h_scale", "pressure_pa", "slab_absorptance", "ground_c", "vent_m_s",
    "cover_w_m2k", "floor_gain", "air_m_s", "air_set_c", "bean_cap_c", "recirculated", "air_resistance",
    "hull_kg_m2_s_pa", "wind_draw", "slab_k_w_mk", "slab_j_m3k",
))  # fmt: skip
