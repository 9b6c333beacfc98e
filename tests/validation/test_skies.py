"""The weather part of the truth, on a small invented file; measured files are not ours."""

from __future__ import annotations

import gzip
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest

from drydown.air.generator import generate
from drydown.air.normals import MonthNormals
from drydown.air.series import Site
from drydown.tables import table
from drydown.validation.skies import __main__ as command
from drydown.validation.skies.records import Record, from_weather, normals_of, read_folder
from drydown.validation.skies.stats import statistics
from drydown.validation.skies.truth import compare, made_like, summary

SITE = Site(-8.0, -36.5, 500.0, -3.0)
YEAR = (MonthNormals(27.0, 18.0, 0.80, 90.0, 10.0, 2.2, 5.2),) * 12


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two invented years, hourly and daily, in the layouts of the measured files."""
    where = tmp_path_factory.mktemp("measured")
    air = generate(SITE, YEAR, datetime(2021, 1, 1, tzinfo=SITE.zone), 9600, 1, 11)
    record = from_weather(air, "one", "hourly")
    head = "# invented (latitude -8.0, longitude -36.5, 500 m, UTC-3); hour beginning"
    lines = [head, "time,complete_day,temp_c,rh_percent,ghi_wm2,wind_ms,rain_mm"]
    daily = ["# invented (latitude -8.0, longitude -36.5, 500 m)", "date,sun_mj_m2,tmax_c,tmin_c,rain_mm"]
    hours = (record.temp_c, record.rh, record.ghi_wm2, record.wind_ms, record.rain_hour_mm)
    for d, day in enumerate(record.dates):
        for h in range(24):
            t, rh, sun, wind, rain = (float(v[d, h]) for v in hours if v is not None)
            lines.append(f"{day} {h:02d}:00,1,{t:.2f},{100 * rh:.0f},{sun:.0f},{wind:.2f},{rain:.2f}")
        values = (3.6 * record.sun_kwh[d], record.tmax_c[d], record.tmin_c[d], record.rain_mm[d])
        daily.append(f"{day}," + ",".join(f"{v:.2f}" for v in values))
    (where / "one.csv.gz").write_bytes(gzip.compress("\n".join(lines).encode()))
    (where / "daily_two.csv").write_text("\n".join(daily), encoding="utf-8")
    return where


def test_records_are_read_as_they_were_written(folder: Path) -> None:
    daily, hourly = read_folder(folder)
    assert (daily.kind, hourly.kind) == ("daily", "hourly")
    assert hourly.good.all()
    assert hourly.sun_kwh.mean() == pytest.approx(5.2, rel=0.06)
    assert daily.sun_kwh == pytest.approx(hourly.sun_kwh, rel=0.02, abs=0.05)
    normals = normals_of(hourly)
    assert np.mean([n.rain_days for n in normals]) == pytest.approx(10.0, rel=0.25)


def test_weather_of_the_generator_s_own_kind_lies_inside_most_marks(folder: Path) -> None:
    # The generator against a year of its own: not all, since one year has a climate drawn and odd months.
    hourly = read_folder(folder)[1]
    rows = compare(hourly, made_like(hourly))
    assert sum(r.inside for r in rows) / len(rows) > 0.6
    assert {r.group for r in rows} >= {
        "means",
        "cycles",
        "vapour",
        "rain",
        "sun",
        "wind",
        "correlations",
        "spells",
    }
    assert summary(rows)[-1].startswith("| all |")


def test_statistics_of_a_made_up_record_by_hand() -> None:
    # Two wet days, three dry ones, again and again: wet after wet 1/2, after dry 1/3, spells of 2 and 3
    # days.
    days = 120
    rain = np.tile([5.0, 9.0, 0.0, 0.0, 0.0], 24)
    dates = tuple(datetime(2024, 6, 1).date().fromordinal(738000 + d) for d in range(days))  # noqa: DTZ001
    record = Record(
        "hand", SITE, "daily", dates, np.ones(days, bool), np.full(days, 28.0) + np.arange(days) % 3,
        np.full(days, 18.0), np.full(days, 5.0) + np.arange(days) % 2, rain,
    )  # fmt: skip
    found = statistics(record)
    assert found["wet after wet"] == pytest.approx(0.5)
    assert found["wet after dry"] == pytest.approx(23 / 71)
    assert (found["mean wet spell"], found["mean dry spell"]) == (2.0, 3.0)
    assert found["rain of a wet day"] == 7.0
    assert found["mean high"] == pytest.approx(29.0)


def test_every_mark_is_of_a_statistic(folder: Path) -> None:
    hourly = read_folder(folder)[1]
    known = set(statistics(hourly))
    seldom = {"sd of months of sun", "sd of months of temperature", "sd of 14 days of rain"}
    for marks in table("drydown.validation.skies", "marks.toml").values():
        assert set(marks) <= known | seldom


def test_without_a_folder_it_says_so(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.delenv(command.FOLDER, raising=False)
    assert command.main() == 0
    assert "names no folder" in capsys.readouterr().out
