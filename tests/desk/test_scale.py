"""A scale over a serial port, played by a pseudo-terminal: only whole, stable, agreeing frames."""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Iterator
from typing import Any

import pytest

from drydown.errors import InputError
from drydown.station.trade import Scale

PLAYING = threading.Event()  # set to stop whoever plays
PLAYERS: list[threading.Thread] = []
PATTERN = r"(?P<stable>[SU]) (?P<value>[+-][ 0-9]{4}[.,][0-9]{2}) (?P<unit>kg)"


@pytest.fixture
def line() -> Iterator[tuple[int, str]]:
    """A pseudo-terminal: the scale's end, and the name of ours."""
    pty = pytest.importorskip("pty")
    tty = pytest.importorskip("tty")
    far, near = pty.openpty()
    tty.setraw(near)
    yield far, os.ttyname(near)
    PLAYING.set()
    while PLAYERS:  # none may write to a descriptor that the next test is given
        PLAYERS.pop().join()
    PLAYING.clear()
    os.close(far)
    os.close(near)


def play(far: int, frames: list[bytes], pause: float = 0.02) -> threading.Thread:
    """Send frames again and again, as a scale does."""

    def work() -> None:
        until = time.monotonic() + 3.0
        while time.monotonic() < until and not PLAYING.is_set():
            for frame in frames:
                if PLAYING.is_set():
                    return
                try:
                    os.write(far, frame)
                except OSError:
                    return
                time.sleep(pause)

    thread = threading.Thread(target=work, daemon=True)
    thread.start()
    PLAYERS.append(thread)
    return thread


def scale(port: str, **more: Any) -> Scale:
    """The invented scale."""
    return Scale(**({"port": port, "baud": 9600, "pattern": PATTERN, "stable_mark": "S"} | more))


def test_a_stable_weight_is_read(line: tuple[int, str]) -> None:
    from drydown.desk.scale import read_scale

    play(line[0], [b"S +  41.50 kg\r\n"])
    assert read_scale(scale(line[1])) == 41_500


def test_unstable_and_torn_frames_are_passed_over(line: tuple[int, str]) -> None:
    from drydown.desk.scale import read_scale

    # Whoever joins the line in mid-frame must not read "1.50 kg" out of "41.50 kg".
    play(line[0], [b".50 kg\r\n", b"U +  39.00 kg\r\n", b"S +  41.", b"50 kg\r\nS +  41.50 kg\r\n",
                   b"S +  41.50 kg\r\n", b"U +  41.50 kg\r\n"])  # fmt: skip
    assert read_scale(scale(line[1])) == 41_500


def test_a_scale_that_never_stands_still_says_so(line: tuple[int, str]) -> None:
    from drydown.desk.scale import read_scale

    play(line[0], [f"S + {40 + i:3d}.00 kg\r\n".encode() for i in range(7)])
    with pytest.raises(InputError, match="is not still"):
        read_scale(scale(line[1]), 0.8)


def test_a_silent_or_missing_scale_says_so(line: tuple[int, str]) -> None:
    from drydown.desk.scale import read_scale

    with pytest.raises(InputError, match="sends nothing"):
        read_scale(scale(line[1]), 0.5)
    with pytest.raises(InputError, match="does not answer"):
        read_scale(scale("/dev/no-such-scale"))


@pytest.mark.parametrize(
    ("frame", "grams"),
    [("S +  41.50 kg", 41_500), ("S +  41,50 kg", 41_500), ("S -   0.10 kg", None), ("U +  41.50 kg", None),
     ("S +  41.50 lb", None), ("S + 4 1.50 kg", 41_500), ("xS +  41.50 kg", None), ("", None)],
)  # fmt: skip
def test_frames(frame: str, grams: int | None) -> None:
    from drydown.desk.scale import frame_grams

    assert frame_grams(frame, scale("x")) == grams


def test_grams_and_no_stable_mark() -> None:
    from drydown.desk.scale import frame_grams

    plain = Scale(port="x", baud=9600, pattern=r"(?P<value>\d+) *(?P<unit>g)")
    assert frame_grams("41500 g", plain) == 41_500


@pytest.mark.parametrize(
    "wrong",
    [{"pattern": "("}, {"pattern": r"\d+"}, {"stable_mark": ""}, {"pattern": r"(?P<value>\d+)"}, {"baud": 3}],
)
def test_a_wrong_pattern_is_refused(wrong: dict[str, Any]) -> None:
    with pytest.raises(ValueError, match=r"scale|greater"):
        scale("x", **wrong)


def test_the_gate_reads_the_scale(client: Any, books: Any, line: tuple[int, str]) -> None:
    file = books / "station.toml"
    text = file.read_text(encoding="utf-8")
    more = f'[gate.scale]\nport = "{line[1]}"\nbaud = 9600\npattern = \'{PATTERN}\'\nstable_mark = "S"\n'
    file.write_text(text.replace("[[gate.containers]]", more + "[[gate.containers]]", 1), encoding="utf-8")
    play(line[0], [b"S +  41.50 kg\r\n"])
    assert "Read the scale" in client.get("/gate/").content.decode()
    assert 'value="41.5"' in client.get("/gate/scale/").content.decode()
