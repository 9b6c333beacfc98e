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
import stat
import subprocess
import tempfile
import zipfile
import zlib
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any
from urllib.parse import unquote, urlsplit

from drydown.errors import InputError
from drydown.words import say

__all__ = ["Copy", "back_up", "check_copy", "copies_in", "prune", "restore"]

MOST_FACTS = 20_000_000
FACTS, BOOKS, DUMP, STATION = "facts.json", "books.sqlite3", "books.dump", "station.toml"
PHOTOS, CONTRACTS, MARK = "photos", "schemes", "demo.txt"
_PART = re.compile(
    r"books\.sqlite3|books\.dump|station\.toml|demo\.txt"
    r"|photos/[0-9a-f]{64}\.(jpg|png)|schemes/[A-Za-z0-9_ -]{1,80}\.toml"
)
SHAPE = "drydown.copy/1"
DOORS = (
    "django_session", "books_ownerlink", "axes_accessattempt", "axes_accesslog", "axes_accessfailurelog",
    "axes_accessattemptexpiration",
)  # fmt: skip
"""Tables that open a running desk, or tell who tried to: they stay out of every copy."""


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
        _private(to)
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
        raise InputError(
            say("no copy could be made: {error}.", error=error), str(to), "Is the disk full?"
        ) from error


def _private(folder: Path) -> None:
    """Nobody else reads a folder of copies, whatever stood before; one that is shared by design stays."""
    mode = folder.stat().st_mode
    if os.name != "nt" and folder.owner() == _me() and not mode & stat.S_ISVTX:
        folder.chmod(0o700)


def _me() -> str:
    import getpass  # noqa: PLC0415

    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return ""


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
        left = [f"--exclude-table-data={name}" for name in DOORS]
        _run(["pg_dump", "--format=custom", "--no-owner", *left, f"--file={target}"], url)
        return target
    source = sqlite3.connect(f"file:{data / BOOKS}?mode=ro", uri=True)
    target = folder / BOOKS
    copy = sqlite3.connect(target)
    with source, copy:
        source.backup(copy)
        copy.execute("PRAGMA journal_mode=DELETE")
    with copy:
        for name in DOORS:
            if copy.execute("SELECT 1 FROM sqlite_master WHERE type='table' AND name=?", (name,)).fetchone():
                copy.execute(f"DELETE FROM {name}")  # noqa: S608 (names of ours)
    copy.execute("VACUUM")  # what was deleted is not left in free pages
    source.close()
    copy.close()
    return target


def _run(words: list[str], url: str) -> str:
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
        done = subprocess.run(words, env=whole, check=True, capture_output=True, text=True)  # noqa: S603
    except FileNotFoundError as error:
        raise InputError(
            say("'{value}' is not installed.", value=words[0]), "PostgreSQL", "Install its client programs."
        ) from error
    except subprocess.CalledProcessError as error:
        raise InputError(
            say("{value} failed: {value_2}", value=words[0], value_2=error.stderr.strip()[:300]), "PostgreSQL"
        ) from error
    return str(done.stdout)


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
    beside.chmod(0o600)
    with beside.open("rb") as file:
        os.fsync(file.fileno())
    beside.replace(target)
    return Copy(target, facts["entries"], facts["head"], facts["made_at"])


def check_copy(path: Path) -> dict[str, Any]:
    """The facts of a copy, after every part's hash was found right."""
    try:
        with zipfile.ZipFile(path) as box:
            facts: dict[str, Any] = json.loads(_small(box, FACTS))
            _fit(facts)
            for name, wanted in facts["parts"].items():
                if _part_hash(box, name) != wanted:
                    raise InputError(
                        say("its part {name} is damaged.", name=name), path.name, "Use an older copy."
                    )
    except (OSError, KeyError, ValueError, TypeError, AttributeError, RecursionError,
            NotImplementedError, RuntimeError, zipfile.BadZipFile, zlib.error) as error:  # fmt: skip
        raise InputError("is not a copy of Drydown's books.", path.name, f"({error})") from error
    return facts


def _small(box: zipfile.ZipFile, name: str) -> bytes:
    """A small part; a bomb under its name is refused before it is unpacked."""
    if box.getinfo(name).file_size > MOST_FACTS:
        raise ValueError(say("{name} is far too large", name=name))
    return box.read(name)


def _part_hash(box: zipfile.ZipFile, name: str) -> str:
    digest = hashlib.sha256()
    with box.open(name) as part:
        while block := part.read(1 << 20):
            digest.update(block)
    return digest.hexdigest()


def _fit(facts: Any) -> None:
    """Refuse facts that are not ours: a strange shape, another version, names that do not belong."""
    if not isinstance(facts, dict) or facts.get("shape") != SHAPE:
        raise ValueError(say("its facts are not of the shape {shape}", shape=SHAPE))
    parts = facts.get("parts")
    whole = isinstance(facts.get("entries"), int) and isinstance(facts.get("head"), str)
    if not whole or not isinstance(parts, dict) or not parts:
        raise ValueError("its facts are not whole")
    for name, wanted in parts.items():
        if not _PART.fullmatch(name) or not isinstance(wanted, str):
            raise ValueError(say("it has a part that does not belong: {value}", value=name[:60]))
    if (BOOKS in parts) == (DUMP in parts):
        raise ValueError("it holds no books, or two")


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
                raise InputError(say("has a part that does not belong: {name}.", name=name), path.name)
            (Path(work) / name).parent.mkdir(exist_ok=True)
            with box.open(name) as part, (Path(work) / name).open("wb") as out:
                shutil.copyfileobj(part, out)
            (Path(work) / name).chmod(0o600)
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
    if _run(["psql", "-tAc", "SELECT to_regclass('books_entry') IS NOT NULL"], url).strip() == "t":
        raise InputError(
            "holds books already.", say("database {name}", name=name), "Restore into an empty database."
        )
    words = ["pg_restore", "--no-owner", "--exit-on-error", "--single-transaction", f"--dbname={name}"]
    _run([*words, str(dump)], url)


def copies_in(to: Path) -> list[Path]:
    """Copies in a folder, locked ones too, the oldest first by their names."""
    return sorted([*to.glob("drydown-*.zip"), *to.glob("drydown-*.zip.age")], key=lambda p: p.name)


def prune(to: Path, keep: int) -> list[Path]:
    """Take away all but the newest `keep` copies; returns what went."""
    gone = copies_in(to)[:-keep] if keep > 0 else []
    for path in gone:
        path.unlink()
    return gone
