"""A stranger cannot shut the desk: unfinished and huge bodies, slow heads, guessers."""

from __future__ import annotations

import contextlib
import os
import socket
import statistics
import threading
import time
from collections.abc import Iterator

import pytest
import requests

from tests.alone import PREPARE, Desk, entered, run_alone

pytestmark = [
    pytest.mark.skipif("DRYDOWN_DATABASE" in os.environ, reason="the same server"),
    pytest.mark.timeout(300),
]


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Desk]:
    """A served desk."""
    folder = tmp_path_factory.mktemp("strangers")
    assert "ready" in run_alone(PREPARE, str(folder))
    made = Desk(folder)
    made.start()
    yield made
    made.kill()


def raw(desk: Desk, text: str) -> socket.socket:
    line = socket.create_connection(("127.0.0.1", desk.port), timeout=60)
    line.sendall(text.encode())
    return line


def seconds(desk: Desk, path: str = "/alive/") -> float:
    begin = time.monotonic()
    assert requests.get(f"{desk.url}{path}", timeout=30, allow_redirects=False).status_code < 400
    return time.monotonic() - begin


@pytest.mark.parametrize("path", ["/enter/", "/first/x/", "/gate/", "/api/field/items"])
def test_unfinished_bodies_hold_up_nobody(desk: Desk, path: str) -> None:
    owner = entered(desk.url)
    head = f"POST {path} HTTP/1.1\r\nHost: 127.0.0.1:{desk.port}\r\nContent-Length: 900\r\n\r\na="
    lines = [raw(desk, head) for _ in range(40)]
    time.sleep(0.3)
    times = [seconds(desk) for _ in range(5)]
    assert max(times) < 2.0, times
    begin = time.monotonic()
    assert owner.get(f"{desk.url}/gate/", timeout=30).status_code == 200
    assert time.monotonic() - begin < 5.0
    for line in lines:
        line.close()


def test_a_huge_body_of_a_stranger_is_refused_unread(desk: Desk) -> None:
    line = raw(
        desk, f"POST /enter/ HTTP/1.1\r\nHost: 127.0.0.1:{desk.port}\r\nContent-Length: 400000000\r\n\r\n"
    )
    line.settimeout(20)
    assert b"413" in line.recv(200)
    line.close()


def test_a_huge_body_of_someone_known_is_refused_unread(desk: Desk) -> None:
    owner = entered(desk.url)
    cookies = "; ".join(f"{c.name}={c.value}" for c in owner.cookies)
    head = f"POST /gate/ HTTP/1.1\r\nHost: 127.0.0.1:{desk.port}\r\nCookie: {cookies}\r\n"
    line = raw(desk, f"{head}Content-Length: 400000000\r\n\r\n")
    line.settimeout(20)
    assert b"413" in line.recv(200)
    line.close()


def test_heads_that_never_end_are_given_up(desk: Desk) -> None:
    lines = [raw(desk, "GET /enter/ HTTP/1.1\r\nHost: x\r\nX-Slow: ") for _ in range(60)]
    assert max(seconds(desk) for _ in range(5)) < 2.0
    lines[0].settimeout(30)
    begin = time.monotonic()
    with contextlib.suppress(OSError):
        lines[0].recv(100)
    assert time.monotonic() - begin < 25.0
    for line in lines:
        line.close()


def test_guessers_neither_starve_the_gate_nor_the_owner(desk: Desk) -> None:
    """Eight guessers; the gate's pages and the owner's own log-in stay within seconds."""
    owner = entered(desk.url)
    quiet = statistics.median(_page(owner, desk) for _ in range(15))
    stop = threading.Event()
    threads = [threading.Thread(target=_guess, args=(desk, stop, i)) for i in range(8)]
    for thread in threads:
        thread.start()
    time.sleep(0.5)
    busy = [_page(owner, desk) for _ in range(15)]
    stop.set()
    for thread in threads:
        thread.join(30)
    assert statistics.median(busy) < max(0.5, 8 * quiet), (quiet, busy)
    assert max(busy) < 3.0
    answer = requests.post(f"{desk.url}/enter/", timeout=30)  # this address guessed too often by now
    assert answer.status_code in {403, 429}


def _page(owner: requests.Session, desk: Desk) -> float:
    begin = time.monotonic()
    assert owner.get(f"{desk.url}/gate/", timeout=30).status_code == 200
    return time.monotonic() - begin


def _guess(desk: Desk, stop: threading.Event, number: int) -> None:
    browser = requests.Session()
    browser.get(f"{desk.url}/enter/", timeout=30)
    while not stop.is_set():
        form = {
            "csrfmiddlewaretoken": browser.cookies.get("csrftoken", ""),
            "name": f"someone {number}",
            "password": "x",
        }
        try:
            browser.post(f"{desk.url}/enter/", form, headers={"Referer": desk.url}, timeout=30)
        except requests.RequestException:
            return
