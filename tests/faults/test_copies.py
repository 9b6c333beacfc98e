"""A copy opens no desk, is private, can be locked, and is found whole only when it is."""

from __future__ import annotations

import json
import os
import sqlite3
import stat
import subprocess
import sys
import zipfile
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from drydown.books.copies.backup import back_up, check_copy, restore
from drydown.desk.schedule import copy_if_due
from drydown.errors import InputError
from tests.alone import PREPARE, run_alone

NOW = datetime(2026, 11, 26, 9, 0, tzinfo=UTC)
DRYDOWN = str(Path(sys.executable).parent / "drydown")
LOGGED_IN = (
    PREPARE
    + """
from django.contrib.sessions.backends.db import SessionStore
import sys
from django.test import Client
from django.contrib.auth.models import User
from drydown.books.people.register import make_link
c = Client(); c.force_login(User.objects.get(username="owner"))
c.post("/gate/", {"key": "5b7a7b1e-0000-4000-8000-000000000001", "grower": "Ama Vembi", "new_grower": "on",
  "species": "arabica", "route": "washed", "gross": "51.5", "tare": "1.5", "at": ""})
open(sys.argv[1] + ".keys", "w").write(c.cookies["sessionid"].value + " " + make_link(None))
"""
)
pytestmark = pytest.mark.skipif("DRYDOWN_DATABASE" in os.environ, reason="about the embedded database")


@pytest.fixture(scope="module")
def data(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Books with a delivery, an open session and an unused link."""
    folder = tmp_path_factory.mktemp("copies") / "station"
    assert "ready" in run_alone(LOGGED_IN, str(folder))
    return folder


def run(*words: str) -> subprocess.CompletedProcess[str]:
    env = {k: v for k, v in os.environ.items() if not k.startswith(("DRYDOWN", "DJANGO"))}
    return subprocess.run(
        [DRYDOWN, *words], env=env | {"COLUMNS": "300"}, capture_output=True, text=True, check=False
    )


def inside(copy: Path, folder: Path) -> Path:
    with zipfile.ZipFile(copy) as box:
        box.extract("books.sqlite3", folder)
    return folder / "books.sqlite3"


def test_a_copy_holds_no_session_and_no_link(data: Path, tmp_path: Path) -> None:
    made = back_up(data, tmp_path / "copies", NOW)
    books = inside(made.path, tmp_path)
    with sqlite3.connect(books) as db:
        for table in ("django_session", "books_ownerlink", "axes_accessattempt"):
            assert db.execute(f"SELECT count(*) FROM {table}").fetchone() == (0,), table
        assert db.execute("SELECT count(*) FROM books_delivery").fetchone() == (1,)
    session, _link = Path(f"{data}.keys").read_text(encoding="utf-8").split()
    assert session.encode() not in books.read_bytes()  # not in free pages either
    with sqlite3.connect(data / "books.sqlite3") as db:
        assert db.execute("SELECT count(*) FROM django_session").fetchone()[0] >= 1  # the desk keeps its own


@pytest.mark.skipif(os.name == "nt", reason="modes of POSIX")
def test_copies_are_private_whatever_stood_before(data: Path, tmp_path: Path) -> None:
    folder = tmp_path / "copies"
    folder.mkdir(mode=0o755)
    folder.chmod(0o755)
    before = os.umask(0o000)
    try:
        made = back_up(data, folder, NOW)
        restore(made.path, tmp_path / "new")
    finally:
        os.umask(before)
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    assert stat.S_IMODE(made.path.stat().st_mode) == 0o600
    assert stat.S_IMODE((tmp_path / "new" / "books.sqlite3").stat().st_mode) == 0o600


def test_the_warning_names_what_is_in_it(data: Path, tmp_path: Path) -> None:
    assert "password hashes" in run("backup", "--data", str(data), "--to", str(tmp_path)).stdout


def test_a_locked_copy_opens_with_its_key_only(data: Path, tmp_path: Path) -> None:
    import pyrage

    secret = pyrage.x25519.Identity.generate()
    (tmp_path / "key").write_text(str(secret), encoding="ascii")
    (tmp_path / "words").write_text("four plain words together", encoding="utf-8")
    (tmp_path / "other").write_text("some other plain words", encoding="utf-8")
    by_words = run(
        "backup",
        "--data",
        str(data),
        "--to",
        str(tmp_path / "a"),
        "--passphrase-file",
        str(tmp_path / "words"),
    )
    assert by_words.returncode == 0, by_words.stderr
    by_key = run("backup", "--data", str(data), "--to", str(tmp_path / "b"), "--key", str(secret.to_public()))
    assert by_key.returncode == 0, by_key.stderr
    one, two = (next((tmp_path / d).iterdir()) for d in "ab")
    assert one.suffix == two.suffix == ".age"
    assert b"Ama Vembi" not in one.read_bytes()
    assert run("restore", str(one), "--data", str(tmp_path / "r0")).returncode == 2
    wrong = run(
        "restore", str(one), "--data", str(tmp_path / "r0"), "--passphrase-file", str(tmp_path / "other")
    )
    assert wrong.returncode == 2
    assert "right key" in wrong.stderr
    assert not (tmp_path / "r0").exists()
    right = run(
        "restore", str(one), "--data", str(tmp_path / "r1"), "--passphrase-file", str(tmp_path / "words")
    )
    assert right.returncode == 0, right.stderr
    assert "found whole" in right.stdout
    assert (
        run(
            "restore", str(two), "--data", str(tmp_path / "r2"), "--key-file", str(tmp_path / "key")
        ).returncode
        == 0
    )
    assert run("backup", "--data", str(data), "--to", str(tmp_path), "--key", "age1x").returncode == 2


def tampered(copy: Path, target: Path, change: Any) -> Path:
    """A copy whose database was changed and whose facts were made to fit."""
    import hashlib

    work = target.parent / f"{target.stem}-work"
    with zipfile.ZipFile(copy) as box:
        box.extractall(work)
    change(work)
    facts = json.loads((work / "facts.json").read_text(encoding="utf-8"))
    for name in facts["parts"]:
        facts["parts"][name] = hashlib.sha256((work / name).read_bytes()).hexdigest()
    (work / "facts.json").write_text(json.dumps(facts), encoding="utf-8")
    with zipfile.ZipFile(target, "w") as box:
        for file in work.rglob("*"):
            if file.is_file():
                box.write(file, file.relative_to(work).as_posix())
    return target


def sql(script: str) -> Any:
    def change(work: Path) -> None:
        with sqlite3.connect(work / "books.sqlite3") as db:
            db.executescript(script)

    return change


BENT = "CREATE TRIGGER books_seal_checks BEFORE INSERT ON books_seal BEGIN SELECT 1; END"
NEWER = "INSERT INTO django_migrations (app, name, applied) VALUES ('books', '9001_x', '2030-01-01')"


@pytest.mark.parametrize(
    ("name", "change", "words"),
    [
        ("read off", sql("UPDATE books_delivery SET pays = pays + 1"), "anew"),
        ("a rule gone", sql("DROP TRIGGER books_entry_no_update"), "rule"),
        ("a rule bent", sql(f"DROP TRIGGER books_seal_checks; {BENT}"), "rule"),
        ("newer", sql(NEWER), "newer Drydown"),
    ],
)  # fmt: skip
def test_found_whole_means_whole(data: Path, tmp_path: Path, name: str, change: Any, words: str) -> None:
    made = back_up(data, tmp_path / "c", NOW)
    bad = tampered(made.path, tmp_path / "bad.zip", change)
    done = run("restore", str(bad), "--data", str(tmp_path / "new"))
    assert done.returncode == 2, done.stdout
    assert "found whole" not in done.stdout
    assert words in done.stderr or words == "anew", done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize(
    "facts",
    [b"[]", b"7", b"null", b'{"shape": "drydown.copy/1"}',
     b'{"shape": "drydown.copy/1", "parts": [1], "entries": 1}',
     b'{"shape": "drydown.copy/9", "parts": {}, "entries": 0, "head": ""}',
     b"{" * 5000, b"\xff\xfe",
     b'{"shape": "drydown.copy/1", "entries": 1, "head": "", "parts": {"../../etc/passwd": "0"}}'],
)  # fmt: skip
def test_strange_facts_are_one_sentence(tmp_path: Path, facts: bytes) -> None:
    file = tmp_path / "copy.zip"
    with zipfile.ZipFile(file, "w") as box:
        box.writestr("facts.json", facts)
    with pytest.raises(InputError):
        check_copy(file)
    done = run("restore", str(file), "--data", str(tmp_path / "new"))
    assert done.returncode == 2
    assert "Traceback" not in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1


def test_a_bomb_in_the_place_of_facts_is_not_unpacked(tmp_path: Path) -> None:
    file = tmp_path / "copy.zip"
    with (
        zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as box,
        box.open("facts.json", "w", force_zip64=True) as out,
    ):
        for _ in range(40):
            out.write(b" " * 1_000_000)
    with pytest.raises(InputError):
        check_copy(file)


def test_a_copy_dated_ahead_of_now_does_not_count(data: Path, tmp_path: Path) -> None:
    made = back_up(data, tmp_path / "c", NOW + timedelta(days=20_000))
    ahead = (NOW + timedelta(days=400)).timestamp()
    os.utime(made.path, (ahead, ahead))
    assert copy_if_due(data, tmp_path / "c", 24.0, 30, datetime.now(UTC))
    assert not copy_if_due(data, tmp_path / "c", 24.0, 30, datetime.now(UTC))
