"""Malformed weather files: one clear sentence each, naming the place; never a traceback."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from drydown.air.csvfile import read_csv
from drydown.air.epw import read_epw
from drydown.air.series import Site
from drydown.errors import InputError
from tests.weatherfiles import csv_lines, epw_lines

SITE = Site(-3.4, 45.0, 1690.0, 3.0)
Change = Callable[[list[str]], list[str] | bytes]


def _line(number: int, old: str, new: str) -> Change:
    def change(lines: list[str]) -> list[str]:
        assert old in lines[number - 1]
        lines[number - 1] = lines[number - 1].replace(old, new, 1)
        return lines

    return change


def _each(old: str, new: str) -> Change:
    return lambda lines: [lines[0], *(line.replace(old, new) for line in lines[1:])]


def _cell(lines: list[str], first: int, last: int, column: int, text: str) -> list[str]:
    for n in range(first - 1, last):
        cells = lines[n].split(",")
        cells[column] = text
        lines[n] = ",".join(cells)
    return lines


def _night_sun(lines: list[str]) -> list[str]:
    rows = [line.split(",") for line in lines[1:]]
    sun = [row[3] for row in rows]
    for row, value in zip(rows, sun[12:] + sun[:12], strict=True):
        row[3] = value
    return [lines[0], *(",".join(row) for row in rows)]


CSV: list[tuple[str, Change, str]] = [
    ("empty file", lambda _: [""], "is empty"),
    ("one column", lambda ls: [line.split(",")[0] for line in ls], "has one column only"),
    ("renamed column", _line(1, "temp_c", "temperature"), "column 'temp_c' is missing"),
    ("column twice", _line(1, "wind_ms", "temp_c"), "stands twice"),
    ("decimal commas in a comma file", _line(7, "15.5", "15,5"), "line 7: has 7 cells, the header has 6"),
    ("text in a number", _line(9, "15.5", "warm"), "line 9, column temp_c: 'warm' is not a number"),
    (
        "two points",
        _line(9, "15.5", "1.015.5"),
        "line 9, column temp_c: '1.015.5' has more than one decimal mark",
    ),
    ("an hour twice", lambda ls: [*ls[:10], *ls[9:]], "line 11, column time"),
    ("hour 25", _line(25, "24:00", "25:00"), "is not a time"),
    ("time zone in the time", _line(3, "02:00", "02:00+03:00"), "carries a time zone"),
    ("swapped temperature and humidity", _each("15.5,78.0", "78.0,15.5"), "swapped"),
    ("humidity as a fraction", _each("78.0", "0.78"), "is outside 1 to 100"),
    ("a gap of ten hours in two days", lambda ls: _cell(ls, 18, 28, 1, "NA"), "24 hours in a row"),
    ("negative sun", _line(6, ",0.0,1.5", ",-4.0,1.5"), "set them to 0"),
    ("clock twelve hours off", _night_sun, "of the sun falls between 22:00 and 04:00"),
    ("too short", lambda ls: ls[:12], "at least 24"),
    ("spreadsheet saved as text", lambda _: b"PK\x03\x04\x00\x00rest", "not a text file"),
    ("UTF-16", lambda ls: "\n".join(ls).encode("utf-16"), "UTF-16"),
    ("no sun at all", lambda ls: _cell(ls, 2, 49, 3, "0"), "is zero throughout"),
]
EPW: list[tuple[str, Change, str]] = [
    ("not an EPW", lambda _: csv_lines(), "does not begin with LOCATION"),
    ("decimal comma in the header", _line(1, "3.0,1600.0", "3,0,1600,0"), "A decimal comma splits"),
    ("words in the header", _line(1, "-3.4", "south"), "must be numbers"),
    ("cut short", lambda ls: ls[:4000], "has 3992 hours"),
    ("semicolons", lambda ls: [*ls[:8], *(line.replace(",", ";") for line in ls[8:])], "line 9"),
    ("a word in a column", lambda ls: _cell(ls, 500, 500, 6, "hot"), "line 500, column 7"),
    ("ten hours missing", lambda ls: _cell(ls, 100, 109, 8, "999"), "10 hours are missing from line 100"),
    ("impossible temperature", lambda ls: _cell(ls, 60, 60, 6, "88"), "temp_c, hour 52"),
]


def _answer(read: Callable[[], object]) -> str:
    with pytest.raises(InputError) as caught:
        read()
    return str(caught.value)


@pytest.mark.parametrize(("name", "change", "sentence"), CSV, ids=[c[0] for c in CSV])
def test_csv(tmp_path: Path, name: str, change: Change, sentence: str) -> None:
    answer = _answer(lambda: read_csv(_write(tmp_path / "w.csv", change(csv_lines())), SITE))
    assert sentence in answer
    assert answer.count("\n") == 0


@pytest.mark.parametrize(("name", "change", "sentence"), EPW, ids=[c[0] for c in EPW])
def test_epw(tmp_path: Path, name: str, change: Change, sentence: str) -> None:
    answer = _answer(lambda: read_epw(_write(tmp_path / "w.epw", change(epw_lines()))))
    assert sentence in answer
    assert answer.count("\n") == 0


def _write(path: Path, body: list[str] | bytes) -> Path:
    path.write_bytes(body if isinstance(body, bytes) else "\n".join(body).encode())
    return path
