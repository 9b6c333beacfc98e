"""A thermocouple reader over Modbus, against the library's own simulated device; a bad line, garbage, a
frozen
value."""

from __future__ import annotations

import asyncio
import socket
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from pymodbus.server import ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

from drydown.desk.probe import Reader, follow, reader_of
from drydown.errors import InputError
from drydown.outlook.roastlog import read_log
from drydown.station.roasters import Thermometer


def free_port() -> int:
    """A port that is free now."""
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return int(s.getsockname()[1])


class Device:
    """A simulated reader with 98.5 C in holding register 4, that can be switched off and on."""

    def __init__(self, port: int) -> None:
        self.port = port
        self.loop = asyncio.new_event_loop()
        threading.Thread(target=self.loop.run_forever, daemon=True).start()
        self.on()

    def on(self) -> None:
        async def begin() -> None:
            data = SimData(0, values=[0, 0, 0, 0, 985], datatype=DataType.REGISTERS)
            self.server = ModbusTcpServer(SimDevice(1, [data]), address=("127.0.0.1", self.port))
            await self.server.serve_forever(background=True)

        asyncio.run_coroutine_threadsafe(begin(), self.loop).result(10)

    def off(self) -> None:
        stop: Any = self.server.shutdown
        asyncio.run_coroutine_threadsafe(stop(), self.loop).result(10)


@pytest.fixture
def device() -> Iterator[Device]:
    made = Device(free_port())
    yield made
    made.off()


class Clock:
    """A clock that goes on by what is waited, and does things on its way."""

    def __init__(self, at: dict[int, Callable[[], None]] | None = None) -> None:
        self.now, self.at, self.ticks = 0.0, at or {}, 0

    def __call__(self) -> float:
        return self.now

    def wait(self, seconds: float) -> None:
        self.ticks += 1
        self.at.get(self.ticks, lambda: None)()
        self.now += seconds


def test_a_reader_that_goes_away_and_comes_back_leaves_a_whole_table(device: Device, tmp_path: Path) -> None:
    told = Thermometer(host="127.0.0.1", port=str(device.port), at_register=4)
    clock = Clock({5: device.off, 8: device.on})
    made = follow(reader_of(told), tmp_path / "log.csv", 40.0, 2.0, clock, clock.wait)
    rows = (tmp_path / "log.csv").read_text(encoding="utf-8").splitlines()
    assert rows[0] == "time,probe"
    assert rows[1] == "0.0,98.5"
    assert made.readings == len(rows) - 1
    assert 8 <= made.readings <= 17
    assert made.failed >= 3
    assert any("gap" in r for r in made.remarks)
    head = "# green_kg = 0.1\n# moisture_percent = 11\n# charge_c = 190\n"
    log = read_log(head + "\n".join(rows), {}, "log.csv", 300.0)
    assert len(log.readings) == made.readings


def test_nobody_there_is_a_sentence() -> None:
    with pytest.raises(InputError, match="does not answer"):
        reader_of(Thermometer(host="127.0.0.1", port=str(free_port()), at_register=4))


def test_garbage_and_a_frozen_value_are_told(tmp_path: Path) -> None:
    values = iter([90.0, 3276.7, 92.0, -500.0, 400.0, 94.0, *[95.0] * 40])
    clock = Clock()
    reader = Reader(lambda: next(values), lambda: None)
    made = follow(reader, tmp_path / "log.csv", 80.0, 2.0, clock, clock.wait)
    rows = (tmp_path / "log.csv").read_text(encoding="utf-8").splitlines()[1:]
    assert [float(r.split(",")[1]) for r in rows[:4]] == [90.0, 92.0, 94.0, 95.0]
    assert made.failed == 3
    assert any("frozen" in r for r in made.remarks)
    assert any("no roast has" in r for r in made.remarks)


def test_a_power_cut_keeps_what_was_read(tmp_path: Path) -> None:
    """Each reading is on the disk before the next is asked for."""
    path, seen = tmp_path / "log.csv", []

    def read() -> float:
        seen.append(path.read_text(encoding="utf-8").count("\n"))
        if len(seen) == 5:
            raise KeyboardInterrupt
        return 100.0 + len(seen)

    clock = Clock()
    with pytest.raises(KeyboardInterrupt):
        follow(Reader(read, lambda: None), path, 60.0, 2.0, clock, clock.wait)
    assert seen[1:] == [2, 3, 4, 5]
