"""The air of a lot: measured hours rule, a day is as it was said, a forecast takes the futures it is
trusted with."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import numpy as np
import pytest

from drydown.air.csvfile import COLUMNS
from drydown.air.series import RANGES, HourlyWeather
from drydown.air.told import SHAPE, read_told
from drydown.errors import InputError, RangeError
from drydown.outlook.skies import DAY_WORDS, ReadAir, Skies, lot_air
from drydown.outlook.skill import AT_FIRST, skill_of
from tests.dry.cases import SITE, fair_weather
from tests.outlook.twins import HILL

START = datetime(2026, 5, 4, 10, tzinfo=SITE.zone)
SKIES = Skies(SITE, (HILL,) * 12)


def told(count: int = 48, **other: Any) -> dict[str, Any]:
    """A forecast of ours: 20 C, a shower each hour."""
    columns = {
        "temp_c": [20.0] * count, "rh_percent": [80.0] * count, "ghi_wm2": [100.0] * count,
        "wind_ms": [1.0] * count,
        "rain_mm": [2.0] * count,
    }  # fmt: skip
    return {
        "shape": SHAPE, "issued": "2026-05-04T05:00+03:00", "start": START.isoformat(), "hours": columns,
    } | other  # fmt: skip


def test_lots_of_one_station_meet_one_weather() -> None:
    early, late = lot_air(SKIES, START, 240, 20, 1), lot_air(SKIES, START + timedelta(hours=37), 100, 20, 1)
    assert np.array_equal(early.air.temp_c[:, 37:137], late.air.temp_c)
    assert not early.measured.any()


def test_measured_hours_take_the_place_of_futures() -> None:
    seen = fair_weather(4)
    piece = HourlyWeather.of(SITE, START + timedelta(hours=6), {k: getattr(seen, k)[0, :30] for k in RANGES})
    found = lot_air(Skies(SITE, (HILL,) * 12, seen=(piece,)), START, 100, 20, 1)
    assert found.measured.sum() == 30
    assert found.measured[6:36].all()
    assert np.all(found.air.ghi_wm2[:, 6:36] == piece.ghi_wm2)
    assert np.ptp(found.air.temp_c[:, 40:], axis=0).max() > 0.5
    whole = HourlyWeather.of(SITE, START, {k: getattr(seen, k)[0, :90] for k in RANGES})
    assert lot_air(Skies(SITE, (HILL,) * 12, seen=(whole,)), START, 80, 20, 1).air.members == 1


@pytest.mark.parametrize("word", DAY_WORDS)
def test_a_day_is_of_the_kind_that_was_said(word: str) -> None:
    """Dry: under 1 mm; rain all day: in six hours and more; showers between."""
    day = (START + timedelta(days=2)).date()
    found = lot_air(Skies(SITE, (HILL,) * 12, days={day: word}), START, 96, 100, 1).air
    plain = lot_air(SKIES, START, 96, 100, 1).air
    first = int((datetime(day.year, day.month, day.day, tzinfo=SITE.zone) - START) / timedelta(hours=1))
    rain = found.rain_mm[:, first : first + 24]
    wet, hours = rain.sum(axis=1) >= 1.0, (rain >= 0.1).sum(axis=1)
    kinds = np.where(~wet, 0, np.where(hours >= 6, 2, 1))
    assert np.all(kinds == DAY_WORDS.index(word))
    others = np.ones(96, bool)
    others[first : first + 24] = False
    assert np.array_equal(found.rain_mm[:, others], plain.rain_mm[:, others])
    sun = found.ghi_wm2[:, first : first + 24].mean() / plain.ghi_wm2[:, first : first + 24].mean()
    assert (sun > 1.0) == (word == "dry")


def test_a_forecast_takes_the_futures_it_is_trusted_with() -> None:
    ahead = read_told(json.dumps(told()), SITE).air
    for share in (0.0, 0.3, 1.0):
        found = lot_air(Skies(SITE, (HILL,) * 12, ahead=(ahead,), trusted=share), START, 100, 50, 1).air
        takes = np.all(found.rain_mm[:, :48] == 2.0, axis=1)
        assert takes.sum() == round(50 * share)


def test_what_was_measured_rules_over_what_was_forecast() -> None:
    ahead = read_told(json.dumps(told()), SITE).air
    dry = {k: np.asarray(getattr(ahead, k)[0, :5]).copy() for k in RANGES} | {"rain_mm": np.zeros(5)}
    seen = HourlyWeather.of(SITE, START, dry)
    found = lot_air(Skies(SITE, (HILL,) * 12, (seen,), (ahead,)), START, 24, 20, 1)
    assert np.all(found.air.rain_mm[:, :5] == 0.0)
    assert np.all(found.air.rain_mm[:, 5:] == 2.0)


def test_skill_begins_at_half_of_the_best_published_and_is_learnt() -> None:
    """Brier's score by hand: a forecast that is always right has skill 1, one as the frequency has none."""
    assert skill_of((), (), ()).share == AT_FIRST
    was = [True, False] * 50
    right = skill_of(was, was, [0.5] * 100)
    assert right.share == pytest.approx((30 * AT_FIRST + 100) / 130)
    wrong = skill_of([not w for w in was], was, [0.5] * 100)
    assert wrong.share == 0.0
    assert (right.days, right.figure().value) == (100, right.share)


def test_another_service_is_read_by_its_names() -> None:
    hours = told()["hours"]
    theirs = {
        "made": "2026-05-04T05:00+03:00",
        "hourly": {"when": [START.isoformat()], "t": hours["temp_c"], "h": hours["rh_percent"],
                   "s": hours["ghi_wm2"], "w": hours["wind_ms"], "r": hours["rain_mm"]},
    }  # fmt: skip
    names = {
        "start": "hourly.when", "issued": "made", "temp_c": "hourly.t", "rh_percent": "hourly.h",
        "ghi_wm2": "hourly.s",
        "wind_ms": "hourly.w", "rain_mm": "hourly.r",
    }  # fmt: skip
    assert (
        read_told(json.dumps(theirs), SITE, names).air.digest()
        == read_told(json.dumps(told()), SITE).air.digest()
    )


BAD: list[tuple[Any, str]] = [
    ("no json", "is neither JSON nor a table"),
    ([1, 2], "has no shape"),
    (told(start="yesterday"), "is no time"),
    (told(start="2026-05-04T06:00"), "needs its offset"),
    (told(start="2026-05-04T06:20+03:00"), "whole hours"),
    (told(hours=told()["hours"] | {"temp_c": [20.0] * 47}), "as many of each"),
    (told(hours=told()["hours"] | {"rain_mm": [None] * 48}), "a number for each hour"),
    (told(hours=told()["hours"] | {"wind_ms": ["calm"] * 48}), "no number"),
    (told(hours=told()["hours"] | {"rh_percent": [140.0] * 48}), "must be from 1 to 100"),
    (told(hours={}), "has nothing at"),
]


@pytest.mark.parametrize(("bad", "words"), BAD, ids=[w for _b, w in BAD])
def test_a_bad_forecast_is_refused_in_a_sentence(bad: Any, words: str) -> None:
    with pytest.raises((InputError, RangeError), match=words):
        read_told(bad if isinstance(bad, str) else json.dumps(bad), SITE)


def test_a_table_is_read_as_the_same_forecast() -> None:
    """The same hours as a table, as JSON, and with a service's own column names."""
    plain = told()
    hours, start = plain["hours"], datetime.fromisoformat(plain["start"])

    def table(names: list[str], mark: str = ",") -> str:
        lines = [mark.join(names)]
        for n in range(len(hours["temp_c"])):
            end = (start + timedelta(hours=n + 1)).isoformat()
            lines.append(mark.join([end, *(str(hours[k][n]) for k in COLUMNS)]))
        return "\n".join(lines)

    wanted = read_told(json.dumps(plain), SITE).air.digest()
    assert read_told(table(["time", *COLUMNS]), SITE).air.digest() == wanted
    assert read_told(table(["time", *COLUMNS], ";"), SITE).air.digest() == wanted
    theirs = {"time": "When", **{k: k.upper() + "_X" for k in COLUMNS}}
    assert read_told(table(list(theirs.values())), SITE, theirs).air.digest() == wanted
    short = table(["time", *COLUMNS]) + "\n2026-05-09T00:00"
    skips = "\n".join(x for n, x in enumerate(table(["time", *COLUMNS]).splitlines()) if n != 5)
    for bad in ("", "time\n", "hello, world\n1,2\n", short, skips):
        with pytest.raises(InputError):
            read_told(bad, SITE)


def test_a_reading_by_hand_draws_every_future_to_it_and_fades() -> None:
    start = datetime(2026, 6, 10, 0, tzinfo=SITE.zone)
    plain = lot_air(SKIES, start, 72, 60, 5).air
    at = start + timedelta(hours=30, minutes=20)
    read = lot_air(replace(SKIES, read=(ReadAir(at, 31.0, 0.40),)), start, 72, 60, 5).air
    assert np.allclose(read.temp_c[:, 30], 31.0)
    assert np.allclose(read.rh[:, 30], 0.40)
    off = np.abs(read.temp_c - plain.temp_c).mean(axis=0)
    assert off[30] > off[33] > off[38] > 0.0
    assert np.all(off[:14] == 0.0)
    assert np.array_equal(read.ghi_wm2, plain.ghi_wm2)
    two = (ReadAir(at, 31.0, 0.40), ReadAir(at + timedelta(hours=6), 18.0, 0.9))
    both = lot_air(replace(SKIES, read=two), start, 72, 60, 5).air
    assert np.allclose(both.temp_c[:, 36], 18.0)
    assert np.allclose(both.temp_c[:, 30], 31.0)
