"""Every case as a smooth function of the unknowns: a second-order fit to many runs of the engine."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from drydown.steps.dry.data import form
from drydown.validation.cases import Case
from drydown.validation.runs import MOST_DAYS, hours_of
from drydown.validation.unknowns import PACE, PACE_SD, UNKNOWNS, of_form, parameters_of

__all__ = ["Emulator", "emulate"]

Array = NDArray[np.float64]
RUNS = 480
WIDER = 1.3
"""Runs are spread this much wider than the prior."""


@dataclass(frozen=True, slots=True)
class Emulator:
    """ln hours of a case by its unknowns: which ones, coefficients, and the error of the fit (ln).

    pace_power: how ln hours fall with ln pace: 1 in steady air, more where days and nights alternate.
    """

    case: str
    which: tuple[int, ...]
    coefficients: Array
    error: float

    @property
    def pace_power(self) -> float:
        """Minus the slope of ln hours in ln pace, at the middle of the prior."""
        return float(-self.coefficients[1 + self.which.index(PACE)] / PACE_SD)

    def ln_hours(self, z: Array) -> Array:
        """ln hours for rows of z (member, unknown and pace)."""
        return np.asarray(_features(z[:, list(self.which)]) @ self.coefficients)


def emulate(case: Case, seed: int) -> Emulator:
    """Run a case for many members of the prior and fit a full second-order polynomial to ln hours.

    Members that never dry count as the longest run. Args: case; seed. Returns: `Emulator`.
    Valid range: any case. Source: least squares; the error is the spread of what is left, weather included.
    """
    rng = np.random.default_rng(seed)
    z = WIDER * rng.standard_normal((RUNS, len(UNKNOWNS) + 1))
    kind = form(case.form, case.species)
    hours = hours_of(case, RUNS, parameters_of(kind, case.species, z))
    hours = np.where(np.isnan(hours), 24.0 * MOST_DAYS[case.form], hours)
    sunny = not case.where.machine or case.where.over or case.collector_c is not None
    which = of_form(case.form, case.species, sunny)
    x, y = _features(z[:, list(which)]), np.log(np.maximum(hours, 1e-3))
    coefficients: Array = np.linalg.lstsq(x, y, rcond=None)[0].astype(np.float64)
    rest = y - x @ coefficients
    return Emulator(case.name, which, coefficients, float(np.std(rest)))


def _features(z: Array) -> Array:
    """1, z, and all products of two, (member, feature)."""
    n = z.shape[1]
    upper = np.triu_indices(n)
    products = z[:, upper[0]] * z[:, upper[1]]
    return np.hstack([np.ones((len(z), 1)), z, products])
