"""Sizes and positions in the arrays that the drying kernel works on.

A member is one future of one lot. Members are run in blocks of LANES side by side, so that
the machine can work on several at once: every quantity is a row of LANES numbers in one flat
work space, and the rows are named here.

State of a member: moisture of SHELLS shells and one thin skin in each layer, free water and
temperature of each layer, and SLAB temperatures of the floor below.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "BED_LAYERS",
    "LANES",
    "MACHINE_LAYERS",
    "MAX_LAYERS",
    "PARAMETERS",
    "SHELLS",
    "SKIN_SHARE",
    "SLAB",
    "column",
    "shell_geometry",
    "shell_nodes",
]

LANES = 8
BED_LAYERS = 4
MACHINE_LAYERS = 10
MAX_LAYERS = MACHINE_LAYERS
SHELLS = 6
SLAB = 6
SKIN_SHARE = 0.02
"""Share of the bean's volume in the thin outer skin whose moisture the air sees."""

PARAMETERS = (
    "radius_m",  # equivalent sphere of the bean or fruit
    "d40_m2_s",  # moisture diffusivity at 40 C
    "ea_j_mol",  # activation energy of diffusion
    "absorptance",  # share of sun taken up by the bed
    "light_depth_m",  # depth over which sun fades by 1/e
    "porosity",  # air share of the bed
    "dm_wet_kg_m3",  # dry matter per m3 of bed, wet end
    "dm_dry_kg_m3",  # dry matter per m3 of bed, dry end
    "x_wet",  # moisture at the wet end, db
    "x_dry",  # moisture at the dry end, db
    "x_soak",  # moisture inside a bean that stands in water, db
    "isotherm_scale",  # multiplies the equilibrium moisture
    "film_m",  # free-water film at which half the surface counts as wet
    "film_hold_m",  # film that rain can leave on the surface
    "load_dm_kg_m2",  # dry matter spread per m2
    "emissivity",
    "open_below",  # 1 where air reaches the underside, 0 on a floor
    "h_scale",  # multiplies heat and vapour exchange with the air
    "pressure_pa",
    "slab_absorptance",
    "ground_c",  # soil half a metre below a floor
    "vent_m_s",  # tunnel: m3 of outside air per m2 of bed and second; 0 in the open
    "cover_w_m2k",  # tunnel: heat lost through the film, per m2 of bed and kelvin
    "floor_gain",  # tunnel: share of the sun inside that warms the air
    "air_m_s",  # machine: air through the bed, m3 per m2 and second; 0 on a bed
    "air_set_c",  # machine: temperature the burner aims at; minus infinity for unheated air
    "bean_cap_c",  # machine: the burner is turned down as the hottest layer nears this
    "recirculated",  # machine: share of the leaving air that is blown in again
    "air_resistance",  # resistance of the layer to air, over Ergun's for spheres of its size
    "hull_kg_m2_s_pa",  # vapour that passes what wraps the bean (hull, skin of the fruit, mucilage)
    "wind_draw",  # share of the wind's dynamic pressure that drives air up through a mesh bed
    "slab_k_w_mk",  # conductivity of the floor
    "slab_j_m3k",  # heat capacity of the floor
)
PARAMETER_COUNT = len(PARAMETERS)


def column(name: str) -> int:
    """Column of a parameter in the table. Source: the order of `PARAMETERS`."""
    return PARAMETERS.index(name)


def shell_nodes(
    shells: int = SHELLS, skin: float = SKIN_SHARE
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Edges and nodes of equal-volume shells under a thin skin.

    Equation: node = volume-mean radius, 3/4 (b4 - a4)/(b3 - a3) between edges a and b.
    Args: shells [count]; skin [share of volume]. Returns: edges, nodes [radii].
    Valid range: shells from 2. Source: geometry.

    >>> edges, nodes = shell_nodes()
    >>> bool((edges[:-1] < nodes).all() and (nodes < edges[1:]).all())
    True
    """
    inner = np.linspace(0.0, 1.0 - skin, shells + 1)
    edges = np.cbrt(np.append(inner, 1.0))
    return edges, 0.75 * np.diff(edges**4) / np.diff(edges**3)


def shell_geometry(
    shells: int = SHELLS, skin: float = SKIN_SHARE
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Volume shares and exchange factors of equal-volume shells under a thin skin.

    Equation: nodes at the volume-mean radius; factor between neighbours 3 rb2/(r2 - r1), in
    radii, so that v dX/dt = D/R2 sum(factor (X' - X)).
    Args: shells [count]; skin [share of volume]. Returns: v (shells+1), factors (shells) [-].
    Valid range: shells from 2. Source: finite volumes; five such shells are within 2.2 % of
    the sphere series from ratio 0.5 to 0.05.

    >>> volumes, _factors = shell_geometry()
    >>> round(float(volumes.sum()), 12)
    1.0
    """
    edges, nodes = shell_nodes(shells, skin)
    volumes = np.diff(edges**3)
    factors = 3.0 * edges[1:-1] ** 2 / np.diff(nodes)
    return volumes, factors
