"""Drying: beans in a layer, in weather, under a routine.

`kernel` holds the rates, `solver` one implicit stage, `block` a run, `run` the interface.
"""

from __future__ import annotations

__all__ = ["warm"]


def warm() -> None:
    """Compile the kernel (or load it from its cache), so that nobody waits for it later."""
    import numpy as np  # noqa: PLC0415

    from drydown.steps.dry.block import run_block  # noqa: PLC0415
    from drydown.steps.dry.lanes import OUT_COLUMNS, START_COLUMNS  # noqa: PLC0415
    from drydown.steps.dry.layout import BED_LAYERS, LANES, MACHINE_LAYERS, PARAMETERS  # noqa: PLC0415

    table = np.ones((len(PARAMETERS), LANES))
    table[:6] = np.array((0.004, 2e-11, 45000.0, 0.6, 0.007, 0.45))[:, None]
    table[6:15] = np.array((315.0, 315.0, 1.13, 0.12, 1.13, 1.0, 2e-5, 1e-4, 5.0))[:, None]
    table[18], table[21:] = 101325.0, 0.0
    air = np.array([[20.0, 0.7, 300.0, 1.0, 0.0, 330.0, 0.0]])[:, :, None].repeat(LANES, axis=2)
    start = np.full((len(START_COLUMNS), LANES), 0.8)
    out, done = np.zeros((LANES, 2, len(OUT_COLUMNS))), np.zeros(LANES)
    for layers in (BED_LAYERS, MACHINE_LAYERS):
        run_block(table, air, np.zeros((1, LANES)), start, 0.12, 1e-2, layers, out, done)
