"""Lines of the wet side: fruit that waits, tanks that are ready, wet parchment that lies."""

from __future__ import annotations

from datetime import timedelta

from drydown.day.line import AHEAD, Act, Line, Rank, lost
from drydown.day.now import DayNow, LotNow, TankNow
from drydown.steps.ferment import LATE_SOURCE
from drydown.way.habits import habits_of
from drydown.way.order import stage
from drydown.way.state import Stage
from drydown.way.waiting import DEFECT_COST, FRUIT_H, SOUR_H, WAIT_SOURCE
from drydown.way.yard import spread_m2
from drydown.words import say

__all__ = ["wet_lines"]


def wet_lines(day: DayNow) -> list[Line]:
    """Every line of the wet side."""
    found = []
    for lot in day.lots:
        if lot.tank is not None and "wash" in lot.steps:
            found.append(_tank(day, lot, lot.tank))
        elif lot.state.stage == Stage.GATHERING and lot.state.matter.mass > 0:
            found += _fruit(day, lot)
        elif stage(lot.state.stage).waits:
            found += _waits(day, lot)
    return found


def _tank(day: DayNow, lot: LotNow, tank: TankNow) -> Line:
    """Test it before its window and in it; wash it once a test says so, or its window is over."""
    hours = tank.window.hours
    opens, until = (tank.since + timedelta(hours=h) for h in (hours.low, hours.high))
    now_h = (day.now - tank.since) / timedelta(hours=1)
    name = lot.state.at("tank")
    risk_now, risk_then = tank.window.risk(now_h), tank.window.risk(now_h + AHEAD / timedelta(hours=1))
    share = DEFECT_COST * (risk_then - risk_now)
    rule = "chance of a defective cup 12 hours on less that of now, times 30 % of the lot's worth"
    loss = lost([(lot.worth, share, 0.5 * share, min(2.0 * share, DEFECT_COST))], rule, LATE_SOURCE)
    washing = tank.ready or day.now > until
    verb = (
        say("Wash {tank}: {lot}", tank=name, lot=lot.code)
        if washing
        else say("Test {tank}: {lot}", tank=name, lot=lot.code)
    )
    reason = (
        say("A test says that it is ready. Each hour on raises the risk of a fermented cup, slowly at first.")
        if tank.ready
        else say("Its hours are over by the station's tanks: test it, and wash it if it grips.")
        if day.now > until
        else say("Wash it between {a:%H:%M} and {b:%H:%M}; the hand decides.", a=opens, b=until)
    )
    band = say(
        "ready early {a:%a %H:%M}, middle {m:%a %H:%M}, late {b:%a %H:%M}; in the tank {h:.0f} h", a=opens,
        m=tank.since + timedelta(hours=hours.value), b=until, h=now_h,
    )  # fmt: skip
    working = (
        say("in the tank since {t:%d %b %H:%M}, {kg:.0f} kg by the books", t=tank.since,
        kg=lot.state.held_kg),
        *(f"{k}: {v}" for k, v in hours.inputs.items()),
        say(
            "risk of a defective cup if washed now {a:.0f} %, in 12 h {b:.0f} % [{source}]", a=100 * risk_now,
            b=100 * risk_then, source=LATE_SOURCE.text,
        ),
        hours.rule,
    )  # fmt: skip
    act = Act("wash", (lot.code,)) if washing else None
    early = day.now < opens - timedelta(hours=1) and not tank.ready
    rank = Rank.DUE if early else Rank.LOSES
    return Line(
        f"tank:{lot.code}:{tank.since:%Y%m%d%H%M}:{'wash' if washing else 'test'}",
        "wash" if washing else "test",
        rank, verb, "Washed" if washing else "Test it", reason, (lot.code,), opens,
        None if tank.ready and day.now > until else until, band, loss, working, act,
        "" if act else f"lot:{lot.code}:test", "lose" if washing else "due", (1, 2),
    )  # fmt: skip


def _slope(hours: float, span: tuple[float, float]) -> float:
    return min(max((hours - span[0]) / (span[1] - span[0]), 0.0), 1.0)


def _share(waited: float, span: tuple[float, float]) -> float:
    """Share of the worth that 12 hours more cost."""
    later = waited + AHEAD / timedelta(hours=1)
    return DEFECT_COST * (_slope(later, span) - _slope(waited, span))


def _fruit(day: DayNow, lot: LotNow) -> list[Line]:
    """Fruit of today or before that was not floated, pulped or spread."""
    since = lot.first_fruit_at
    if since is None or not lot.steps:
        return []
    since = day.local(since)
    waited = (day.now - since) / timedelta(hours=1)
    verbs = {"pulp": "Pulp {lot}", "spread": "Spread {lot}", "float": "Float {lot}"}
    kind = next((k for k in lot.steps if k in verbs), "")
    if not kind:
        return []
    share = _share(waited, FRUIT_H)
    rule = "what 12 hours more of waiting cost on a slope from 8 to 24 h after the first weighing"
    loss = lost([(lot.worth, share, 0.5 * share, min(1.5 * share, DEFECT_COST))], rule, WAIT_SOURCE)
    until = since + timedelta(hours=FRUIT_H[0])
    reason = say(
        "{kg:.0f} kg of fruit, the first weighed {t:%H:%M}, {h:.0f} h ago: it heats and ferments in its "
        "heap.",
        kg=lot.worth.fruit_kg, t=since, h=waited,
    )  # fmt: skip
    late = waited > FRUIT_H[0]
    return [
        Line(
            f"fruit:{lot.code}:{since:%Y%m%d}:{kind}", "fruit",
            Rank.LOSES if late or waited > 4 else Rank.DUE,
            say(verbs[kind], lot=lot.code), "Record it", reason, (lot.code,), since, until,
            say("loses from about {a:.0f} h on, all of it late by {b:.0f} h", a=FRUIT_H[0], b=FRUIT_H[1]),
            loss,
            (rule, f"[{WAIT_SOURCE.text}]"), None, f"lot:{lot.code}:{kind}", "late" if late else "due", (1,
            2),
        )
    ]  # fmt: skip


def _waits(day: DayNow, lot: LotNow) -> list[Line]:
    """Wet coffee between two steps: pulped, washed."""
    since = lot.state.moved_at
    if since is None or not lot.steps:
        return []
    since = day.local(since)
    waited, kind = (day.now - since) / timedelta(hours=1), lot.steps[0]
    verbs = {
        "spread": "Spread {lot}",
        "ferment": "Put {lot} into a tank",
        "pulp": "Pulp {lot}",
        "wash": "Wash {lot}",
    }
    share = _share(waited, SOUR_H)
    rule = "what 12 hours more of lying wet cost on a slope from 6 to 24 h"
    loss = lost([(lot.worth, share, 0.5 * share, min(1.5 * share, DEFECT_COST))], rule, WAIT_SOURCE)
    reason = say(
        "{stage} and on no bed yet, {kg:.0f} kg, for {h:.0f} h: it sours.{room}",
        stage=say(stage(lot.state.stage).words).capitalize(), kg=lot.state.held_kg, h=waited, room=_room(day,
        lot),
    )  # fmt: skip
    return [
        Line(
            f"waits:{lot.code}:{since:%Y%m%d%H%M}", "waits", Rank.LOSES,
            say(verbs.get(kind, "Go on with {lot}"), lot=lot.code), "Record it", reason, (lot.code,), since,
            since + timedelta(hours=SOUR_H[0]), say("sour from about 6 h on, all of it late by 24 h"), loss,
            (rule, f"[{WAIT_SOURCE.text}]"), None, f"lot:{lot.code}:{kind}",
            "lose" if waited > SOUR_H[0] else "due", (1, 2),
        )
    ]  # fmt: skip


def _room(day: DayNow, lot: LotNow) -> str:
    """Where it would fit, at the station's usual load."""
    habits = habits_of(lot.state, day.station)
    if habits is None:
        return ""
    state = lot.state
    need = spread_m2(state.route, state.species, day.station, state.matter.dry, habits.load_kg_m2)
    free = [(b.size - b.used, b.name) for b in day.yard.beds.values() if b.size - b.used >= need]
    if not free:
        return say(" It takes {m:.0f} m2, and no place has as much free.", m=need)
    room, name = max(free)
    return say(" It takes {m:.0f} m2; {name} has {free:.0f} free.", m=need, name=name, free=room)
