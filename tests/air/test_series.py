"""The weather container and the readers on good files."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from drydown.air.csvfile import read_csv
from drydown.air.epw import read_epw
from drydown.air.series import HourlyWeather, Site
from drydown.errors import InputError, RangeError
from tests.weatherfiles import csv_lines, epw_lines

SITE = Site(-3.4, 45.0, 1690.0, 3.0)


def test_epw_of_our_own_is_read_as_written(tmp_path: Path) -> None:
    file = tmp_path / "own.epw"
    file.write_text("\n".join(epw_lines()), encoding="utf-8")
    w = read_epw(file)
    assert (w.members, w.hours) == (1, 8760)
    assert w.site.elevation_m == 1600.0
    # Hour 1 of the file ends at 01:00, so the series begins at midnight.
    assert w.start.astimezone(w.site.zone).hour == 0
    assert w.ghi_wm2[0, :6].max() == 0.0
    assert w.local_hours()[0] == 0.5


def test_a_year_of_365_days_dated_in_a_leap_year_keeps_its_dates(tmp_path: Path) -> None:
    """Typical-year files leave 29 February out; counted on in a leap year, July would begin on 30 June."""
    lines = epw_lines()
    rows = [line.replace("2001,", "2012,", 1) for line in lines[8:]]
    first = 181 * 24  # 1 July, from 00:00
    for i in range(first, first + 24):
        cells = rows[i].split(",")
        cells[6] = "31.0"
        rows[i] = ",".join(cells)
    file = tmp_path / "leap.epw"
    file.write_text("\n".join([*lines[:8], *rows]), encoding="utf-8")
    w = read_epw(file)
    july = w.window(w.start.replace(month=7, day=1), 24)
    assert (july.temp_c == 31.0).all()


def test_packaged_highland_file_against_pvlib(epw_folder: Path) -> None:
    # pvlib reads the same file; values must be the same to the digit.
    from pvlib.iotools import read_epw as read_with_pvlib

    path = epw_folder / "MDG_Antananarivo.670830_IWEC.epw"
    ours, (theirs, meta) = read_epw(path), read_with_pvlib(str(path))
    assert ours.site.elevation_m == meta["altitude"]
    assert ours.temp_c[0] == pytest.approx(theirs["temp_air"].to_numpy())
    assert ours.ghi_wm2[0] == pytest.approx(theirs["ghi"].to_numpy())
    assert ours.rh[0] * 100 == pytest.approx(theirs["relative_humidity"].to_numpy())
    assert any("no rain" in note for note in ours.notes)


@pytest.mark.parametrize(
    ("name", "temp", "rh", "kwh"),
    [
        ("COL_Bogota.802220_IWEC.epw", 13.2, 0.80, 1618),
        ("MDG_Antananarivo.670830_IWEC.epw", 18.3, 0.76, 1834),
    ],
)
def test_packaged_files_have_their_known_means(
    epw_folder: Path, name: str, temp: float, rh: float, kwh: float
) -> None:
    w = read_epw(epw_folder / name)
    assert w.temp_c.mean() == pytest.approx(temp, abs=0.06)
    assert w.rh.mean() == pytest.approx(rh, abs=0.006)
    assert w.ghi_wm2.sum() / 1e3 == pytest.approx(kwh, abs=1.0)


@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_csv_with_any_separator(tmp_path: Path, separator: str) -> None:
    lines = csv_lines()
    text = "\n".join(line.replace(",", separator) for line in lines)
    if separator != ",":
        text = text.replace(".", ",")
    file = tmp_path / "own.csv"
    file.write_text(text, encoding="utf-8")
    w = read_csv(file, SITE)
    assert w.hours == 48
    assert w.temp_c[0, 0] == pytest.approx(15.5)
    assert w.start == datetime(2026, 3, 1, tzinfo=SITE.zone)


def test_latin1_and_short_gaps_are_read_with_a_note(tmp_path: Path) -> None:
    lines = csv_lines()
    lines[0] += ",observación"
    lines[1:] = [line + ",ok" for line in lines[1:]]
    lines[5] = lines[5].replace(lines[5].split(",")[1], "NA", 1)
    file = tmp_path / "latin.csv"
    file.write_bytes("\n".join(lines).encode("latin-1"))
    w = read_csv(file, SITE)
    assert any("Latin-1" in n for n in w.notes)
    assert any("bridged" in n for n in w.notes)


def test_a_year_wraps_round_and_a_short_series_does_not(tmp_path: Path) -> None:
    file = tmp_path / "own.epw"
    file.write_text("\n".join(epw_lines()), encoding="utf-8")
    year = read_epw(file)
    late = datetime(2031, 12, 31, 12, tzinfo=year.site.zone)
    assert year.window(late, 48).hours == 48
    assert year.window(datetime(2028, 2, 29, tzinfo=year.site.zone), 5).hours == 5
    short = year.window(late, 48)
    with pytest.raises(InputError, match="are needed"):
        short.window(late + timedelta(hours=24), 48)


def test_container_refuses_wrong_units_and_shapes() -> None:
    values = {"temp_c": 20.0, "rh": 0.7, "ghi_wm2": 100.0, "wind_ms": 1.0, "rain_mm": 0.0, "sky_wm2": 330.0}
    good = {key: np.full((1, 3), value) for key, value in values.items()}
    start = datetime(2026, 1, 1, tzinfo=UTC)
    assert HourlyWeather.of(SITE, start, good).hours == 3
    with pytest.raises(RangeError, match="rh, hour 1"):
        HourlyWeather.of(SITE, start, {**good, "rh": np.full((1, 3), 70.0)})
    with pytest.raises(InputError, match="shape"):
        HourlyWeather.of(SITE, start, {**good, "rain_mm": np.zeros((1, 4))})
    with pytest.raises(InputError, match="time zone"):
        HourlyWeather.of(SITE, datetime(2026, 1, 1), good)  # noqa: DTZ001
    with pytest.raises(RangeError, match="latitude_deg"):
        Site(95.0, 0.0, 0.0, 0.0)
