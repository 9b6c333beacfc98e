"""Every kind of line in a situation that calls for it, and in one that does not."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import numpy as np
import pytest

from drydown.day.ahead import can_take, days_ahead, free_ahead
from drydown.day.line import Line, Rank, Worth, lost, ordered
from drydown.day.lines import lines_of
from drydown.day.now import DayNow, LotNow, MeterNow, PlanNow, WetNow
from drydown.day.water import water_days
from drydown.figures import Source, Status
from drydown.outlook.keeping import StoreAir, kept
from drydown.station.trade import Wet
from drydown.steps.keep import WALL_SOURCE, bag
from drydown.way.state import Stage, Stay
from drydown.way.yard import yard_of
from tests.day.scene import BED, NOW, STATION, day, drying, outlook, state, tank

EVENING, MORNING = NOW.replace(hour=16, minute=50), NOW.replace(hour=8, minute=30)
SURE_RAIN = np.concatenate([np.zeros(1), np.full(35, 0.7)])


def wet(stage: str, hours: float, steps: tuple[str, ...]) -> LotNow:
    """Wet coffee that waits."""
    at = state(stage, spread_at=None, moved_at=NOW - timedelta(hours=hours))
    return LotNow(
        at, Worth(600.0, 300_000.0, "XTS"), steps=steps, first_fruit_at=NOW - timedelta(hours=hours)
    )


def stored(wb: float | None, read_days: float = 2.0, window_h: float = 30.0) -> LotNow:
    """A lot in the store."""
    at = state(Stage.STORED, wb=wb, read_h=24 * read_days, stays=(Stay("store", "Main store"),))
    return LotNow(at, Worth(600.0, 300_000.0, "XTS"), window_h=(window_h, window_h), dry=True)


def long_stored(days: float) -> LotNow:
    """A lot that has stood in the store for some days, read yesterday."""
    lot = stored(0.11)
    return replace(lot, state=replace(lot.state, moved_at=NOW - timedelta(days=days)))


def full_yard() -> Any:
    """A yard on whose first bed more lies than fits."""
    heavy = replace(drying().state, matter=replace(drying().state.matter, dry=6_000_000))
    return yard_of(STATION, [(heavy, "bed")])


def dry_station(**keys: float) -> Any:
    """The station with other water."""
    return STATION.model_copy(update={"wet": Wet(**keys)})


def in_bags(name: str, rh: float, night_c: float = 20.0) -> LotNow:
    """A stored lot in a kind of bag, at 25 C in air of a humidity."""
    air = StoreAir(np.full((40, 720), 25.0), np.full((40, 720), rh), "still", WALL_SOURCE)
    month = kept(0.118, 0.125, bag(name), air, np.full((40, 30), night_c), seed=1)
    return replace(stored(0.118), kept=month)


PLANNED = PlanNow("AW-1", "pulp", "Pulp AW-1 on Drum pulper", NOW + timedelta(hours=2), NOW)
METER = MeterNow("meter 2", 40, None, NOW - timedelta(days=60))
CASES: list[tuple[str, DayNow, DayNow]] = [
    ("wash", day(tank(17, True, True)), day(tank(17))),
    ("test", day(tank(13)), day(tank(17, True, True))),
    ("fruit", day(wet(Stage.GATHERING, 9, ("float", "pulp"))), day(wet(Stage.GATHERING, 9, ()))),
    ("waits", day(wet(Stage.WASHED, 5, ("spread",))), day(drying())),
    ("hold", day(drying(window_h=(130.0, 150.0))), day(drying(window_h=(90.0, 95.0)))),
    ("faster", day(drying(window_h=(60.0, 140.0))), day(drying(window_h=(60.0, 90.0)))),
    ("asked", day(drying(found=outlook(asked=True))), day(drying())),
    ("cover", day(drying(), rain=SURE_RAIN), day(drying())),
    ("cover", day(drying(), now=EVENING), day(drying(covered=True), now=EVENING)),
    ("uncover", day(drying(covered=True), now=MORNING), day(drying(covered=True), now=MORNING,
    rain=[0.8] * 36)),
    ("uncover", day(drying(covered=True), now=MORNING), day(drying(covered=False), now=MORNING)),
    ("bag", day(drying(0.108)), day(drying(0.125))),
    ("bag", day(drying(0.108)), day(drying(0.108, read_h=40))),
    ("late", day(drying(0.14, 30, outlook(-3.0, 1.0))), day(drying(0.14, 1, outlook(-0.5, 0.2)))),
    ("soon", day(drying(0.14, 3, outlook(20.0))), day(drying(0.14, 3, outlook(60.0)))),
    ("read", day(drying(0.2, 30, outlook(50.0))), day(drying(0.2, 3, outlook(50.0)))),
    ("read", day(drying(0.4, 80, outlook(400.0))), day(drying(0.4, 30, outlook(400.0)))),
    ("full", day(drying(), yard=full_yard()), day(drying())),
    ("wet", day(stored(0.131)), day(stored(0.12))),
    ("store", day(stored(0.11, 40)), day(stored(0.11, 5))),
    ("weevil", day(long_stored(50)), day(long_stored(30))),
    ("meter", day(meters=(METER,)), day(meters=(replace(METER, checked_at=NOW - timedelta(days=4)),))),
    ("pay", day(owed=(3, "9 000 XTS", NOW - timedelta(days=9))), day(owed=(3, "9 000 XTS",
    NOW - timedelta(days=2)))),
    ("weather", day(now=NOW.replace(hour=18), day_said=False), day(now=NOW.replace(hour=18))),
    ("water", day(wet(Stage.GATHERING, 2, ("float", "pulp")), station=dry_station(supply_l_day=100)),
     day(wet(Stage.GATHERING, 2, ("float", "pulp")), station=dry_station(supply_l_day=1000))),
    ("water", day(tank(1), station=dry_station(supply_l_day=100)),
     day(tank(1), station=dry_station())),
    ("effluent", day(wet=WetNow(0.0, 900.0), station=dry_station(may_let_out_l_day=800)),
     day(wet=WetNow(0.0, 900.0), station=dry_station(may_let_out_l_day=1000))),
    ("pond", day(wet=WetNow(week_l_day=9000.0), station=dry_station(ponds_l=9000)),
     day(wet=WetNow(week_l_day=9000.0), station=dry_station(ponds_l=40000))),
    ("heap", day(wet=WetNow(pulp_kg=900.0), station=dry_station(pulp_heap_kg=800)),
     day(wet=WetNow(pulp_kg=700.0), station=dry_station(pulp_heap_kg=800))),
    ("drift", day(in_bags("jute", 0.82)), day(in_bags("jute", 0.6))),
    ("drift", day(in_bags("jute", 0.82)), day(in_bags("hermetic bag", 0.82))),
    ("sweat", day(in_bags("hermetic bag", 0.6, 10.0)), day(in_bags("hermetic bag", 0.6, 20.0))),
    ("sweat", day(in_bags("closed liner", 0.6, 10.0)), day(in_bags("jute", 0.6, 10.0))),
    ("plan", day(wet(Stage.FLOATED, 2, ("pulp",)), plan=(PLANNED,)), day(wet(Stage.FLOATED, 2, ("pulp",)))),
    ("plan", day(wet(Stage.FLOATED, 2, ("pulp",)), plan=(PLANNED,)), day(wet(Stage.WASHED, 2, ("spread",)),
     plan=(PLANNED,))),
    ("plan", day(wet(Stage.FLOATED, 2, ("pulp",)), plan=(PLANNED,)),
     day(wet(Stage.FLOATED, 2, ("pulp",)), plan=(replace(PLANNED, begin=NOW + timedelta(hours=20)),))),
    ("trouble", day(troubles=(("broker", "The broker is away"),)), day()),
]  # fmt: skip


def kinds(here: DayNow) -> list[str]:
    return [x.kind for x in lines_of(here).now]


@pytest.mark.parametrize(
    ("kind", "there", "not_there"), CASES, ids=[f"{n}-{c[0]}" for n, c in enumerate(CASES)]
)
def test_a_line_stands_where_it_must_and_only_there(kind: str, there: DayNow, not_there: DayNow) -> None:
    assert kind in kinds(there)
    assert kind not in kinds(not_there)


def test_every_kind_is_tried() -> None:
    """No line is made that the table above does not know."""
    import inspect
    import re

    from drydown.day import coverlines, drylines, keeplines, otherlines, planlines, waterlines, wetlines

    text = "".join(
        inspect.getsource(m)
        for m in (coverlines, drylines, keeplines, otherlines, planlines, waterlines, wetlines)
    )
    made = set(re.findall(r'Line\(\s*(?:f?"[^"]*"|day_key\([^\n]*\)),\s*"([a-z]+)"', text)) | {"wash", "test"}
    assert {c[0] for c in CASES} >= made, made - {c[0] for c in CASES}


def test_a_wet_lot_is_never_told_to_be_bagged() -> None:
    for wb in (0.13, 0.2, 0.4, None):
        for hours in (1, 30, 200):
            found = lines_of(day(drying(wb, hours, outlook(-50.0)))).now
            assert not any("bag" in str(x.verb) for x in found if x.kind != "late")
            assert all("fresh reading" in str(x.reason) for x in found if x.kind == "late")


def test_what_loses_most_stands_first_and_danger_before_it() -> None:
    ready, waits = tank(24, True, True), wet(Stage.WASHED, 12, ("spread",))
    dear = replace(waits, worth=Worth(5000.0, 2_500_000.0, "XTS"), state=replace(waits.state, code="AW-9"))
    here = day(ready, waits, dear, drying(window_h=(130.0, 140.0)), drying(0.2, 30))
    found = lines_of(here).now
    ranks = [x.rank for x in found]
    assert ranks == sorted(ranks)
    assert found[0].kind == "hold"
    losing = [x for x in found if x.rank == Rank.LOSES]
    amounts = [x.amount for x in losing]
    assert amounts == sorted(amounts, reverse=True)
    assert losing[0].lots == ("AW-9",)
    assert all(x.loss is not None and x.loss.low <= x.loss.value <= x.loss.high for x in losing)


def test_put_off_goes_away_and_comes_back() -> None:
    here = day(drying(0.108))
    (line,) = [x for x in lines_of(here).now if x.kind == "bag"]
    off = replace(here, put_off={line.key: NOW + timedelta(hours=2)})
    assert "bag" not in kinds(off)
    assert [x.key for x in lines_of(off).put_off] == [line.key]
    assert "bag" in kinds(replace(off, now=NOW + timedelta(hours=3)))


def test_lines_of_two_lots_have_keys_of_their_own() -> None:
    other = replace(drying(0.108), state=replace(drying(0.108).state, code="AW-2"))
    keys = [x.key for x in lines_of(day(drying(0.108), other)).now]
    assert len(set(keys)) == len(keys)


def test_what_is_lost_is_shares_of_worth() -> None:
    """A lot of 1000 and one of 3000 at 10 and 20 per cent: 700; without a price for one, kilograms."""
    source = Source("made up", Status.OWN_ESTIMATE)
    rows = [(Worth(10.0, 1000.0, "XTS"), 0.1, 0.0, 0.2), (Worth(20.0, 3000.0, "XTS"), 0.2, 0.1, 0.3)]
    found = lost(rows, "rule", source)
    assert (found.value, found.low, found.high, found.unit) == (700.0, 300.0, 1100.0, "XTS")
    rows[0] = (Worth(10.0, None), 0.1, 0.0, 0.2)
    assert lost(rows, "rule", source).unit == "kg"
    assert lost(rows, "rule", source).value == pytest.approx(5.0)


def test_ties_go_by_the_hour() -> None:
    def at(hours: float) -> Line:
        return Line(f"k{hours}", "x", Rank.DUE, "Do", "Done", "why", until=NOW + timedelta(hours=hours))

    assert [x.key for x in ordered([at(5), at(1), at(3)], NOW)] == ["k1", "k3", "k5"]


def test_area_comes_free_when_lots_are_dry() -> None:
    """One lot on a bed that is dry in 40 hours give or take 10: there tomorrow evening, gone in three
    days."""
    lot = drying(0.2, 3, outlook(40.0, 10.0))
    here = day(lot)
    (room,) = [r for r in free_ahead(here, 5) if r.name == BED]
    need = room.size - room.free[1, 0]
    assert need > 0.0
    assert room.free[1, 1] == pytest.approx(room.size - need)
    assert room.free[1, 4] == pytest.approx(room.size)
    assert np.all(room.free[0] <= room.free[1] + 1e-9)
    assert np.all(room.free[1] <= room.free[2] + 1e-9)
    comes = [a for a in days_ahead(here) if a.lots]
    assert [a.lots for a in comes] == [("AW-1",)]
    assert comes[0].at.date() == (NOW + timedelta(hours=40)).date()


def test_more_fruit_is_answered_from_the_free_area() -> None:
    rooms = free_ahead(day(drying()), 5)
    words, area = can_take(rooms, STATION, "arabica", "washed", 100.0, 1)
    assert words.startswith("Yes")
    assert area is not None
    twice = can_take(rooms, STATION, "arabica", "washed", 200.0, 1)[1]
    assert twice is not None
    assert twice.value == pytest.approx(2.0 * area.value, rel=1e-3)
    assert can_take(rooms, STATION, "arabica", "washed", 400_000.0, 1)[0].startswith("Not as it stands")


def test_hours_are_the_station_s_own() -> None:
    """A moment that came in as UTC stands in the line by the station's clock."""
    from datetime import UTC

    lot = wet(Stage.GATHERING, 9, ("float", "pulp"))
    lot = replace(lot, first_fruit_at=(NOW - timedelta(hours=9)).astimezone(UTC))
    (line,) = [x for x in lines_of(day(lot)).now if x.kind == "fruit"]
    assert f"{NOW - timedelta(hours=9):%H:%M}" in str(line.reason)
    assert isinstance(line.until, datetime)
    assert line.until.utcoffset() == NOW.utcoffset()


def test_water_of_a_day_by_hand() -> None:
    """140 kg of fruit at the station's 1.2 L/kg is 168 L; what was drawn so far counts; a tank of eight hours
    is washed on the day its middle falls on."""
    fruit = wet(Stage.GATHERING, 2, ("float", "pulp"))
    today, tomorrow = water_days(day(fruit, wet=WetNow(drawn_l=50.0, let_out_l=20.0)))
    assert today.draws.value == pytest.approx(50.0 + 1.2 * 140.0)
    assert today.lets_out.value == pytest.approx(20.0 + 1.2 * 140.0)
    assert tomorrow.draws.value == 0.0
    # 80 kg of dry matter, of which the wash leaves a part; 4 L a kg of parchment at 11 % wb bounds it
    soon, later = water_days(day(tank(1)))
    assert soon.draws.value == 0.0
    assert 0.7 * 4.0 * 80.0 / 0.89 < later.draws.value <= 4.0 * 80.0 / 0.89
    ready, _next = water_days(day(tank(1, True, True)))
    assert ready.draws.value == later.draws.value
