"""Drying: beans in a layer, in weather, under a routine.

`kernel` holds the rates, `solver` one implicit step, `member` a run, `run` the interface.
"""

from __future__ import annotations

__all__ = ["warm"]


def warm() -> None:
    """Compile the kernel (or load it from its cache), so that nobody waits for it later."""
    import numpy as np  # noqa: PLC0415

    from drydown.steps.dry.layout import PARAMETERS, shell_geometry  # noqa: PLC0415
    from drydown.steps.dry.member import OUT_SIZE, run_member  # noqa: PLC0415

    p = np.ones(len(PARAMETERS))
    p[:6] = (0.004, 2e-11, 45000.0, 0.6, 0.007, 0.45)
    p[6:15] = (315.0, 315.0, 1.13, 0.12, 1.13, 1.0, 2e-5, 1e-4, 5.0)
    p[18] = 101325.0
    volumes, factors = shell_geometry()
    air = np.array([[20.0, 0.7, 300.0, 1.0, 0.0, 330.0, 0.0]])
    run_member(p, volumes, factors, air, np.zeros(1), 0.8, 0.1, 20.0, 0.12, 1e-2, np.zeros((2, OUT_SIZE)))
