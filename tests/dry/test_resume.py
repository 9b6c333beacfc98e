"""A drying run can be stopped, moved, read and carried on at any hour.

The expectation is the run itself without a stop: carrying on must add nothing of its own.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from drydown.air.series import HourlyWeather
from drydown.errors import InputError, RangeError
from drydown.steps.dry.data import form, place
from drydown.steps.dry.draws import draw_parameters
from drydown.steps.dry.routine import Routine
from drydown.steps.dry.run import DryStage, dry_stages
from tests.dry.cases import fair_weather

MEMBERS = 9  # one block and one member of another
PLACES = {"raised_bed": 5.0, "patio": 5.0, "tunnel": 5.0, "static_bin": 200.0}


def part(weather: HourlyWeather, first: int, hours: int) -> HourlyWeather:
    """Some hours of a series."""
    return weather.window(weather.start + timedelta(hours=first), hours)


@pytest.mark.parametrize("name", PLACES)
def test_hour_by_hour_is_the_same_run(name: str) -> None:
    drawn, weather = draw_parameters(form("parchment"), MEMBERS, 5), fair_weather(4)
    where, routine = place(name), Routine()
    stage = DryStage(where, routine, PLACES[name], 0.08)
    whole = dry_stages(drawn, [stage], weather, ground_c=18.0)
    column = whole.columns.index("moisture_db")
    state, curve = None, [whole.values[:, 0, column]]
    for hour in range(0, weather.hours, 7):
        span = min(7, weather.hours - hour)
        piece = dry_stages(drawn, [stage], part(weather, hour, span), begin=state, ground_c=18.0)
        state = piece.end
        curve.extend(piece.values[:, 1:, column].T)
    pieces = np.array(curve).T
    undone = np.isnan(whole.done_h)
    assert undone.any()
    apart = np.abs(pieces - whole.values[:, :, column])[undone].max()
    assert apart < 1e-12, apart


def test_a_state_of_the_last_hour_tells_the_same_moisture() -> None:
    drawn = draw_parameters(form("parchment"), MEMBERS, 2)
    run = dry_stages(drawn, [DryStage(place("raised_bed"), Routine(), 5.0, 0.08)], fair_weather(2))
    assert run.end is not None
    assert run.end.moisture_wb() == pytest.approx(run.moisture_wb()[:, -1], abs=1e-12)
    assert (run.end.hour == 48).all()


def test_moving_by_hand_is_moving_in_one_run() -> None:
    drawn, weather = draw_parameters(form("parchment"), MEMBERS, 3), fair_weather(4)
    first = DryStage(place("patio"), Routine(), 5.0, 0.08, 20)
    then = DryStage(place("raised_bed"), Routine(), 4.0, 0.08)
    whole = dry_stages(drawn, [first, then], weather)
    begun = dry_stages(drawn, [replace(first, hours=None)], part(weather, 0, 20))
    rest = dry_stages(drawn, [then], part(weather, 20, weather.hours - 20), begin=begun.end)
    apart = np.abs(rest.moisture_wb()[:, -1] - whole.moisture_wb()[:, -1]).max()
    assert apart < 1e-3, apart


def test_a_reading_sets_the_mean_and_water_still_closes() -> None:
    drawn, weather = draw_parameters(form("parchment"), MEMBERS, 4), fair_weather(3)
    stage = DryStage(place("raised_bed"), Routine(), 5.0, 0.08)
    run = dry_stages(drawn, [stage], part(weather, 0, 30))
    assert run.end is not None
    read = run.end.read(0.25)
    assert read.moisture_wb() == pytest.approx(np.full(MEMBERS, 0.25), abs=1e-12)
    on = dry_stages(drawn, [stage], part(weather, 30, 24), begin=read)
    assert on.moisture_wb()[:, 0] == pytest.approx(np.full(MEMBERS, 0.25), abs=1e-9)
    assert np.abs(on.column("water_residual")).max() < 1e-6
    assert (on.moisture_wb()[:, -1] < 0.25).all()
    with pytest.raises(RangeError, match="reading"):
        read.read(0.9)


def test_another_moisture_or_other_members_are_refused() -> None:
    drawn, weather = draw_parameters(form("parchment"), MEMBERS, 4), fair_weather(2)
    stage = DryStage(place("raised_bed"), Routine(), 5.0, 0.08)
    end = dry_stages(drawn, [stage], part(weather, 0, 5)).end
    with pytest.raises(InputError, match="carry on"):
        dry_stages(drawn, [stage], weather, start_db=0.5, begin=end)
    with pytest.raises(InputError, match="carry on"):
        dry_stages(draw_parameters(form("parchment"), 3, 4), [stage], weather, begin=end)
