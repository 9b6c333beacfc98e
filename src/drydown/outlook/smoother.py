"""An ensemble smoother that takes its data in several parts (ES-MDA), on one page.

Emerick and Reynolds 2013, Computers and Geosciences 55, 3-15: the same data are used `parts` times, each time
with their variance inflated by `parts`, and the model is run anew between. Correlations that an ensemble of
this size cannot tell from none are left out (Luo and Bhakta 2020, Computational Geosciences 24: a threshold
on the correlation). Held against a library in tests.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["update"]

Array = NDArray[np.float64]
LEAST_SIGMAS = 2.0
"""Correlations below so many times 1/sqrt(members) are taken as none (own choice)."""


def update(
    z: Array, seen: Array, told: Array, sd: Array, inflation: float, rng: np.random.Generator,
    always: NDArray[np.bool_] | None = None,
) -> Array:  # fmt: skip
    """One part of the smoother.

    Equation: z + C_zd (C_dd + a R)^-1 (d + sqrt(a) R^1/2 e - d_i), covariances over the members.
    Args: z (member, unknown); seen (member, reading), what each member predicts; told (reading,); sd
    (reading,); inflation a [-], 1 where the data are used once; rng of the perturbations; always
    (unknown,), which to move however weak the correlation.
    Returns: z moved, (member, unknown). Valid range: at least 20 members.
    Source: Emerick and Reynolds 2013, eq. 7 and 8; threshold as Luo and Bhakta 2020.
    """
    members = z.shape[0]
    away_z, away_d = z - z.mean(axis=0), seen - seen.mean(axis=0)
    both = away_z.T @ away_d / (members - 1)
    size = np.outer(away_z.std(axis=0, ddof=1), away_d.std(axis=0, ddof=1))
    correlation = np.divide(both, size, out=np.zeros_like(both), where=size > 0.0)
    weak = np.abs(correlation) < LEAST_SIGMAS / np.sqrt(members)
    if always is not None:
        weak &= ~always[:, None]
    both = np.where(weak, 0.0, both)
    noise = rng.standard_normal(seen.shape) * sd * np.sqrt(inflation)
    noise -= noise.mean(axis=0)
    inside = away_d.T @ away_d / (members - 1) + inflation * np.diag(sd**2)
    gaps = told + noise - seen
    return np.asarray(z + np.linalg.solve(inside, gaps.T).T @ both.T)
