"""What a station's lots teach its next ones, after 3, 10 and 30: hidden numbers drawn here, lessons as exact
normal updates of readings, the prior held against lots that it never saw.

The part between lots of one station is that of `LOT_SHARE`, stated there as an own estimate; what is tried is
the arithmetic of the hierarchy, against hidden numbers and the closed form."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray

from drydown.outlook.learnt import LOT_SHARE, Lesson, station_prior

NAMES = ("parchment/pace", "parchment/absorptance")
SD = np.array([0.4, 0.15])
SHARE = np.array([LOT_SHARE["pace"], LOT_SHARE["absorptance"]])
STATIONS = 120
Array = NDArray[np.float64]


def lesson(truth: Array, rng: np.random.Generator, noise: float = 0.1) -> Lesson:
    """A lot read with some noise, by Bayes' rule for normals."""
    drawn = np.diag(SD**2)
    seen = truth + noise * rng.standard_normal(2)
    cov = np.linalg.inv(np.linalg.inv(drawn) + np.eye(2) / noise**2)
    return Lesson(
        NAMES, np.zeros(2), drawn, (cov @ (seen / noise**2)).astype(np.float64), cov.astype(np.float64)
    )


def crps(mean: float, sd: float, truth: float) -> float:
    """Of a normal, in closed form (Gneiting et al. 2005)."""
    from scipy.stats import norm

    z = (truth - mean) / sd
    return float(sd * (z * (2 * norm.cdf(z) - 1) + 2 * norm.pdf(z) - 1 / np.sqrt(np.pi)))


@cache
def stations() -> list[tuple[list[Lesson], float]]:
    """Thirty lots of each station, and the pace of one more that was never read."""
    rng, found = np.random.default_rng(4), []
    for _ in range(STATIONS):
        middle = np.sqrt(1.0 - SHARE) * SD * rng.standard_normal(2)
        lots = [middle + np.sqrt(SHARE) * SD * rng.standard_normal(2) for _n in range(31)]
        found.append(([lesson(x, rng) for x in lots[:30]], float(lots[30][0])))
    return found


def held(lots: int) -> tuple[float, float]:
    """After so many lots: share of next lots' pace inside P10 to P90; CRPS over that of the bare draws."""
    inside, score, bare = 0, 0.0, 0.0
    for lessons, truth in stations():
        prior = station_prior(lessons[:lots])
        assert prior is not None
        at = prior.names.index(NAMES[0])
        mean, sd = float(prior.mean[at]), float(np.sqrt(prior.cov[at, at]))
        inside += abs(truth - mean) < 1.2816 * sd
        score += crps(mean, sd, truth)
        bare += crps(0.0, SD[0], truth)
    return inside / STATIONS, score / bare


@pytest.mark.parametrize("lots", [3, 10, 30])
def test_the_next_lot_lies_inside_what_the_station_taught(lots: int) -> None:
    """P10 to P90 holds eight in ten: 95 % interval of 120 stations is 72 to 87 %."""
    inside, score = held(lots)
    assert 0.72 <= inside <= 0.88
    assert score < 0.95  # sharper than the bare draws, and right


def test_more_lots_teach_more_and_never_less_than_their_own_spread() -> None:
    scores = [held(lots)[1] for lots in (3, 10, 30)]
    assert scores[0] > scores[-1]
    rng = np.random.default_rng(1)
    prior = station_prior([lesson(np.array([0.3, 0.0]), rng) for _ in range(300)])
    assert prior is not None
    at = prior.names.index(NAMES[0])
    assert prior.mean[at] == pytest.approx(0.3, abs=0.05)
    assert np.sqrt(prior.cov[at, at]) >= 0.95 * np.sqrt(SHARE[0]) * SD[0]  # lots of one station still differ


def test_the_station_s_part_is_that_of_a_random_effect_by_hand() -> None:
    """One number, known variances: the station's mean is shrunk by n t2 / (n t2 + s2 + e2), as any text of
    hierarchical models has it (Gelman et al., Bayesian Data Analysis, 5.4)."""
    rng = np.random.default_rng(5)
    t2, s2, e2 = (1 - SHARE[0]) * SD[0] ** 2, SHARE[0] * SD[0] ** 2, 0.1**2
    seen, lessons = [], []
    for _ in range(10):
        y = 0.25 + 0.2 * rng.standard_normal()
        cov = 1.0 / (1.0 / SD[0] ** 2 + 1.0 / e2)
        lessons.append(Lesson(NAMES[:1], np.zeros(1), np.array([[SD[0] ** 2]]), np.array([cov * y / e2]),
                              np.array([[cov]])))  # fmt: skip
        seen.append(y)
    prior = station_prior(lessons)
    assert prior is not None
    n = len(seen)
    assert prior.mean[0] == pytest.approx(np.mean(seen) * n * t2 / (n * t2 + s2 + e2), rel=1e-6)
    assert prior.own_cov[0, 0] == pytest.approx(1.0 / (1.0 / t2 + n / (s2 + e2)), rel=1e-6)
