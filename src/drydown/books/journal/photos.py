"""A photo with a delivery: kept beside the books, its hash inside them."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path

from django.conf import settings

from drydown.books.journal.photonotes import without_notes
from drydown.errors import InputError
from drydown.words import say

__all__ = ["MOST_BYTES", "keep_photo", "photo_file"]

MOST_BYTES = 8_000_000
_KINDS = {b"\xff\xd8\xff": "jpg", b"\x89PNG\r\n\x1a\n": "png"}


def _folder() -> Path:
    return Path(settings.DATA) / "photos"


def keep_photo(content: bytes) -> str:
    """Keep a JPEG or PNG, without its camera's notes, under its own hash; returns the entry's name for it.

    Raises `InputError` for anything else, or above 8 MB.
    """
    if len(content) > MOST_BYTES:
        raise InputError(
            say("is larger than {most_bytes} MB.", most_bytes=MOST_BYTES // 1000000),
            "photo",
            "Take it smaller.",
        )
    ending = next((end for head, end in _KINDS.items() if content.startswith(head)), None)
    if ending is None:
        raise InputError("is not a JPEG or PNG picture.", "photo", "Leave it out, or take another.")
    content = without_notes(content)
    name = f"{hashlib.sha256(content).hexdigest()}.{ending}"
    folder = _folder()
    folder.mkdir(mode=0o700, exist_ok=True)
    if not (folder / name).exists():
        beside = folder / f"{name}.new"
        with beside.open("wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        beside.replace(folder / name)
    return name


def photo_file(name: str) -> Path | None:
    """The file of a photo by the name an entry carries; None when it is gone."""
    found = _folder() / Path(name).name
    return found if found.exists() else None
