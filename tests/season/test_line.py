"""Queues against the formulas of queueing theory, and against a kept library on the same draws."""

from __future__ import annotations

import math

import numpy as np
import pytest
import simpy

from drydown.season.line import Line, through

JOBS = 40_000


def drawn(rate: float, work: np.ndarray, seed: int) -> list[float]:
    """Waits of jobs that come at random."""
    arrivals = np.cumsum(np.random.default_rng(seed).exponential(1.0 / rate, work.size))
    return through(arrivals.tolist(), work.tolist(), [1.0])


def erlang_c_wait(rate: float, mu: float, servers: int) -> float:
    """Mean wait of M/M/c: Erlang C over c mu - lambda (Erlang 1917; any handbook of queueing)."""
    a = rate / mu
    top = a**servers / math.factorial(servers) / (1.0 - a / servers)
    chance = top / (sum(a**k / math.factorial(k) for k in range(servers)) + top)
    return chance / (servers * mu - rate)


def near(waits: list[float], told: float) -> None:
    """Within four standard errors of batch means; and a wrong formula would not be."""
    batches = np.array(waits[len(waits) // 20 :]).reshape(20, -1).mean(axis=1)
    error = batches.std(ddof=1) / math.sqrt(20.0)
    assert abs(batches.mean() - told) < 4.0 * error
    assert error < 0.2 * told


@pytest.mark.parametrize(("rate", "servers"), [(0.7, 1), (1.5, 2), (2.4, 3)])
def test_m_m_c(rate: float, servers: int) -> None:
    rng = np.random.default_rng(servers)
    arrivals = np.cumsum(rng.exponential(1.0 / rate, JOBS))
    waits = through(arrivals.tolist(), rng.exponential(1.0, JOBS).tolist(), [1.0] * servers)
    near(waits, erlang_c_wait(rate, 1.0, servers))


def test_m_d_1() -> None:
    """Pollaczek-Khinchine with constant work: rho/(2 (1 - rho))."""
    near(drawn(0.7, np.ones(JOBS), 4), 0.7 / (2.0 * 0.3))


def test_m_g_1() -> None:
    """Pollaczek-Khinchine: lambda E(S2)/(2 (1 - rho)), work even from 0.2 to 1.8."""
    work = np.random.default_rng(5).uniform(0.2, 1.8, JOBS)
    second = 1.0 + 1.6**2 / 12.0
    near(drawn(0.6, work, 6), 0.6 * second / (2.0 * 0.4))


def test_the_same_draws_in_a_kept_library() -> None:
    """SimPy, a resource with two equal servers: the same waits, job by job."""
    rng = np.random.default_rng(7)
    arrivals = np.cumsum(rng.exponential(0.6, 3000)).tolist()
    work = rng.exponential(1.0, 3000).tolist()
    env = simpy.Environment()
    clerk, waited = simpy.Resource(env, capacity=2), [0.0] * len(arrivals)

    def job(k: int):  # type: ignore[no-untyped-def]
        yield env.timeout(arrivals[k])
        with clerk.request() as turn:
            yield turn
            waited[k] = env.now - arrivals[k]
            yield env.timeout(work[k])

    for k in range(len(arrivals)):
        env.process(job(k))
    env.run()
    assert through(arrivals, work, [1.0, 1.0]) == pytest.approx(waited, abs=1e-9)


def test_who_may_not_is_passed_over_and_keeps_its_place() -> None:
    line: Line[str] = Line([100.0])
    for who in ("a", "b", "c"):
        line.join(who, 50.0)
    assert line.start(lambda who, _h: who == "b") == [("b", 0, 0.5)]
    assert [w for w, _k in line.waits] == ["a", "c"]
    line.end(0)
    assert [w for w, _s, _h in line.start(lambda _w, _h: True)] == ["a"]


def test_the_quicker_machine_is_taken_first() -> None:
    line: Line[str] = Line([100.0, 400.0])
    line.join("a", 200.0)
    assert line.start(lambda _w, _h: True) == [("a", 1, 0.5)]
