"""Many stations: the same bytes however it is run, resumed where it stopped, a failed station told."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pyarrow as pa
import pytest
from pyarrow import parquet
from typer.testing import CliRunner

from drydown.errors import InputError
from drydown.season.district import gathered, pieces_of, read_stations, run_pieces, work
from tests.season.scene import MONTH, SMALL

COMMAND = "import sys; from drydown.cli import main; sys.argv[0] = 'drydown'; main()"


@pytest.fixture
def table(tmp_path: Path) -> Path:
    """Three stations, the third of which has no pulper, and a row whose file is not there."""
    (tmp_path / "a.toml").write_text(SMALL + 12 * MONTH, encoding="utf-8")
    bare = (SMALL + 12 * MONTH).replace(
        '[[equipment.pulpers]]\nname = "Pulper"\nkind = "drum"\ncapacity_kg_h = 300.0', ""
    )
    (tmp_path / "c.toml").write_text(bare, encoding="utf-8")
    rows = "station,name,fruit_kg,days\na.toml,upper,1500,10\na.toml,lower,900,12\n"
    rows += "c.toml,bare,,\nnone.toml,gone,,\n"
    (tmp_path / "stations.csv").write_text(rows, encoding="utf-8")
    return tmp_path / "stations.csv"


def answers(folder: Path) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in folder.glob("*.parquet")}


def test_a_failed_station_is_told_and_stops_nobody(table: Path, tmp_path: Path) -> None:
    rows, faults = read_stations(table)
    assert [r.name for r in rows] == ["upper", "lower", "bare"]
    assert len(faults) == 1
    assert "line 5" in faults[0]
    pieces = pieces_of(rows, 30, 1)
    assert len(pieces) == 6
    told = run_pieces(pieces, tmp_path / "out")
    assert len(told) == 2
    assert all(t.startswith("bare:") and "pulper" in t for t in told)
    found = gathered(pieces, tmp_path / "out")
    assert found is not None
    assert found.num_rows == 60
    assert found.column("season").to_pylist()[:30] == list(range(30))


def test_the_same_bytes_on_a_cluster_and_after_a_worker_was_killed(table: Path, tmp_path: Path) -> None:
    """A Dask scheduler with two worker processes; one is killed while it works."""
    import distributed

    pieces = pieces_of(read_stations(table)[0][:2], 30, 1)
    run_pieces(pieces, tmp_path / "here", threads=1)
    local: Any = distributed.LocalCluster
    with local(
        n_workers=2,
        threads_per_worker=1,
        processes=True,
        dashboard_address=None,
        worker_dashboard_address=None,
    ) as cluster:
        victim = next(iter(cluster.workers.values())).process.pid
        seen: list[int] = []

        def tell(done: int, _whole: int, _fault: str) -> None:
            if done == 1 and not seen:
                seen.append(victim)
                os.kill(victim, signal.SIGKILL)

        assert run_pieces(pieces, tmp_path / "there", cluster.scheduler_address, tell=tell) == []
        assert seen
    assert answers(tmp_path / "here") == answers(tmp_path / "there")


def test_a_run_that_was_killed_goes_on(table: Path, tmp_path: Path) -> None:
    folder = tmp_path / "out"
    call = [sys.executable, "-c", COMMAND, "district", str(table), "--folder", str(folder), "--seasons", "75"]
    run = subprocess.Popen(call, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    until = time.monotonic() + 60.0
    while not list(folder.glob("*.parquet")) and time.monotonic() < until:
        time.sleep(0.02)
    run.kill()
    run.wait()
    first = answers(folder)
    assert first
    pieces = pieces_of(read_stations(table)[0][:2], 75, 1)
    counted: list[int] = []
    run_pieces(pieces, folder, tell=lambda done, _w, _f: counted.append(done))
    assert counted[0] == len(set(first) & {f"{p.key}.parquet" for p in pieces})
    assert {k: v for k, v in answers(folder).items() if k in first} == first
    assert set(answers(folder)) == {f"{p.key}.parquet" for p in pieces}


def test_what_decides_an_answer_decides_its_name(table: Path) -> None:
    """Text, crop, seed and first season: another name each."""
    row = read_stations(table)[0][0]
    keys = {p.key for p in pieces_of([row], 50, 1)} | {p.key for p in pieces_of([row], 50, 2)}
    assert len(keys) == 4
    assert work(pieces_of([row], 10, 1)[0]) == work(pieces_of([row], 10, 1)[0])


def test_a_table_is_read_as_parquet_and_refused_in_a_sentence(table: Path, tmp_path: Path) -> None:
    parquet.write_table(pa.table({"station": ["a.toml"], "fruit_kg": [800.0]}), tmp_path / "t.parquet")
    rows, _faults = read_stations(tmp_path / "t.parquet")
    assert [(r.name, r.fruit_kg) for r in rows] == [("a", 800.0)]
    (tmp_path / "bad.csv").write_text("place\nx\n", encoding="utf-8")
    with pytest.raises(InputError, match="station"):
        read_stations(tmp_path / "bad.csv")
    (tmp_path / "odd.csv").write_text("station,colour\na.toml,red\n", encoding="utf-8")
    with pytest.raises(InputError, match="colour"):
        read_stations(tmp_path / "odd.csv")
    with pytest.raises(InputError, match="reached"):
        run_pieces(pieces_of(rows, 10, 1), tmp_path / "o", "tcp://127.0.0.1:9")


def test_from_the_command_line(table: Path, tmp_path: Path) -> None:
    from drydown.cli import app

    call = ["district", str(table), "--folder", str(tmp_path / "out"), "--seasons", "10", "--json"]
    found = CliRunner().invoke(app, call)
    assert found.exit_code == 0, found.output
    told = json.loads(found.output)
    assert [s["name"] for s in told["stations"]] == ["upper", "lower"]
    assert len(told["faults"]) == 2
    assert (tmp_path / "out" / "seasons.parquet").exists()
