"""One desk on one folder: a lock that goes with the process, and the address it is served at."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

from drydown.cli.show import out
from drydown.errors import InputError

__all__ = ["holding", "says_running"]

LOCK, ADDRESS = "desk.lock", "address.txt"


def _locked(file: IO[str]) -> bool:
    """Take the lock of an open file without waiting; false when another process has it."""
    if os.name == "nt":
        import msvcrt  # noqa: PLC0415 (Windows only)

        try:
            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined,unused-ignore]
        except OSError:
            return False
        return True
    import fcntl  # noqa: PLC0415 (not on Windows)

    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


def says_running(data: Path) -> bool:
    """Whether a desk serves this folder already; then its address is printed."""
    lock = data / LOCK
    if not lock.exists():
        return False
    try:
        with lock.open("a", encoding="utf-8") as file:
            if _locked(file):
                return False
    except OSError:
        return False  # a folder that cannot be written is told of when it is prepared
    last = data / ADDRESS
    where = last.read_text(encoding="utf-8") if last.exists() else "an address it printed"
    out.print(f"This folder's desk is running already, at {where}", markup=False)
    return True


@contextmanager
def holding(data: Path, address: str) -> Iterator[int]:
    """Hold the folder while the desk serves it; a second desk is refused.

    The lock is the operating system's: it goes with the process, however that ends. Gives its file number.
    """
    with (data / LOCK).open("a", encoding="utf-8") as file:
        if not _locked(file):
            raise InputError("has a desk already.", str(data), "Stop that one first.")
        (data / ADDRESS).write_text(address, encoding="utf-8")
        yield file.fileno()
