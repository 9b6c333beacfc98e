"""Lines of water and pulp: more than there is, more than may run off, ponds that hold too short, the heap."""

from __future__ import annotations

from collections.abc import Mapping

from drydown.day.line import Act, Line, Rank, day_key
from drydown.day.now import DayNow
from drydown.day.water import WaterDay, water_days
from drydown.figures import Source, Status
from drydown.words import say

__all__ = ["water_lines"]

SETTLED_H = 30.0
SETTLING = Source(
    "a settler and upflow filter at 30 h took more than 95 % of solids and only about 20 % of BOD (study in "
    "Huila, laboratory scale 1:25, by its abstract)",
    Status.SECOND_HAND,
)


def water_lines(day: DayNow) -> list[Line]:
    """Lines of water and pulp; none about what the station did not state."""
    today, tomorrow = water_days(day)
    return [
        *_short(day, today, "today"), *_short(day, tomorrow, "tomorrow"),
        *_runs_off(day, today), *_ponds(day), *_heap(day),
    ]  # fmt: skip


def _lots(water: WaterDay) -> tuple[str, ...]:
    return tuple(dict.fromkeys(t.lot for t in water.takes))


def _short(day: DayNow, water: WaterDay, when: str) -> list[Line]:
    has = day.station.wet.supply_l_day
    if has is None or water.draws.value <= has or not water.takes:
        return []
    short = water.draws.value - has
    washes = [t.lot for t in water.takes if t.kind == "wash"]
    way = (
        say("A tank whose hours allow it can wait a day: {c}.", c=", ".join(washes[:3]))
        if washes
        else say("Pulp a part tomorrow morning, or dry a part as natural.")
    )
    verb = (
        say("Find {s:.0f} L of water more for today", s=short)
        if when == "today"
        else say("Find {s:.0f} L of water more for tomorrow", s=short)
    )
    return [
        Line(
            day_key(f"water-{when}", day.now, _lots(water)), "water", Rank.DUE, verb, "Found",
            say("Known lots take {n:.0f} L and {h:.0f} can be drawn. {way}", n=water.draws.value, h=has,
            way=way),
            _lots(water), None, None, "", None, (*_shown(water.draws.inputs), water.draws.rule),
            Act("", _lots(water)), "", "due", (3, 24),
        )
    ]  # fmt: skip


def _runs_off(day: DayNow, water: WaterDay) -> list[Line]:
    may = day.station.wet.may_let_out_l_day
    if may is None or water.lets_out.value <= may:
        return []
    return [
        Line(
            day_key("effluent", day.now, _lots(water)), "effluent", Rank.DUE,
            say("Hold back {s:.0f} L of waste water today", s=water.lets_out.value - may), "Held back",
            say(
                "{n:.0f} L would run off and {m:.0f} may. Use less water a wash, send it over the pulp, or "
                "keep it in a pond.", n=water.lets_out.value, m=may,
            ), _lots(water), None, None, "", None,
            (*_shown(water.lets_out.inputs), water.lets_out.rule, _law()),
            Act("", _lots(water)), "", "due", (3, 24),
        )
    ]  # fmt: skip


def _ponds(day: DayNow) -> list[Line]:
    holds, flow = day.station.wet.ponds_l, day.wet.week_l_day
    if holds is None or flow <= 0.0 or 24.0 * holds / flow >= SETTLED_H:
        return []
    hours = 24.0 * holds / flow
    return [
        Line(
            f"pond:{day.now:%Y%W}", "pond", Rank.LATER, say("Give the ponds more room or less water"), "Seen",
            say(
                "At this week's {f:.0f} L a day they hold it {h:.0f} h. Even {s:.0f} h of settling leaves "
                "most of its strength in it.", f=flow, h=hours, s=SETTLED_H,
            ), (), None, None, "", None,
            (say("ponds of {p:.0f} L over the mean flow of seven days", p=holds), f"[{SETTLING.text}]",
             _law()),
            Act("", ()), "", "due", (24, 168),
        )
    ]  # fmt: skip


def _heap(day: DayNow) -> list[Line]:
    room = day.station.wet.pulp_heap_kg
    if room is None or day.wet.pulp_kg <= room:
        return []
    return [
        Line(
            f"heap:{day.now:%Y%W}", "heap", Rank.LATER, say("Take pulp away"), "Taken away",
            say(
                "The books hold {p:.0f} kg of pulp and {r:.0f} have room. It heats, drips and draws flies; "
                "note what leaves under by-products, or this stays.", p=day.wet.pulp_kg, r=room,
            ), (), None, None, "", None,
            (
                say("pulp by the mass balance, as wet as it came, less what was sold or used"),
                say("a wet heap gives off gases and can burn inside: turn it from outside"),
            ), Act("", ()), "", "due", (24, 168),
        )
    ]  # fmt: skip


def _law() -> str:
    return say("local law and your permit say what may run off, and where; ask the licensed body first")


def _shown(inputs: Mapping[str, str]) -> tuple[str, ...]:
    return tuple(f"{k}: {v}" for k, v in inputs.items())
