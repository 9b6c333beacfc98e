"""A thermocouple reader on Modbus, read into a table. The table stays whole whatever the line does, and
says it."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from drydown.errors import InputError
from drydown.station.roasters import Thermometer
from drydown.words import say

__all__ = ["Followed", "Reader", "follow", "reader_of", "watch"]

LOW_C, HIGH_C = -20.0, 400.0
LEAP_C_S = 25.0
FROZEN = 15
"""So many readings in a row that are the same to the digit, while a roast is on, are told as frozen."""


@dataclass(slots=True)
class Reader:
    """Something that gives a temperature, or raises `OSError` where the line is gone."""

    read: Callable[[], float]
    again: Callable[[], None]


@dataclass(slots=True)
class Followed:
    """What came of following a reader."""

    readings: int = 0
    failed: int = 0
    remarks: list[str] = field(default_factory=list)

    def remark(self, words: str) -> None:
        """Say a thing once."""
        if words not in self.remarks:
            self.remarks.append(words)


def reader_of(told: Thermometer) -> Reader:
    """The reader of a thermometer. Args: told. Returns: `Reader`. Raises `InputError` where it cannot be
    reached at all. Valid range: Modbus TCP or RTU. Source: Modbus application protocol, registers of 16
    bit."""
    from pymodbus.client import ModbusSerialClient, ModbusTcpClient  # noqa: PLC0415
    from pymodbus.exceptions import ModbusException  # noqa: PLC0415

    client: Any
    if told.host:
        client = ModbusTcpClient(told.host, port=int(told.port), timeout=1, retries=0)
    else:
        client = ModbusSerialClient(told.port, baudrate=told.baud, timeout=1, retries=0)
    if not client.connect():
        raise InputError(
            say("does not answer at {h}.", h=told.host or told.port), "thermometer", "Cable, power, address?"
        )

    def read() -> float:
        ask = client.read_holding_registers if told.kind == "holding" else client.read_input_registers
        try:
            answer = ask(told.at_register, count=1, device_id=told.device)
        except ModbusException as error:
            raise OSError(str(error)) from error
        if answer.isError():
            raise OSError(str(answer))
        raw = int(answer.registers[0])
        return (raw - 65536 if raw > 32767 else raw) * told.scale

    def again() -> None:
        client.close()
        client.connect()

    return Reader(read, again)


def watch(
    reader: Reader, told: Followed, keep: Callable[[float, float], None], on: Callable[[float], bool],
    every_s: float, clock: Callable[[], float], wait: Callable[[float], None],
) -> None:  # fmt: skip
    """Read while it is on.

    Args: reader; told, filled with what was odd in words; keep, given second and temperature of each sound
    reading; on, whether to go on at a second; every_s; clock, seconds since the roast began; wait. Valid
    range: any. Source: none. A line that is gone is asked again; garbage (outside -20 to 400 C, or a leap of
    over 25 C a second) is left out and counted; a value that stands still is kept and told.
    """
    last, same = None, 0
    while on(now := clock()):
        value = _value(reader, told)
        if value is not None and _sound(value, last, now, told):
            same = same + 1 if last is not None and value == last[1] else 0
            if same >= FROZEN:
                told.remark(str(say("The value stood still at {v:g} C: frozen?", v=value)))
            last = (now, value)
            told.readings += 1
            keep(now, value)
        wait(every_s)


def follow(
    reader: Reader, to: Path, seconds: float, every_s: float, clock: Callable[[], float],
    wait: Callable[[float], None],
) -> Followed:  # fmt: skip
    """Read into a table until the time is over; each reading is written and synced at once.

    Args: reader; to, the table; seconds; every_s; clock and wait, handed in. Returns: `Followed`, with what
    was odd in words. Valid range: any. Source: none.
    """
    told, begun = Followed(), clock()
    with to.open("x", encoding="utf-8", newline="") as file:
        file.write("time,probe\n")

        def keep(now: float, value: float) -> None:
            file.write(f"{now:.1f},{value:.1f}\n")
            file.flush()
            os.fsync(file.fileno())

        watch(reader, told, keep, lambda now: now < seconds, every_s, lambda: clock() - begun, wait)
    return told


def _value(reader: Reader, told: Followed) -> float | None:
    try:
        return reader.read()
    except OSError:
        told.failed += 1
        told.remark(str(say("The reader did not answer for a while; the table has a gap there.")))
        try:
            reader.again()
        except OSError:
            return None
        return None


def _sound(value: float, last: tuple[float, float] | None, now: float, told: Followed) -> bool:
    leap = last is not None and abs(value - last[1]) > LEAP_C_S * max(now - last[0], 0.1)
    if not LOW_C <= value <= HIGH_C or (leap and last is not None and now - last[0] < 30.0):
        told.failed += 1
        told.remark(str(say("Values that no roast has were left out: loose wire?")))
        return False
    return True
