"""Ten messy logger files: each read with a note, or answered with one clear sentence."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest

from drydown.air.csvfile import read_csv
from drydown.air.generator import generate
from drydown.air.logger import oddities
from drydown.air.normals import MonthNormals
from drydown.air.ownyears import blended, resampled
from drydown.air.series import RANGES, HourlyWeather, Site
from drydown.cli.weather import _csv
from drydown.errors import InputError

SITE = Site(-3.4, 45.0, 1690.0, 3.0)
YEAR = (MonthNormals(25.0, 13.5, 0.78, 120.0, 12.0, 2.0, 5.0),) * 12
START = datetime(2026, 3, 1, tzinfo=SITE.zone)
Change = Callable[[list[str]], list[str]]


@pytest.fixture(scope="module")
def month() -> list[str]:
    """A generated month in the layout that is read."""
    return _csv(generate(SITE, YEAR, START, 24 * 31, 1, 4)).splitlines()


def _cells(lines: list[str], change: Callable[[int, list[str]], list[str]]) -> list[str]:
    return [lines[0], *(",".join(change(i, line.split(","))) for i, line in enumerate(lines[1:]))]


def _blank_when_saturated(lines: list[str]) -> list[str]:
    return _cells(lines, lambda _i, c: [*c[:2], "" if float(c[2]) >= 95 else c[2], *c[3:]])


def _stuck(lines: list[str]) -> list[str]:
    return _cells(lines, lambda i, c: [c[0], "17.3" if 100 <= i < 160 else c[1], *c[2:]])


def _clock(hours: int) -> Change:
    def change(lines: list[str]) -> list[str]:
        rows = [line.split(",", 1) for line in lines[1:]]
        return [lines[0], *(f"{rows[i][0]},{rows[(i - hours) % len(rows)][1]}" for i in range(len(rows)))]

    return change


def _mixed_marks(lines: list[str]) -> list[str]:
    rows = [line.replace(",", ";") for line in lines]
    return [rows[0], *(r.replace(".", ",") if i % 2 else r for i, r in enumerate(rows[1:]))]


def _missing_week(lines: list[str]) -> list[str]:
    return [*lines[:200], *lines[200 + 168 :]]


def _short_gap(lines: list[str]) -> list[str]:
    return [*lines[:200], *lines[204:]]


def _swapped(lines: list[str]) -> list[str]:
    return _cells(lines, lambda _i, c: [c[0], c[2], c[1], *c[3:]])


def _no_sun(lines: list[str]) -> list[str]:
    return _cells(lines, lambda _i, c: [*c[:3], "0", *c[4:]])


def _shaded(lines: list[str]) -> list[str]:
    return _cells(lines, lambda _i, c: [*c[:3], str(0.3 * float(c[3])), *c[4:]])


READ: list[tuple[str, Change, str]] = [
    ("blank at saturation", _blank_when_saturated, "read as saturated"),
    ("four hours missing", _short_gap, "bridged"),
    ("a missing week", _missing_week, "left out"),
    ("mixed decimal marks", _mixed_marks, ""),
]
ODD: list[tuple[str, Change, str]] = [
    ("a stuck thermometer", _stuck, "stuck"),
    ("a clock two hours off", _clock(2), "from noon"),
    ("a shaded or wrong sun sensor", _shaded, "of a clear sky"),
]
REFUSED: list[tuple[str, Change, str]] = [
    ("a clock eight hours off", _clock(8), "of the sun falls between"),
    ("swapped columns", _swapped, r"swapped|outside"),
    ("no sun at all", _no_sun, "zero throughout"),
]


def _read(tmp_path: Path, lines: list[str]) -> HourlyWeather:
    file = tmp_path / "log.csv"
    file.write_text("\n".join(lines), encoding="utf-8")
    return read_csv(file, SITE)


@pytest.mark.parametrize(("name", "change", "note"), READ, ids=[r[0] for r in READ])
def test_read_with_a_note(tmp_path: Path, month: list[str], name: str, change: Change, note: str) -> None:
    air, clean = _read(tmp_path, change(month)), _read(tmp_path, month)
    assert note == "" or any(note in n for n in air.notes), (name, air.notes)
    assert air.hours >= 24 * 8
    if air.hours == clean.hours:
        assert np.abs(air.temp_c - clean.temp_c).max() < 6.0
        assert np.abs(air.rh - clean.rh).max() < 0.35


@pytest.mark.parametrize(("name", "change", "words"), ODD, ids=[r[0] for r in ODD])
def test_told_as_odd(tmp_path: Path, month: list[str], name: str, change: Change, words: str) -> None:
    assert oddities(_read(tmp_path, month)) == ()
    assert any(words in sentence for sentence in oddities(_read(tmp_path, change(month)))), name


@pytest.mark.parametrize(("name", "change", "words"), REFUSED, ids=[r[0] for r in REFUSED])
def test_refused_in_a_sentence(
    tmp_path: Path, month: list[str], name: str, change: Change, words: str
) -> None:
    with pytest.raises(InputError, match=words):
        _read(tmp_path, change(month))


def test_own_years_are_blended_by_how_many_there_are() -> None:
    two = generate(SITE, YEAR, datetime(2022, 1, 1, tzinfo=SITE.zone), 9600, 2, 5)
    series = {k: np.concatenate([getattr(two, k)[0, :8760], getattr(two, k)[1, :8760]]) for k in RANGES}
    own = HourlyWeather.of(SITE, two.start, series)
    found = blended(own, START, 240, 40, 7)
    assert found is not None
    air, words = found
    assert "8 futures of its own days and 32 generated" in words
    assert air.members == 40
    # A date has one weather for a member whatever the start and the horizon.
    later = resampled(own, START.replace(day=3), 120, 40, 7)
    whole = resampled(own, START, 240, 40, 7)
    assert np.array_equal(whole.temp_c[:, 48:168], later.temp_c)
    # Own days come from the season: blocks of five days within a week of the date, never from half a year
    # away.
    marked = dict(series)
    marked["temp_c"] = np.repeat((np.arange(730) % 365) / 10.0, 24)
    days = resampled(HourlyWeather.of(SITE, two.start, marked), START, 240, 40, 7).temp_c[:, ::24] * 10.0
    assert np.abs(days - (59 + np.arange(10))).max() <= 8.0
    assert blended(generate(SITE, YEAR, START, 24 * 90, 1, 1), START, 240, 10, 7) is None
