"""`drydown export` and `drydown import`: everything out, lists in."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from drydown.cli.books import open_books
from drydown.cli.show import EXIT_INPUT, answering, err, out, print_json
from drydown.errors import InputError
from drydown.words import say

__all__ = ["export", "import_list"]

Data = Annotated[Path, typer.Option(help="folder that `drydown serve` uses")]


def export(
    to: Annotated[Path, typer.Argument(help="file to write: ends with .zip (CSV), .xlsx or .json")],
    data: Data = Path("drydown-data"),
) -> None:
    """Write every table to one file that other programs read."""
    with answering():
        formats = {".zip": "csv", ".xlsx": "xlsx", ".json": "json"}
        if to.suffix not in formats:
            raise InputError("must end with .zip, .xlsx or .json.", str(to))
        if to.exists():
            raise InputError("is there already; nothing was written.", str(to), "Name another.")
        open_books(data)
        from drydown.books.copies.export import carry_out  # noqa: PLC0415

        try:
            with to.open("wb") as file:
                carry_out(formats[to.suffix], file)
        except OSError as error:
            raise InputError(
                say("cannot be written ({strerror}).", strerror=error.strerror), str(to)
            ) from error
        out.print(f"Wrote {to}. Growers' names are in it.", markup=False)


def import_list(
    kind: Annotated[str, typer.Argument(help="growers, plots or deliveries")],
    file: Annotated[Path, typer.Argument(help="CSV (UTF-8) or XLSX; the first row names the columns")],
    data: Data = Path("drydown-data"),
    keep_rows: Annotated[
        bool, typer.Option("--keep", help="keep the good rows; without it, only look")
    ] = False,
    json: Annotated[bool, typer.Option("--json", help="print JSON, shape drydown.import/1")] = False,
) -> None:
    """Look at a list of growers, plots or past deliveries, and keep it with --keep."""
    with answering():
        open_books(data)
        from drydown.books.copies.imports import keep, preview  # noqa: PLC0415
        from drydown.books.journal.write import Who  # noqa: PLC0415
        from drydown.station.load import load_station  # noqa: PLC0415

        try:
            content = file.read_bytes()
        except OSError as error:
            raise InputError(
                say("cannot be read ({strerror}).", strerror=error.strerror), str(file)
            ) from error
        found = preview(kind, file.name, content, load_station(data / "station.toml"))
        kept = keep(found, Who()) if keep_rows and found.good else 0
        if json:
            wrong = [{"row": n, "words": words} for n, words in found.wrong]
            print_json({
                "shape": "drydown.import/1", "good": len(found.good), "known": found.known, "kept": kept,
                "wrong": wrong,
            })  # fmt: skip
        else:
            for number, words in found.wrong:
                err.print(f"row {number}: {words}", markup=False)
            what = (
                f"{kept} kept"
                if keep_rows
                else say("{good} could be kept (add --keep)", good=len(found.good))
            )
            out.print(f"{what}, {found.known} known already, {len(found.wrong)} wrong.", markup=False)
        if found.wrong:
            sys.exit(EXIT_INPUT)
