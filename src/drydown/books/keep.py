"""Keep the books: copies, restoring, and what is needed to trust a copy.

A copy is one zip: the database by SQLite's own online backup (or PostgreSQL's dump), the station
file, and a page of facts with the end of the chain and a hash of every part.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import shutil
import sqlite3
import subprocess
import tempfile
import zipfile
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any
from urllib.parse import unquote, urlsplit

from drydown.errors import InputError

__all__ = ["Copy", "back_up", "check_copy", "newest", "prune", "restore"]

FACTS, BOOKS, DUMP, STATION = "facts.json", "books.sqlite3", "books.dump", "station.toml"
PHOTOS, CONTRACTS, MARK = "photos", "schemes", "demo.txt"
_PART = re.compile(
    r"books\.sqlite3|books\.dump|station\.toml|demo\.txt"
    r"|photos/[0-9a-f]{64}\.(jpg|png)|schemes/[A-Za-z0-9_ -]{1,80}\.toml"
)
SHAPE = "drydown.copy/1"


@dataclass(frozen=True, slots=True)
class Copy:
    """One copy of the books and what it says of itself."""

    path: Path
    entries: int
    head: str
    made_at: str


def _hash(path: Path) -> str:
    digest = hashlib.sha256()
    with path.open("rb") as file:
        while block := file.read(1 << 20):
            digest.update(block)
    return digest.hexdigest()


def back_up(data: Path, to: Path, now: datetime) -> Copy:
    """Write a copy of the books in `data` to the folder `to`; the desk may go on writing.

    Raises `InputError` when the folder cannot be written; a copy appears whole or not at all.
    """
    try:
        to.mkdir(parents=True, exist_ok=True, mode=0o700)
        with tempfile.TemporaryDirectory(dir=to) as work:
            folder = Path(work)
            parts = [_database(data, folder)]
            if (data / STATION).exists():
                shutil.copyfile(data / STATION, folder / STATION)
                parts.append(folder / STATION)
            parts += _beside(data, folder)
            facts = _facts(folder, parts, now)
            name = f"drydown-{now:%Y%m%dT%H%M%S}-{facts['entries']}.zip"
            return _zip(folder, [*parts, folder / FACTS], to / name, facts)
    except (OSError, sqlite3.Error) as error:
        raise InputError(f"no copy could be made: {error}.", str(to), "Is the disk full?") from error


def _beside(data: Path, folder: Path) -> list[Path]:
    """Photos, the station's own contracts, and the mark of a demo."""
    found = []
    for file in [
        *sorted((data / PHOTOS).glob("*.*")),
        *sorted((data / CONTRACTS).glob("*.toml")),
        data / MARK,
    ]:
        place = file.relative_to(data)
        if file.is_file() and _PART.fullmatch(place.as_posix()):
            target = folder / place
            target.parent.mkdir(exist_ok=True)
            shutil.copyfile(file, target)
            found.append(target)
    return found


def _database(data: Path, folder: Path) -> Path:
    """The database's own consistent copy."""
    url = os.environ.get("DRYDOWN_DATABASE", "")
    if url:
        target = folder / DUMP
        _run(["pg_dump", "--format=custom", "--no-owner", f"--file={target}"], url)
        return target
    source = sqlite3.connect(f"file:{data / BOOKS}?mode=ro", uri=True)
    target = folder / BOOKS
    copy = sqlite3.connect(target)
    with source, copy:
        source.backup(copy)
        copy.execute("PRAGMA journal_mode=DELETE")
    source.close()
    copy.close()
    return target


def _run(words: list[str], url: str) -> None:
    """A client program of PostgreSQL; address and password go by the environment, out of sight."""
    parts = urlsplit(url)
    env = {
        "PGHOST": parts.hostname or "",
        "PGPORT": str(parts.port or ""),
        "PGUSER": unquote(parts.username or ""),
        "PGPASSWORD": unquote(parts.password or ""),
        "PGDATABASE": parts.path.strip("/"),
    }
    whole = os.environ | {k: v for k, v in env.items() if v}
    try:
        subprocess.run(words, env=whole, check=True, capture_output=True, text=True)  # noqa: S603 (fixed words)
    except FileNotFoundError as error:
        raise InputError(
            f"'{words[0]}' is not installed.", "PostgreSQL", "Install its client programs."
        ) from error
    except subprocess.CalledProcessError as error:
        raise InputError(f"{words[0]} failed: {error.stderr.strip()[:300]}", "PostgreSQL") from error


def _facts(folder: Path, parts: list[Path], now: datetime) -> dict[str, Any]:
    number, digest = _head(folder)
    found = {
        "shape": SHAPE,
        "made_at": now.isoformat(),
        "entries": number,
        "head": digest,
        "parts": {p.relative_to(folder).as_posix(): _hash(p) for p in parts},
    }
    (folder / FACTS).write_text(json.dumps(found, indent=2), encoding="utf-8")
    return found


def _head(folder: Path) -> tuple[int, str]:
    """The end of the chain, read from the copy itself where it can be."""
    if (folder / BOOKS).exists():
        with sqlite3.connect(folder / BOOKS) as copy:
            row = copy.execute("SELECT number, digest FROM books_head").fetchone()
        copy.close()
        return (int(row[0]), str(row[1])) if row else (0, "0" * 64)
    from drydown.books.models import Head  # noqa: PLC0415 (needs Django, only for PostgreSQL)

    head = Head.objects.filter(pk=1).first()
    return (head.number, head.digest) if head else (0, "0" * 64)


def _zip(folder: Path, parts: list[Path], target: Path, facts: dict[str, Any]) -> Copy:
    beside = folder / "copy.zip"
    with zipfile.ZipFile(beside, "w", zipfile.ZIP_DEFLATED) as box:
        for part in parts:
            box.write(part, part.relative_to(folder).as_posix())
    with beside.open("rb") as file:
        os.fsync(file.fileno())
    beside.replace(target)
    return Copy(target, facts["entries"], facts["head"], facts["made_at"])


def check_copy(path: Path) -> dict[str, Any]:
    """The facts of a copy, after every part's hash was found right."""
    try:
        with zipfile.ZipFile(path) as box:
            facts: dict[str, Any] = json.loads(box.read(FACTS))
            for name, wanted in facts["parts"].items():
                if hashlib.sha256(box.read(name)).hexdigest() != wanted:
                    raise InputError(f"its part {name} is damaged.", path.name, "Use an older copy.")
    except (OSError, KeyError, ValueError, zipfile.BadZipFile) as error:
        raise InputError("is not a copy of Drydown's books.", path.name, f"({error})") from error
    return facts


def restore(path: Path, data: Path) -> dict[str, Any]:
    """Put a copy into a data folder that holds no books yet; returns the copy's facts.

    The folder gets a secret of its own, so everybody enters anew.
    """
    facts = check_copy(path)
    if list(data.glob(f"{BOOKS}*")):
        raise InputError("holds books already.", str(data), "Restore into a new folder; nothing was changed.")
    if os.environ.get("DRYDOWN_DATABASE") and BOOKS in facts["parts"]:
        raise InputError("is a copy of an embedded database.", path.name, "Unset DRYDOWN_DATABASE.")
    data.mkdir(parents=True, exist_ok=True, mode=0o700)
    with zipfile.ZipFile(path) as box, tempfile.TemporaryDirectory(dir=data) as work:
        for name in facts["parts"]:
            if not _PART.fullmatch(name):
                raise InputError(f"has a part that does not belong: {name}.", path.name)
            (Path(work) / name).parent.mkdir(exist_ok=True)
            (Path(work) / name).write_bytes(box.read(name))
        if (Path(work) / DUMP).exists():
            _restore_dump(Path(work) / DUMP)
        for name in (PHOTOS, CONTRACTS, MARK, STATION, BOOKS):
            if (Path(work) / name).exists():
                (Path(work) / name).replace(data / name)
    return facts


def _restore_dump(dump: Path) -> None:
    url = os.environ.get("DRYDOWN_DATABASE", "")
    if not url:
        raise InputError("is a PostgreSQL copy.", "restore", "Set DRYDOWN_DATABASE to an empty database.")
    name = urlsplit(url).path.strip("/")
    words = ["pg_restore", "--no-owner", "--exit-on-error", "--single-transaction", f"--dbname={name}"]
    _run([*words, str(dump)], url)


def newest(to: Path) -> Path | None:
    """The newest copy in a folder."""
    found = sorted(to.glob("drydown-*.zip"), key=lambda p: p.name)
    return found[-1] if found else None


def prune(to: Path, keep: int) -> list[Path]:
    """Take away all but the newest `keep` copies; returns what went."""
    gone = sorted(to.glob("drydown-*.zip"), key=lambda p: p.name)[:-keep] if keep > 0 else []
    for path in gone:
        path.unlink()
    return gone
