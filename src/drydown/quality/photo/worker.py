"""A photo measured in a process of its own, with limits on memory and time.

A picture that is a bomb, or that breaks a decoder, ends this process and not the desk.
"""

from __future__ import annotations

import json
import subprocess
import sys
import threading
from typing import Any

from drydown.errors import InputError
from drydown.quality.photo.measure import Photo, measure_photo
from drydown.quality.photo.picture import read_picture
from drydown.quality.photo.sizes import colour_summary

__all__ = ["measured_apart", "told"]

MOST_S = 90
MOST_BYTES = 3 << 30
_one = threading.Semaphore(1)


def told(found: Photo) -> dict[str, Any]:
    """A measured photo as plain data: axes to a hundredth of a millimetre."""
    colour = colour_summary(found.beans)
    return {
        "widths_mm": [round(b.width_mm, 2) for b in found.beans],
        "lengths_mm": [round(b.length_mm, 2) for b in found.beans],
        "px_per_mm": round(found.px_per_mm, 2), "tilt_deg": round(found.tilt_deg, 1),
        "left_out": found.left_out, "remarks": list(found.remarks),
        "colour": {
            "lightness": round(colour.lightness, 1), "a": round(colour.a, 1), "b": round(colour.b, 1),
            "spread": round(colour.spread, 1), "odd": colour.odd,
        },
    }  # fmt: skip


def measured_apart(content: bytes) -> dict[str, Any]:
    """What `told` says of a photo, measured apart; one photo at a time.

    Args: content, the file. Raises `InputError` for a photo that cannot be used, or takes too long.
    """
    if not _one.acquire(timeout=MOST_S):
        raise InputError("waited too long behind other photos.", "photo", "Send it again.")
    try:
        call = [sys.executable, "-m", "drydown.quality.photo.worker"]
        done = subprocess.run(call, input=content, capture_output=True, timeout=MOST_S, check=False)  # noqa: S603
        answer = json.loads(done.stdout) if done.returncode == 0 else {}
    except (subprocess.TimeoutExpired, ValueError) as error:
        raise InputError("took too long to measure.", "photo", "Take it smaller.") from error
    finally:
        _one.release()
    if "what" in answer:
        raise InputError(answer["what"], answer["where"], answer["fix"])
    if "widths_mm" not in answer:
        raise InputError("could not be measured.", "photo", "Take it again, smaller.")
    return dict(answer)


def _limit() -> None:
    """No more memory and time than a photo needs; where the system knows such limits."""
    try:
        import resource  # noqa: PLC0415 (not on Windows)
    except ImportError:
        return
    resource.setrlimit(resource.RLIMIT_AS, (MOST_BYTES, MOST_BYTES))
    resource.setrlimit(resource.RLIMIT_CPU, (MOST_S, MOST_S))


def main() -> None:
    """Measure the photo on standard input; print what was found, or why not, as JSON."""
    _limit()
    try:
        answer = told(measure_photo(read_picture(sys.stdin.buffer.read())))
    except InputError as error:
        answer = {"what": error.what, "where": error.where, "fix": error.fix}
    sys.stdout.write(json.dumps(answer))


if __name__ == "__main__":
    main()
