"""A thermocouple reader followed by the pad: the library's own simulated device, a line that goes,
garbage."""

from __future__ import annotations

import time
import uuid
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Any

import pytest

from tests.desk.test_roast import hulled, sample
from tests.roast.test_probe import Device, device, free_port

if TYPE_CHECKING:
    from django.test import Client

__all__ = ["device", "hulled"]
BEGIN = {"what": "in", "roaster": "Sample drum", "green_g": "100", "green_percent": "11", "charge_c": "190"}


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    from drydown.desk import probelive

    monkeypatch.setattr(probelive, "LEAST_EVERY_S", 0.0)


def stated(books: Any, port: int) -> None:
    """The station file with a reader on its first roaster."""
    file = books / "station.toml"
    more = (
        f'[equipment.roasters.thermometer]\nhost = "127.0.0.1"\nport = "{port}"\nat_register = 4\n'
        "every_s = 0.2\n[[equipment.grinders]]"
    )
    text = file.read_text(encoding="utf-8")
    assert "[[equipment.grinders]]" in text
    file.write_text(text.replace("[[equipment.grinders]]", more, 1), encoding="utf-8")


def until(wanted: Callable[[], bool]) -> None:
    """Look until it is so, ten seconds at the most."""
    end = time.monotonic() + 10.0
    while not wanted():
        assert time.monotonic() < end
        time.sleep(0.05)


@pytest.fixture
def pad(client: Client, hulled: str, books: Any, device: Device) -> Iterator[str]:
    stated(books, device.port)
    path = f"/bench/{sample(client, hulled)}/roast/"
    assert client.post(path, BEGIN).status_code == 302
    yield path
    client.post(path, {"what": "drop_log"})


def test_the_pad_follows_the_reader_and_keeps_it_with_the_roast(
    client: Client,
    pad: str,
    device: Device,
) -> None:
    """The simulated reader says 98.5 C; what is typed stands beside it; what comes after Out is not kept."""
    from drydown.books.models import BenchSheet

    until(lambda: "98.5</b>" in client.get(pad).content.decode())
    assert "0 readings used" not in client.get(pad).content.decode()
    assert client.post(pad, {"what": "read", "probe_c": "99"}).status_code == 302
    device.off()
    until(lambda: "did not answer for a while" in client.get(pad).content.decode())
    assert client.post(pad, {"what": "out"}).status_code == 302
    assert client.post(pad, {"what": "weigh", "roasted_g": "86"}).status_code == 302
    device.on()
    kept = BenchSheet.objects.get(kind="roast").told
    values = [c for _t, c in kept["readings"]]
    assert values.count(99.0) == 1
    assert values.count(98.5) == len(values) - 1 >= 1
    assert max(t for t, _c in kept["readings"]) <= kept["drop_s"]
    assert any("did not answer" in r for r in kept["remarks"])


def test_two_phones_have_one_reader_and_it_ends_with_the_log(client: Client, pad: str) -> None:
    import threading

    def running() -> int:
        return sum(t.name == "probe" for t in threading.enumerate())

    for _ in range(3):
        assert client.get(pad).status_code == 200
    assert running() == 1
    client.post(pad, {"what": "drop_log"})
    until(lambda: running() == 0)


def test_no_reader_there_is_told_and_the_pad_goes_on(
    client: Client,
    hulled: str,
    books: Any,
) -> None:
    stated(books, free_port())
    path = f"/bench/{sample(client, hulled)}/roast/"
    assert client.post(path, BEGIN | {"key": str(uuid.uuid4())}).status_code == 302
    until(lambda: "does not answer at" in client.get(path).content.decode())
    assert client.post(path, {"what": "read", "probe_c": "99"}).status_code == 302
    assert "<b>99</b>" in client.get(path).content.decode()
