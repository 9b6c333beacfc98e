"""The gate under sixteen clients, over HTTP, beside plain SQLite on the same disk in the same run.

Run: python -m bench.gate [seconds]. Every weighing counted was answered, and found in the books afterwards.
Plain SQLite is one connection, WAL, synchronous=FULL, that writes for each commit as many rows into as many
tables, with as many bytes, as one weighing does (counted from the books themselves).
"""

from __future__ import annotations

import os
import random
import re
import resource
import sqlite3
import statistics
import sys
import tempfile
import threading
import time
import uuid
from pathlib import Path

import requests
from tests.alone import PREPARE, Desk, entered, run_alone

CLIENTS = 16
TABLES = (
    "books_entry",
    "books_posting",
    "books_seal",
    "books_delivery",
    "books_holding",
    "books_lot",
    "books_head",
)
GROWERS = """
import os, sys
os.environ["DRYDOWN_DATA"] = sys.argv[1]
os.environ["DJANGO_SETTINGS_MODULE"] = "drydown.desk.settings"
import django; django.setup()
from drydown.books.models import Grower
Grower.objects.bulk_create(Grower(number=101 + i, name=f"Grower {i}", village="Kell") for i in range(200))
"""


def _rows(books: Path) -> dict[str, tuple[int, int]]:
    """Rows and bytes by table."""
    found = {}
    with sqlite3.connect(f"file:{books}?mode=ro", uri=True) as db:
        for table in TABLES:
            columns = [row[1] for row in db.execute(f"PRAGMA table_info({table})")]
            size = " + ".join(f'coalesce(length("{c}"), 0)' for c in columns)
            count, whole = db.execute(f"SELECT count(*), coalesce(sum({size}), 0) FROM {table}").fetchone()
            found[table] = (count, whole)
    db.close()
    return found


def _client(
    desk: Desk, browser: requests.Session, stop: threading.Event, times: list[float], keys: list[str]
) -> None:
    rng, token = random.Random(), browser.cookies["csrftoken"]
    while not stop.is_set():
        key = str(uuid.uuid4())
        form = {
            "csrfmiddlewaretoken": token, "key": key, "grower": str(rng.randint(101, 300)),
            "species": "arabica",
            "route": "washed", "gross": f"{rng.uniform(30, 44):.2f}", "tare": "1.5", "at": "",
        }  # fmt: skip
        begin = time.perf_counter()
        answer = browser.post(
            f"{desk.url}/gate/", form, headers={"Referer": desk.url}, timeout=60, allow_redirects=False
        )
        if answer.status_code == 302 and "saved=" in answer.headers["Location"]:
            times.append(time.perf_counter() - begin)
            keys.append(key)


def _cpu(pid: int) -> float:
    """CPU seconds of a process and its children, by /proc."""
    total, ticks = 0.0, os.sysconf("SC_CLK_TCK")
    for entry in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = entry.read_text().rsplit(")", 1)[1].split()
        except OSError:
            continue
        if int(entry.parent.name) == pid or int(fields[1]) == pid:
            total += (int(fields[11]) + int(fields[12])) / ticks
    return total


def _plain(folder: Path, shape: dict[str, tuple[float, float]], seconds: float) -> float:
    """Commits a second of plain SQLite with the same rows and bytes."""
    db = sqlite3.connect(folder / "plain.sqlite3", isolation_level=None)
    db.executescript("PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL;")
    for table in shape:
        db.execute(f"CREATE TABLE {table} (id INTEGER PRIMARY KEY, body TEXT)")
    begin, count = time.perf_counter(), 0
    while time.perf_counter() - begin < seconds:
        db.execute("BEGIN IMMEDIATE")
        for table, (rows, size) in shape.items():
            for _ in range(max(1, round(rows))):
                db.execute(f"INSERT INTO {table} (body) VALUES (?)", ("x" * round(size / max(rows, 1)),))
        db.execute("COMMIT")
        count += 1
    db.close()
    return count / (time.perf_counter() - begin)


def _syncs(folder: Path, seconds: float = 3.0) -> float:
    handle = os.open(folder / "sync", os.O_WRONLY | os.O_CREAT)
    begin, count = time.perf_counter(), 0
    while time.perf_counter() - begin < seconds:
        os.write(handle, b"x" * 4096)
        os.fsync(handle)
        count += 1
    os.close(handle)
    return count / (time.perf_counter() - begin)


def main() -> None:
    """Measure and print."""
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 20.0
    with tempfile.TemporaryDirectory(prefix="drydown-gate-") as name:
        folder = Path(name)
        data = folder / "station"
        assert "ready" in run_alone(PREPARE, str(data))
        run_alone(GROWERS, str(data))
        desk = Desk(data)
        desk.start()
        browsers = [entered(desk.url) for _ in range(CLIENTS)]
        before, cpu = _rows(data / "books.sqlite3"), _cpu(desk.process.pid)
        stop, times, keys = threading.Event(), list[float](), list[str]()
        threads = [threading.Thread(target=_client, args=(desk, b, stop, times, keys)) for b in browsers]
        begin, mine = time.perf_counter(), resource.getrusage(resource.RUSAGE_SELF).ru_utime
        for thread in threads:
            thread.start()
        time.sleep(seconds)
        stop.set()
        for thread in threads:
            thread.join(60)
        spent = time.perf_counter() - begin
        used, mine = _cpu(desk.process.pid) - cpu, resource.getrusage(resource.RUSAGE_SELF).ru_utime - mine
        desk.kill()
        after = _rows(data / "books.sqlite3")
        with sqlite3.connect(data / "books.sqlite3") as db:
            there = {row[0] for row in db.execute("SELECT key FROM books_entry")}
        lost = sum(re.sub("-", "", key) not in there for key in keys)
        n = len(times)
        shape = {
            t: ((after[t][0] - before[t][0]) / n or 1.0, max(20.0, (after[t][1] - before[t][1]) / n))
            for t in TABLES
        }
        bare, syncs = _plain(folder, shape, 5.0), _syncs(folder)
        times.sort()
        rows, size = sum(r for r, _b in shape.values()), sum(b for _r, b in shape.values())
        print(f"  {CLIENTS} clients, {spent:.0f} s: {n} weighings, {n / spent:.0f}/s; lost {lost}")
        print(f"  median {1000 * statistics.median(times):.0f} ms, p95 {1000 * times[int(0.95 * n)]:.0f} ms")
        print(f"  a weighing: {rows:.1f} rows, {size:.0f} bytes; plain SQLite with as many: {bare:.0f}/s")
        print(f"  ratio {n / spent / bare:.3f}; disk alone {syncs:.0f} syncs/s")
        print(
            f"  CPU of the desk {1000 * used / n:.1f} ms a weighing, of the clients {1000 * mine / n:.1f} ms"
        )


if __name__ == "__main__":
    main()
