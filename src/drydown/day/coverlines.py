"""Lines of covers: before rain, by the evening's hour, and off again in the morning."""

from __future__ import annotations

from datetime import timedelta

from drydown.day.line import Act, Line, Rank, lost
from drydown.day.now import DayNow, LotNow, codes
from drydown.figures import Source, Status
from drydown.way.habits import habits_of
from drydown.words import say

__all__ = ["cover_lines"]

WETTED = 0.03
"""Share of the worth that a wetting of a bed costs: a day or two more, and the mould's hours (own
estimate)."""
WET_SOURCE = Source(
    "3 % of the worth for a bed that is rained on, own estimate: a day or two longer; dew a third of it",
    Status.OWN_ESTIMATE,
)
LIKELY = 0.30
"""Chance of rain in an hour from which covers are called for (own choice)."""


def cover_lines(day: DayNow, drying: list[LotNow]) -> list[Line]:
    """Cover and uncover."""
    return [*_cover(day, drying), *_uncover(day, drying)]


def _open_lots(day: DayNow, drying: list[LotNow]) -> list[LotNow]:
    """Lots that can be covered and are not, by the log."""
    places = day.station.drying_places()
    found = []
    for x in drying:
        place = places.get(x.state.at("bed"))
        if place is None or place[0].machine or place[0].vent_m_s > 0.0:
            continue
        if x.covered is not True and "cover" in x.steps:
            found.append(x)
    return found


def _cover(day: DayNow, drying: list[LotNow]) -> list[Line]:
    """Before rain, and by the station's own hour in the evening."""
    lots = _open_lots(day, drying)
    if not lots:
        return []
    hour = day.now.hour + day.now.minute / 60.0
    evening = min(
        (h.cover_from_h for x in lots if (h := habits_of(x.state, day.station)) and h.cover_from_h),
        default=None,
    )
    coming = [i for i, chance in enumerate(day.rain[:12]) if chance >= LIKELY]
    raining = [x for x in lots if (h := habits_of(x.state, day.station)) is not None and h.cover_for_rain]
    night = [
        x for x in lots if (h := habits_of(x.state, day.station)) is not None and h.cover_from_h is not None
    ]
    until_habit = None if evening is None else evening - hour
    in_night = until_habit is not None and (until_habit <= 0 or hour < 6)
    if coming and raining and not in_night and (until_habit is None or coming[0] < until_habit):
        return [_cover_line(day, raining, coming[0], float(day.rain[:12].max()))]
    if night and until_habit is not None and (in_night or until_habit <= 4.0):
        return [_cover_line(day, night, max(until_habit, 0.0) if not in_night else 0.0, None)]
    return []


def _cover_line(day: DayNow, lots: list[LotNow], hours: float, rain: float | None) -> Line:
    places = day.by_place(lots)
    names = [name for name, _own in places]
    until = (day.now + timedelta(hours=hours)).replace(minute=0, second=0, microsecond=0)
    until = max(until, day.now) if rain is None or hours > 0 else day.now
    chance = rain if rain is not None else 1.0 / 3.0
    rule = "chance of rain times 3 % of the worth" if rain is not None else "dew of a night: 1 % of the worth"
    parts = [(x.worth, WETTED * chance, 0.3 * WETTED * chance, 2.5 * WETTED * chance) for x in lots]
    reason = (
        say("Rain {p:.0f} % from {t:%H:%M}. {n} lots lie open.", p=100 * rain, t=until, n=len(lots))
        if rain is not None
        else say("Your hour for covering; {n} lots lie open by the log.", n=len(lots))
    )
    chances = ", ".join(
        f"{(day.now + timedelta(hours=i)):%H} h {100 * c:.0f} %" for i, c in enumerate(day.rain[:8])
    )
    return Line(
        f"cover:{day.now:%Y%m%d}:{'rain' if rain is not None else 'night'}", "cover", Rank.LOSES,
        say("Cover {places}", places=_and(names)), "Covered", reason, codes(lots), None, until, "",
        lost(parts, rule, WET_SOURCE),
        (say("chance of rain by hour: {c}", c=chances), rule, f"[{WET_SOURCE.text}]"), Act("cover",
        codes(lots)),
        "", "lose" if rain is not None else "due", (1, 3),
    )  # fmt: skip


def _and(names: list[str]) -> str:
    if len(names) < 2:
        return "".join(names)
    return say("{a} and {b}", a=", ".join(names[:-1]), b=names[-1])


def _uncover(day: DayNow, drying: list[LotNow]) -> list[Line]:
    """In the morning by the station's own hour, where the sun is up and no rain is near."""
    hour = day.now.hour + day.now.minute / 60.0
    lots = []
    for x in drying:
        habits = habits_of(x.state, day.station)
        if x.covered and habits is not None and "uncover" in x.steps:
            evening = 24.0 if habits.cover_from_h is None else habits.cover_from_h
            if habits.cover_until_h <= hour < min(evening, 17.0):
                lots.append(x)
    near = day.rain[:2]
    if not lots or (near.size and near.max() >= LIKELY):
        return []
    names = [name for name, _own in day.by_place(lots)]
    parts = [(x.worth, WETTED / 3.0, 0.0, WETTED) for x in lots]
    rule = "a day under cover: as a dewy night, 1 % of the worth"
    return [
        Line(
            f"uncover:{day.now:%Y%m%d}", "uncover", Rank.LOSES, say("Uncover {places}", places=_and(names)),
            "Uncovered", say("{n} lots are covered by the log, and it is day.", n=len(lots)), codes(lots),
            None,
            None, "", lost(parts, rule, WET_SOURCE), (rule, f"[{WET_SOURCE.text}]"), Act("uncover",
            codes(lots)),
            "", "due", (1, 3),
        )
    ]  # fmt: skip
