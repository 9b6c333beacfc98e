"""Drying: beans in a layer, in weather, under a routine.

`kernel` holds the rates, `solver` one implicit stage, `block` a run, `run` the interface.
"""

from __future__ import annotations

__all__ = ["warm"]


def warm() -> None:
    """Compile the kernel (or load it from its cache), so that nobody waits for it later."""
    import numpy as np  # noqa: PLC0415

    from drydown.steps.dry.block import run_block  # noqa: PLC0415
    from drydown.steps.dry.compiled import keep_compiled  # noqa: PLC0415
    from drydown.steps.dry.lanes import OUT_COLUMNS, state_rows  # noqa: PLC0415
    from drydown.steps.dry.layout import BED_LAYERS, LANES, MACHINE_LAYERS, PARAMETERS  # noqa: PLC0415

    keep_compiled()
    table = np.zeros((len(PARAMETERS), LANES))
    given = {
        "radius_m": 0.004, "d40_m2_s": 2e-11, "ea_j_mol": 45000.0, "absorptance": 0.6, "light_depth_m": 0.007,
        "porosity": 0.45, "dm_wet_kg_m3": 315.0, "dm_dry_kg_m3": 315.0, "x_wet": 1.13, "x_dry": 0.12,
        "x_soak": 1.13, "isotherm_scale": 1.0, "film_m": 2e-5, "film_hold_m": 1e-4, "load_dm_kg_m2": 5.0,
        "h_scale": 1.0, "pressure_pa": 101325.0, "open_below": 1.0, "air_resistance": 2.0,
    }  # fmt: skip
    for name, value in given.items():
        table[PARAMETERS.index(name)] = value
    air = np.array([[20.0, 0.7, 300.0, 1.0, 0.0, 330.0, 0.0]] * 2)[:, :, None].repeat(LANES, axis=2)
    out, done = np.zeros((LANES, 2, len(OUT_COLUMNS))), np.zeros(LANES)
    for layers in (BED_LAYERS, MACHINE_LAYERS):
        start = np.full((state_rows(layers), LANES), 0.8)
        run_block(table, air, np.zeros((1, LANES)), start, 0.12, 1e-2, layers, out, done)
