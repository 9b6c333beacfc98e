"""Read a scale over a serial port: whole frames only, stable only, and only when they agree."""

from __future__ import annotations

import re
import time
from decimal import Decimal
from typing import Any

from drydown.errors import InputError
from drydown.station.trade import Scale
from drydown.words import say

__all__ = ["frame_grams", "frames_of", "read_scale"]

AGREE, WAIT_S, LONGEST = 3, 4.0, 120


def frames_of(buffer: bytes) -> tuple[list[str], bytes]:
    """Whole frames in a buffer, and the rest. A frame ends with CR, LF or both."""
    *whole, rest = re.split(rb"[\r\n]+", buffer)
    texts = [frame.decode("ascii", "replace").strip("\x02\x03") for frame in whole if frame.strip()]
    return [t for t in texts if len(t) <= LONGEST], rest[-LONGEST:]


def frame_grams(frame: str, scale: Scale) -> int | None:
    """Grams that a frame says; None when it is not of the pattern, not stable, or below zero.

    Args: frame, one whole frame as text; scale, the pattern. Returns: whole grams [g] or None.
    Valid range: 0 to 30 000 kg; other readings are None. Source: the station's own pattern.
    """
    found = re.fullmatch(scale.pattern, frame)
    if found is None:
        return None
    groups = found.groupdict()
    if scale.stable_mark and groups.get("stable") != scale.stable_mark:
        return None
    digits = groups["value"].replace(" ", "").replace(",", ".")
    if not re.fullmatch(r"[+-]?[0-9]{1,7}(\.[0-9]{1,4})?", digits):
        return None
    factor = 1 if (groups.get("unit") or "kg").strip().lower() == "g" else 1000
    grams = Decimal(digits) * factor
    if not 0 <= grams <= 30_000_000 or grams != int(grams):
        return None
    return int(grams)


def _open(scale: Scale) -> Any:
    import serial  # noqa: PLC0415 (only where there is a scale)

    try:
        return serial.Serial(scale.port, scale.baud, timeout=0.2, exclusive=True)
    except (serial.SerialException, OSError, ValueError) as error:
        raise InputError(
            say("does not answer ({error}).", error=error),
            say("scale at {port}", port=scale.port),
            "Is it plugged in and switched on?",
        ) from error


def read_scale(scale: Scale, wait_s: float = WAIT_S) -> int:
    """The weight on the scale now, g: three whole stable frames in a row that agree.

    What the scale had sent before is thrown away, so that no old weight is read.
    Raises `InputError` when nothing stable comes in time.
    """
    with _open(scale) as line:
        line.reset_input_buffer()
        until, buffer, seen, first = time.monotonic() + wait_s, b"", 0, True
        run: list[int] = []
        while time.monotonic() < until:
            frames, buffer = frames_of(buffer + line.read(256))
            if first and frames:  # the first one may have lost its head
                frames, first = frames[1:], False
            for frame in frames:
                seen += 1
                grams = frame_grams(frame, scale)
                alike = run if run[-1:] == [grams] else []
                run = [] if grams is None else [*alike, grams]
                if len(run) >= AGREE:
                    return grams or 0
    words = "is not still, or its frames do not fit the pattern." if seen else "sends nothing."
    raise InputError(
        words, say("scale at {port}", port=scale.port), "Wait until it stands still, or type the weight."
    )
