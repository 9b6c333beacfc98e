"""No impossible answer, anywhere in the stated range: forms x places x loads x air x temperature.

Expectations are bounds of physics, worked out here from the settings alone: nothing in a fan's air is hotter
than the hottest of burner and outside air, colder than the wet bulb, or drier than the driest balance.
"""

from __future__ import annotations

import os
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drydown.air.moist import wet_bulb_c
from drydown.air.series import HourlyWeather
from drydown.errors import RangeError
from drydown.steps.dry.bounds import MOST_LEFT_OUT, met_by
from drydown.steps.dry.data import Place, form, form_names, place, place_names
from drydown.steps.dry.draws import draw_parameters
from drydown.steps.dry.inputs import hourly_air, parameter_table
from drydown.steps.dry.lanes import AIR_RH, AIR_SKY, AIR_TEMP, OUT_COLUMNS
from drydown.steps.dry.routine import Routine
from drydown.steps.dry.run import DryingRun, dry
from tests.dry.cases import fair_weather

ROUNDS = 10000 if os.environ.get("DRYDOWN_TEST_LONG") else 150
MEMBERS = 4


@st.composite
def setting(draw: Any) -> dict[str, Any]:
    """A setting from the whole stated range."""
    where = draw(st.sampled_from(place_names()))
    spot = place(where)
    if spot.machine:
        fan = {"air_m_s": draw(st.floats(0.02, 2.5)), "air_set_c": draw(st.floats(20.0, 110.0))}
        again = {} if spot.over else {"recirculated": draw(st.sampled_from([0.0, 0.5, 0.9]))}
        spot = spot.set_to(**fan, bean_cap_c=draw(st.floats(25.0, 99.0)), **again)
    deep = (spot.machine and not spot.over) or spot.always_covered
    return {
        "form": draw(st.sampled_from(form_names())), "spot": spot,
        "load": draw(st.floats(0.5, 400.0 if deep else 60.0)),
        "sun": draw(st.floats(0.5, 8.0)), "warmer": draw(st.floats(-12.0, 14.0)),
        "damp": draw(st.floats(0.4, 1.3)),
        "rain": draw(st.sampled_from([0.0, 0.0, 20.0])), "seed": draw(st.integers(0, 10**6)),
        "start": draw(st.sampled_from([None, None, 0.20, 0.35])),
    }  # fmt: skip


@settings(max_examples=ROUNDS, deadline=None)
@given(setting())
def test_no_impossible_answer(s: dict[str, Any]) -> None:
    weather = fair_weather(2, s["sun"], s["warmer"], s["damp"], s["rain"])
    start = None if s["start"] is None else s["start"] / (1.0 - s["start"])
    drawn = draw_parameters(form(s["form"]), MEMBERS, s["seed"])
    run, refusal = None, ""
    try:
        run = dry(drawn, s["spot"], weather, Routine(rain_cover_mm=None), s["load"], 0.06, start)
    except RangeError as refused:  # one sentence and no number
        refusal = str(refused)
    if run is None:
        assert "cannot be followed" in refusal
        return
    run, kept = run.sound()
    assert kept.size >= (1.0 - MOST_LEFT_OUT) * MEMBERS
    assert not _impossible(run, s["spot"], weather)


def _impossible(run: DryingRun, spot: Place, weather: HourlyWeather) -> list[str]:
    """Bounds of physics that a run breaks, in words."""
    column = {name: run.values[:, :, i] for i, name in enumerate(OUT_COLUMNS)}
    hottest, below = 105.0, 25.0
    if spot.machine:
        hottest, below = max(spot.air_set_c, float(weather.temp_c.max())) + 2.5, 14.0
    kept = {
        "all finite": np.isfinite(run.values).all(),
        "no bean hotter than its air and sun": column["bean_temp_high_c"].max() < hottest,
        "no bean colder than air and sky": column["bean_temp_low_c"].min() > weather.temp_c.min() - below,
        "some water left": column["moisture_db_low"].min() > 0.0,
        "water closes": np.abs(column["water_residual"]).max() < 1e-6,
        "heat closes": np.abs(column["heat_residual"]).max() < 1e-6,
    }
    if spot.keeps_rain_off:
        first = column["moisture_db"][:, :1]
        kept["no wetter under a roof"] = (column["moisture_db"] <= np.maximum(first, 0.45) + 0.05).all()
    return [words for words, true in kept.items() if not true]


def test_the_coldest_hour_is_that_of_all_wet_bulbs() -> None:
    # Wet bulbs are solved only in hours that may be the coldest; here in every one of them.
    weather = fair_weather(3, 6.0, -4.0, 0.7)
    spot, drawn = place("raised_bed"), draw_parameters(form("parchment"), MEMBERS, 2)
    table = parameter_table(drawn, spot, 5.6, weather, MEMBERS)
    hourly = hourly_air(spot, weather, Routine(rain_cover_mm=None))[0]
    calm = hourly.copy()
    calm[:, :, AIR_SKY] = 560.0  # a sky as warm as this takes nothing: what is left is the wet bulb alone
    air, rh = calm[0, :, AIR_TEMP], calm[0, :, AIR_RH]
    wet = wet_bulb_c(air, rh, weather.site.pressure_pa)
    assert met_by(spot, table, calm).coldest_c == pytest.approx((air - 1.12 * (air - wet)).min(), abs=1e-9)
    assert (met_by(spot, table, hourly).coldest_c < (air - 1.12 * (air - wet)).min()).all()


@pytest.mark.parametrize("air_m_s", [0.5, 1.0, 2.5])
def test_the_settings_that_once_told_beans_hotter_than_their_air(air_m_s: float) -> None:
    # Steps of any error were once accepted at one second: cherry of 60 kg/m2 in air of 60 C had a member of
    # 102 C; green at 60 C dried twice as fast in twice the air. Nothing heats above the burner's air.
    spot = place("tray_dryer").set_to(air_m_s=air_m_s, air_set_c=60.0, bean_cap_c=70.0)
    drawn = draw_parameters(form("cherry"), 24, 1)
    run = dry(drawn, spot, fair_weather(3), Routine(), 60.0 / 2.9, 0.11)
    assert run.sound()[0].column("bean_temp_high_c").max() < 61.0
    green = draw_parameters(form("green"), 8, 1)
    hours = [
        np.median(dry(green, spot.set_to(air_m_s=v), fair_weather(3), Routine(), 3.0, 0.11).done_h)
        for v in (air_m_s, min(2.0 * air_m_s, 2.5))
    ]
    assert hours[0] / hours[1] < 1.25


def test_members_left_out_are_counted_and_too_many_are_no_answer(monkeypatch: pytest.MonkeyPatch) -> None:
    from drydown.steps.dry import bounds

    drawn = draw_parameters(form("parchment"), 40, 3)
    broken = np.zeros(40, bool)
    monkeypatch.setattr(bounds.Bounds, "broken", lambda *_a: broken)
    broken[7] = True
    run = dry(drawn, place("patio"), fair_weather(2), Routine(), 5.6, 0.11)
    sound, kept = run.sound()
    assert kept.size == 39
    assert 7 not in kept
    assert np.isfinite(sound.values).all()
    broken[:3] = True
    with pytest.raises(RangeError, match="cannot be followed"):
        dry(drawn, place("patio"), fair_weather(2), Routine(), 5.6, 0.11)
