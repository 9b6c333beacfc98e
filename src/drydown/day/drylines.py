"""Lines of the beds: cover, uncover, read, take up, hold apart, dry faster."""

from __future__ import annotations

from datetime import datetime, timedelta

from drydown.day.coverlines import cover_lines
from drydown.day.line import AHEAD, Act, Line, Rank, day_key, lost
from drydown.day.now import DayNow, LotNow, codes
from drydown.figures import Source, Status
from drydown.outlook.rules import chance_above, window_days, window_state
from drydown.way.habits import target_wb
from drydown.way.mould import HOLD
from drydown.way.state import Stage
from drydown.words import say

__all__ = ["dry_lines"]

OVER_DAY = 0.011
"""Weight lost by a day in the sun past the target: one point of moisture, 1.1 % (derived)."""
OVER_SOURCE = Source("one point of moisture at 12 % wb is 1.1 % of the weight (derived)", Status.DERIVED)
MOULD_COST = 0.5
MOULD_SOURCE = Source("half of the worth of a lot outside both rules, own estimate", Status.OWN_ESTIMATE)
SOON_H, STALE_H = 72.0, 20.0
NAMES = 8


def dry_lines(day: DayNow) -> list[Line]:
    """Every line of lots that dry."""
    drying = [x for x in day.lots if x.state.stage == Stage.DRYING]
    return [
        *_hold(day), *_faster(day, drying), *_asked(drying), *cover_lines(day, drying),
        *_take_up(day, drying), *_read(day, drying), *_full(day),
    ]  # fmt: skip


def _some(lots: list[LotNow]) -> str:
    """Codes as a sentence holds them."""
    names = [x.code for x in lots]
    return ", ".join(names[:NAMES]) + (
        say(" and {n} more", n=len(names) - NAMES) if len(names) > NAMES else ""
    )


def _target(day: DayNow, lot: LotNow) -> float:
    return target_wb(lot.state, day.station)


def _at_target(day: DayNow, lot: LotNow) -> bool:
    known = lot.state.known_wb
    return known is not None and known <= _target(day, lot)


def _hours(since: datetime | None, now: datetime) -> float:
    return (now - since) / timedelta(hours=1) if since else float("inf")


def _fresh(day: DayNow, lot: LotNow) -> bool:
    return _hours(lot.state.known_at, day.now) <= STALE_H


def _hold(day: DayNow) -> list[Line]:
    """Lots outside both rules of the mould window that can still be mixed with others."""
    _amber, red = window_days()
    found = [
        x for x in day.lots if x.window_h and x.window_h[0] >= 24.0 * red and x.state.stage != Stage.GONE
    ]
    if not found:
        return []
    rule = window_state(0.0, 0.0)[1]
    reason = say(
        "{lots}: more than {d:.0f} days in the mould window, outside both rules. {todo}.", lots=_some(found),
        d=red,
        todo=str(say(HOLD)).capitalize(),
    )  # fmt: skip
    working = [
        say(
            "{code}: {h:.0f} h in the window, {kg:.0f} kg",
            code=x.code,
            h=(x.window_h or (0.0,))[0],
            kg=x.state.held_kg,
        )
        for x in found
    ]
    verb = (
        say("Hold {n} lots apart", n=len(found)) if len(found) > 1 else say("Hold {c} apart", c=found[0].code)
    )
    return [
        Line(
            day_key("hold", day.now, codes(found)), "hold", Rank.DANGER, verb, "Held apart",
            reason,
            codes(found), None, None, "", None, (*working, f"[{rule.text}]"), Act("", codes(found)), "",
            "w5",
            (24, 168),
        )
    ]  # fmt: skip


def _faster(day: DayNow, drying: list[LotNow]) -> list[Line]:
    """Lots that are inside a rule now and, left as they are, will not be."""
    amber, red = window_days()
    found = [
        x for x in drying
        if x.window_h and x.window_h[0] < 24.0 * red and not _at_target(day, x)
        and (x.window_h[1] >= 24.0 * red or x.window_h[0] >= 24.0 * amber)
    ]  # fmt: skip
    if not found:
        return []
    parts = []
    for x in found:
        share = 0.0 if x.outlook is None else chance_above(x.outlook.window, 24.0 * red)
        part = MOULD_COST * share * float(AHEAD / timedelta(days=1)) / max(red, 1.0)
        parts.append((x.worth, part, 0.5 * part, min(2.0 * part, MOULD_COST)))
    rule = "chance to end outside both rules, times half of the worth, spread over the days of the rule"
    reason = say(
        "{lots}: on the way out of the mould rules. Thinner, raked more, a dryer, or a place in the sun.",
        lots=_some(found),
    )  # fmt: skip
    working = [
        say(
            "{code}: {a:.0f} h in the window so far, {b:.0f} h by the time it is dry; the rules are "
            "{r:.0f} and "
            "{s:.0f} h", code=x.code, a=(x.window_h or (0, 0))[0], b=(x.window_h or (0, 0))[1], r=24 * amber,
            s=24 * red,
        )
        for x in found
    ]  # fmt: skip
    verb = (
        say("Dry {n} lots faster", n=len(found)) if len(found) > 1 else say("Dry {c} faster", c=found[0].code)
    )
    return [
        Line(
            day_key("faster", day.now, codes(found)), "faster", Rank.LOSES,
            verb, "Done",
            reason, codes(found), None, None, "", lost(parts, rule, MOULD_SOURCE), (*working, rule),
            Act("", codes(found)), "", "w4", (12, 24),
        )
    ]  # fmt: skip


def _asked(drying: list[LotNow]) -> list[Line]:
    """Readings that contradict all else that is known of their lot."""
    found = []
    for x in drying:
        if x.outlook is None or not x.outlook.asked:
            continue
        last = x.outlook.asked[-1]
        at = x.outlook.spread_at + timedelta(hours=last.hour)
        shown = f"{100 * last.value:.1f} %" if last.kind != "bed_c" else f"{last.value:.0f} C"
        reason = say(
            "{what} of {at:%d %b %H:%M} contradicts the lot's other readings and all that is known of "
            "such lots. It "
            "is left out until it is read again, or mended.", what=shown, at=at,
        )  # fmt: skip
        found.append(
            Line(
                f"asked:{x.code}:{at:%Y%m%d%H%M}", "asked", Rank.DUE, say("Read {c} again", c=x.code),
                "Record it",
                reason, (x.code,), at, None, "", None,
                (say("four standard deviations from what the rest says, and more"),), None,
                f"lot:{x.code}:read",
                "due", (3, 24),
            )
        )  # fmt: skip
    return found


def _take_up(day: DayNow, drying: list[LotNow]) -> list[Line]:
    """Lots at their target by a fresh reading; those that will pass it soon."""
    found = [_bag(day, x) for x in drying if _at_target(day, x) and _fresh(day, x) and "bag" in x.steps]
    late = [x for x in drying if not (_at_target(day, x) and _fresh(day, x)) and _past(day, x)]
    if late:
        found.append(_late(day, late))
    for x in drying:
        middle = x.outlook.forecast.dry_on()[1] if x.outlook and not _at_target(day, x) else None
        if middle is not None and day.now < middle <= day.now + timedelta(hours=36):
            found.append(_soon(day, x, middle))
    return found


def _past(day: DayNow, lot: LotNow) -> bool:
    """Whether its date has come, or an old reading said that it was dry."""
    if _at_target(day, lot):
        return True
    middle = lot.outlook.forecast.dry_on()[1] if lot.outlook else None
    return middle is not None and middle <= day.now and _hours(lot.state.known_at, day.now) > 3.0


def _sun_days(day: DayNow) -> float:
    """How much of a sunny day the next 12 hours hold."""
    return min(float((day.sun[:12] > 200.0).sum()) / 8.0, 1.0)


def _bag(day: DayNow, lot: LotNow) -> Line:
    known, target = lot.state.known_wb or 0.0, _target(day, lot)
    share = OVER_DAY * _sun_days(day)
    rule = "weight lost by the sun of the next 12 hours past the target"
    loss = lost([(lot.worth, share, 0.3 * share, 2.0 * share)], rule, OVER_SOURCE)
    return Line(
        f"bag:{lot.code}:{lot.state.known_at:%Y%m%d%H%M}", "bag", Rank.LOSES,
        say("Take up and bag {c}", c=lot.code), "Record it",
        say(
            "{m:.1f} % wb at the last reading, target {t:.1f} %; about {kg:.0f} kg. Left out it loses "
            "weight, or takes "
            "water back at night.", m=100 * known, t=100 * target, kg=lot.state.held_kg,
        ), (lot.code,), None, None, "", loss, (rule, f"[{OVER_SOURCE.text}]"), None, f"lot:{lot.code}:bag",
        "late",
        (3, 24),
    )  # fmt: skip


def _late(day: DayNow, lots: list[LotNow]) -> Line:
    share = OVER_DAY * _sun_days(day) * 0.5
    rule = "half the chance that it is past its target, times the weight that a sunny day takes"
    loss = lost([(x.worth, share, 0.0, 2.0 * share) for x in lots], rule, OVER_SOURCE)
    dates = [m for x in lots if x.outlook and (m := x.outlook.forecast.dry_on()[1])]
    since = min(dates, default=None)
    verb = (
        say("Read {n} lots whose date has come", n=len(lots))
        if len(lots) > 1
        else say("Read {c}: its date has come", c=lots[0].code)
    )
    return Line(
        day_key("late", day.now, codes(lots)), "late", Rank.LOSES, verb, "Record them",
        say("{lots}: dry by the forecast, not by a reading. Bag on a fresh reading only.", lots=_some(lots)),
        codes(lots), since, None, "", loss, (rule, f"[{OVER_SOURCE.text}]"), None, "round:late", "late", (3,
        24),
        _walk(day, lots),
    )  # fmt: skip


def _soon(day: DayNow, lot: LotNow, middle: datetime) -> Line:
    early, _m, late = lot.outlook.forecast.dry_on() if lot.outlook else (None, None, None)
    words = (
        say("early {a:%d %b %H}:00, late {b:%d %b %H}:00", a=early, b=late)
        if early and late
        else say("late is later than the forecast reaches")
    )
    return Line(
        f"soon:{lot.code}:{middle:%Y%m%d}", "soon", Rank.LATER, say("Take up {c}", c=lot.code), "Noted",
        say(
            "Passes its target of {t:.1f} % about {m:%A %H}:00; about {kg:.0f} kg.", t=100 * _target(day,
            lot),
            m=middle, kg=lot.state.held_kg,
        ), (lot.code,), None, middle, words, None, tuple(lot.outlook.forecast.notes if lot.outlook else ()),
        None,
        f"lot:{lot.code}:read", "soon", (24,),
    )  # fmt: skip


def _walk(day: DayNow, lots: list[LotNow]) -> tuple[tuple[str, tuple[str, ...]], ...]:
    return tuple((name, codes(own)) for name, own in day.by_place(lots))


def _read(day: DayNow, drying: list[LotNow]) -> list[Line]:
    """Readings that are due, in walking order: never read for two days, or within three days of dry and
    stale."""
    due = []
    for x in drying:
        if _past(day, x) or _at_target(day, x):
            continue
        left = x.outlook.forecast.dry_on()[1] if x.outlook else None
        hours = (left - day.now) / timedelta(hours=1) if left else float("inf")
        since = _hours(max(filter(None, (x.state.spread_at, x.state.known_at)), default=None), day.now)
        if since > STALE_H and (
            hours <= SOON_H or since >= 72.0 or (x.state.known_wb is None and since >= 48.0)
        ):
            due.append(x)
    if not due:
        return []
    until = day.now.replace(hour=16, minute=0, second=0, microsecond=0)
    return [
        Line(
            f"read:{day.now:%Y%m%d}", "read", Rank.DUE, say("Read moisture, in walking order"), "Begin",
            say(
                "{n} of {all} lots: within three days of dry, never read, or not read for three days. The "
                "others can "
                "wait.", n=len(due), all=len(drying),
            ), codes(due), None, max(until, day.now), "", None,
            (say("the order is that of the places in the station file"),), None, "round:due", "due", (1, 24),
            _walk(day, due),
        )
    ]  # fmt: skip


def _full(day: DayNow) -> list[Line]:
    """Places on which more lies than fits."""
    found = []
    for spot in day.yard.beds.values():
        if not spot.over:
            continue
        found.append(
            Line(
                f"full:{spot.name}:{day.now:%Y%m%d}", "full", Rank.DUE,
                say("Make room on {name}", name=spot.name), "Made room",
                say(
                    "{used:.0f} of {size:.0f} m2 by the loads that were said: layers are thicker and slower.",
                    used=spot.used, size=spot.size,
                ), tuple(spot.lots), None, None, "", None,
                (say("sum over lots of their dry matter at the load of each"),), Act("", tuple(spot.lots)),
                "",
                "full", (24, 72),
            )
        )  # fmt: skip
    return found
