"""Handling of a lot: heaps at night, two beds made one, floors, rain. Balances, directions, limits."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from drydown.errors import RangeError
from drydown.steps.dry.data import form, place
from drydown.steps.dry.draws import draw_parameters
from drydown.steps.dry.routine import Event, Routine
from drydown.steps.dry.run import DryingRun, DryStage, Joined, dry, dry_stages
from tests.dry.cases import fair_weather, typical

OPEN = Routine(cover_from=None, rain_cover_mm=None)


def _night(routine: Routine, x: float = 0.13) -> tuple[float, float]:
    """Moisture and bean temperature of a nearly dry lot at sunrise after a damp night, from 08:00 on."""
    weather = fair_weather(2, rh_factor=1.25)
    run = dry(typical("parchment"), place("raised_bed"), weather, routine, 5.6, 0.05, x)
    return float(run.moisture_wb()[0, 22]), float(run.column("bean_temp_c")[0, 22])


def test_a_heap_takes_up_less_of_the_night_than_a_covered_layer() -> None:
    """Common practice, no source: heaping shows the air less surface, so less damp is taken up."""
    spread, heaped = Routine(), Routine(heap_share=0.25)
    assert _night(heaped)[0] < _night(spread)[0] < _night(replace(OPEN, rake_hours=spread.rake_hours))[0]
    assert _night(heaped)[1] > _night(spread)[1]  # and it stays warmer
    with pytest.raises(RangeError, match="heap_share"):
        Routine(heap_share=0.0)


def test_a_heap_of_the_whole_area_is_no_heap() -> None:
    one, other = (_night(Routine(heap_share=s)) for s in (1.0, 0.9999999))
    assert one == pytest.approx(other, abs=1e-5)


def _joined(share: float, moisture_db: float, load: float = 11.2) -> DryingRun:
    stages = [
        DryStage(place("raised_bed"), Routine(), 5.6, 0.05, hours=72),
        DryStage(place("raised_bed"), Routine(), load, 0.11, joined=Joined(share, moisture_db)),
    ]
    return dry_stages(draw_parameters(form("parchment"), 9, 2), stages, fair_weather(20))


def test_two_beds_made_one_hold_the_water_of_both() -> None:
    """Dry-matter balance: the mean after joining is the weighted mean of the two, to 1e-9."""
    alone = dry_stages(
        draw_parameters(form("parchment"), 9, 2),
        [DryStage(place("raised_bed"), Routine(), 5.6, 0.05, hours=72)],
        fair_weather(20),
    )
    before = alone.column("moisture_db")[:, 72]
    for share, other in ((0.5, 0.30), (0.2, 0.60), (0.7, 0.12)):
        run = _joined(share, other)
        after = run.column("moisture_db")[:, 72]
        assert after == pytest.approx((1 - share) * before + share * other, abs=1e-9)
        assert np.abs(run.column("water_residual")).max() < 1e-9
        assert np.abs(run.column("heat_residual")).max() < 1e-9


def test_a_wetter_lot_that_joins_costs_days_and_a_like_one_only_the_depth() -> None:
    """A lot as wet as ours that joins is no other than our own lot laid twice as deep."""
    wet, dry_one = _joined(0.5, 0.60), _joined(0.5, 0.15)
    assert np.nanmean(wet.done_h) > np.nanmean(dry_one.done_h) + 12
    stages = [
        DryStage(place("raised_bed"), Routine(), 5.6, 0.05, hours=72),
        DryStage(place("raised_bed"), Routine(), 11.2, 0.11),
    ]
    one = {k: v[:1] for k, v in draw_parameters(form("parchment"), 2, 2).items()}
    deeper = dry_stages(one, stages, fair_weather(20))
    own = float(deeper.column("moisture_db")[0, 72])
    joined = replace(stages[1], joined=Joined(0.5, own))
    like = dry_stages(one, [stages[0], joined], fair_weather(20))
    assert float(like.done_h[0]) == pytest.approx(float(deeper.done_h[0]), abs=6.0)
    for share, moisture in ((0.0, 0.3), (1.0, 0.3), (0.5, 9.0)):
        with pytest.raises(RangeError, match="joined lot"):
            Joined(share, moisture)


def test_a_hot_lot_moved_to_a_floor_at_night_gets_no_heat_from_it() -> None:
    """A floor the lot has not warmed stands at the air's temperature, not at the lot's."""
    weather = fair_weather(3)
    moved = [
        DryStage(place("tray_dryer"), Routine(), 5.6, 0.05, hours=14),  # until 22:00, warm from the machine
        DryStage(place("patio"), Routine(), 5.6, 0.05),
    ]
    start = np.full(1, 0.4)
    run = dry_stages(typical("parchment"), moved, weather, start)
    warm = run.column("bean_temp_c")[0]
    assert warm[14] > 35.0
    assert warm[17] < weather.temp_c[0, 17] + 6.0


def test_rain_wets_a_bean_no_further_than_it_holds() -> None:
    """Soaking tends to the moisture inside a fresh bean; what is above it is film that drains or dries."""
    wet = fair_weather(3, rain_mm=60.0, sun_kwh=1.0, rh_factor=1.3)
    drawn = typical("parchment")
    run = dry(drawn, place("raised_bed"), wet, OPEN, 5.6, 0.05, float(drawn["x_bean"][0]) * 0.98)
    inside = run.column("moisture_db") - run.column("free_water_kg_m2") / 5.6
    assert float(inside.max()) < float(drawn["x_bean"][0]) * 1.02


def test_events_still_replace_a_heap() -> None:
    uncovered = Routine(heap_share=0.2, events=(Event("uncover", 9, 24),))
    assert _night(uncovered)[0] > _night(Routine(heap_share=0.2))[0]
