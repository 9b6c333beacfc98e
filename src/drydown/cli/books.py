"""`drydown backup`, `restore`, `verify`: keep the books and prove them."""

from __future__ import annotations

import shutil
import sys
import tempfile
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated, Any

import typer

from drydown.cli.desk import begin
from drydown.cli.show import EXIT_INPUT, answering, err, out, print_json, waiting
from drydown.errors import InputError
from drydown.words import say

__all__ = ["backup", "open_books", "restore_copy", "verify_books"]

Data = Annotated[Path, typer.Option(help="folder that `drydown serve` uses")]
Json = Annotated[bool, typer.Option("--json", help="print JSON")]
Passphrase = Annotated[Path | None, typer.Option(help="file with the passphrase that locks or opens a copy")]
WARNING = (
    "Keep a copy away from this machine. It holds growers' names, money and password hashes: lock it with "
    "--passphrase-file or --key."
)
LOCKED = "Keep it away from this machine, and its key away from it: without the key nobody opens it."


def open_books(data: Path) -> None:
    """Open the books of a data folder that is in use."""
    if not (data / "secret.key").exists():
        raise InputError("holds no station.", str(data), "Give the folder that `drydown serve` uses.")
    begin(data, demo=(data / "demo.txt").exists())


def backup(
    data: Data = Path("drydown-data"),
    to: Annotated[Path | None, typer.Option(help="folder for copies; a second disk is best")] = None,
    keep: Annotated[int, typer.Option(help="copies to keep; 0 for all", min=0)] = 0,
    passphrase_file: Passphrase = None,
    key: Annotated[
        list[str] | None, typer.Option(help="age key (age1...) that may open the copy; repeat for more")
    ] = None,
    json: Json = False,
) -> None:
    """Copy the books, also while the desk is at work; the copy says how far it reaches."""
    with answering():
        from drydown.books.copies.backup import back_up, check_copy, prune  # noqa: PLC0415

        open_books(data)
        target = to or data / "copies"
        with waiting("copying the books", quiet=json):
            made = back_up(data, target, datetime.now(UTC))
            check_copy(made.path)
            path = _locked(made.path, passphrase_file, key)
        gone = prune(target, keep)
        if json:
            print_json({
                "shape": "drydown.backup/1", "copy": str(path), "entries": made.entries,
                "head": made.head, "bytes": path.stat().st_size, "pruned": [p.name for p in gone],
            })  # fmt: skip
            return
        size = path.stat().st_size / 1e6
        out.print(f"{path}: {made.entries} entries, {size:.1f} MB, read back whole.", markup=False)
        out.print(WARNING if path == made.path else LOCKED, markup=False)


def _locked(path: Path, passphrase_file: Path | None, keys: list[str] | None) -> Path:
    """The copy, locked where that was asked for."""
    from drydown.books.copies.lock import encrypt  # noqa: PLC0415

    if passphrase_file is None and not keys:
        return path
    return encrypt(path, _said(passphrase_file), keys or ())


def _said(file: Path | None) -> str:
    """What stands in a file for one secret; by file, so that it is in no list of commands."""
    if file is None:
        return ""
    try:
        return file.read_text(encoding="utf-8").strip()
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(say("cannot be read ({error}).", error=error), str(file)) from error


def restore_copy(
    copy: Annotated[Path, typer.Argument(help="a copy made by `drydown backup`")],
    data: Annotated[Path, typer.Option(help="a new folder for the books")],
    passphrase_file: Passphrase = None,
    key_file: Annotated[
        Path | None, typer.Option(help="file with the secret age key of a locked copy")
    ] = None,
    json: Json = False,
) -> None:
    """Put a copy into a new folder and check it from end to end."""
    with answering():
        from drydown.books.copies.backup import BOOKS  # noqa: PLC0415

        fresh = not data.exists()
        facts = _restored(copy, data, passphrase_file, key_file)
        try:
            begin(data, demo=(data / "demo.txt").exists())
            from drydown.books.copies.verify import verify  # noqa: PLC0415

            found = verify(anew=True)
            if found.entries != facts["entries"]:
                found.add(
                    say(
                        "the copy says {entries} entries, {entries_2} are there.",
                        entries=facts["entries"],
                        entries_2=found.entries,
                    )
                )
            from drydown.books.models import Head  # noqa: PLC0415

            if BOOKS in facts["parts"] and not Head.objects.filter(digest=facts["head"]).exists():
                found.add("the last seal is not the one the copy names.")
        except Exception:
            if fresh:
                shutil.rmtree(data, ignore_errors=True)
            raise
        if json:
            print_json({"shape": "drydown.restore/1", "entries": found.entries, "problems": found.problems})
        elif found.good:
            out.print(f"{found.entries} entries restored to {data} and found whole.", markup=False)
            out.print(f"Start with: drydown serve --data {data}; everybody enters anew.", markup=False)
        for line in found.problems if not json else []:
            err.print(line, markup=False)
        if not found.good:
            sys.exit(EXIT_INPUT)


def _restored(copy: Path, data: Path, passphrase_file: Path | None, key_file: Path | None) -> dict[str, Any]:
    from drydown.books.copies.backup import restore  # noqa: PLC0415
    from drydown.books.copies.lock import ENDING, decrypt  # noqa: PLC0415

    if copy.suffix != ENDING:
        return restore(copy, data)
    with tempfile.TemporaryDirectory() as work:
        plain = Path(work) / copy.name.removesuffix(ENDING)
        decrypt(copy, plain, _said(passphrase_file), _said(key_file))
        return restore(plain, data)


def verify_books(
    data: Data = Path("drydown-data"),
    anew: Annotated[bool, typer.Option(help="also read every record off the journal again")] = False,
    json: Json = False,
) -> None:
    """Check balances, hash chain, references, holdings and the database file."""
    with answering():
        open_books(data)
        from drydown.books.copies.verify import verify  # noqa: PLC0415

        with waiting("checking the books", quiet=json):
            found = verify(anew)
        if json:
            print_json({
                "shape": "drydown.verify/1", "good": found.good, "entries": found.entries,
                "postings": found.postings, "problems": found.problems, "notes": found.notes,
            })  # fmt: skip
        else:
            for line in found.notes:
                out.print(f"note: {line}", markup=False)
            for line in found.problems:
                err.print(line, markup=False)
            if found.good:
                out.print(
                    f"{found.entries} entries, {found.postings} postings: every seal joins, every entry "
                    "balances, every holding is the sum of its postings.", markup=False,
                )  # fmt: skip
        if not found.good:
            sys.exit(EXIT_INPUT)
