"""Copies of the books: made while at work, read back, restored as a drill; damage is told."""

from __future__ import annotations

import json
import os
import zipfile
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from tests.alone import run_alone

NOW = datetime(2026, 5, 4, 9, 0, tzinfo=UTC)
DRILL = """
import json, sys
from pathlib import Path
from tests.alone import station
client = station(sys.argv[1])
from typer.testing import CliRunner
from django.db import connection
from drydown.cli import app
from drydown.books.models import Head
from tests.desk.forms import weigh
for i in range(5):
    weigh(client, grower=f"Ama {i}")
contracts = Path(sys.argv[1]) / "schemes"
contracts.mkdir()
(contracts / "harbour.toml").write_text("name = 'harbour'")
run = CliRunner()
made = run.invoke(app, ["backup", "--data", sys.argv[1], "--to", sys.argv[2], "--json"])
assert made.exit_code == 0, made.output
copy = json.loads(made.stdout)
weigh(client, grower="Too Late")
print(json.dumps({"copy": copy, "head": Head.objects.get().digest, "number": Head.objects.get().number}))
"""
RESTORED = """
import sys
from typer.testing import CliRunner
from drydown.cli import app
run = CliRunner()
done = run.invoke(app, ["restore", sys.argv[1], "--data", sys.argv[2]])
print(done.exit_code, done.output)
again = run.invoke(app, ["restore", sys.argv[1], "--data", sys.argv[2]])
print(again.exit_code, again.output)
checked = run.invoke(app, ["verify", "--data", sys.argv[2], "--anew"])
print(checked.exit_code, checked.output)
from drydown.books.models import Grower
print(sorted(Grower.objects.values_list("name", flat=True)))
"""


@pytest.fixture(scope="module")
def drill(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, Any]]:
    """A station with a copy, and one weighing more after it."""
    folder = tmp_path_factory.mktemp("drill")
    said = run_alone(DRILL, str(folder / "books"), str(folder / "copies"))
    return folder, json.loads(said.splitlines()[-1])


def test_restore_drill(drill: tuple[Path, dict[str, Any]]) -> None:
    folder, said = drill
    copy = said["copy"]
    assert copy["entries"] == 5 == said["number"] - 1
    assert copy["head"] != said["head"]
    out = run_alone(RESTORED, copy["copy"], str(folder / "new"))
    assert "5 entries restored" in out
    assert "holds books already" in out
    assert "every seal joins" in out
    assert out.strip().splitlines()[-1] == "['Ama 0', 'Ama 1', 'Ama 2', 'Ama 3', 'Ama 4']"
    assert (folder / "new" / "schemes" / "harbour.toml").read_text() == "name = 'harbour'"
    secrets = [(folder / name / "secret.key").read_text() for name in ("books", "new")]
    assert secrets[0] != secrets[1]  # old sessions do not come along


def test_a_damaged_copy_is_told(drill: tuple[Path, dict[str, Any]], tmp_path: Path) -> None:
    from drydown.books.copies.backup import check_copy, restore
    from drydown.errors import InputError

    whole = Path(drill[1]["copy"]["copy"])
    bad = tmp_path / "bad.zip"
    with zipfile.ZipFile(whole) as old, zipfile.ZipFile(bad, "w") as new:
        for name in old.namelist():
            content = old.read(name)
            new.writestr(name, content[:-1] + b"?" if name == "books.sqlite3" else content)
    with pytest.raises(InputError, match=r"part books.sqlite3 is damaged"):
        restore(bad, tmp_path / "new")
    assert not (tmp_path / "new").exists()
    (tmp_path / "text.zip").write_text("not a copy")
    with pytest.raises(InputError, match="is not a copy"):
        check_copy(tmp_path / "text.zip")
    with zipfile.ZipFile(bad, "w") as new:
        new.writestr("facts.json", json.dumps({"parts": {"../../evil": "0"}}))
    with pytest.raises(InputError, match="is not a copy"):
        restore(bad, tmp_path / "new")


def test_old_pieces_of_books_are_not_restored_onto(
    drill: tuple[Path, dict[str, Any]], tmp_path: Path
) -> None:
    from drydown.books.copies.backup import restore
    from drydown.errors import InputError

    (tmp_path / "books.sqlite3-wal").write_bytes(b"left over")
    with pytest.raises(InputError, match="holds books already"):
        restore(Path(drill[1]["copy"]["copy"]), tmp_path)


def test_copies_on_a_schedule_and_old_ones_go(
    drill: tuple[Path, dict[str, Any]], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from drydown.desk.schedule import copy_if_due

    monkeypatch.delenv("DRYDOWN_DATABASE", raising=False)
    books = drill[0] / "books"
    now = datetime.now(UTC)
    assert copy_if_due(books, tmp_path, 24.0, 3, now)
    assert not copy_if_due(books, tmp_path, 24.0, 3, now + timedelta(hours=23))
    for days in range(1, 6):
        for old in tmp_path.glob("*.zip"):  # as if a day had gone by
            os.utime(old, (old.stat().st_atime, old.stat().st_mtime - 86_400))
        assert copy_if_due(books, tmp_path, 24.0, 3, now + timedelta(days=days, seconds=days))
    assert len(list(tmp_path.glob("*.zip"))) == 3


def test_a_copy_that_cannot_be_written_is_one_sentence(
    drill: tuple[Path, dict[str, Any]], tmp_path: Path
) -> None:
    from drydown.books.copies.backup import back_up
    from drydown.errors import InputError

    (tmp_path / "file").write_text("in the way")
    with pytest.raises(InputError, match="no copy could be made"):
        back_up(drill[0] / "books", tmp_path / "file", NOW)


def test_a_copy_of_postgresql(tmp_path: Path, data_folder: Path) -> None:
    from django.db import connection

    if connection.vendor != "postgresql":
        pytest.skip("about PostgreSQL")
    from drydown.books.copies.backup import back_up, check_copy

    made = back_up(tmp_path, tmp_path / "copies", NOW)
    assert set(check_copy(made.path)["parts"]) == {"books.dump"}
