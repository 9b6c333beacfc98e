"""`drydown plan` and `drydown routes` from the command line."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from drydown.station.load import example_text

FRUIT = "date,time,species,route,kg\n2026-06-11,15:00,arabica,washed,600\n"


@pytest.fixture
def files(tmp_path: Path) -> tuple[str, str]:
    (tmp_path / "station.toml").write_text(example_text(), encoding="utf-8")
    (tmp_path / "fruit.csv").write_text(FRUIT, encoding="utf-8")
    return str(tmp_path / "station.toml"), str(tmp_path / "fruit.csv")


def test_a_plan_as_json_calendar_and_sheet(files: tuple[str, str], tmp_path: Path) -> None:
    from drydown.cli import app

    ics, pdf = tmp_path / "week.ics", tmp_path / "week.pdf"
    start = ["--start", "2026-06-11T06:00", "--days", "3", "--seconds", "3"]
    call = [
        "plan",
        files[0],
        "--deliveries",
        files[1],
        *start,
        "--ics",
        str(ics),
        "--pdf",
        str(pdf),
        "--json",
    ]
    found = CliRunner().invoke(app, call)
    assert found.exit_code == 0, found.output
    told = json.loads(found.output)
    assert told["shape"] == "drydown.plan/1"
    assert told["fits"]
    assert [t["kind"] for t in told["tasks"]] == ["pulp", "ferment", "wash", "dry"]
    assert ics.read_bytes().count(b"BEGIN:VEVENT") == 4
    assert pdf.read_bytes().startswith(b"%PDF")


def test_bad_calls_are_one_sentence(files: tuple[str, str]) -> None:
    from drydown.cli import app

    for call in (
        ["plan", files[0], "--deliveries", "nowhere.csv"],
        ["plan", files[0], "--deliveries", files[0]],
        ["plan", files[0], "--deliveries", files[1], "--start", "soon"],
        ["routes", files[0], "--fruit-kg", "500", "--species", "mocha"],
        ["routes", files[0], "--fruit-kg", "500", "--place", "Moon"],
    ):
        found = CliRunner().invoke(app, call)
        assert found.exit_code == 2, (call, found.output)
        assert "Traceback" not in found.output


def test_routes_as_json(files: tuple[str, str]) -> None:
    from drydown.cli import app

    call = ["routes", files[0], "--fruit-kg", "500", "--start", "2026-06-11T14:00", "--place", "Old patio",
            "--members", "30", "--json"]  # fmt: skip
    found = CliRunner().invoke(app, call)
    assert found.exit_code == 0, found.output
    told = json.loads(found.output)
    assert told["shape"] == "drydown.routes/1"
    assert {r["route"] for r in told["routes"]} == {"washed", "pulped_natural", "natural"}
