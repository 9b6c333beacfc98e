"""What an answer was made of: a hash over the code and data of the rooms that made it.

Kept answers and compiled code carry it in their key, so that an upgraded station never shows what an
older Drydown reckoned.
"""

from __future__ import annotations

import hashlib
from functools import lru_cache
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path

from drydown.tables import added_folder

__all__ = ["MODEL", "fingerprint", "fingerprint_of_file"]

MODEL = ("steps", "air", "matter", "trade", "station", "outlook", "units.py", "figures.py")
"""Rooms whose code and data decide a forecast."""
_ENDINGS = (".py", ".toml", ".csv")


def fingerprint(*rooms: str) -> str:
    """A hash of the code and data of some rooms, and of rows that were added.

    Args: rooms, such as "steps" or "units.py". Returns: 16 hex digits. Raises `FileNotFoundError` for
    a room that is not there.
    """
    return _rooms(rooms, added_folder())


@lru_cache(maxsize=16)
def _rooms(rooms: tuple[str, ...], added: Path | None) -> str:
    digest = hashlib.sha256()
    root = files("drydown")
    for room in rooms:
        _take_in(digest, root / room, room)
    if added is not None:
        for file in sorted(p for p in added.rglob("*") if p.suffix in _ENDINGS):
            digest.update(str(file.relative_to(added)).encode() + b"\0" + file.read_bytes())
    return digest.hexdigest()[:16]


def _take_in(digest: hashlib._Hash, place: Traversable, name: str) -> None:
    if place.is_dir():
        for part in sorted(place.iterdir(), key=lambda p: p.name):
            if part.is_dir() or part.name.endswith(_ENDINGS):
                _take_in(digest, part, f"{name}/{part.name}")
        return
    digest.update(name.encode() + b"\0" + place.read_bytes())


@lru_cache(maxsize=32)
def _file(path: Path, _size: int, _stamp: int) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()[:16]


def fingerprint_of_file(path: Path) -> str:
    """A hash of a file's content, read again when its size or time changes.

    Args: path. Returns: 16 hex digits. Raises `OSError` where it cannot be read.
    """
    found = path.stat()
    return _file(path, found.st_size, found.st_mtime_ns)
