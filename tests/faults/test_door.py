"""A phone comes in by a real address, through --tls, joining page, enrolment and outbox; strangers do not.

The address is the machine's own where it has one beside loopback; else the whole test runs in a network
namespace with a card of its own.
"""

from __future__ import annotations

import http.client
import os
import re
import shutil
import signal
import subprocess
import sys
import time
import uuid
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
import requests

from drydown.desk.addresses import local_addresses, reach
from tests.alone import PREPARE, run_alone

DRYDOWN = str(Path(sys.executable).parent / "drydown")
WAIT_S = 60.0


def _own_address() -> str:
    found = [a for a in local_addresses() if ":" not in a]
    return found[0] if found else ""


def _free_pair(host: str) -> int:
    import socket

    while True:
        with socket.socket() as one, socket.socket() as two:
            one.bind((host, 0))
            port = int(one.getsockname()[1])
            try:
                two.bind((host, port - 1))
            except OSError:
                continue
            return port


class Served:
    """`drydown serve` as a user starts it; its words are kept."""

    def __init__(self, folder: Path, *more: str) -> None:
        self.port = _free_pair("0.0.0.0")
        call = [
            DRYDOWN,
            "serve",
            "--data",
            str(folder),
            "--port",
            str(self.port),
            "--copy-every-h",
            "0",
            *more,
        ]
        env = {k: v for k, v in os.environ.items() if not k.startswith(("DRYDOWN", "DJANGO"))}
        self.log = folder.parent / "said.txt"
        self.process = subprocess.Popen(
            call, env=env | {"COLUMNS": "400"}, stdout=self.log.open("w"), stderr=subprocess.STDOUT,
            start_new_session=True,
        )  # fmt: skip

    def said(self, pattern: str) -> str:
        end = time.monotonic() + WAIT_S
        while time.monotonic() < end:
            found = re.search(pattern, self.log.read_text(encoding="utf-8"))
            if found:
                return found[1]
            assert self.process.poll() is None, self.log.read_text(encoding="utf-8")
            time.sleep(0.05)
        pytest.fail(f"did not say {pattern}: {self.log.read_text(encoding='utf-8')}")

    def stop(self) -> None:
        os.killpg(self.process.pid, signal.SIGTERM)
        try:
            self.process.wait(20)
        except subprocess.TimeoutExpired:
            os.killpg(self.process.pid, signal.SIGKILL)


def _when_up(url: str) -> str:
    end = time.monotonic() + WAIT_S
    while time.monotonic() < end:
        try:
            return requests.get(url, timeout=10).text
        except requests.ConnectionError:
            time.sleep(0.1)
    pytest.fail(f"{url} did not answer")


def _alive(url: str, **more: Any) -> None:
    end = time.monotonic() + WAIT_S
    while time.monotonic() < end:
        try:
            if requests.get(f"{url}alive/", timeout=3, **more).text == "alive":
                return
        except requests.RequestException:
            time.sleep(0.1)
    pytest.fail("the desk did not answer at its own address")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    made = tmp_path / "station"
    assert "ready" in run_alone(PREPARE, str(made))
    return made


def _log_in(browser: requests.Session, url: str) -> str:
    page = browser.get(f"{url}enter/", timeout=20)
    token = re.search(r'name="csrfmiddlewaretoken" value="([^"]+)"', page.text)
    assert token, page.text[:500]
    form = {"csrfmiddlewaretoken": token[1], "name": "owner", "password": "a long enough word"}
    answer = browser.post(f"{url}enter/", form, headers={"Referer": url}, timeout=30)
    assert answer.ok
    assert "/enter/" not in answer.url
    return str(browser.cookies["csrftoken"])


def _phone_sends(browser: requests.Session, url: str, name: str, gross_g: int) -> None:
    """Log in, enrol, then send one weighing by the outbox."""
    token = _log_in(browser, url)
    head = {"Referer": url, "X-CSRFToken": token}
    form = {"csrfmiddlewaretoken": token, "name": name}
    assert browser.post(f"{url}devices/", form, headers=head, timeout=30).ok
    head["X-CSRFToken"] = str(browser.cookies["csrftoken"])
    now = datetime.now(UTC).isoformat(timespec="seconds")
    body = {"grower": 101, "species": "arabica", "route": "washed", "gross_g": gross_g, "tare_g": 1_500}
    item = {"key": str(uuid.uuid4()), "seq": 1, "phone_time": now, "kind": "delivery", "body": body}
    box: Any = {"sent_at": now, "items": [item]}
    answer = browser.post(f"{url}api/field/items", json=box, headers=head, timeout=30)
    assert answer.status_code == 200, answer.text
    assert answer.json()["answers"][0]["outcome"] == "kept", answer.text


def _weigh_first(browser: requests.Session, url: str) -> None:
    """A new grower's fruit at the gate, by its page."""
    token = _log_in(browser, url)
    form = {
        "csrfmiddlewaretoken": token, "key": str(uuid.uuid4()), "grower": "Ama Vembi", "new_grower": "on",
        "species": "arabica", "route": "washed", "gross": "51.5", "tare": "1.5", "at": "",
    }  # fmt: skip
    head = {"Referer": url, "X-CSRFToken": token}
    assert browser.post(f"{url}gate/", form, headers=head, timeout=30).ok


def _through_the_door(folder: Path, address: str) -> None:
    """Plain HTTP and TLS at the address of the network card; other names stay out."""
    desk = Served(folder, "--host", "0.0.0.0")
    try:
        url = desk.said(r"Drydown is at (http://\S+)")
        assert address in url
        _alive(url)
        _weigh_first(requests.Session(), url)
        _phone_sends(requests.Session(), url, "gate phone", 41_500)
        assert (
            requests.get(url + "enter/", headers={"Host": "stranger.example"}, timeout=10).status_code == 400
        )
    finally:
        desk.stop()
    desk = Served(folder, "--host", "0.0.0.0", "--tls")
    try:
        join = desk.said(r"Phones join at (http://\S+)")
        assert address in join
        page = _when_up(join)
        found = re.search(r"https://[\d.]+:\d+/", page)
        assert found
        url = found[0]
        assert address in url
        authority = folder.parent / "authority.crt"
        authority.write_bytes(requests.get(f"{join}authority.crt", timeout=20).content)
        _alive(url, verify=str(authority))
        phone = requests.Session()
        phone.trust_env = False
        phone.verify = str(authority)
        _phone_sends(phone, url, "tls phone", 31_500)
    finally:
        desk.stop()


@pytest.mark.timeout(300)
@pytest.mark.skipif("DRYDOWN_DATABASE" in os.environ, reason="the same door")
def test_a_phone_gets_in_by_a_real_address(folder: Path) -> None:
    address = _own_address()
    if address:
        _through_the_door(folder, address)
        return
    card = "ip link add door type dummy && ip addr add 10.77.0.2/24 dev door"
    inside = f"{card} && ip link set door up && ip link set lo up"
    here = f"_through_the_door(Path({str(folder)!r}), '10.77.0.2')"
    call = f"from pathlib import Path; from tests.faults.test_door import _through_the_door; {here}"
    assert shutil.which("unshare"), (
        "no second address and no network namespaces: give this machine an address"
    )
    subprocess.run(
        ["unshare", "-rn", "sh", "-c", f'{inside} && exec {sys.executable} -c "$0"', call],
        check=True,
        timeout=250,
    )


@pytest.mark.parametrize(
    ("address", "words"),
    [("100.72.3.4", "carrier"), ("169.254.7.7", "router"), ("8.8.4.4", "internet")],
)
def test_addresses_that_do_not_serve_are_told(address: str, words: str) -> None:
    """RFC 6598 shared space, RFC 3927 link-local; the third is public."""
    assert any(words in note for note in reach(address, []).notes)


def test_nothing_but_what_is_served_is_allowed(folder: Path) -> None:
    """No star, whatever is listened on."""
    names = reach("0.0.0.0", ["mill.lan"]).names
    assert "*" not in names
    assert {"localhost", "127.0.0.1", "mill.lan"} <= set(names)
    assert reach("0.0.0.0", ["mill.lan"]).best == "mill.lan"


def test_a_forged_host_is_refused_on_the_loopback_too(folder: Path) -> None:
    desk = Served(folder)
    try:
        url = desk.said(r"Drydown is at (http://\S+)")
        _alive(url)
        line = http.client.HTTPConnection("127.0.0.1", desk.port, timeout=10)
        line.request("GET", "/enter/", headers={"Host": "evil.example"})
        assert line.getresponse().status == 400
    finally:
        desk.stop()
