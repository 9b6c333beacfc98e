"""Power cuts, kills, full disks: what was acknowledged is there, once, and nothing is half there."""

from __future__ import annotations

import shutil
import sqlite3
import tempfile
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from tests.books.powercut import play

NOW = datetime(2026, 5, 4, 9, 0, tzinfo=UTC)
SEEDS = 100


def weighing(grower: Any, minutes: int) -> Any:
    """One delivery, ready to be received."""
    from drydown.books.lots.gate import Weighing

    at = NOW + timedelta(minutes=minutes)
    return Weighing(
        uuid.uuid4(), grower, "arabica", "washed", 51_500, 1_500, 620, "XTS", 0, at, at.date(), 93, None,
        "B", (), (("Members fund", 620),),
    )  # fmt: skip


@pytest.fixture(scope="module")
def statements(data_folder: Path) -> tuple[Path, list[list[tuple[str, tuple[Any, ...]]]]]:
    """A database with tables and rules, and the statements that ten deliveries really make."""
    from django.db import connection, transaction

    from drydown.books.lots.gate import add_grower, receive

    if connection.vendor != "sqlite":
        pytest.skip("about the embedded database")
    empty = Path(tempfile.mkdtemp(prefix="drydown-cut-")) / "books.sqlite3"
    target = sqlite3.connect(empty)
    connection.ensure_connection()
    connection.connection.backup(target)
    target.close()
    work: list[list[tuple[str, tuple[Any, ...]]]] = []

    def note(execute: Any, sql: str, params: Any, many: bool, context: Any) -> Any:
        plain = sql.replace("%s", "?").replace("%%", "%")
        assert not many
        if not plain.startswith(("SAVEPOINT", "RELEASE", "ROLLBACK")):
            work[-1].append((plain, tuple(_plain(p) for p in params or ())))
        return execute(sql, params, many, context)

    with transaction.atomic(), connection.execute_wrapper(note):
        work.append([])
        grower = add_grower("Ama Vembi", "Kell Ridge")
        for i in range(10):
            work.append([])
            receive(weighing(grower, i))
        transaction.set_rollback(True)
    return empty, work


def _plain(value: Any) -> Any:
    if isinstance(value, uuid.UUID):
        return value.hex
    if isinstance(value, datetime):
        return value.astimezone(UTC).replace(tzinfo=None).isoformat(" ")
    return value if isinstance(value, (str, int, float, bytes)) or value is None else str(value)


@contextmanager
def copy_of(empty: Path) -> Iterator[Path]:
    """A folder of its own with the empty database."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        shutil.copyfile(empty, folder / "books.sqlite3")
        yield folder


def _kept(file: Path) -> tuple[int, str]:
    with sqlite3.connect(file) as db:
        count = db.execute("SELECT COUNT(*) FROM books_entry").fetchone()[0]
        whole = db.execute("PRAGMA integrity_check").fetchone()[0]
        odd = db.execute(
            "SELECT COUNT(*) FROM books_entry e LEFT JOIN books_seal s ON s.number = e.number "
            "LEFT JOIN books_delivery d ON d.entry_id = e.number WHERE s.number IS NULL OR d.entry_id IS NULL"
        ).fetchone()[0]
    db.close()
    return int(count), str(whole) if not odd else f"{odd} entries are half there"


def _lost(statements: Any, pragmas: str) -> list[int]:
    """Seeds at which an acknowledged delivery was gone after the cut."""
    empty, work = statements
    with copy_of(empty) as folder:
        total = play(folder, pragmas, work, 0, 0)[2]
    lost = []
    for seed in range(SEEDS):
        cut_at = 12 + (seed * 7919) % (total - 12)
        with copy_of(empty) as folder:
            often = "PRAGMA wal_autocheckpoint=25;" if seed % 2 else ""  # so that cuts fall into checkpoints
            acknowledged, file, _n = play(folder, pragmas + often, work, cut_at, seed)
            count, whole = _kept(file)
        assert whole == "ok", (seed, whole)
        deliveries = max(0, acknowledged - 1)  # the first unit is the grower
        assert count <= deliveries + 1, (seed, count, deliveries)
        if count < deliveries:
            lost.append(seed)
    return lost


def test_a_power_cut_loses_nothing_at_the_shipped_settings(statements: Any) -> None:
    # 100 seeds; the simulated disk keeps, loses or tears every write that was not synced.
    from django.conf import settings

    pragmas = settings.DATABASES["default"]["OPTIONS"]["init_command"]
    assert "synchronous=FULL" in pragmas
    assert _lost(statements, pragmas) == []


def test_the_simulated_disk_does_lose_writes_at_a_weaker_setting(statements: Any) -> None:
    # Without this, the test above could not fail: SQLite's own manual says that WAL with
    # synchronous=NORMAL may lose the last commits when the power goes.
    from django.conf import settings

    pragmas = settings.DATABASES["default"]["OPTIONS"]["init_command"].replace("FULL", "NORMAL")
    assert len(_lost(statements, pragmas)) > 5


FULL_DISK = """
import sys
from tests.alone import station
client = station(sys.argv[1])
from django.db import connection
from drydown.books.models import Delivery, Entry, Grower
from drydown.books.copies.verify import verify
from tests.desk.forms import weigh

weigh(client)
with connection.cursor() as cursor:
    cursor.execute("PRAGMA page_count")
    pages = cursor.fetchone()[0]
    cursor.execute(f"PRAGMA max_page_count = {pages + 8}")
answers = [weigh(client, grower=f"Beno {'x' * 60} {i}", village="y" * 70) for i in range(60)]
refused = [a for a in answers if a.status_code == 503]
kept = [a for a in answers if a.status_code == 302]
assert refused and kept, [a.status_code for a in answers]
assert "disk of the station" in refused[0].content.decode()
assert Delivery.objects.count() == Entry.objects.count() == Grower.objects.count() == 1 + len(kept)
with connection.cursor() as cursor:
    cursor.execute("PRAGMA max_page_count = 1073741823")
assert weigh(client, grower="Dari Okkal").status_code == 302
found = verify(anew=True)
assert found.good, found.problems
print("told", len(refused), "kept", len(kept))
"""


def test_a_full_disk_is_told_and_leaves_nothing_half_written(tmp_path: Path) -> None:
    # In a process of its own: SQLite rolls the whole transaction back when the disk is full.
    from tests.alone import run_alone

    assert "told" in run_alone(FULL_DISK, str(tmp_path))
