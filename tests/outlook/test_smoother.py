"""The one page of smoother against a kept library, against the exact answer, and what it must not do."""

from __future__ import annotations

import numpy as np
import pytest

from drydown.outlook.smoother import update

RNG = np.random.default_rng


def _case(members: int, seed: int = 1) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    rng = RNG(seed)
    z = rng.standard_normal((members, 6)) * [1.0, 0.5, 2.0, 1.0, 0.3, 1.0]
    law = rng.standard_normal((6, 3))
    return z, z @ law, rng.standard_normal(3), np.array([0.3, 0.5, 0.4])


def test_one_part_is_what_the_library_says() -> None:
    """iterative-ensemble-smoother (Equinor), ESMDA, the same perturbations, nothing left out."""
    from iterative_ensemble_smoother import ESMDA

    z, seen, told, sd = _case(200)
    always = np.ones(6, bool)
    for inflation in (1.0, 2.0, 4.0):
        mine = update(z, seen, told, sd, inflation, RNG(5), always)
        noise = RNG(5).standard_normal(seen.shape) * sd * np.sqrt(inflation)
        noise -= noise.mean(axis=0)
        other = ESMDA(
            sd**2, told, alpha=np.array([inflation, inflation / (inflation - 1)] if inflation > 1 else [1.0])
        )
        other.prepare_assimilation(
            Y=seen.T, truncation=1.0, observation_perturbations=(noise / np.sqrt(inflation)).T
        )
        theirs = other.assimilate_batch(X=z.T).T
        assert np.abs(mine - theirs).max() < 1e-6 * np.abs(theirs).max(), np.abs(mine - theirs).max()


def test_parts_reach_the_exact_answer_of_a_linear_law() -> None:
    """Bayes with normal draws and a linear law has an answer in closed form; two and four parts meet it."""
    z, _seen, told, sd = _case(20000, seed=3)
    law = np.linalg.lstsq(z, _case(20000, seed=3)[1], rcond=None)[0]
    prior = np.diag(np.array([1.0, 0.5, 2.0, 1.0, 0.3, 1.0]) ** 2)
    precision = np.linalg.inv(prior) + law @ np.diag(1.0 / sd**2) @ law.T
    cov = np.linalg.inv(precision)
    mean = cov @ law @ (told / sd**2)
    for parts in (1, 2, 4):
        rng, moved = RNG(7), z
        for _ in range(parts):
            moved = update(moved, moved @ law, told, sd, float(parts), rng, np.ones(6, bool))
        assert moved.mean(axis=0) == pytest.approx(mean, abs=0.05)
        assert np.cov(moved, rowvar=False) == pytest.approx(cov, abs=0.06)


def test_what_has_nothing_to_do_with_the_readings_stays() -> None:
    """Forty unknowns that no reading depends on keep their spread; without the threshold they would
    shrink."""
    rng = RNG(11)
    z = rng.standard_normal((400, 41))
    seen = z[:, :1] + 0.0
    moved = update(z, seen, np.array([0.5]), np.array([0.1]), 1.0, RNG(1))
    others = moved[:, 1:]
    untouched = np.mean(np.abs(others - z[:, 1:]).max(axis=0) == 0.0)
    assert untouched > 0.85, untouched
    assert moved[:, 0].std() < 0.15
    assert abs(moved[:, 0].mean() - 0.5) < 0.03
