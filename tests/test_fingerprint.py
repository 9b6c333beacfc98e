"""What is kept is kept under what it was made of: code, data, added rows, the weather file's content."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
SAY = "from drydown.fingerprint import MODEL, fingerprint; print(fingerprint(*MODEL))"


def said(src: Path, code: str = SAY, **env: str) -> str:
    """What a fresh process says that runs the code of a folder."""
    whole = os.environ | {"PYTHONPATH": str(src), "PYTHONDONTWRITEBYTECODE": "1"} | env
    done = subprocess.run([sys.executable, "-c", code], env=whole, capture_output=True, text=True, check=True)
    return done.stdout.strip()


@pytest.fixture(scope="module")
def copy(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy of the package."""
    target = tmp_path_factory.mktemp("code")
    shutil.copytree(
        ROOT / "src" / "drydown", target / "drydown", ignore=shutil.ignore_patterns("__pycache__")
    )
    return target


@pytest.mark.parametrize(
    ("file", "seen"),
    [
        ("steps/dry/forms.toml", True),
        ("steps/dry/kernel.py", True),
        ("outlook/rules.toml", True),
        ("air/normals.py", True),
        ("units.py", True),
        ("desk/chart.py", False),
        ("books/lots/gate.py", False),
    ],
)
def test_a_change_in_a_room_that_was_used_is_another_key(copy: Path, file: str, seen: bool) -> None:
    before = said(copy)
    path = copy / "drydown" / file
    text = path.read_text(encoding="utf-8")
    path.write_text(text + "\n# changed\n", encoding="utf-8")
    try:
        assert (said(copy) != before) is seen
    finally:
        path.write_text(text, encoding="utf-8")
    assert said(copy) == before


def test_rows_that_were_added_are_another_key(copy: Path, tmp_path: Path) -> None:
    without = said(copy)
    (tmp_path / "species.toml").write_text("")
    first = said(copy, DRYDOWN_ADDED=str(tmp_path))
    (tmp_path / "species.toml").write_text("# more\n")
    assert len({without, first, said(copy, DRYDOWN_ADDED=str(tmp_path))}) == 3


def test_a_kept_forecast_of_other_code_is_not_shown(books: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from datetime import UTC, datetime

    from drydown.books.lots import drying
    from drydown.outlook.case import DryingCase
    from drydown.station.load import example_text, parse_station
    from drydown.steps.dry.routine import Routine

    station = parse_station(example_text())
    case = DryingCase(
        "arabica", "parchment", "raised_bed", 12.0, 0.11, datetime(2026, 5, 4, tzinfo=UTC), Routine()
    )
    before = drying.case_key(case, station)
    assert drying.case_key(case, station) == before
    monkeypatch.setattr(drying, "fingerprint", lambda *_rooms: "another")
    assert drying.case_key(case, station) != before


def test_a_weather_file_of_the_same_size_and_name_is_another(tmp_path: Path) -> None:
    from drydown.fingerprint import fingerprint_of_file

    file = tmp_path / "weather.csv"
    file.write_text("1,2,3\n")
    os.utime(file, ns=(10**18, 10**18))
    first = fingerprint_of_file(file)
    file.write_text("1,2,4\n")
    os.utime(file, ns=(10**18 + 1, 10**18 + 1))
    assert fingerprint_of_file(file) != first


def test_a_cold_start_says_that_it_compiles_and_a_warm_one_is_silent(tmp_path: Path) -> None:
    code = "from drydown.steps.dry.compiled import keep_compiled; print(keep_compiled())"
    env = {"XDG_CACHE_HOME": str(tmp_path), "LOCALAPPDATA": str(tmp_path), "HOME": str(tmp_path)}
    whole = os.environ | env
    done = subprocess.run([sys.executable, "-c", code], env=whole, capture_output=True, text=True, check=True)
    assert "Compiling the drying engine once, about a minute." in done.stderr
    folder = Path(done.stdout.strip())
    assert folder.is_relative_to(tmp_path)
    assert re.fullmatch(r"compiled-[0-9a-f]{16}-[\w.]+", folder.name)
    (folder / "kernel.nbi").write_bytes(b"")
    done = subprocess.run([sys.executable, "-c", code], env=whole, capture_output=True, text=True, check=True)
    assert done.stderr == ""
    blocked = tmp_path / "file"
    blocked.write_text("")
    whole |= {"XDG_CACHE_HOME": str(blocked), "LOCALAPPDATA": str(blocked), "HOME": str(blocked)}
    done = subprocess.run([sys.executable, "-c", code], env=whole, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "None"  # no folder can be written: compiled anew, and nothing fails
