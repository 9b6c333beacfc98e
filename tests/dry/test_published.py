"""Drying times against publications. What was fitted and what was predicted is said at each.

Weather: the highland year that the package sinergym carries (Antananarivo, 1276 m; Bogota,
2548 m). Typical-year data without rain.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from drydown.air.epw import read_epw
from drydown.air.series import HourlyWeather
from drydown.steps.dry.data import form, place
from drydown.steps.dry.draws import typical_parameters
from drydown.steps.dry.routine import Routine
from drydown.steps.dry.run import dry

ANTANANARIVO, BOGOTA = "MDG_Antananarivo.670830_IWEC.epw", "COL_Bogota.802220_IWEC.epw"


# Thin layers, laws and machines are held case by case in `drydown.validation` (docs/validation.md), with each
# source left out of the estimate in turn.


def _days(
    weather: HourlyWeather, month: int, name: str, load_kg_m2: float, x_wet: float, where: str
) -> float:
    start = datetime(2026, month, 5, 8, tzinfo=weather.site.zone)
    run = dry(
        typical_parameters(form(name)), place(where), weather.window(start, 24 * 45), Routine(),
        load_kg_m2 / (1.0 + x_wet), 0.11,
    )  # fmt: skip
    return float(run.done_h[0]) / 24.0


# PREDICTED, nothing tuned to sun drying. Published: washed 6-7 (Brazil, patio, good sun),
# 8-12, 10-15 days (Ethiopia, raised beds); natural 8-15 sunny, 15-25 cool or cloudy, 14-28; on
# mesh wire up to 41.7 (J. Hort. Sci. 16(2), 2021: selective picking, Ethiopia).
# Gate +-30 % on the published ends, as the sources give no weather.
GOOD, DULL = 0.7, 1.3


@pytest.mark.parametrize(
    ("file", "month", "low", "high"),
    [
        (ANTANANARIVO, 10, 4.0 * GOOD, 12.0),
        (ANTANANARIVO, 6, 8.0, 15.0 * DULL),
        (BOGOTA, 11, 8.0, 15.0 * DULL),
    ],
)
def test_days_of_washed_parchment(epw_folder: Path, file: str, month: int, low: float, high: float) -> None:
    weather = read_epw(epw_folder / file)
    assert low <= _days(weather, month, "parchment", 12.0, 1.13, "raised_bed") <= high


@pytest.mark.parametrize(
    ("file", "month", "low", "high"),
    [
        (ANTANANARIVO, 10, 8.0 * GOOD, 15.0),
        (ANTANANARIVO, 6, 15.0, 28.0),
        (BOGOTA, 11, 15.0, 28.0),
    ],
)
def test_days_of_whole_cherry(epw_folder: Path, file: str, month: int, low: float, high: float) -> None:
    weather = read_epw(epw_folder / file)
    assert low <= _days(weather, month, "cherry", 25.0, 1.9, "raised_bed") <= high


def test_pulped_lies_between_washed_and_natural(epw_folder: Path) -> None:
    # Extension page: washed 6-7, pulped natural 8-9, natural 12-14 days; area-days 6.5 : 8.5 : 13.
    # FITTED in part: the mucilage diffusivity was set on this comparison.
    weather = read_epw(epw_folder / ANTANANARIVO)
    washed = _days(weather, 10, "parchment", 12.0, 1.13, "raised_bed")
    pulped = _days(weather, 10, "mucilage", 12.0, 1.20, "raised_bed")
    natural = _days(weather, 10, "cherry", 25.0, 1.9, "raised_bed")
    assert washed < pulped < natural
    assert natural / washed == pytest.approx(13.0 / 6.5, rel=0.3)


def test_mesh_is_slower_than_a_floor_for_cherry(epw_folder: Path) -> None:
    # J. Hort. Sci. 16(2), 2021: cherry 41.67 days on mesh wire, 20.33 on tin (ratio 2.05, the widest
    # pair of their table); ITC Coffee Guide 11.5.5: flat surfaces heat up and dry faster. Two journal
    # papers found raised beds faster, so this is one side of a disagreement. PREDICTED.
    for file, month in ((ANTANANARIVO, 6), (ANTANANARIVO, 10), (BOGOTA, 11)):
        weather = read_epw(epw_folder / file)
        mesh = _days(weather, month, "cherry", 25.0, 1.9, "raised_bed")
        floor = _days(weather, month, "cherry", 25.0, 1.9, "patio")
        assert 1.0 < mesh / floor < 2.05


def test_hottest_parchment_on_mesh(epw_folder: Path) -> None:
    # Kona extension page: decks reach 115 F (46 C). Hottest layer at an hour end over a lot's days, in
    # eight months of two highland years, which are not that place. PREDICTED; gate +-6 C at the middle.
    found = []
    for file in (ANTANANARIVO, BOGOTA):
        weather = read_epw(epw_folder / file)
        for month in (2, 6, 10, 11):
            start = datetime(2026, month, 5, 8, tzinfo=weather.site.zone)
            air = weather.window(start, 24 * 20)
            run = dry(typical_parameters(form("parchment")), place("raised_bed"), air, Routine(), 5.6, 0.11)
            found.append(float(run.column("bean_temp_high_c").max()))
    assert np.median(found) == pytest.approx(46.0, abs=6.0)


def _regains(weather: HourlyWeather, routine: Routine) -> list[tuple[float, float]]:
    """Mean humidity of a night and what parchment of 12 % wb takes up in it, every third night."""
    found = []
    for day in range(0, 360, 3):
        start = datetime(2026, 1, 2, 17, tzinfo=weather.site.zone) + timedelta(days=day)
        air = weather.window(start, 15)
        spot, parameters = place("raised_bed"), typical_parameters(form("parchment"))
        run = dry(parameters, spot, air, routine, 12.0 / 2.13, 0.05, 0.12 / 0.88, threads=1)
        wb = 100.0 * run.moisture_wb()[0]
        found.append((float(air.rh[0, :14].mean()), float(wb.max() - wb[:3].min())))
    return found


def test_early_hulled_green_on_a_patio(epw_folder: Path) -> None:
    # A trade page of Indonesia: hulled at 35-40 % wb, then about 3 days on patios to 12 %. PREDICTED: the
    # diffusivity was set between published ones before this was run. Their weather is not given: gate
    # +-50 %. Coffee Science 12(3), 2017: hulled beans dry much faster than covered ones from one moisture.
    weather = read_epw(epw_folder / ANTANANARIVO)
    for month in (1, 6, 10):
        start = datetime(2026, month, 5, 8, tzinfo=weather.site.zone)
        air = weather.window(start, 24 * 20)
        green, parchment = (
            dry(typical_parameters(form(name)), place("patio"), air, Routine(), 10.0 / 1.6, 0.12, x).done_h[0]
            for name, x in (("green", None), ("parchment", 0.60))
        )
        assert 3.0 * 0.5 <= green / 24.0 <= 3.0 * 1.5
        assert green < parchment
    # In steady warm air, away from the beat of days: one moisture, with and without the hull.
    spot = place("tray_dryer").set_to(air_set_c=45.0, bean_cap_c=60.0)
    air = read_epw(epw_folder / ANTANANARIVO).window(
        datetime(2026, 6, 5, 8, tzinfo=weather.site.zone), 24 * 6
    )
    bare, covered = (
        dry(typical_parameters(form(name)), spot, air, Routine(), 5.0, 0.12, x).done_h[0]
        for name, x in (("green", None), ("parchment", 0.60))
    )
    assert bare < 0.75 * covered


def test_night_regain_of_open_parchment_in_nights_like_the_published(epw_folder: Path) -> None:
    # Kona extension page: 1-2 points a night. That coast is leeward: 60-70 % humidity on average
    # (PacIOOS, University of Hawaii), so nights of about 70-80 % (own reading of it). Nights of the two
    # highland years in that range. PREDICTED; damper nights take up more and have no published value.
    open_night, covered = Routine(cover_from=None, rain_cover_mm=None), Routine()
    left_open, kept = [], []
    for file in (ANTANANARIVO, BOGOTA):
        weather = read_epw(epw_folder / file)
        left_open += _regains(weather, open_night)
        kept += _regains(weather, covered)
    like = [gain for rh, gain in left_open if 0.70 <= rh < 0.80]
    damp = [gain for rh, gain in left_open if rh >= 0.90]
    assert len(like) >= 12
    assert 1.0 <= float(np.median(like)) <= 2.0
    assert float(np.median(damp)) > float(np.median(like))
    # Covered nights: no published figure; common practice, no source, is that a cover keeps most out.
    assert float(np.median([gain for _rh, gain in kept])) < 0.5
