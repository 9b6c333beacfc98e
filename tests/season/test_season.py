"""Whole seasons: balances, the same answer however it is run, the engine's own answer, a season by hand."""

from __future__ import annotations

import pickle
from dataclasses import replace
from datetime import date, datetime
from itertools import pairwise

import numpy as np
import pytest

from drydown.air.generator import generate
from drydown.errors import InputError, RangeError
from drydown.outlook.dryfigures import window_hours
from drydown.outlook.rules import window_levels
from drydown.season.costs import yearly
from drydown.season.design import Hours, design_of
from drydown.season.harvest import Harvest, draw_fruit, learn_harvest
from drydown.season.outcome import CAUSES, rows_of
from drydown.season.simulate import simulate, unit
from drydown.season.study import Change, Study, causes_of, changed, figures_of, harvest_of, study
from drydown.season.told import binds, flow_of, interval, wet_years, worst_day
from drydown.season.yard import Lot, YardRun
from drydown.station.harvest import Season
from drydown.steps.dry.data import form, place
from drydown.steps.dry.draws import draw_parameters
from drydown.steps.dry.many import Lying, Sky
from drydown.steps.dry.run import dry
from tests.season.scene import months, small


@pytest.fixture(scope="module")
def ten() -> Study:
    here = small()
    return study(here, months(), harvest_of(here), None, 10)


def test_dry_matter_water_and_fruit_close(ten: Study) -> None:
    """Conservation: what enters the gate and the taps leaves by an account, in every season."""
    assert ten.outcome.closure < 1e-12


def test_every_lot_ends_and_time_runs_forward(ten: Study) -> None:
    for lots in ten.units[0].lots:
        for lot in lots:
            way = [
                lot.came,
                lot.pulp_at,
                lot.ready,
                lot.wash_at,
                lot.wet_since,
                lot.spread,
                lot.dry,
                lot.stored,
            ]
            assert np.isfinite(way).all()
            assert (np.diff(way) >= 0.0).all()


def test_two_lots_never_share_a_tank_and_no_bed_is_over_full(ten: Study) -> None:
    """Read off the lots alone: tanks from pulping to spreading, area from spreading to the store."""
    area = sum(b.area_m2 for b in ten.design.station.equipment.beds)
    for lots in ten.units[0].lots:
        for tank in {lot.tank for lot in lots}:
            mine = sorted((lot.pulp_at, lot.spread) for lot in lots if lot.tank == tank)
            assert all(b[0] >= a[1] - 1e-9 for a, b in pairwise(mine))
        for lot in lots:
            there = sum(x.area for x in lots if x.spread <= lot.spread < x.stored)
            assert there <= area + 1e-6
            litres = ten.design.chains["arabica", "washed"].tank_l * lot.kg
            assert litres <= ten.design.station.equipment.tanks[lot.tank].volume_l * (1.0 + 1e-6)


def test_people_are_there_and_never_in_two_places(ten: Study) -> None:
    for lots in ten.units[0].lots:
        begun = [(lot.pulp_at, lot.pulp_at + lot.kg / 300.0) for lot in lots]
        begun += [(lot.wash_at, lot.wet_since) for lot in lots]
        for at, _end in begun:
            assert 6.0 <= at % 24.0 < 21.0
            assert sum(1 for a, b in begun if a <= at < b) <= 3


def test_the_same_seed_gives_the_same_bytes_on_one_thread_and_two() -> None:
    here = small()
    design, harvest = design_of(here, Hours(13.0, 17.0, 3.0)), replace(harvest_of(here), days=14)
    made = [simulate(design, months(), harvest, 30, 3, threads) for threads in (1, 2)]
    assert pickle.dumps(made[0]) == pickle.dumps(made[1])
    alone = [unit(design, months(), harvest, 25, 5, 3, threads) for threads in (1, 2)]
    assert pickle.dumps(alone[0]) == pickle.dumps(alone[1])
    assert [x.dry for x in alone[0].lots[0]] == [x.dry for x in made[0][1].lots[0]]


def test_lots_that_lie_are_dried_as_the_engine_dries_them() -> None:
    """Eight lots as eight members of one run: the same hours of being dry, heat, and hours in the window."""
    here = small()
    start = datetime(2026, 6, 1, tzinfo=here.place.site().zone)
    air = generate(here.place.site(), months(), start, 24 * 30, 8, 5)
    row, bed = form("parchment", "arabica"), place("raised_bed")
    habits = here.drying["parchment"]
    drawn = draw_parameters(row, 8, 9)
    run = dry(drawn, bed, air, habits.routine(), row.dry_load(12.0), 0.11)
    lying = Lying(air, Sky.over(air, [(bed, habits.routine())]), 0.11, 4, window_levels())
    zero = np.zeros(8, dtype=np.int64)
    lying.lay(drawn, bed, 0, np.full(8, row.dry_load(12.0)), np.arange(8), zero)
    lying.carry_on(24 * 30)
    assert lying.done_h == pytest.approx(run.done_h, abs=2e-3)  # blocks thin out as lots are done
    inside, _above = window_hours(run, drawn)
    until = np.ceil(run.done_h).astype(int)
    told = [inside[m, : until[m]].sum() for m in range(8)]
    assert lying.sums[:, 0] == pytest.approx(told, abs=1)
    evaporated = run.column("evaporated_kg_m2")[:, -1] - run.column("rain_held_kg_m2")[:, -1]
    off = (lying.sums[:, 2] - lying.sums[:, 3]) * lying.pace
    assert off == pytest.approx(evaporated, rel=1e-3)


def test_water_of_a_lot_that_lay_closes() -> None:
    """Water at the start less water at the target is what the air took, rain given back: by hand."""
    here = small()
    start = datetime(2026, 6, 1, tzinfo=here.place.site().zone)
    air = generate(here.place.site(), months(), start, 24 * 40, 8, 6)
    row, bed, load = form("cherry", "arabica"), place("raised_bed"), 6.0
    drawn = draw_parameters(row, 8, 3)
    lying = Lying(air, Sky.over(air, [(bed, here.drying["cherry"].routine())]), 0.40, 4, window_levels())
    lying.lay(drawn, bed, 0, np.full(8, load), np.arange(8), np.full(8, 5, dtype=np.int64))
    lying.carry_on(24 * 40)
    assert (lying.done_h > 0).all()
    off = (lying.sums[:, 2] - lying.sums[:, 3]) * lying.pace
    wanted = load * (drawn["x_full"] - 0.40 / 0.60)
    assert (off >= wanted * (1.0 - 1e-6)).all()  # the hour that the target was met in is counted whole
    assert off == pytest.approx(wanted, rel=0.05)


def test_a_day_by_hand() -> None:
    """600 kg in two lots at 15 and 17 h, one pulper of 300 kg/h, two barrels, 16 h in the tank.

    Own arithmetic: lots of at most an hour's pulping (300 kg); each closes after 2 h of the gate's 4; floats
    take 0.6 h/t x 0.3 t = 0.18 h; pulped 15.18 to 16.18 and 17.18 to 18.18; ready 16 h later at 8.18 and
    10.18;
    washed then, at 1 h a tonne of pulped coffee; spread at once.
    """
    here = small()
    design = design_of(here, Hours(13.0, 17.0, 3.0))
    chain = design.chains["arabica", "washed"]
    assert design.lot_kg["arabica", "washed"] == 300.0
    run = YardRun(design, 0, np.array([16.0]), np.array([2.0]), np.full(10, 20.0), np.random.default_rng(1))
    run.arrive(0, {"arabica": 600.0}, 0.0)
    assert run.a_day(0, []) == []
    laid = run.a_day(1, [])
    first, second = run.lots
    assert [first.pulp_at, second.pulp_at] == pytest.approx([15.18, 17.18])
    assert [first.ready, second.ready] == pytest.approx([32.18, 34.18])
    assert [first.wash_at, second.wash_at] == pytest.approx([32.18, 34.18])
    wash = chain.wash_h * 300.0
    assert wash == pytest.approx(0.549 * 0.3, rel=0.01)  # 0.549 t of pulped coffee of a tonne of fruit
    assert [first.spread, second.spread] == pytest.approx([32.18 + wash, 34.18 + wash])
    assert [x.hour for x in laid] == [33, 35]
    assert run.spots[0].free == pytest.approx(60.0 - 600.0 * chain.m2)
    run.a_day(2, [(0, 24.0 * 2 + 3.0)])
    assert first.stored == 24.0 * 2 + 6.0  # dry at three at night, taken up when people come at six


def test_what_is_lost_by_hand() -> None:
    """Slopes of the week's plan: none at 8 h, 30 % at 24 h, all beyond."""
    here = small()
    design = design_of(here, Hours(13.0, 17.0, 3.0))

    def lot(pulp: float, spread: float, window: float = 0.0, dry: float = 300.0) -> Lot:
        made = Lot("arabica", "washed", 100.0, 0.0, 15.0, 0)
        made.pulp_at, made.ready, made.wash_at, made.wet_since = pulp, pulp + 16.0, pulp + 16.0, pulp + 17.0
        made.spread, made.dry, made.stored, made.window_h = spread, dry, dry, window
        made.place, made.area = 0, 1.0
        return made

    rows = rows_of(
        [lot(20.0, 38.0), lot(28.0, 46.0), lot(38.5, 60.0), lot(20.0, 52.0), lot(20.0, 38.0, 121.0),
         lot(20.0, 38.0, 119.0), lot(20.0, 38.0, 0.0, np.nan)], design, 1000.0,
    )  # fmt: skip
    by = dict(zip(CAUSES, rows.lost.T, strict=True))
    assert by["fruit too old"] == pytest.approx([0.0, 0.15, 1.0, 0.0, 0.0, 0.0, 0.0])  # 8, 16 and 26.5 h old
    assert by["waited wet"] == pytest.approx(
        [0.0, 0.0, 0.0, 0.15, 0.0, 0.0, 0.0], abs=1e-9
    )  # 1, 1, 4.5, 15 h
    assert by["past the mould rule"] == pytest.approx([0.0] * 4 + [0.30, 0.0, 0.0])
    assert by["never dry"] == pytest.approx([0.0] * 6 + [1.0])
    assert (by["tank washed late"] == 0.0).all()


def test_more_room_never_waits_longer_and_more_fruit_is_older() -> None:
    """Signs, with the same fruit and weather: twice the beds, twice the crop, more rain."""
    here = small()
    weather, harvest = months(), harvest_of(here)
    plain = study(here, weather, harvest, None, 8).outcome.each
    wider = study(here, weather, harvest, {"raised_bed": 3}, 8).outcome.each
    heavy = study(here, weather, replace(harvest, fruit_kg=3.0 * harvest.fruit_kg), None, 8).outcome.each
    _s, wet, _h = changed(here, weather, harvest, Change(rain=2.5))
    rainy = study(here, wet, harvest, None, 8).outcome.each
    assert wider["full_days"].mean() <= plain["full_days"].mean()
    assert heavy["in_time"].mean() < plain["in_time"].mean()
    assert heavy["lost_share"].mean() > plain["lost_share"].mean() + 0.02
    assert rainy["rain_mm"].mean() > 1.8 * plain["rain_mm"].mean()
    assert rainy["dry_days"].mean() > plain["dry_days"].mean()


def test_a_narrow_tank_binds_and_is_named() -> None:
    here = small()
    one = here.model_copy(
        update={"equipment": here.equipment.model_copy(update={"tanks": here.equipment.tanks[:1]})}
    )
    found = study(one, months(), replace(harvest_of(here), fruit_kg=8000.0), None, 5)
    assert {next(iter(row)) for _on, row in binds(found)} == {"tank"}


def test_fruit_of_seasons() -> None:
    """The crop in the mean; one year in five bad; the largest day near the bell's own (references,
    derived)."""
    h = Harvest(1e5, date(2026, 9, 7), 80, (("arabica", 0.8), ("robusta", 0.2)), (7 / 6,) * 6 + (0.0,),
                bad_chance=0.2, bad_share=0.5)  # fmt: skip
    made = draw_fruit(h, 0.05, 0, 2000, 1)
    assert made.bad.mean() == pytest.approx(0.2, abs=0.03)
    assert made.kg.sum(axis=(1, 2)).mean() == pytest.approx(0.9e5, rel=0.02)
    assert made.kg[:, 6::7].sum() == 0.0  # nothing on Sundays
    assert made.kg[..., 1] * 4.0 == pytest.approx(made.kg[..., 0])
    assert h.peak_share == pytest.approx(0.0233, rel=0.06)  # sigma 20 days, six days a week: 2.33 %
    assert made.floaters.mean() == pytest.approx(0.05, rel=1e-6)
    assert made.floaters[0, 0] < made.floaters[0, -1]


def test_a_harvest_is_learnt_from_books() -> None:
    """Drawn seasons of a known bell: crop, width and the free weekday are found again."""
    truth = Harvest(
        5e4, date(2026, 9, 7), 70, (("arabica", 1.0),), (1.4, 1.4, 1.4, 1.4, 1.4, 0.0, 0.0), 0.2, 0.25
    )
    drawn = draw_fruit(truth, 0.05, 0, 6, 3)
    past = [Season(truth.begins, kg.sum(axis=1)) for kg in drawn.kg]
    found = learn_harvest(past, truth.species, truth.begins)
    assert found.fruit_kg == pytest.approx(5e4, rel=0.25)
    assert found.days == 70
    assert found.weekdays[5] == found.weekdays[6] == 0.0
    assert found.width == pytest.approx(4.0, abs=0.7)
    assert found.day_sd == pytest.approx(0.25, abs=0.12)
    with pytest.raises(RangeError):
        learn_harvest([Season(truth.begins, np.ones(5))], truth.species, truth.begins)


def test_figures_causes_and_what_is_told(ten: Study) -> None:
    figures = figures_of(ten, "XTS")
    assert figures["in_time"].high <= 100.0
    assert figures["green"].value == pytest.approx(ten.outcome.each["green_kg"].mean(), rel=0.1)
    assert all(f.low <= f.value <= f.high and f.sources for f in figures.values())
    assert set(causes_of(ten)) == set(CAUSES)
    wet = wet_years(ten)
    assert wet.count == 2
    worst = worst_day(ten)
    assert worst is not None
    assert all(bars and bars[0].from_h >= 0.0 for _n, bars in worst.lots)


def test_money_by_hand(ten: Study) -> None:
    """Fruit x price, work x wage, green x price: summed again from the lots."""
    lots, chain = ten.units[0].lots[0], ten.design.chains["arabica", "washed"]
    fruit = sum(lot.kg + lot.floaters_kg for lot in lots)
    assert ten.costs.fruit[0] == pytest.approx(600.0 * fruit)
    assert ten.costs.wages[0] == pytest.approx(400.0 * sum(chain.people_h * lot.kg for lot in lots))
    worth = 5600.0 * chain.green_kg * sum(lot.kg for lot in lots)
    assert ten.costs.income[0] + ten.costs.lost[0] == pytest.approx(worth)
    assert ten.costs.dips[0] >= 0.5 * ten.costs.fruit[0]  # green is paid a month after it is stored


def test_an_annuity() -> None:
    """Handbook value: 1000 over 10 years at 10 % is 162.75 a year (any table of capital recovery factors)."""
    assert yearly(1000.0, 10.0, 0.10) == pytest.approx(162.745, abs=1e-3)
    assert yearly(1000.0, 10.0, 0.0) == 100.0


def test_an_exact_interval() -> None:
    """Clopper and Pearson of 0 in 20: 0 to 16.8 % (their own table)."""
    low, share, high = interval([False] * 20)
    assert (low, share) == (0.0, 0.0)
    assert high == pytest.approx(0.168, abs=5e-4)


def test_a_flow_adds_up(ten: Study) -> None:
    flow = flow_of(ten.design.chains["arabica", "washed"], 0.05)
    assert flow.steps[0][1] - sum(v for _n, v in flow.leaves) == pytest.approx(flow.steps[-1][1])
    for (_a, before), (_b, after), (_c, gone) in zip(flow.steps, flow.steps[1:], flow.leaves, strict=False):
        assert before - gone == pytest.approx(after)


def test_what_is_not_stated_is_asked_for() -> None:
    here = small()
    with pytest.raises(InputError, match="crop"):
        harvest_of(here.model_copy(update={"crop": None}))
    with pytest.raises(InputError, match="season"):
        harvest_of(here.model_copy(update={"season": None}))
    bare = here.model_copy(update={"build": None})
    with pytest.raises(InputError, match="build"):
        study(bare, months(), harvest_of(here), {"tank": 1}, 5)
    none = here.model_copy(update={"equipment": here.equipment.model_copy(update={"pulpers": ()})})
    with pytest.raises(InputError, match="pulper"):
        study(none, months(), harvest_of(here), None, 5)
