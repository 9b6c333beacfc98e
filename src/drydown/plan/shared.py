"""What lots of a week share: machines, tanks, places, people, water; and when each is not there."""

from __future__ import annotations

from datetime import timedelta
from itertools import pairwise

import numpy as np

from drydown.plan.problem import Block, Resource
from drydown.plan.week import PER_H, PlanLot, Week
from drydown.station.work import DAYS
from drydown.way.state import Stage
from drydown.way.yard import room_of

__all__ = ["AREA", "blocks_of", "free_hours", "lies_until", "resources_of", "windows"]

AREA = 10
"""Parts of a square metre that area is counted in."""


def resources_of(week: Week) -> list[Resource]:
    """Everything that is shared, with what was added to try it."""
    things, add = week.station.equipment, week.add
    found = [Resource(p.name, 1 + round(add.get(p.name, 0)), "machine") for p in things.pulpers]
    found += [Resource(t.name, 1, "tank") for t in things.tanks]
    found += [Resource(f"one more tank {n + 1}", 1, "tank") for n in range(round(add.get("tank", 0)))]
    for name, (_place, area) in week.station.drying_places().items():
        found.append(Resource(name, round(AREA * (area + add.get(name, 0.0))), "0.1 m2"))
    if week.station.work.shifts:
        most = max(s.people for s in week.station.work.shifts) + round(add.get("people", 0))
        found.append(Resource("people", most, "people"))
    if week.station.wet.supply_l_day is not None:
        litres = round(week.station.wet.supply_l_day * (1.0 + add.get("water", 0.0)))
        found.append(Resource("water", litres, "L", daily=True))
    return found


def free_hours(week: Week) -> list[tuple[int, int, int]]:
    """Spans in which people are there: begin, end [step], how many; the whole plan where no shift is
    stated."""
    if not week.station.work.shifts:
        return [(0, week.horizon, 0)]
    midnight = week.now.replace(hour=0, minute=0, second=0, microsecond=0)
    found = []
    for day in range(week.days):
        start = midnight + timedelta(days=day)
        for shift in week.station.work.shifts:
            if DAYS[start.weekday()] in shift.days:
                a, b = (week.step_of(start + timedelta(hours=h)) for h in (shift.from_h, shift.until_h))
                if b > 0:
                    found.append((max(a, 0), b, shift.people))
    return sorted(found)


def windows(week: Week, long: int, since: int = 0, until: int | None = None) -> tuple[tuple[int, int], ...]:
    """First and last starts of something so long that people must be there for."""
    spans = _joined(free_hours(week))
    last = week.horizon if until is None else until
    found = [(max(a, since), min(b - long, last)) for a, b in spans]
    return tuple((a, b) for a, b in found if b >= a)


def _joined(spans: list[tuple[int, int, int]]) -> list[tuple[int, int]]:
    found: list[tuple[int, int]] = []
    for a, b, _n in spans:
        if found and a <= found[-1][1]:
            found[-1] = (found[-1][0], max(found[-1][1], b))
        else:
            found.append((a, b))
    return found


def lies_until(week: Week, lot: PlanLot) -> int:
    """The step until which a lot that dries keeps its place: dry at the plan's risk, taken up in a shift.

    One without an outlook keeps it to the end of the plan.
    """
    if lot.done_h is None:
        return week.horizon
    hours = float(np.quantile(lot.done_h, week.risk, method="higher"))
    if not np.isfinite(hours) or hours * PER_H >= week.horizon:
        return week.horizon
    at = max(int(np.ceil(hours * PER_H)), 0)
    return next((max(a, at) for a, b, _n in free_hours(week) if b > at), week.horizon)


def blocks_of(week: Week) -> list[Block]:
    """What is in use already or cannot be used: lots that dry, breakdowns, hours without people, water
    drawn."""
    found = []
    for lot in week.lots:
        place = lot.state.at("bed")
        if lot.state.stage == Stage.DRYING and place:
            area = round(AREA * room_of(lot.state, "bed", week.station))
            found.append(Block(place, 0, lies_until(week, lot), area, lot.name))
    sizes = {r.name: r.capacity for r in resources_of(week)}
    for one in week.station.work.breakdowns:
        a, b = max(week.step_of(one.begins), 0), week.step_of(one.ends)
        if b > a and one.thing in sizes:
            found.append(Block(one.thing, a, b, sizes[one.thing], "breakdown"))
    return found + _away(week, sizes.get("people", 0))


def _away(week: Week, most: int) -> list[Block]:
    """People who are not there, hour by hour."""
    if not most:
        return []
    extra = round(week.add.get("people", 0))
    spans = free_hours(week)
    edges = sorted({0, week.horizon + 40 * 24 * PER_H, *(x for a, b, _n in spans for x in (a, b))})
    found = []
    for a, b in pairwise(edges):
        here = sum(n for x, y, n in spans if x <= a and y >= b)
        gone = most - (here + extra if here else 0)
        if gone > 0:
            found.append(Block("people", a, b, gone, "shift"))
    return found
