"""Rounds of kills, flaky phones and mixed load: short in `make test`, long with DRYDOWN_TEST_LONG=1.

Each prints what was answered, kept and doubled (run with -s to see it).
"""

from __future__ import annotations

import json
import os
import random
import signal
import subprocess
import sys
import threading
import time
import uuid
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
import requests

from tests.alone import ROOT, entered
from tests.alone import Desk as Plain

say = sys.stdout.write
LONG = os.environ.get("DRYDOWN_TEST_LONG") == "1"
ROUNDS, PHONES, NOTES, REQUESTS = (100, 50, 20, 5_000) if LONG else (6, 8, 6, 300)
PREPARE = "import sys; from tests.alone import station; station(sys.argv[1]); print('ready')"
GROWER = """
import sys
from tests.alone import station
station(sys.argv[1])
from drydown.books.lots.gate import add_grower
from drydown.books.journal.write import Who
for i in range(40):
    add_grower(f"Grower {i}", "Kell Ridge", Who())
"""
COUNT = """
import sys, json
from tests.alone import station
station(sys.argv[1])
from drydown.books.models import Delivery, Outgoing
from drydown.books.copies.verify import verify
found = verify(anew=True)
assert found.good, found.problems
rows = list(Delivery.objects.values_list("entry__key", "net_g"))
print(json.dumps({"keys": [str(k) for k, _n in rows], "net": sum(n for _k, n in rows)}))
"""
pytestmark = [
    pytest.mark.timeout(3600),
    pytest.mark.skipif("DRYDOWN_DATABASE" in os.environ, reason="starts its own databases"),
    pytest.mark.skipif(os.name == "nt", reason="signals of POSIX"),
]


class Desk(Plain):
    """A served desk on either database."""

    def __init__(self, folder: Path, database: str) -> None:
        super().__init__(folder)
        self.database = database

    def env(self) -> dict[str, str]:
        kept = {k: v for k, v in os.environ.items() if not k.startswith(("DRYDOWN", "DJANGO"))}
        return kept | ({"DRYDOWN_DATABASE": self.database} if self.database else {})

    def start(self) -> None:
        drydown = str(Path(sys.executable).parent / "drydown")
        call = [drydown, "serve", "--data", str(self.folder), "--port", str(self.port), "--copy-every-h", "0"]
        self.process = subprocess.Popen(
            call, env=self.env(), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, start_new_session=True
        )
        self.wait()

    def wait(self) -> None:
        end = time.monotonic() + 60
        while time.monotonic() < end:
            try:
                if requests.get(f"{self.url}/alive/", timeout=2).text == "alive":
                    return
            except requests.RequestException:
                time.sleep(0.05)
        pytest.fail("the desk did not answer")

    def alone(self, script: str) -> str:
        call = [sys.executable, "-c", script, str(self.folder)]
        done = subprocess.run(
            call, cwd=ROOT, env=self.env(), capture_output=True, text=True, timeout=600, check=False
        )
        assert done.returncode == 0, done.stdout + done.stderr
        return done.stdout

    def children(self) -> list[int]:
        found = subprocess.run(
            ["ps", "-o", "pid=", "--ppid", str(self.process.pid)], capture_output=True, text=True, check=False
        )
        return [int(p) for p in found.stdout.split()]


@pytest.fixture
def postgres() -> str:
    """A cluster of its own."""
    from tests.postgres import start

    return start()


@pytest.fixture(params=["sqlite", "postgres"])
def desk(request: Any, tmp_path: Path) -> Iterator[Desk]:
    """A desk with forty growers, on each database."""
    made = Desk(
        tmp_path / "station", request.getfixturevalue("postgres") if request.param == "postgres" else ""
    )
    made.alone(GROWER)
    made.start()
    yield made
    if made.process.poll() is None:
        made.kill()


def _weigh(desk: Desk, stop: threading.Event, sent: list[str], kept: list[str]) -> None:
    """Weigh in as fast as answers come, over every kind of death."""
    rng = random.Random()
    while not stop.is_set():
        try:
            browser = entered(desk.url)
            while not stop.is_set():
                key = str(uuid.uuid4())
                form = {
                    "csrfmiddlewaretoken": browser.cookies["csrftoken"], "key": key, "species": "arabica",
                    "grower": str(rng.randint(101, 140)), "route": "washed", "tare": "1.5", "at": "",
                    "gross": f"{rng.uniform(30, 44):.2f}",
                }  # fmt: skip
                sent.append(key)
                answer = browser.post(
                    f"{desk.url}/gate/",
                    form,
                    headers={"Referer": desk.url},
                    timeout=10,
                    allow_redirects=False,
                )
                if answer.status_code == 302 and "saved=" in answer.headers["Location"]:
                    kept.append(key)
        except (requests.RequestException, AssertionError):
            time.sleep(0.05)


def _kill_all(desk: Desk) -> None:
    desk.kill()
    desk.start()


def _kill_worker(desk: Desk) -> None:
    for pid in desk.children():
        os.kill(pid, signal.SIGKILL)
    time.sleep(0.2)
    desk.wait()


def _kill_parent(desk: Desk) -> None:
    os.kill(desk.process.pid, signal.SIGKILL)
    desk.process.wait(20)
    time.sleep(1.5)  # the worker follows its parent within a second
    desk.start()


def _until(kept: list[str], count: int) -> None:
    end = time.monotonic() + 60
    while len(kept) < count and time.monotonic() < end:
        time.sleep(0.02)


WAYS: tuple[Callable[[Desk], None], ...] = (_kill_all, _kill_worker, _kill_parent)


def test_kills_of_server_worker_and_parent_lose_and_double_nothing(desk: Desk) -> None:
    sent, kept, stop = list[str](), list[str](), threading.Event()
    threads = [threading.Thread(target=_weigh, args=(desk, stop, sent, kept)) for _ in range(3)]
    for thread in threads:
        thread.start()
    for round_ in range(ROUNDS):
        _until(kept, len(kept) + 2)  # a death falls among weighings, however slow the machine is
        time.sleep(0.05 * (round_ % 5))
        WAYS[round_ % 3](desk)
    stop.set()
    for thread in threads:
        thread.join(60)
    desk.kill()
    there = json.loads(desk.alone(COUNT).splitlines()[-1])["keys"]
    say(f"\n{ROUNDS} kills: sent {len(sent)}, answered {len(kept)}, in the books {len(there)}, "
          f"lost {len(set(kept) - set(there))}, doubled {len(there) - len(set(there))}")  # fmt: skip
    assert set(kept) <= set(there)
    assert len(there) == len(set(there))
    assert set(there) <= set(sent)
    assert len(kept) > ROUNDS


def test_flaky_phones_keep_everything_once(desk: Desk) -> None:
    """Requests and answers get lost, come late, twice and out of order; every note is kept once."""
    totals: list[int] = []
    threads = [threading.Thread(target=_phone, args=(desk, i, totals)) for i in range(PHONES)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(1200)
    desk.kill()
    found = json.loads(desk.alone(COUNT).splitlines()[-1])
    doubled = len(found["keys"]) - len(set(found["keys"]))
    say(f"\n{PHONES} phones of {NOTES} notes: kept {len(found['keys'])}, doubled {doubled}\n")
    assert len(totals) == PHONES
    assert len(found["keys"]) == PHONES * NOTES
    assert found["net"] == sum(totals)


def _phone(desk: Desk, number: int, totals: list[int]) -> None:
    rng, browser = random.Random(number), entered(desk.url)
    head = {"Referer": desk.url}
    form = {"csrfmiddlewaretoken": browser.cookies["csrftoken"], "name": f"phone {number}"}
    browser.post(f"{desk.url}/devices/", form, headers=head, timeout=60)
    waiting, net = [], 0
    for seq in range(1, NOTES + 1):
        grams = 20_000 + 10 * (number * NOTES + seq)
        net += grams
        body = {
            "grower": 101 + number % 40,
            "species": "arabica",
            "route": "natural",
            "gross_g": grams,
            "tare_g": 0,
        }
        now = datetime.now(UTC).isoformat()
        waiting.append(
            {"key": str(uuid.uuid4()), "seq": seq, "phone_time": now, "kind": "delivery", "body": body}
        )
    for _attempt in range(400):
        if not waiting:
            totals.append(net)
            return
        batch = rng.sample(waiting, min(len(waiting), rng.randint(1, 8)))  # out of order
        fate = rng.random()
        if fate < 0.2:
            continue  # lost on the way there
        answers = [_send(desk, browser, batch) for _ in range(2 if fate > 0.8 else 1)]  # twice
        if fate < 0.45:
            time.sleep(rng.random() * 0.1)
            continue  # the answer was lost: sent again later
        done = {a["key"] for a in (answers[-1] or []) if a["outcome"] == "kept"}
        waiting = [item for item in waiting if item["key"] not in done]


def _send(desk: Desk, browser: requests.Session, batch: list[dict[str, Any]]) -> list[dict[str, Any]] | None:
    head = {"Referer": desk.url, "X-CSRFToken": str(browser.cookies["csrftoken"])}
    box: Any = {"sent_at": datetime.now(UTC).isoformat(), "items": batch}
    try:
        answer = browser.post(f"{desk.url}/api/field/items", json=box, headers=head, timeout=60)
        return list(answer.json()["answers"]) if answer.status_code == 200 else None
    except (requests.RequestException, ValueError, KeyError):
        return None


def test_memory_stays_within_bounds_under_mixed_load(desk: Desk) -> None:
    browser = entered(desk.url)
    sent, kept, stop = list[str](), list[str](), threading.Event()
    thread = threading.Thread(target=_weigh, args=(desk, stop, sent, kept))
    thread.start()
    paths = ("/gate/", "/yard/", "/growers/", "/money/", "/journal/", "/bench/", "/more/", "/reckon/",
             "/carry/everything.csv", "/api/lots", "/growers/101/", "/station/")  # fmt: skip
    for i in range(REQUESTS):
        assert browser.get(f"{desk.url}{paths[i % len(paths)]}", timeout=60).status_code == 200
    stop.set()
    thread.join(60)
    sizes = [_resident_mb(pid) for pid in [desk.process.pid, *desk.children()]]
    say(f"\n{REQUESTS} mixed requests beside {len(kept)} weighings: {sum(sizes):.0f} MB in all, {sizes}")
    assert sum(sizes) < 500


def _resident_mb(pid: int) -> float:
    for line in Path(f"/proc/{pid}/status").read_text(encoding="ascii").splitlines():
        if line.startswith("VmRSS"):
            return round(int(line.split()[1]) / 1024, 1)
    return 0.0
