"""All unknowns estimated together from published cases, and what a source not met before may differ by.

Each source has a pace of its own (all rates so much quicker or slower), each case a further one; both have
spreads that are estimated with the unknowns, and reach ln hours by each case's own slope. Sources are drawn
from a Student t of four degrees, so that one that contradicts all others does not carry them along. Sampled
with emcee's affine-invariant ensemble.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm
from scipy.stats import t as student_t

from drydown.validation.cases import Case
from drydown.validation.emulate import Emulator
from drydown.validation.unknowns import UNKNOWNS

__all__ = ["Calibration", "calibrate", "folds"]

Array = NDArray[np.float64]
GRADE_SD = {"A": 0.0, "B": 0.10, "C": 0.30}
"""Spread that conditions not told add to all cases of a source, ln pace, own estimate."""
DEGREES = 4.0
SOURCE_SD, CASE_SD = 0.30, 0.20
"""Scales of the half-normal priors of the two spreads."""
WALKERS, STEPS, BURN, THIN = 64, 2000, 800, 20
FOLD_SEED = 20261126
FOLDS = 5


@dataclass(frozen=True, slots=True)
class Calibration:
    """Draws of all unknowns, in prior standard deviations (draw, unknown), and of both spreads (draw,)."""

    z: Array
    source_sd: Array
    case_sd: Array

    @property
    def pace_sd(self) -> float:
        """Spread of ln pace for a source not met before: the normal whose P10 and P90 are those of the t."""
        scale = float(np.sqrt(np.mean(self.source_sd**2 + self.case_sd**2)))
        return scale * float(student_t.ppf(0.9, DEGREES) / norm.ppf(0.9))


@dataclass(frozen=True, slots=True)
class _Block:
    """Cases of one source: their emulators as one set of arrays."""

    emulators: tuple[Emulator, ...]
    published: Array
    noise: Array
    power: Array
    grade_sd: float


def folds(cases: Sequence[Case]) -> dict[str, int]:
    """Which fold each source is in, by a seeded draw over the sorted names of sources."""
    names = sorted({c.origin for c in cases})
    order = np.random.default_rng(FOLD_SEED).permutation(len(names))
    return {names[k]: i % FOLDS for i, k in enumerate(order)}


def calibrate(cases: Sequence[Case], emulators: dict[str, Emulator], seed: int) -> Calibration:
    """Sample the unknowns and the two spreads given the cases.

    Args: cases; emulators by case name; seed. Returns: `Calibration`, a few thousand draws.
    Valid range: any set of cases. Source: Goodman and Weare 2010, as in emcee.
    """
    import emcee  # noqa: PLC0415 (only who calibrates needs it)

    blocks = _blocks(cases, emulators)
    n = len(UNKNOWNS)
    rng = np.random.default_rng(seed)
    start = np.hstack(
        [0.3 * rng.standard_normal((WALKERS, n)), np.log(0.2) + 0.2 * rng.standard_normal((WALKERS, 2))]
    )
    sampler = emcee.EnsembleSampler(WALKERS, n + 2, _ln_posterior, args=(blocks,), vectorize=True)
    sampler.random_state = np.random.RandomState(seed).get_state()
    sampler.run_mcmc(start, STEPS)
    chain = sampler.get_chain(discard=BURN, thin=THIN, flat=True)
    return Calibration(chain[:, :n], np.exp(chain[:, n]), np.exp(chain[:, n + 1]))


def _blocks(cases: Sequence[Case], emulators: dict[str, Emulator]) -> list[_Block]:
    made = []
    for origin in sorted({c.origin for c in cases}):
        mine = [c for c in cases if c.origin == origin and not c.ratio]
        if not mine:
            continue
        spans = [c.published_range for c in mine]
        printed = [0.0 if s is None else np.log(s[1] / s[0]) / 4.0 for s in spans]
        noise = [p**2 + emulators[c.name].error ** 2 for c, p in zip(mine, printed, strict=True)]
        grade = max(GRADE_SD[c.grade] for c in mine)
        made.append(
            _Block(
                tuple(emulators[c.name] for c in mine),
                np.log([c.published for c in mine]),
                np.array(noise),
                np.array([emulators[c.name].pace_power for c in mine]),
                grade,
            )
        )
    return made


def _ln_posterior(theta: Array, blocks: list[_Block]) -> Array:
    """Of many walkers at once, (walker,)."""
    n = len(UNKNOWNS)
    z, source, case = theta[:, :n], np.exp(theta[:, n]), np.exp(theta[:, n + 1])
    total = -0.5 * np.sum(z**2, axis=1) - 0.5 * (source / SOURCE_SD) ** 2 - 0.5 * (case / CASE_SD) ** 2
    total += theta[:, n] + theta[:, n + 1]
    steady = np.hstack([z, np.zeros((len(z), 1))])  # pace comes in by its spread
    for block in blocks:
        gaps = block.published - np.stack([e.ln_hours(steady) for e in block.emulators], axis=1)
        own = (case[:, None] * block.power) ** 2 + block.noise
        total += _ln_t(gaps, source**2 + block.grade_sd**2, own, block.power)
    return np.where((source > 0.01) & (case > 0.01), total, -np.inf)


def _ln_t(gaps: Array, shared: Array, own: Array, power: Array) -> Array:
    """ln density of a multivariate Student t, covariance diag(own) + shared power power', less constants."""
    by = 1.0 / own
    weight = np.sum(power**2 * by, axis=1)
    common = np.sum(power * gaps * by, axis=1)
    inside = 1.0 + shared * weight
    distance = np.sum(gaps**2 * by, axis=1) - shared * common**2 / inside
    ln_det = np.sum(np.log(own), axis=1) + np.log(inside)
    k = gaps.shape[1]
    return np.asarray(-0.5 * ln_det - 0.5 * (DEGREES + k) * np.log1p(distance / DEGREES))
