"""What a camera writes beside a picture (place, device, owner) is left out; how it stands is kept.

The picture itself is not decoded and not changed: only its notes go.
"""

from __future__ import annotations

import io
import struct

from PIL import Image

from drydown.errors import InputError

__all__ = ["without_notes"]

_ORIENTATION = 0x0112
_PNG_KEPT = {
    b"IHDR",
    b"PLTE",
    b"IDAT",
    b"IEND",
    b"tRNS",
    b"gAMA",
    b"cHRM",
    b"sRGB",
    b"iCCP",
    b"sBIT",
    b"pHYs",
    b"bKGD",
}


def without_notes(content: bytes) -> bytes:
    """A JPEG or PNG without its notes; refused where its parts do not fit together.

    Args: content. Returns: the same picture, with its turn where it has one. Raises `InputError`.
    Source: ISO/IEC 10918-1 (markers), Exif 2.3 (orientation), W3C PNG (chunks).
    """
    try:
        return _png(content) if content.startswith(b"\x89PNG") else _jpeg(content)
    except (struct.error, IndexError, ValueError) as error:
        raise InputError("is a damaged picture.", "photo", "Leave it out, or take another.") from error


def _turn(content: bytes) -> bytes:
    """A note that holds nothing but how the picture is turned; empty where it is not."""
    try:
        with Image.open(io.BytesIO(content)) as found:  # reads the head alone
            turn = found.getexif().get(_ORIENTATION, 1)
    except Exception:  # damaged notes raise many kinds, and say nothing
        return b""
    if not isinstance(turn, int) or not 2 <= turn <= 8:
        return b""
    note = Image.Exif()
    note[_ORIENTATION] = turn
    body = b"Exif\x00\x00" + note.tobytes().removeprefix(b"Exif\x00\x00")
    return b"\xff\xe1" + struct.pack(">H", len(body) + 2) + body


def _jpeg(content: bytes) -> bytes:
    out, at = [content[:2], _turn(content)], 2
    while True:
        if content[at] != 0xFF:
            raise ValueError("no marker where one belongs")
        mark = content[at + 1]
        if mark == 0xD9:
            return b"".join(
                [*out, b"\xff\xd9"]
            )  # what follows the end is another picture, with its own notes
        (size,) = struct.unpack(">H", content[at + 2 : at + 4])
        part = content[at : at + 2 + size]
        if len(part) != size + 2:
            raise ValueError("a part is cut off")
        colour = mark == 0xE2 and part[4:].startswith(b"ICC_PROFILE")
        if mark in {0xE0, 0xEE} or colour or not (0xE0 <= mark <= 0xEF or mark == 0xFE):
            out.append(part)
        at += 2 + size
        if mark == 0xDA:
            end = _scan_end(content, at)
            out.append(content[at:end])
            at = end


def _scan_end(content: bytes, at: int) -> int:
    """Where the coded data of a scan ends: at the first marker that is no stuffing and no restart."""
    while True:
        at = content.index(b"\xff", at)
        if content[at + 1] == 0 or 0xD0 <= content[at + 1] <= 0xD7:
            at += 2
        elif content[at + 1] == 0xFF:
            at += 1
        else:
            return at


def _png(content: bytes) -> bytes:
    out, at = [content[:8]], 8
    while True:
        (size,) = struct.unpack(">I", content[at : at + 4])
        kind, part = content[at + 4 : at + 8], content[at : at + 12 + size]
        if len(part) != size + 12:
            raise ValueError("a chunk is cut off")
        if kind in _PNG_KEPT:
            out.append(part)
        if kind == b"IEND":
            return b"".join(out)
        at += 12 + size
