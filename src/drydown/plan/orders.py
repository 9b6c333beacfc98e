"""Orders: which lots a buyer waits for, and what a day late costs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta

from drydown.matter.report import report_balance
from drydown.matter.species import species
from drydown.plan.problem import Job
from drydown.plan.week import PER_H, Week
from drydown.station.work import Order
from drydown.way.state import Stage

__all__ = ["green_of", "with_orders"]

LATE_A_DAY = 0.01
"""Share of an order's worth that a day late costs (own estimate)."""


def green_of(week: Week, kind: str, route: str, fruit_kg: float) -> float:
    """Green that will come of fruit, in the middle [kg]."""
    made = report_balance(species(kind), week.station.practice(), route, fruit_kg, 0.11)
    return float(made.figures["green_kg"].value)


def with_orders(week: Week, jobs: Sequence[Job]) -> list[Job]:
    """Jobs with what their being late costs: of each order's kind the soonest lots, until it is full.

    Lots that dry already count first: their date is given. Args: week; jobs, in order of their fruit.
    Returns: the jobs, some with a date."""
    found = {j.name: j for j in jobs}
    for order in sorted(week.station.work.orders, key=lambda o: o.by):
        left = order.green_kg - _drying(week, order)
        due = week.step_of(datetime(order.by.year, order.by.month, order.by.day, tzinfo=week.now.tzinfo)
                           + timedelta(days=1))  # fmt: skip
        for job in sorted(found.values(), key=lambda j: j.release):
            kind = _kind(week, job.name)
            if left <= 0.0 or kind != (order.species, order.route) or job.late:
                continue
            green = green_of(week, *kind, _fruit(week, job.name))
            price = week.station.work.green_price(*kind)
            worth = _worth(week, job) if price is None else week.station.money.coins(price * min(green, left))
            each = max(round(LATE_A_DAY * worth / (24 * PER_H)), 1)
            found[job.name] = replace(job, late=((max(due, 0), each),))
            left -= green
    return [found[j.name] for j in jobs]


def _drying(week: Week, order: Order) -> float:
    """Green of lots of an order's kind that dry already."""
    return sum(
        green_of(week, order.species, order.route, lot.fruit_kg)
        for lot in week.lots
        if (lot.state.species, lot.state.route) == (order.species, order.route)
        and lot.state.stage == Stage.DRYING
    )


def _kind(week: Week, name: str) -> tuple[str, str]:
    lot = next((x for x in week.lots if x.name == name), None)
    if lot is not None:
        return lot.state.species, lot.state.route
    one = next((c for c in week.coming if name == c.name or name.startswith(f"{c.name} ")), None)
    if one is None:
        return "", ""
    return one.species, one.routes[0] if name == one.name else name.removeprefix(f"{one.name} ")


def _fruit(week: Week, name: str) -> float:
    lot = next((x for x in week.lots if x.name == name), None)
    if lot is not None:
        return lot.fruit_kg
    return next(c.kg for c in week.coming if name == c.name or name.startswith(f"{c.name} "))


def _worth(week: Week, job: Job) -> int:
    lot = next((x for x in week.lots if x.name == job.name), None)
    return lot.worth if lot is not None else (job.leave or 0)
