"""Weather as people write it down: highs and lows, or three readings a day."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest

from drydown.air.csvfile import read_csv
from drydown.air.learn import learn
from drydown.air.series import Site
from drydown.errors import InputError

SITE = Site(-3.4, 45.0, 1690.0, 3.0)
DAYS = """date,tmax_c,tmin_c,rh_percent,rain_mm,sunshine_h,wind_ms
2026-05-04,24.0,13.0,74,0,7.1,1.5
2026-05-05,22.0,14.0,82,12,3.0,1.2
2026-05-06,25.0,12.5,70,0,8.0,1.8
"""
LOOKS = """time;temp_c;rh_percent;sunshine_h
2026-05-04 07:00;14,0;95;
2026-05-04 12:00;21,5;66;
2026-05-04 15:00;23,5;58;7,0
2026-05-05 07:00;14,5;96;
2026-05-05 12:00;19,0;80;
2026-05-05 15:00;20,5;75;2,5
"""


def _read(tmp_path: Path, text: str) -> object:
    file = tmp_path / "log.csv"
    file.write_text(text, encoding="utf-8")
    return read_csv(file, SITE)


def test_highs_and_lows_keep_their_highs_lows_and_sun(tmp_path: Path) -> None:
    air = _read(tmp_path, DAYS)
    temp = air.temp_c[0].reshape(3, 24)  # type: ignore[attr-defined]
    # Hour means reach to within half a degree of the moment's high and low.
    assert temp.max(axis=1) == pytest.approx([24.0, 22.0, 25.0], abs=0.5)
    assert temp.min(axis=1) == pytest.approx([13.0, 14.0, 12.5], abs=0.5)
    sun = air.ghi_wm2[0].reshape(3, 24).sum(axis=1) / 1000.0  # type: ignore[attr-defined]
    # FAO-56 eq. 35 with 0.25 and 0.50 at this latitude, Ra about 35 MJ: 7.1 h of 11.9 is 5.3 kWh, 3.0 h 3.7.
    assert sun[:2] == pytest.approx([5.3, 3.7], abs=0.25)
    assert air.rain_mm[0, 24:48].sum() == pytest.approx(12.0)  # type: ignore[attr-defined]
    assert any("sunshine" in note for note in air.notes)  # type: ignore[attr-defined]


def test_three_readings_are_met_and_the_night_is_coldest_at_first_light(tmp_path: Path) -> None:
    air = _read(tmp_path, LOOKS)
    temp, rh = air.temp_c[0], air.rh[0]  # type: ignore[attr-defined]
    # An hour's mean lies between the readings beside it: 12 h read 21.5 and 15 h 23.5.
    assert 21.0 < temp[12] < 23.5
    assert 15 + np.argmin(temp[15:40]) in (28, 29, 30)
    assert 0.57 < rh[14] < 0.68
    assert air.hours == 48  # type: ignore[attr-defined]
    assert any("wind not written down" in note for note in air.notes)  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (DAYS.replace("2026-05-06", "2026-05-08"), "does not follow"),
        (DAYS.replace("22.0,14.0", "12.0,14.0"), "not above"),
        (DAYS.replace("2026-05-05", "5 May"), "not a date"),
        (DAYS.replace(",22.0,", ",NA,"), "lacks its high or its low"),
        (DAYS.replace("22.0,14.0,82", "22.0,14.0,182"), "outside 1 to 100"),
        (LOOKS.replace("19,0;80", "NA;80"), "lacks temperature or humidity"),
        ("\n".join(LOOKS.splitlines()[:5]), "one reading only"),
    ],
)
def test_what_is_wrong_is_one_sentence(tmp_path: Path, text: str, words: str) -> None:
    with pytest.raises(InputError, match=words):
        _read(tmp_path, text)


def test_only_what_was_written_down_is_learnt(tmp_path: Path) -> None:
    # Ninety days of highs, lows and rain: the day's shape, wind and sun are our own estimates there.
    rng = np.random.default_rng(3)
    rows = ["date,tmax_c,tmin_c,rain_mm"]
    for d in range(90):
        day = (date(2026, 3, 1) + timedelta(days=d)).isoformat()
        rain = rng.gamma(0.8, 9.0) if rng.random() < 0.4 else 0.0
        rows.append(f"{day},{24 + rng.normal(0, 1.5):.1f},{13 + rng.normal(0, 1):.1f},{rain:.1f}")
    found = learn(_read(tmp_path, "\n".join(rows)))  # type: ignore[arg-type]
    assert {"rain_spread", "high_spread_c", "low_spread_c"} <= set(found)
    assert not {"wind_night", "wind_spread", "warmest_after_noon_h", "wet_sun", "vapour_spread"} & set(found)
    assert found["high_spread_c"].value == pytest.approx(1.45, abs=0.35)
