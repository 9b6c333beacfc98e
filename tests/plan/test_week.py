"""A station's week as a problem: hand-solved cases, signs, wishes, shortages, and the check of every plan."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from drydown.errors import InputError, RangeError
from drydown.plan.answer import answer_of
from drydown.plan.build import build
from drydown.plan.check import faults, money
from drydown.plan.deliveries import read_deliveries
from drydown.plan.shared import lies_until
from drydown.plan.told import as_dict, calendar, elsewhere, lanes_of, rows_of
from drydown.station.trade import Wet
from drydown.station.work import Breakdown
from tests.plan.scene import NOW, STATION, ZONE, coming, drying, in_tank, small, times, week, wished


def test_fruit_of_a_day_is_pulped_filled_washed_and_spread_in_its_hours() -> None:
    here = week(fruit=(coming("AW", 700),))
    found = answer_of(here, times(here), 5.0, prices=False)
    assert found.fits
    assert faults(found.built.problem, found.plan) == []
    assert money(found.built.problem, found.plan) == found.plan.cost
    rows = {r.kind: r for r in rows_of(found)}
    assert list(rows) == ["pulp", "ferment", "wash", "dry"]
    assert rows["pulp"].begin >= NOW.replace(hour=15)
    # 700 kg less nothing at 1200 kg/h: 35 minutes, in quarters of an hour 45
    assert rows["pulp"].end - rows["pulp"].begin == timedelta(minutes=45)
    assert timedelta(0) <= rows["ferment"].begin - rows["pulp"].end <= timedelta(hours=1)
    for kind in ("pulp", "wash", "dry"):
        assert 7 <= rows[kind].begin.hour < 19  # the shift of the example station
    assert rows["wash"].begin - rows["ferment"].begin >= timedelta(hours=13)


def test_a_tank_that_a_test_called_ready_is_washed_in_the_first_hour_of_the_shift() -> None:
    here = week((in_tank("AW-1", "Tank 1", 20.0, ready=True),))
    found = answer_of(here, times(here), 5.0, prices=False)
    (wash,) = [r for r in rows_of(found) if r.kind == "wash"]
    assert wash.begin == NOW.replace(hour=7)
    assert not any(r.kind == "ferment" for r in rows_of(found))  # it is in its tank already


def test_a_bed_that_is_taken_is_waited_for_or_gone_round_by_hand() -> None:
    """80 m2, 60 of them taken for a day: 1000 kg of fruit at 25 kg/m2 take 38 m2, and wait for it."""
    station = small(80.0)
    full = drying("AN-1", "Upper beds", 1570.0, 30.0)
    here = week((full,), (coming("AN", 1000, 0, ("natural",), 8),), station=station)
    found = answer_of(here, times(here), 5.0, prices=False)
    assert faults(found.built.problem, found.plan) == []
    (spread,) = [r for r in rows_of(found) if r.kind == "dry"]
    free = here.at(lies_until(here, full))
    assert spread.begin >= free >= NOW + timedelta(hours=30)
    thin = week((), (coming("AN", 1000, 0, ("natural",), 8),), station=station)
    alone = answer_of(thin, times(thin), 5.0, prices=False)
    assert rows_of(alone)[0].begin < NOW + timedelta(hours=6)
    assert alone.plan.cost < found.plan.cost


def test_what_has_no_way_is_named_and_what_would_mend_it_is_found() -> None:
    station = small(30.0)
    here = week(
        (drying("AN-1", "Upper beds", 780.0, 500.0),), (coming("AN", 900, 0, ("natural",)),), station=station
    )
    found = answer_of(here, times(here), 5.0)
    assert not found.fits
    assert found.refused == ("AN",)
    assert "AN" in found.headline()
    best = found.worth[0]
    assert best.thing == "Upper beds"
    assert "AN" in best.mends
    assert best.saves > 0


def test_the_route_is_chosen_where_it_is_left_open() -> None:
    """With no pulper fruit can only be dried whole; with one, the dearer green decides."""
    open_ = (coming("A", 400, 0, ("washed", "natural")),)
    found = answer_of(here := week(fruit=open_), times(here), 5.0, prices=False)
    assert {r.kind for r in rows_of(found)} >= {"pulp", "dry"}
    bare = STATION.model_copy(update={"equipment": STATION.equipment.model_copy(update={"pulpers": ()})})
    without = answer_of(here := week(fruit=open_, station=bare), times(here), 5.0, prices=False)
    assert {r.kind for r in rows_of(without)} == {"dry"}
    assert without.fits


def test_a_breakdown_and_little_water_put_work_off() -> None:
    fruit = (coming("AW", 700, 0, hour=8),)
    plain = answer_of(here := week(fruit=fruit), times(here), 5.0, prices=False)
    pulped = next(r for r in rows_of(plain) if r.kind == "pulp").begin
    gone = Breakdown(thing="Drum pulper", begins=NOW, ends=NOW.replace(hour=16))
    work = STATION.work.model_copy(update={"breakdowns": (gone,)})
    broken = STATION.model_copy(update={"work": work})
    later = answer_of(here := week(fruit=fruit, station=broken), times(here), 5.0, prices=False)
    assert next(r for r in rows_of(later) if r.kind == "pulp").begin >= NOW.replace(hour=16) > pulped
    assert later.plan.cost >= plain.plan.cost
    two = (*fruit, coming("AW2", 700, 0, hour=9))
    dry = STATION.model_copy(update={"wet": Wet(supply_l_day=1000)})
    thirsty = answer_of(here := week(fruit=two, station=dry), times(here), 5.0, prices=False)
    assert faults(thirsty.built.problem, thirsty.plan) == []
    days = {r.begin.date() for r in rows_of(thirsty) if r.kind == "pulp"}
    assert len(days) == 2  # 840 L each at 1.2 L/kg: two do not fit into a day


def test_a_wish_is_kept_and_never_cheaper() -> None:
    here = week(fruit=(coming("AW", 500),))
    free = answer_of(here, times(here), 5.0, prices=False)
    for place in ("Old patio", "Film house"):
        kept = answer_of(wished(here, AW=place), times(here), 5.0, prices=False)
        assert next(r for r in rows_of(kept) if r.kind == "dry").where == place
        assert kept.plan.cost >= free.plan.cost
    named = next(r for r in rows_of(free) if r.kind == "dry").where
    others = elsewhere(free, "AW")
    assert named not in {p for p, _c, _d in others}
    assert others == sorted(others, key=lambda r: r[1])


def test_a_plan_stays_where_the_accepted_one_laid_it() -> None:
    here = week(fruit=(coming("AW", 300),))
    free = answer_of(here, times(here), 5.0, prices=False)
    was = next(r for r in rows_of(free) if r.kind == "dry").where
    other = next(p for p, cost, _d in elsewhere(free, "AW") if p != was)
    stays = answer_of(replace(here, before={"AW": other}), times(here), 5.0, prices=False)
    dearer = {p: c for p, c, _d in elsewhere(free, "AW")}[other]
    moved = next(r for r in rows_of(stays) if r.kind == "dry").where
    assert moved == (other if dearer < 0.01 * 300 * 620 else was)


def test_drying_times_are_run_once_and_depend_on_day_place_and_load() -> None:
    here = week(fruit=(coming("AW", 500),))
    first = times(here)
    built = build(here, first)
    second = times(here)
    build(here, second)
    assert second.ran == 0
    modes = built.problem.jobs[0].tasks[-1].modes
    days = {(m.words, m.tells["load"]): m.tells["days"] for m in modes}
    assert len({round(v, 2) for v in days.values()}) > 3
    for place in {m.words for m in modes}:
        thin, thick = sorted((load, d) for (p, load), d in days.items() if p == place)
        assert thick[1] > thin[1]


def test_absent_facts_are_left_out_and_said() -> None:
    bare = STATION.model_copy(update={"work": type(STATION.work)(), "wet": Wet()})
    here = week(fruit=(coming("AW", 500),), station=bare)
    built = build(here, times(here))
    names = {r.name for r in built.problem.resources}
    assert "people" not in names
    assert "water" not in names
    told = " ".join(built.notes)
    for words in ("no shift", "no wage", "water"):
        assert words in told


def test_what_is_told_adds_up() -> None:
    here = week((drying("AN-1", "Old patio", 800.0, 40.0),), (coming("AW", 500),))
    found = answer_of(here, times(here), 5.0, prices=False)
    plain = as_dict(found)
    assert plain["shape"] == "drydown.plan/1"
    assert len(plain["tasks"]) == len(rows_of(found))
    lanes = {lane.name: lane for lane in lanes_of(found)}
    assert [b.job for b in lanes["Old patio"].bars if b.state == "lies"] == ["AN-1"]
    assert 0.0 <= min(lanes["Old patio"].free) < 200.0
    feed = calendar("Orimba", rows_of(found), NOW).decode()
    assert feed.count("BEGIN:VEVENT") == len(rows_of(found))


GOOD = "date,time,species,route,kg\n2026-06-12,15:30,arabica,washed/natural,400\n"
BAD = [
    ("", "no rows"), ("date,species,route\n1,2,3\n", "no column kg"),
    (GOOD.replace("arabica", "mocha"), "not taken in"), (GOOD.replace("washed/", "boiled/"), "not a route"),
    (GOOD.replace(",400", ",-4"), "above 0"), (GOOD.replace(",400", ",lots"), "not a mass"),
    (GOOD.replace("2026-06-12", "tomorrow"), "cannot be read"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "words"), BAD, ids=[w for _t, w in BAD])
def test_a_bad_table_of_fruit_is_refused_in_a_sentence(text: str, words: str) -> None:
    with pytest.raises((InputError, RangeError), match=words):
        read_deliveries(text, STATION, ZONE)


def test_a_table_of_fruit_is_read() -> None:
    (one,) = read_deliveries(GOOD, STATION, ZONE)
    assert one.routes == ("washed", "natural")
    assert (one.at.hour, one.at.minute, one.kg) == (15, 30, 400.0)
    twice = read_deliveries(GOOD + GOOD.splitlines()[1] + "\n", STATION, ZONE)
    assert len({c.name for c in twice}) == 2


def test_a_lot_without_an_outlook_keeps_its_place() -> None:
    lot = replace(drying("AN-1", "Old patio", 800.0, 10.0), done_h=None)
    here = week((lot,))
    assert lies_until(here, lot) == here.horizon
    soon = replace(lot, done_h=np.full(24, 10.0))
    assert lies_until(here, soon) == here.step_of(NOW + timedelta(hours=10))
    assert lies_until(here, replace(lot, done_h=np.full(24, np.inf))) == here.horizon


def test_an_order_has_a_date_and_a_day_late_costs_a_hundredth() -> None:
    """By hand: due at the end of its day; a hundredth of its green's price a day, in quarters of an hour."""
    from datetime import date

    from drydown.plan.orders import green_of
    from drydown.station.work import Order

    order = Order(buyer="A buyer", species="arabica", route="natural", green_kg=10_000, by=date(2026, 6, 12))
    work = STATION.work.model_copy(update={"orders": (order,)})
    station = small(200.0).model_copy(update={"work": work})
    here = week((), (coming("AN", 900, 0, ("natural",), 8),), station=station)
    built = build(here, times(here))
    (job,) = built.problem.jobs
    ((due, each),) = job.late
    assert here.at(due) == NOW.replace(hour=0) + timedelta(days=2)
    worth = 5300 * green_of(here, "arabica", "natural", 900)
    assert each == pytest.approx(0.01 * worth / 96, rel=0.02)
    other = order.model_copy(update={"route": "washed"})
    bare = station.model_copy(update={"work": work.model_copy(update={"orders": (other,)})})
    here = week((), (coming("AN", 900, 0, ("natural",), 8),), station=bare)
    assert build(here, times(here)).problem.jobs[0].late == ()


def test_a_lot_may_lie_on_a_bed_and_then_in_a_dryer() -> None:
    """Its two stays follow each other, and warm air ends sooner than the bed alone."""
    from drydown.station.model import Dryer

    beds = small(60.0)
    dryer = Dryer(name="Tray dryer", kind="tray_dryer", area_m2=12.0, holds_kg=2000.0)
    station = beds.model_copy(update={"equipment": beds.equipment.model_copy(update={"dryers": (dryer,)})})
    here = week((), (coming("AN", 900, 0, ("natural",), 8),), station=station)
    built = build(here, times(here))
    modes = built.problem.jobs[0].tasks[-1].modes
    moved = [m for m in modes if m.words == "Upper beds then Tray dryer"]
    assert moved
    for mode in moved:
        bed, rest = mode.legs
        assert bed.long is not None
        assert rest.offset == bed.long
        assert rest.long == mode.long[0] - bed.long
        alone = next(m for m in modes if m.name == mode.name.replace(" then Tray dryer", ""))
        assert mode.long[0] < alone.long[0]  # warm air ends sooner than the bed alone
    found = answer_of(here, times(here), 5.0, prices=False)
    assert faults(found.built.problem, found.plan) == []


def test_a_lot_larger_than_any_place_is_laid_on_all_or_told() -> None:
    """16 t of fruit at 25 kg/m2 take 608 m2 of 1130 in four places; 60 t take more than there is."""
    large = week((), (coming("AN", 16_000, 0, ("natural",), 8),))
    found = answer_of(large, times(large), 5.0, prices=False)
    assert faults(found.built.problem, found.plan) == []
    assert found.fits
    huge = week((), (coming("AN", 60_000, 0, ("natural",), 8), coming("AW", 300)))
    told = answer_of(huge, times(huge), 5.0, prices=False)
    assert told.refused == ("AN",)
    assert not told.fits
    assert {r.job for r in rows_of(told)} == {"AW"}


def test_what_changed_since_an_accepted_plan_is_told() -> None:
    from drydown.plan.changes import Was, changes
    from drydown.plan.told import Row

    hour = timedelta(hours=1)

    def row(job: str, kind: str, where: str, at: int) -> Row:
        return Row(NOW + at * hour, NOW + (at + 1) * hour, kind, f"{kind} {job}", job, where, False)

    told_was = (("A", "dry", "Upper beds", 5), ("B", "wash", "by hand", 3), ("C", "dry", "Old patio", 9),
                ("D", "dry", "Old patio", -9))  # fmt: skip
    was = [Was(job, kind, where, NOW + at * hour) for job, kind, where, at in told_was]
    rows = [
        row("A", "dry", "Film house", 5),
        row("B", "wash", "by hand", 8),
        row("E", "dry", "Upper beds", 4),
    ]
    told = {c.lot: str(c.words) for c in changes(rows, was, NOW)}
    assert told["A"] == "Film house, was Upper beds"
    assert "14:00, was" in told["B"]
    assert told["C"] == "no longer in the plan"
    assert told["E"].startswith("new")
    assert "D" not in told  # its hour is over
    same = [row("A", "dry", "Upper beds", 6), row("B", "wash", "by hand", 3), row("C", "dry", "Old patio", 9)]
    assert changes(same, was[:3], NOW) == []


def test_washed_coffee_that_waits_already_loses_from_six_hours_on() -> None:
    """Fruit from 8 h, washed coffee from 6 h (own estimates of `way/waiting.py`), in quarters of an hour."""
    from drydown.way.state import Stage

    tank = in_tank("AW-1", "Tank 1", 20.0, ready=True)
    lot = replace(tank, state=replace(tank.state, stage=Stage.WASHED, stays=()), tank=None)
    here = week((lot,), (coming("AN", 300, 0, ("natural",)),))
    washed, fruit = build(here, times(here)).problem.jobs
    assert washed.tasks[0].waits[-1][0] == 6 * 4
    assert fruit.tasks[0].waits[-1][0] == 8 * 4


def test_a_comma_in_a_bed_s_name_takes_no_way_from_a_lot() -> None:
    """The ways of a large lot over several beds are as many whatever the beds are called."""
    counts = []
    for name in ("Bed {n}", "Slope, bed {n}"):
        one = STATION.equipment.beds[0]
        beds = tuple(
            one.model_copy(
                update={"name": name.format(n=n), "area_m2": 60.0 + n, "at_m": None, "wide_m": None}
            )
            for n in range(3)
        )
        things = STATION.equipment.model_copy(update={"beds": beds, "dryers": ()})
        station = STATION.model_copy(update={"equipment": things})
        here = week((), (coming("AN", 4000, 0, ("natural",), 8),), station=station)
        (job,) = build(here, times(here)).problem.jobs
        ways = [m for t in job.tasks for m in t.modes]
        counts.append((len(ways), sum(len(m.legs) == 3 for m in ways)))
        assert all("Slope" not in m.name.split(", ")[-1] for m in ways)
    assert counts[0] == counts[1]
    assert counts[0][1] > 0
