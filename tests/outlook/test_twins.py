"""Invented lots whose truth another solver made of the plain equations: does the outlook hold what it says?

A part of the 200 in `make test`, all of them in `make test-long`. Nothing here was tuned on: spreads are
those of `told.py` and of the shipped draws.
"""

from __future__ import annotations

import os
from functools import cache

import numpy as np
import pytest
from scipy.stats import binomtest, chi2

from drydown.outlook.learnt import Lesson, station_prior
from tests.outlook.plainrun import plain_moisture
from tests.outlook.told_twins import Case, case, crps, hours_of, rank_of
from tests.outlook.twins import LOTS, PER_STATION, kept_curve, plain_inputs, twin

pytestmark = pytest.mark.timeout(3600)  # the first test runs them all
LONG = bool(os.environ.get("DRYDOWN_TEST_LONG"))
NUMBERS = range(LOTS) if LONG else range(0, LOTS, 5)
MEMBERS = 400 if LONG else 160
BINS = 5


@cache
def scores() -> dict[str, np.ndarray]:
    """Rank and CRPS of each lot: at spreading, at the hour of the third reading without and with readings."""
    rows: dict[str, list[tuple[float, float]]] = {"spreading": [], "unread": [], "three": [], "half": []}
    for number in NUMBERS:
        found = case(number)
        if found is None:
            continue
        for name, value in _of(found).items():
            rows[name].append(value)
    return {name: np.array(values) for name, values in rows.items()}


def _of(found: Case) -> dict[str, tuple[float, float]]:
    hour = found.meter[-1].hour
    kept = np.random.default_rng([81, found.lot.number]).permutation(3)[: 1 + found.lot.number % 2]
    half = tuple(found.meter[i] for i in sorted(kept))
    told = {
        "spreading": ((), 0.0), "unread": ((), hour), "three": ((*found.meter, *found.oven), hour),
        "half": (half, hour),
    }  # fmt: skip
    out = {}
    for name, (readings, until) in told.items():
        members = hours_of(found.outlook(readings, until, MEMBERS))
        out[name] = (rank_of(members, found.hours), crps(members, found.hours))
    return out


def test_the_kept_truth_is_that_of_the_plain_equations() -> None:
    """One lot dried anew for two days, against the file."""
    table, hourly, raked, start = plain_inputs(twin(40))
    fresh = plain_moisture(table, hourly[:48], raked[:48], start, 0.0)
    assert np.abs(fresh - kept_curve(40)[:49]).max() < 2e-4


@pytest.mark.parametrize("when", ["spreading", "unread", "three"])
def test_eight_in_ten_lie_between_early_and_late(when: str) -> None:
    """P10 to P90 holds 75 to 85 % of all 200; of a part, 80 % lies in the 99 % interval."""
    ranks = scores()[when][:, 0]
    inside = int(np.sum((ranks >= 0.1) & (ranks <= 0.9)))
    span = binomtest(inside, ranks.size, 0.8).proportion_ci(0.99, "wilson")
    print(f"{when}: {inside}/{ranks.size} = {inside / ranks.size:.3f} ({span.low:.3f} to {span.high:.3f})")  # noqa: T201
    assert span.low <= 0.80 <= span.high
    if LONG:
        assert 0.75 <= inside / ranks.size <= 0.85


@pytest.mark.parametrize("when", ["spreading", "three"])
def test_ranks_are_flat(when: str) -> None:
    """Pearson's chi-square of the ranks in five bins, P above 1 %."""
    ranks = scores()[when][:, 0]
    count = np.histogram(ranks, bins=BINS, range=(0.0, 1.0))[0]
    expected = ranks.size / BINS
    p = float(chi2.sf(np.sum((count - expected) ** 2 / expected), BINS - 1))
    print(f"{when}: {count.tolist()}, P {p:.2f}")  # noqa: T201
    assert p > 0.01


def test_readings_halve_the_doubt_and_more() -> None:
    """CRPS of the hour of being dry against the same lot unread, at the same hour, under the same air."""
    found = scores()
    unread = found["unread"][:, 1].mean()
    three, half = (1.0 - found[name][:, 1].mean() / unread for name in ("three", "half"))
    print(f"CRPS lower by {100 * three:.0f} % with three readings, {100 * half:.0f} % with half missing")  # noqa: T201
    assert three >= 0.50
    assert half >= 0.35


def test_a_meter_is_found_out_by_an_oven_in_every_second_lot() -> None:
    """Eight lots of a station, four with an oven reading: what the meter reads off, root mean square below
    0.3."""
    stations = range(25) if LONG else range(0, 25, 4)
    gaps = []
    for station in stations:
        lessons: list[Lesson] = []
        for number in range(station * PER_STATION, (station + 1) * PER_STATION):
            found = case(number)
            if found is None:
                continue
            out = found.outlook((*found.meter, *found.oven), found.meter[-1].hour, MEMBERS)
            assert out.lesson is not None
            lessons.append(out.lesson)
        prior = station_prior(lessons)
        assert prior is not None
        told = prior.figure("bias:m")
        assert told is not None
        gaps.append(told.value - 100.0 * twin(station * PER_STATION).bias)
    rms = float(np.sqrt(np.mean(np.square(gaps))))
    print(f"bias of the meter: rms {rms:.2f} points over {len(gaps)} stations")  # noqa: T201
    assert rms <= 0.30 if LONG else rms <= 0.40


def test_by_meters_alone_bias_and_drying_are_not_told_apart() -> None:
    """The bias keeps most of its spread, and the outlook says so."""
    found = case(40)
    assert found is not None
    alone = found.outlook(found.meter, found.meter[-1].hour, MEMBERS)
    assert not alone.apart
    ((_name, bias),) = alone.biases
    assert bias.high - bias.low > 0.6 * 2.56 * 0.6
