"""Lines of the plan that was accepted: its tasks, when their hour comes."""

from __future__ import annotations

from datetime import timedelta

from drydown.day.line import Line, Rank
from drydown.day.now import DayNow, PlanNow
from drydown.way.order import steps
from drydown.words import say

__all__ = ["plan_lines"]

AHEAD, AGAIN = timedelta(hours=12), timedelta(hours=12)
STEP = {"pulp": "pulp", "ferment": "ferment", "wash": "wash", "dry": "spread"}


def plan_lines(day: DayNow) -> list[Line]:
    """Tasks of the accepted plan whose hour is near or just past, of lots that still wait for them."""
    found = []
    for task in day.plan:
        lot = next((x for x in day.lots if x.code == task.lot), None)
        kind = STEP.get(task.kind, "")
        if lot is None or kind not in lot.steps or kind not in steps() or lot.tank is not None:
            continue  # a tank has its own line, by what it says itself
        if task.begin - AHEAD <= day.now <= task.begin + AGAIN:
            found.append(_line(day, task, kind))
    return found


def _line(day: DayNow, task: PlanNow, kind: str) -> Line:
    at = day.local(task.begin)
    return Line(
        f"plan:{task.lot}:{kind}:{task.begin:%Y%m%d%H%M}", "plan", Rank.DUE, task.words, "Do it",
        say("By the plan of {d:%d.%m. %H:%M}.", d=day.local(task.made_at)), (task.lot,), None, at, "", None,
        (say("planned for {t:%a %H:%M} as the cheapest way for all lots together", t=at),
         say("the week's page says why, and plans anew after a delivery or a reading")),
        None, f"lot:{task.lot}:{kind}", "soon", (1, 3, 24),
    )  # fmt: skip
