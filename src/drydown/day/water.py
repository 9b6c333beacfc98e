"""Water of today and tomorrow: what lots on the wet side still take, and what runs off, beside what may."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from drydown.day.now import DayNow, LotNow
from drydown.figures import Band, Figure, Source, Status
from drydown.way.needs import Setting
from drydown.way.order import steps
from drydown.way.state import Stage

__all__ = ["Taken", "WaterDay", "water_days"]

PLAN = Source("litres of each step as the station stated them, else by the books' assumption", Status.STATED)


@dataclass(frozen=True, slots=True)
class Taken:
    """What a step of a lot takes: lot, kind of step, water [L]."""

    lot: str
    kind: str
    litres: float


@dataclass(frozen=True, slots=True)
class WaterDay:
    """A day: drawn and let out so far [L], what known lots still take, and the sums with their working."""

    on: date
    takes: tuple[Taken, ...]
    draws: Figure
    lets_out: Figure


def water_days(day: DayNow) -> tuple[WaterDay, WaterDay]:
    """Water of today and tomorrow.

    Fruit that waits is pulped today; a tank is washed on the day its window's middle falls on (today where
    that is past or a test said so). Fruit that is not weighed yet is not in it. What is drawn runs off: the
    loose mucilage is little beside it.

    Args: day. Returns: today and tomorrow, [L]; low and high are the same: the stated litres are taken as
    they are. Source: `PLAN`.
    """
    today = day.now.date()
    found: dict[date, list[Taken]] = {today: [], today + timedelta(days=1): []}
    for lot in day.lots:
        for kind, at in _to_come(day, lot):
            if at.date() in found:
                setting = Setting(day.station, at)
                litres = steps()[kind].takes(lot.state, setting).water_l
                if litres > 0.0:
                    found[at.date()].append(Taken(lot.code, kind, litres))
    first, second = (_summed(day, on, tuple(takes)) for on, takes in found.items())
    return first, second


def _to_come(day: DayNow, lot: LotNow) -> list[tuple[str, datetime]]:
    """Steps that take water, and when."""
    if lot.state.stage in {Stage.GATHERING, Stage.FLOATED} and lot.state.route != "natural":
        return [("pulp", day.now)] if lot.state.matter.mass > 0 else []
    if lot.tank is not None and "wash" in lot.steps:
        middle = lot.tank.since + timedelta(hours=lot.tank.window.hours.value)
        return [("wash", day.now if lot.tank.ready else max(middle, day.now))]
    return []


def _summed(day: DayNow, on: date, takes: tuple[Taken, ...]) -> WaterDay:
    today = on == day.now.date()
    drawn, out = (day.wet.drawn_l, day.wet.let_out_l) if today else (0.0, 0.0)
    to_come = sum(t.litres for t in takes)
    inputs = {f"{t.kind} {t.lot}": f"{t.litres:.0f} L" for t in takes}
    return WaterDay(
        on, takes,
        _figure(drawn + to_come, "drawn so far and what known lots still take", {"so far": f"{drawn:.0f} L",
        **inputs}),
        _figure(out + to_come, "let out so far and what known lots will let out", {"so far": f"{out:.0f} L",
        **inputs}),
    )  # fmt: skip


def _figure(litres: float, rule: str, inputs: dict[str, str]) -> Figure:
    return Figure(litres, "L", litres, litres, Band.EXACT, rule, inputs, (PLAN,))
