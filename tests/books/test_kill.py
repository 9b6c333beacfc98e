"""Kill -9 under load, again and again: every weighing that was answered is there, once."""

from __future__ import annotations

import os
import random
import threading
import time
import uuid
from pathlib import Path

import pytest
import requests
from tests.alone import PREPARE, Desk, entered, run_alone

KILLS = 30 if os.environ.get("DRYDOWN_TEST_LONG") == "1" else 8
COUNT = """
import sys
from tests.alone import station
station(sys.argv[1])
from drydown.books.models import Delivery
from drydown.books.copies.verify import verify
found = verify(anew=True)
assert found.good, found.problems
for key in Delivery.objects.values_list("entry__key", flat=True):
    print(key)
"""


def _load(url: str, browser: requests.Session, stop: threading.Event, kept: set[str], sent: set[str]) -> None:
    """Weigh in as fast as answers come; note each key that was answered."""
    token = browser.cookies["csrftoken"]
    while not stop.is_set():
        key = str(uuid.uuid4())
        sent.add(key)
        form = {
            "csrfmiddlewaretoken": token, "key": key, "grower": "101", "species": "arabica",
            "route": "washed", "gross": f"{random.uniform(30, 60):.2f}", "tare": "1.5", "at": "",
        }  # fmt: skip
        try:
            answer = browser.post(
                f"{url}/gate/", form, headers={"Referer": url}, timeout=20, allow_redirects=False
            )
        except requests.RequestException:
            return
        if answer.status_code == 302 and "saved=" in answer.headers["Location"]:
            kept.add(key)


@pytest.mark.timeout(600)
@pytest.mark.skipif("DRYDOWN_DATABASE" in os.environ, reason="about the embedded database")
@pytest.mark.skipif(os.name == "nt", reason="signals of POSIX")
def test_kills_lose_nothing(tmp_path: Path) -> None:
    assert "ready" in run_alone(PREPARE, str(tmp_path))
    desk, kept, sent = Desk(tmp_path), set[str](), set[str]()
    desk.start()
    first = entered(desk.url)
    form = {
        "csrfmiddlewaretoken": first.cookies["csrftoken"], "key": str(uuid.uuid4()), "grower": "Ama Vembi",
        "new_grower": "on", "species": "arabica", "route": "washed", "gross": "51.5", "tare": "1.5", "at": "",
    }  # fmt: skip
    first.post(f"{desk.url}/gate/", form, headers={"Referer": desk.url}, timeout=20)
    for round_ in range(KILLS):
        browsers = [first, entered(desk.url)]
        stop = threading.Event()
        threads = [threading.Thread(target=_load, args=(desk.url, b, stop, kept, sent)) for b in browsers]
        for thread in threads:
            thread.start()
        time.sleep(0.25 + 0.037 * (round_ % 11))
        desk.kill()
        stop.set()
        for thread in threads:
            thread.join(30)
        desk.start()
    desk.kill()
    there = run_alone(COUNT, str(tmp_path)).split()
    assert len(there) == len(set(there))
    assert kept <= set(there), "an answered weighing is gone"
    assert set(there) <= sent | {form["key"]}
    assert len(kept) > KILLS * 3
