"""What a job must wait at the least for each way of a task: said once more as sums, for the bound's sake."""

from __future__ import annotations

from typing import Any

from drydown.plan.problem import Job, Task

__all__ = ["tighten"]


def tighten(
    model: Any, job: Job, taken: dict[tuple[str, str, str], Any], over: dict[tuple[str, str], list[Any]]
) -> None:
    """Add to a model what its own rules imply.

    A task that begins in a window opens its job's waits and overruns up to there: what is not free of cost
    must be in some of them. Args: model; job; taken, variables of modes; over, by job and part ("wait" or
    "long" of a task, "late"), the money's own variables of the first rise each."""
    free: int | None = 0
    least = job.release
    terms: list[Any] = []
    for task in job.tasks:
        free = _more(free, task.waits[0][0] if task.waits else task.most_wait)
        terms += over.get((job.name, f"wait {task.name}"), [])
        if free is None:
            return
        asked = _beyond(job, task, taken, least + free)
        if asked and terms:
            model.add(sum(terms) >= sum(asked))
        least += min(m.long[0] for m in task.modes)
        free = _more(free, _longer(task))
        terms += over.get((job.name, f"long {task.name}"), [])
    _late(model, job, taken, over.get((job.name, "late"), []))


def _more(free: int | None, add: int | None) -> int | None:
    return None if free is None or add is None else free + add


def _longer(task: Task) -> int:
    """Steps a task may last beyond its least without a cost."""
    return max(
        (m.rises[0][0] if m.rises else m.long[1]) - m.long[0] if m.long[1] > m.long[0] else 0
        for m in task.modes
    )


def _beyond(job: Job, task: Task, taken: dict[tuple[str, str, str], Any], until: int) -> list[Any]:
    found = []
    for mode in task.modes:
        if mode.windows and (more := min(a for a, _b in mode.windows) - until) > 0:
            found.append(more * taken[job.name, task.name, mode.name])
    return found


def _late(model: Any, job: Job, taken: dict[tuple[str, str, str], Any], over: list[Any]) -> None:
    """How late the last task's way makes a job at the least."""
    if not job.late or not over:
        return
    due, task = job.late[0][0], job.tasks[-1]
    found = []
    for mode in task.modes:
        if mode.windows and (more := min(a for a, _b in mode.windows) + mode.long[0] - due) > 0:
            found.append(more * taken[job.name, task.name, mode.name])
    if found:
        model.add(sum(over) >= sum(found))
