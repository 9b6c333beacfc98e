"""Photos lose place and device on entry, are measured apart, and touch nothing process-wide."""

from __future__ import annotations

import io
import threading
import warnings
from pathlib import Path

import pytest
from PIL import Image

from drydown.books.journal.photonotes import without_notes
from drydown.errors import InputError
from drydown.quality.photo.worker import measured_apart

SWITCHES = (
    "catch_warnings", "simplefilter", "filterwarnings", "setrecursionlimit", "setlocale", "os.chdir",
    "os.umask",
    "socket.setdefaulttimeout",
)  # fmt: skip
SRC = Path(__file__).resolve().parents[2] / "src/drydown"


def picture(turn: int = 6, kind: str = "JPEG", progressive: bool = False) -> bytes:
    """A picture with place, device and owner in its notes."""
    made, notes = Image.effect_noise((90, 60), 60).convert("RGB"), Image.Exif()
    notes[0x0112], notes[0x010F], notes[0x0110], notes[0x013B] = turn, "A maker", "A device", "An owner"
    notes.get_ifd(0x8825).update({1: "S", 2: (3.0, 24.0, 44.0), 3: "E", 4: (37.0, 1.0, 2.0)})
    out = io.BytesIO()
    made.save(
        out, kind, exif=notes, comment=b"home of a grower", **({"progressive": True} if progressive else {})
    )
    return out.getvalue()


@pytest.mark.parametrize("progressive", [False, True])
@pytest.mark.parametrize("turn", [1, 6, 8])
def test_a_jpeg_loses_its_notes_and_keeps_its_turn_and_pixels(turn: int, progressive: bool) -> None:
    """Read back by Pillow: no place, no device, the same pixels."""
    before = picture(turn, progressive=progressive)
    after = without_notes(before + picture())  # a second picture behind the first goes too
    for word in (b"A maker", b"A device", b"An owner", b"home of a grower"):
        assert word in before
        assert word not in after
    found = Image.open(io.BytesIO(after))
    assert not found.getexif().get_ifd(0x8825)
    assert found.getexif().get(0x0112, 1) == turn
    assert found.tobytes() == Image.open(io.BytesIO(before)).tobytes()


def test_a_png_loses_its_notes(tmp_path: Path) -> None:
    before = picture(kind="PNG")
    after = without_notes(before)
    assert b"A maker" in before
    assert b"A maker" not in after
    assert Image.open(io.BytesIO(after)).tobytes() == Image.open(io.BytesIO(before)).tobytes()


@pytest.mark.parametrize("cut", [3, 30, 200, -3])
def test_a_cut_picture_is_refused_in_a_sentence(cut: int) -> None:
    with pytest.raises(InputError, match="damaged"):
        without_notes(picture()[:cut])


def test_two_photos_at_once_leave_warnings_as_they_were() -> None:
    before = list(warnings.filters)
    threads = [threading.Thread(target=_measure, args=(picture(),)) for _ in range(3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(120)
    assert list(warnings.filters) == before


def _measure(content: bytes) -> None:
    with pytest.raises(InputError):
        measured_apart(content)


def test_no_request_code_switches_warnings_for_the_whole_process() -> None:
    for file in SRC.rglob("*.py"):
        text = file.read_text(encoding="utf-8")
        for switch in SWITCHES:
            assert switch not in text, (file.name, switch)


def test_a_bomb_ends_its_own_process_only() -> None:
    out = io.BytesIO()
    Image.new("1", (40_000, 40_000)).save(out, "PNG")
    with pytest.raises(InputError, match=r"million pixels|cannot be read|could not"):
        measured_apart(out.getvalue())
