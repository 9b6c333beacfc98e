"""The room of a lot's way: plain values in, plain values out; the rest of the house asks it."""

from __future__ import annotations

import subprocess
import sys
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import pytest

from drydown.errors import InputError, RangeError
from drydown.station.load import example_text, parse_station
from drydown.way.ask import check
from drydown.way.dry import drying_case
from drydown.way.ferment import not_ready, tank_hours
from drydown.way.matter import Matter
from drydown.way.names import account, read
from drydown.way.needs import Hours, Setting, whole_way_people_h
from drydown.way.order import may_follow, next_steps, stage, stages, step, steps
from drydown.way.state import LotState, Past, Read, Stay
from drydown.way.step import Doing
from drydown.way.taking import take
from drydown.way.when import when
from drydown.way.yard import yard_of

STATION = parse_station(example_text())
NOW = datetime(2026, 5, 4, 12, tzinfo=UTC)
ZONE = STATION.place.site().zone


def state(stage_name: str, **more: Any) -> LotState:
    """A lot of 100 kg at a stage."""
    return LotState(
        "AW-1", "arabica", more.pop("route", "washed"), stage_name, Matter(40_000, 60_000), **more
    )


def doing(lot: LotState, past: Past | None = None, **details: Any) -> Doing:
    """A step at the example station, alone in the yard."""
    return Doing(
        lot, details, NOW, STATION, yard_of(STATION, []), past or Past(fruit_kg=100.0, family_kg=100.0)
    )


def test_it_knows_no_records_and_no_pages() -> None:
    code = (
        "import sys; import drydown.way.taking, drydown.way.order; drydown.way.order.steps();"
        "print([m for m in sys.modules if m.split('.')[0] == 'django' or m.startswith('drydown.books')])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_every_step_that_a_route_names_is_there_and_is_reached() -> None:
    named = {
        k for route in ("washed", "pulped_natural", "natural") for s in stages() for k in may_follow(route, s)
    }
    assert named == set(steps())
    # The way of each route, typed by hand: what a lead would expect (common practice, no source).
    for route, way in {
        "washed": ["float", "pulp", "ferment", "wash", "spread"],
        "pulped_natural": ["float", "pulp", "spread"],
        "natural": ["float", "spread"],
    }.items():
        at, walked = "gathering", []
        while at != "drying":
            kind = may_follow(route, at)[0]
            walked.append(kind)
            leads = step(kind).leads_to
            assert leads is not None
            at = leads.name
        assert walked == way


@pytest.mark.parametrize("kind", steps())
def test_a_step_answers_every_question(kind: str) -> None:
    found = step(kind)
    assert found.words[0].isupper()
    assert found.past.islower() or found.past[0].islower()
    for ask in found.asks:
        assert ask.words
        assert ask.kind in {"kilograms", "number", "pick", "text", "yes"}
        assert ask.low <= ask.high
    takes = found.takes(
        state("drying", stays=(Stay("bed", "Upper beds"),), load_kg_m2=12.0), Setting(STATION, NOW)
    )
    assert takes.tank_l >= 0.0
    assert takes.water_l >= 0.0


def test_what_moves_balances_in_every_commodity() -> None:
    cases: list[tuple[str, str, dict[str, Any]]] = [
        ("float", "gathering", {"floaters_kg": 5.0}),
        ("pulp", "floated", {}),
        ("ferment", "pulped", {"tank": "Tank 1"}),
        ("wash", "fermenting", {}),
        ("bag", "drying", {"mass_kg": 30.0, "wet": True}),
        ("weigh", "stored", {"mass_kg": 90.0, "moisture_percent": 11.0}),
        ("hull", "stored", {"green_kg": 40.0, "husk_kg": 9.0, "moisture_percent": 11.0}),
        ("sort", "hulled", {"rejects_kg": 3.0}),
        ("sample", "stored", {"sample_g": 300.0}),
        ("sell", "sorted", {"buyer": "Invented Buyer", "mass_kg": 50.0, "price_per_kg": 10.0}),
        ("sell", "sorted", {"buyer": "Invented Buyer", "mass_kg": 100.0, "price_per_kg": 10.0}),
    ]
    for kind, at, details in cases:
        done = take(kind, doing(state(at, costs=(("XTS", 500),)), **details))
        sums: dict[str, int] = {}
        for name, commodity, amount in done.lines:
            assert read(name).name == name
            sums[commodity] = sums.get(commodity, 0) + amount
        assert all(total == 0 for total in sums.values()), (kind, sums)
        own = sum(a for n, c, a in done.lines if n == "lot/AW-1" and c in {"dry", "water"})
        assert done.state.matter.mass == 100_000 + own
    assert done.state.stage == "gone"  # all of it was sold, ticked or not


def test_a_step_out_of_its_order_is_refused() -> None:
    with pytest.raises(InputError, match="cannot follow: the lot is floated"):
        take("wash", doing(state("floated")))
    with pytest.raises(InputError, match="is not a step"):
        step("dance")


def test_what_is_not_asked_missing_or_out_of_range_is_refused() -> None:
    spread = step("spread").asks
    check(spread, {"bed": "Upper beds", "load_kg_m2": 12.0}, "spread")
    for details in (
        {"bed": "Upper beds"},
        {"bed": "Upper beds", "load_kg_m2": 1.0},
        {"bed": "Upper beds", "load_kg_m2": float("nan")},
        {"bed": "Upper beds", "load_kg_m2": "12"},
        {"bed": "Upper beds", "load_kg_m2": 12.0, "tank": "Tank 1"},
        {"bed": 7, "load_kg_m2": 12.0},
    ):
        with pytest.raises((InputError, RangeError)):
            check(spread, details, "spread")


def test_wet_and_unread_coffee_needs_a_yes_and_danger_comes_first() -> None:
    # Codex CXC 69-2009: 12.5 % wb or below in store.
    wet, dry = (state("drying", reads=(Read(wb, NOW - timedelta(hours=2)),)) for wb in (0.126, 0.125))
    with pytest.raises(InputError, match="yes, bag it wet"):
        take("bag", doing(wet, mass_kg=30.0))
    assert take("bag", doing(wet, mass_kg=30.0, wet=True)).findings[0].words.startswith("Bagged at 12.6 %")
    assert take("bag", doing(dry, mass_kg=30.0)).state.stage == "stored"
    assert [a.name for a in step("bag").fields(dry)] == ["mass_kg", "store", "kept_in"]
    assert [a.name for a in step("bag").fields(wet)] == ["mass_kg", "store", "kept_in", "wet"]
    stored = state("stored", reads=(Read(0.13, NOW),))
    assert next_steps(stored)[0].kind == "respread"


def test_a_lot_is_no_heavier_than_its_fruit_can_give() -> None:
    # Half of the fruit as dried cherry, 0.35 as parchment: above any published share.
    for route, most in (("washed", 35.0), ("natural", 50.0)):
        lot = state("drying", route=route, reads=(Read(0.11, NOW),))
        take("bag", doing(lot, mass_kg=most))
        with pytest.raises(RangeError, match=r"can come of 100\.0 kg of fruit"):
            take("bag", doing(lot, mass_kg=most + 0.1))


def test_times_follow_what_was_before() -> None:
    noted = Past(first_fruit_at=NOW - timedelta(days=2))
    lot = state("drying", moved_at=NOW - timedelta(hours=5), reads=(Read(0.3, NOW - timedelta(hours=2)),))
    assert when(lot, noted, "bag", None, NOW, ZONE) == NOW
    with pytest.raises(InputError, match="before the last step"):
        when(lot, noted, "bag", NOW - timedelta(hours=6), NOW, ZONE)
    with pytest.raises(InputError, match="last moisture reading"):
        when(lot, noted, "bag", NOW - timedelta(hours=3), NOW, ZONE)
    with pytest.raises(InputError, match="first fruit"):
        when(lot, noted, "bag", NOW - timedelta(days=3), NOW, ZONE)
    back = when(state("drying", moved_at=NOW + timedelta(hours=1)), noted, "rake", None, NOW, ZONE)
    assert back == NOW + timedelta(hours=1)  # the clock was put back: at the lot's last step


def test_a_drying_case_never_starts_before_its_reading() -> None:
    spread = NOW - timedelta(days=2)
    for minutes in (0, 1, 17, 59):
        read_at = NOW + timedelta(minutes=minutes)
        lot = state("drying", stays=(Stay("bed", "Upper beds"),), load_kg_m2=12.0, spread_at=spread,
                    reads=(Read(0.2, read_at),))  # fmt: skip
        case = drying_case(lot, STATION)
        assert case is not None
        assert timedelta(0) <= case.start - read_at < timedelta(hours=1)
        assert (case.start.minute, case.start.second) == (0, 0)
        assert case.moisture_wb_now == 0.2
    unread = state("drying", stays=(Stay("bed", "Upper beds"),), load_kg_m2=12.0, spread_at=spread)
    case = drying_case(unread, STATION)
    assert case is not None
    assert case.start == spread
    assert case.moisture_wb_now is None


def test_a_tank_is_ready_by_the_hand_or_by_its_hours() -> None:
    # Common practice, no source: parchment grips; hours as Codex CXC 69-2009 quotes them, 12 to 36.
    moved = NOW - timedelta(hours=11)
    assert "not tested" in not_ready(moved, "", NOW)
    assert not_ready(NOW - timedelta(hours=12), "", NOW) == ""
    assert "slippery still" in not_ready(NOW - timedelta(hours=20), "slippery still", NOW)
    assert not_ready(moved, "grips, rough between the fingers", NOW) == ""


def test_hours_in_the_tank_lie_where_the_handbooks_say() -> None:
    # Handbooks: 12-18 h typical, 14-20 h (Cenicafe AT 432), 30-40 h and more in cold weather (Spon's
    # Encyclopaedia): about 20 C and about 10 C.
    warm, cold = tank_hours(20.0, 2000, 1), tank_hours(10.0, 2000, 1)
    assert 12.0 <= warm.at(0.25) <= warm.at(0.5) <= warm.at(0.75) <= 20.0  # one station's tanks: half of all
    assert 8.0 <= warm.at(0.02) <= warm.at(0.98) <= 72.0  # "seen 8 to 72 h"
    assert 30.0 <= cold.at(0.5) <= 42.0
    assert tank_hours(28.0, 2000, 1).at(0.5) < warm.at(0.25)


def test_hours_are_a_distribution() -> None:
    from drydown.figures import Source, Status

    source = Source("a triangle", Status.DERIVED)
    found = Hours.between(1.0, 2.0, 4.0, source, 20_000)
    # Triangular distribution: mean (a + b + c)/3, median by its closed form.
    assert found.draws.mean() == pytest.approx(7.0 / 3.0, abs=1e-3)
    assert found.at(0.5) == pytest.approx(4.0 - np.sqrt(0.5 * 3.0 * 2.0), abs=2e-3)
    assert found.at(0.0) >= 1.0
    assert found.at(1.0) <= 4.0
    people, _source = whole_way_people_h(1000.0)
    assert 16.0 <= people.at(0.1) <= people.at(0.9) <= 26.7  # 8 h over 0.3 to 0.5 t a person (from memory)


def test_how_long_a_lot_dries_is_its_own_forecast() -> None:
    from drydown.outlook.forecast import forecast
    from drydown.station.weather import station_weather

    normals = STATION.normals()
    assert normals is not None
    lot = state("washed")
    told = {"bed": "Upper beds", "load_kg_m2": 12.0}
    takes = step("spread").takes(lot, Setting(STATION, NOW, normals, told, members=24))
    assert takes.hours is not None
    laid = state("drying", stays=(Stay("bed", "Upper beds"),), load_kg_m2=12.0, spread_at=NOW)
    case = drying_case(laid, STATION)
    assert case is not None
    from pathlib import Path

    weather = station_weather(STATION, Path())
    same = forecast(case, STATION.place.site(), weather, 24, 1)
    assert takes.hours.at(0.5) == pytest.approx(same.figures["dry_days"].value * 24.0)
    assert takes.area_m2 > 40_000 / 1000 / 12.0  # more than its dry matter alone at that load


def test_machines_take_by_the_capacity_that_is_stated() -> None:
    pulper = STATION.equipment.pulpers[0]
    takes = step("pulp").takes(state("floated"), Setting(STATION, NOW))
    assert takes.machine_h[pulper.name] == pytest.approx(100.0 / pulper.capacity_kg_h)
    assert takes.hours is not None
    assert takes.hours.at(0.9) == pytest.approx(
        100.0 / max(m.capacity_kg_h for m in STATION.equipment.pulpers)
    )


def test_a_share_of_a_lot_takes_its_share_of_a_place() -> None:
    whole = state("stored", stays=(Stay("store", "Main store"),))
    half = LotState(
        "AW-2", "arabica", "washed", "stored", Matter(40_000, 60_000), (Stay("store", "Main store", 0.5),)
    )
    yard = yard_of(STATION, [(whole, "store"), (half, "store")])
    assert yard.stores["Main store"].used == pytest.approx(150.0)


def test_no_account_but_those_of_the_chart() -> None:
    assert account("lot", "A") == "lot/A"
    for kind, of in (("lots", "A"), ("cash", "x"), ("lot", ""), ("lot", " ")):
        with pytest.raises(InputError):
            account(kind, of)
    assert stage("a stage of another day").words == "a stage of another day"


def test_what_is_sold_takes_its_part_of_the_cost() -> None:
    lot = state("sorted", costs=(("XTS", 500),))
    for kg, part in ((25.0, 125), (100.0, 500)):
        told: dict[str, Any] = {"buyer": "Invented Buyer", "mass_kg": kg, "price_per_kg": 10.0}
        lines = take("sell", doing(lot, **told)).lines
        assert ("lot/AW-1", "XTS", -part) in lines
        assert ("sold/AW-1", "XTS", part) in lines


def test_pulping_and_washing_take_clean_water_and_give_it_to_the_drain() -> None:
    # Litres per kg as the station's practice says them; the drain gets all of it, and more from washing.
    practice = STATION.practice().typical()
    litres = round(float(np.asarray(practice.pulp_water_l_kg_cherry)) * 100_000)
    assert litres > 0
    lines = take("pulp", doing(state("floated"))).lines
    assert ("supply", "water", -litres) in lines
    assert ("drain", "water", litres) in lines
    washed = take("wash", doing(state("fermenting"))).lines
    drawn = -sum(a for n, c, a in washed if (n, c) == ("supply", "water"))
    drained = sum(a for n, c, a in washed if (n, c) == ("drain", "water"))
    assert 0 < drawn < drained
    assert step("wash").takes(state("fermenting"), Setting(STATION, NOW)).water_l == pytest.approx(
        drawn / 1000
    )


def test_a_bed_that_is_too_small_or_over_full_is_told() -> None:
    # Areas as the example station states them: reckoned here from what the first lot needs.
    lot = state("washed")
    alone = take("spread", doing(lot, bed="Upper beds", load_kg_m2=12.0))
    assert alone.findings == ()
    area = STATION.drying_places()["Upper beds"][1]
    need = (
        step("spread")
        .takes(lot, Setting(STATION, NOW, STATION.normals(), {"bed": "Upper beds", "load_kg_m2": 12.0}, 4))
        .area_m2
    )
    others = int(np.ceil(1.02 * area / need))
    lying = [
        (LotState(f"AW-{i + 2}", "arabica", "washed", "drying", Matter(40_000, 60_000),
                  (Stay("bed", "Upper beds"),), 12.0), "bed")
        for i in range(others)
    ]  # fmt: skip
    full = Doing(
        lot, {"bed": "Upper beds", "load_kg_m2": 12.0}, NOW, STATION, yard_of(STATION, lying), Past()
    )
    said = take("spread", full).findings
    assert len(said) == 1
    assert "over-full" in said[0].words
    big = LotState(
        "AW-9", "arabica", "washed", "washed", Matter(40_000 * (others + 2), 60_000 * (others + 2))
    )
    said = take("spread", doing(big, bed="Upper beds", load_kg_m2=12.0)).findings
    assert "is it spread thicker?" in said[0].words


def test_a_pulper_s_test_sheet_flows_into_yield_and_says_its_gap() -> None:
    """By hand: of 100 kg, 4 % of the fruit's beans go with the pulp; nipped beans above 2 and 5 % are told
    (from memory: a good gap nips 1 to 2 %, above 5 % it is reset)."""
    lot = state("floated")
    plain, tested = (
        take("pulp", doing(lot)),
        take("pulp", doing(lot, in_pulp_percent=4.0, nipped_percent=1.0)),
    )
    lost = {n: a for n, c, a in tested.lines if c == "dry" and n == "by-product/pulper loss"}
    assert lost["by-product/pulper loss"] == pytest.approx(0.04 * 40_000, rel=1e-3)
    assert tested.state.matter.dry < plain.state.matter.dry
    assert any("close the gap" in f.words for f in tested.findings)
    assert not take("pulp", doing(lot, nipped_percent=2.0)).findings
    assert "a good gap" in take("pulp", doing(lot, nipped_percent=3.0)).findings[0].words
    assert "reset the gap" in take("pulp", doing(lot, nipped_percent=6.0)).findings[0].words


def test_nipped_beans_in_a_graded_sample_by_hand() -> None:
    """300 g of beans of 0.15 g are 2000; 3 % of them are 60 pieces; at 1/5 each that is 12 full defects."""
    from fractions import Fraction

    from drydown.quality.pulper import broken_to_come

    found = broken_to_come(3.0, 300.0, Fraction(1, 5), "a scheme")
    assert found.value == pytest.approx(12.0)
    assert found.low < 12.0 < found.high
    assert broken_to_come(0.0, 300.0, Fraction(1, 5), "a scheme").high == 0.0
    with pytest.raises(RangeError):
        broken_to_come(60.0, 300.0, Fraction(1, 5), "a scheme")
