"""Seasons: harvests of the example station a second, memory, and the queue beside SimPy's. `python -m
bench.season`."""

from __future__ import annotations

import resource
import time

import numpy as np
import simpy

from drydown.season.line import through
from drydown.season.search import run
from drydown.season.study import harvest_of, study
from drydown.station.load import example_text, parse_station

JOBS = 60_000


def queue() -> None:
    """The same jobs through the same two servers, here and in SimPy."""
    rng = np.random.default_rng(1)
    arrivals = np.cumsum(rng.exponential(0.6, JOBS)).tolist()
    work = rng.exponential(1.0, JOBS).tolist()
    begun = time.perf_counter()
    own = through(arrivals, work, [1.0, 1.0])
    ours = time.perf_counter() - begun
    env = simpy.Environment()
    clerk, waited = simpy.Resource(env, capacity=2), [0.0] * JOBS

    def job(k: int):  # type: ignore[no-untyped-def]
        yield env.timeout(arrivals[k])
        with clerk.request() as turn:
            yield turn
            waited[k] = env.now - arrivals[k]
            yield env.timeout(work[k])

    begun = time.perf_counter()
    for k in range(JOBS):
        env.process(job(k))
    env.run()
    theirs = time.perf_counter() - begun
    worst = float(np.abs(np.array(own) - np.array(waited)).max())
    ratio = theirs / ours
    print(f"queue of {JOBS}: {ours:.2f} s, SimPy {theirs:.2f} s, ratio {ratio:.1f}; differ {worst:.0e} h")


def main() -> None:
    """Harvests of the example station."""
    queue()
    here = parse_station(example_text())
    weather = here.normals()
    assert weather is not None
    harvest = harvest_of(here)
    study(here, weather, harvest, None, 5)
    for threads in (1, 2):
        begun = time.perf_counter()
        found = study(here, weather, harvest, None, 100, 1, threads)
        took = time.perf_counter() - begun
        lots, hours = found.outcome.each["lots"].mean(), found.outcome.engine_h
        print(
            f"100 harvests, {lots:.0f} lots each, {threads} threads: {took:.1f} s, "
            f"{hours / 1e6:.1f} million lot-hours, {hours / took / 1e3:.0f} thousand a second"
        )
    begun = time.perf_counter()
    for counts in ({}, {"tank": 2.0, "film_bed": 2.0}, {"small_pulper": 1.0, "tank": 3.0, "film_bed": 4.0}):
        run(here, weather, harvest, counts, 200, 1)
    took = time.perf_counter() - begun
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"3 designs x 200 harvests, 2 threads: {took:.1f} s; peak memory {peak:.0f} MB")


if __name__ == "__main__":
    main()
