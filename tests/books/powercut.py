"""A disk that forgets: writes that were not synced may be lost, kept, or torn, by a seed.

SQLite runs on it through apsw, with the very statements and settings Drydown uses.
"""

from __future__ import annotations

import contextlib
import random
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import apsw

SECTOR = 512


class PowerCutError(Exception):
    """The lights went out."""


@dataclass
class Platter:
    """One file: what is surely on the disk, and what was written since the last sync."""

    sure: bytearray = field(default_factory=bytearray)
    loose: list[tuple[int, bytes | None]] = field(default_factory=list)  # None: cut to this size

    def apply(self, offset: int, data: bytes | None) -> None:
        """Put one write, or a cut to a size, on the platter."""
        if data is None:
            del self.sure[offset:]
            return
        if len(self.sure) < offset:
            self.sure.extend(bytes(offset - len(self.sure)))
        self.sure[offset : offset + len(data)] = data

    def sync(self) -> None:
        """Everything written so far is safe from here on."""
        for offset, data in self.loose:
            self.apply(offset, data)
        self.loose.clear()

    def after_cut(self, rng: random.Random) -> bytes:
        """The file after the power came back: loose writes kept, lost or torn at a sector."""
        left = Platter(bytearray(self.sure))
        for offset, data in self.loose:
            fate = rng.random()
            if fate < 0.4:
                continue
            if data is not None and fate > 0.8:
                data = data[: rng.randrange(0, len(data), SECTOR)]  # noqa: PLW2901
            left.apply(offset, data)
        return bytes(left.sure)


class Disk(apsw.VFS):
    """All files under one folder; the power goes at the n-th write or sync."""

    def __init__(self, name: str, cut_at: int) -> None:
        self.files: dict[str, Platter] = {}
        self.count, self.cut_at = 0, cut_at
        super().__init__(name, "")

    def xOpen(self, name: Any, flags: list[int]) -> Any:  # noqa: N802 (SQLite's own name)
        """Open a file, known to this disk from its first byte on."""
        path = name.filename() if isinstance(name, apsw.URIFilename) else str(name)
        if path not in self.files:
            there = Path(path).read_bytes() if path and Path(path).exists() else b""
            self.files[path] = Platter(bytearray(there))
        return DiskFile(self, path, name, flags)

    def xDelete(self, filename: str, syncdir: bool) -> None:  # noqa: N802
        """Deletions count at once."""
        self.files.pop(filename, None)
        super().xDelete(filename, syncdir)

    def tick(self) -> None:
        """One more write or sync; maybe the last."""
        self.count += 1
        if self.cut_at and self.count >= self.cut_at:
            raise PowerCutError


class DiskFile(apsw.VFSFile):
    """A file whose writes are remembered until they are synced."""

    def __init__(self, disk: Disk, path: str, name: Any, flags: list[int]) -> None:
        self.disk, self.platter = disk, disk.files[path]
        super().__init__("", name, flags)

    def xWrite(self, data: bytes, offset: int) -> None:  # noqa: N802
        """Written, but not sure."""
        self.disk.tick()
        self.platter.loose.append((offset, bytes(data)))
        super().xWrite(data, offset)

    def xTruncate(self, newsize: int) -> None:  # noqa: N802
        """Cut to a size, but not sure."""
        self.disk.tick()
        self.platter.loose.append((newsize, None))
        super().xTruncate(newsize)

    def xSync(self, flags: int) -> None:  # noqa: N802
        """Now it is sure."""
        self.disk.tick()
        self.platter.sync()
        super().xSync(flags)


def play(
    folder: Path, pragmas: str, work: list[list[tuple[str, tuple[Any, ...]]]], cut_at: int, seed: int
) -> tuple[int, Path, int]:
    """Run units of work on a database file until the power goes.

    Returns how many units were acknowledged, the file as found afterwards, and the writes seen.
    """
    disk = Disk(f"cut{seed}-{cut_at}", cut_at)
    acknowledged = 0
    db = folder / "books.sqlite3"
    connection = apsw.Connection(
        str(db), vfs=disk.vfs_name if hasattr(disk, "vfs_name") else f"cut{seed}-{cut_at}"
    )
    try:
        connection.execute(pragmas).fetchall()
        for unit in work:
            connection.execute("BEGIN IMMEDIATE")
            for sql, params in unit:
                connection.execute(sql, params).fetchall()
            connection.execute("COMMIT")
            acknowledged += 1
    except (PowerCutError, apsw.Error):
        pass
    found = folder / "after"
    found.mkdir()
    rng = random.Random(seed)
    for path, platter in disk.files.items():
        name = Path(path).name
        if name and not name.endswith("-shm"):
            (found / name).write_bytes(platter.after_cut(rng))
    disk.cut_at = 0
    with contextlib.suppress(PowerCutError, apsw.Error):
        connection.close(True)
    return acknowledged, found / "books.sqlite3", disk.count
