"""What loggers send: once only, gaps told, acknowledged after it is kept; a broker stopped and killed loses
nothing.

Mosquitto is Debian's; where it is missing the test fails with a sentence.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion
from tests.alone import PREPARE, ROOT, run_alone
from tests.broker import Broker

from drydown.errors import InputError, RangeError

if TYPE_CHECKING:
    from django.test import Client

TOPIC = "orchard/box1/air_c"
AT = datetime(2026, 11, 20, 6, tzinfo=UTC)


def body(seq: int, value: float = 20.0, at: datetime | None = None) -> bytes:
    moment = at or AT + timedelta(minutes=10 * seq)
    return json.dumps({"seq": seq, "at": moment.isoformat(), "value": value}).encode()


def test_a_number_is_kept_once_and_gaps_are_told(client: Client) -> None:
    from drydown.books.loggers.intake import keep_message
    from drydown.books.models import Gap, Measure

    for seq in (0, 1, 2, 2, 6):
        keep_message(TOPIC, body(seq))
    assert list(Measure.objects.values_list("seq", flat=True)) == [0, 1, 2, 6]
    assert [(g.first, g.last) for g in Gap.objects.all()] == [(3, 5)]
    assert keep_message(TOPIC, body(4)).new  # came late: out of its gap
    assert sorted((g.first, g.last) for g in Gap.objects.all()) == [(3, 3), (5, 5)]
    keep_message(TOPIC, body(3))
    keep_message(TOPIC, body(5))
    assert not Gap.objects.exists()
    assert not keep_message(TOPIC, body(5)).new


def test_a_device_that_counts_from_the_start_again_is_not_a_double(client: Client) -> None:
    from drydown.books.loggers.intake import keep_message
    from drydown.books.models import Measure

    for seq in range(5):
        keep_message(TOPIC, body(seq))
    later = AT + timedelta(days=1)
    assert keep_message(TOPIC, body(0, 25.0, later)).new
    assert keep_message(TOPIC, body(1, 25.0, later + timedelta(minutes=10))).new
    assert Measure.objects.count() == 7
    assert not keep_message(TOPIC, body(1, 25.0, later + timedelta(minutes=10))).new


BAD: list[tuple[str, bytes, str]] = [
    ("air_c", b"{}", "device and quantity"),
    ("a/b/air_c", b"\xff\xfe", "not JSON"),
    ("a/b/air_c", b"[1]", "no object"),
    ("a/b/light", body(1), "not a quantity"),
    ("a/b/air_c", b'{"seq": -1, "at": "2026-11-20T06:00+00:00", "value": 1}', "needs seq"),
    ("a/b/air_c", b'{"seq": true, "at": "2026-11-20T06:00+00:00", "value": 1}', "needs seq"),
    ("a/b/air_c", b'{"seq": 1, "at": "noon", "value": 1}', "needs at"),
    ("a/b/air_c", b'{"seq": 1, "at": "2026-11-20T06:00", "value": 1}', "offset"),
    ("a/b/air_c", b'{"seq": 1, "at": "2090-11-20T06:00+00:00", "value": 1}', "ahead"),
    ("a/b/air_c", b'{"seq": 1, "at": "2026-11-20T06:00+00:00", "value": "warm"}', "a number"),
    ("a/b/air_c", b'{"seq": 1, "at": "2026-11-20T06:00+00:00", "value": 900}', "must be from"),
    ("a/b/air_c", b'{"seq": 1, "at": "2026-11-20T06:00+00:00", "value": NaN}', "a number"),
]


@pytest.mark.parametrize(("topic", "payload", "words"), BAD, ids=[w for _t, _p, w in BAD])
def test_a_bad_message_is_refused_in_a_sentence(
    client: Client, topic: str, payload: bytes, words: str
) -> None:
    from drydown.books.loggers.intake import keep_message
    from drydown.books.models import Measure

    with pytest.raises((InputError, RangeError), match=words):
        keep_message(topic, payload)
    assert not Measure.objects.exists()


def test_logged_air_is_the_air_that_was(client: Client) -> None:
    from django.utils import timezone

    from drydown.books.loggers.intake import keep_message
    from drydown.books.lots.air import station_skies
    from drydown.desk.context import need_station
    from drydown.outlook.skies import lot_air

    station = need_station()
    start = (timezone.now() - timedelta(days=2)).astimezone(station.place.site().zone)
    start = start.replace(hour=0, minute=0, second=0, microsecond=0)
    for n in range(24 * 4):
        keep_message(TOPIC, body(n, 17.0 + (n % 4), start + timedelta(minutes=15 * (n + 1))))
    found = lot_air(station_skies(station), start, 48, 40, 1001).air
    assert found.temp_c[:, :24] == pytest.approx(18.5)  # mean of 17, 18, 19, 20 in each hour
    assert found.temp_c[:, 30].std() > 0.1


def test_what_is_wrong_with_a_logger_is_a_line(client: Client) -> None:
    from django.utils import timezone

    from drydown.books.loggers.intake import keep_message
    from drydown.books.loggers.told import troubles

    now = timezone.now()
    for n in range(20):
        keep_message("a/still/air_c", body(n, 21.5, now - timedelta(minutes=30 * (20 - n))))
    keep_message("a/quiet/air_c", body(0, 21.5, now - timedelta(hours=9)))
    keep_message("a/lossy/air_rh", body(0, 70.0, now - timedelta(hours=1)))
    keep_message("a/lossy/air_rh", body(7, 71.0, now))
    words = " | ".join(w for _k, w in troubles(now))
    assert "still, air_c: stands still at 21.5" in words
    assert "quiet, air_c: silent since" in words
    assert "lossy, air_rh: 6 numbers never came" in words


# ---- with a broker ----

DESK = """
import sys, time
from tests.alone import station
station(sys.argv[1])
from pathlib import Path
from drydown.desk.listening import Listener
from drydown.station.trade import Loggers
told = Loggers(broker="127.0.0.1", port=int(sys.argv[2]), topic="orchard/#", client_id="desk1")
listener = Listener(told, None)
subscribed = []  # what is sent before the broker knows of us it does not hold for us
listener.client.on_subscribe = lambda *_told: subscribed.append(1)
listener.start()
while not subscribed:
    time.sleep(0.02)
print("listening", flush=True)
time.sleep(600)
"""
COUNT = """
import sys
from tests.alone import station
station(sys.argv[1])
from drydown.books.models import Measure, Gap
missing = sum(g.last - g.first + 1 for g in Gap.objects.all())
print(Measure.objects.count(), Measure.objects.values("epoch", "seq").distinct().count(), missing)
"""


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    """A broker of its own."""
    folder = tmp_path / "broker"
    folder.mkdir()
    made = Broker(folder).start()
    yield made
    made.kill()


def _desk(folder: Path, port: int) -> subprocess.Popen[str]:
    env = {k: v for k, v in os.environ.items() if not k.startswith(("DRYDOWN", "DJANGO"))}
    desk = subprocess.Popen(
        [sys.executable, "-c", DESK, str(folder), str(port)], cwd=ROOT, env=env, stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL, text=True,
    )  # fmt: skip
    assert desk.stdout is not None
    assert desk.stdout.readline().strip() == "listening"
    return desk


class Box:
    """A logger that sends each number until the broker took it, as firmware with a store does."""

    def __init__(self, port: int) -> None:
        self.client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id="box1", clean_session=False)
        self.client.reconnect_delay_set(1, 1)
        self.client.connect_async("127.0.0.1", port, keepalive=5)
        self.client.loop_start()
        self.sent, self.taken = 0, set[int]()
        self.client.on_publish = lambda _c, _d, mid, _r, _p: self.taken.add(mid)

    def send(self, first: int, last: int) -> None:
        """Hand over numbers; QoS 1."""
        for seq in range(first, last):
            self.client.publish(TOPIC, body(seq, 18.0 + seq % 5), qos=1)
            self.sent += 1
            time.sleep(0.002)

    def settled(self) -> bool:
        """Whether the broker took all."""
        return len(self.taken) == self.sent

    def close(self) -> None:
        """Go away."""
        self.client.disconnect()
        self.client.loop_stop()


def _until(good: Callable[[], bool], seconds: float = 30.0) -> bool:
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        if good():
            return True
        time.sleep(0.1)
    return good()


def _counted(folder: Path) -> list[int]:
    """Values kept, different ones among them, and numbers told as missing."""
    return [int(n) for n in run_alone(COUNT, str(folder)).split()]


def test_nothing_is_lost_or_doubled_when_broker_and_desk_are_killed(broker: Broker, tmp_path: Path) -> None:
    """600 numbers; the broker killed twice and the desk once in the middle of them: each once, all there or
    told.

    What a killed broker had taken and not yet written is a gap in the sequence, and told as one.
    """
    folder = tmp_path / "desk"
    folder.mkdir()
    run_alone(PREPARE, str(folder))
    desk, box = _desk(folder, broker.port), Box(broker.port)
    try:
        box.send(0, 200)
        broker.kill()
        broker.start()
        box.send(200, 300)
        desk.send_signal(signal.SIGKILL)
        desk.wait()
        box.send(300, 400)
        broker.kill()
        broker.start()
        desk = _desk(folder, broker.port)
        box.send(400, 600)
        assert _until(box.settled)
        assert _until(lambda: sum(_counted(folder)[::2]) == 600, 60.0), _counted(folder)
        kept, different, missing = _counted(folder)
        assert kept == different
        assert missing <= 20, missing
    finally:
        box.close()
        desk.kill()
        desk.wait()


def test_a_broker_that_refuses_or_is_away_is_a_sentence(client: Client, tmp_path: Path) -> None:
    from django.core.cache import cache

    from drydown.desk.listening import Listener, state
    from drydown.station.trade import Loggers

    cache.delete("broker-state")
    folder = tmp_path / "broker"
    folder.mkdir()
    made = Broker(folder, "yard", "right word").start()
    told = Loggers(broker="127.0.0.1", port=made.port, topic="orchard/#", user="yard", client_id="t1")
    wrong = Listener(told, "wrong word")
    wrong.start()
    assert _until(lambda: "refuses" in state()[0], 10.0), state()
    assert "wrong word" not in state()[0]
    assert "broker" in client.get("/day/").content.decode()
    wrong.stop()
    right = Listener(told, "right word")
    right.start()
    assert _until(lambda: not state()[0], 10.0), state()
    made.kill()
    assert _until(lambda: "away" in state()[0] or "answer" in state()[0], 10.0), state()
    right.stop()
    cache.delete("broker-state")


def test_the_password_is_in_no_copy_and_no_export(client: Client, tmp_path: Path) -> None:
    import zipfile

    from django.conf import settings

    from drydown.books.copies.backup import back_up
    from drydown.desk.listening import SECRET

    secret = settings.DATA / SECRET
    secret.write_text("a word nobody sees", encoding="utf-8")
    try:
        made = back_up(settings.DATA, tmp_path, datetime.now(UTC))
        with zipfile.ZipFile(made.path) as copy:
            assert all(b"a word nobody sees" not in copy.read(name) for name in copy.namelist())
            assert SECRET not in copy.namelist()
        assert b"a word nobody sees" not in b"".join(client.get("/carry/everything.json"))
    finally:
        secret.unlink()
