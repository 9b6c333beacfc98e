"""Many stations, many seasons: a table of stations in, a table of seasons out, on one machine or on a
cluster.

A piece of work is one station and one unit of its seasons. What it gives depends on nothing else, is named by
the hash of all it is made of, and is kept as a file, so that a run that was stopped goes on where it was.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor, as_completed
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from drydown.errors import DrydownError, InputError
from drydown.fingerprint import MODEL, fingerprint, fingerprint_of_file
from drydown.season.simulate import UNIT
from drydown.season.study import harvest_of, study
from drydown.station.load import load_station, parse_station
from drydown.station.weather import station_weather
from drydown.words import say

if TYPE_CHECKING:
    import pyarrow as pa

__all__ = ["COLUMNS", "Piece", "Row", "gathered", "pieces_of", "read_stations", "run_pieces", "work"]

COLUMNS = ("station", "name", "fruit_kg", "begins", "days")
"""Columns of the table of stations: a station file (relative to the table), and where they differ from it a
name, the crop [kg], its first day and its length."""


@dataclass(frozen=True, slots=True)
class Row:
    """A station of the table. text, of its file; folder, where its weather file stands."""

    name: str
    text: str
    folder: str
    fruit_kg: float | None
    begins: str
    days: int | None


@dataclass(frozen=True, slots=True)
class Piece:
    """One unit of seasons of one station. key, the hash of all that decides its answer."""

    key: str
    row: Row
    first: int
    seasons: int
    seed: int


def read_stations(path: Path) -> tuple[list[Row], list[str]]:
    """The table of stations, CSV or Parquet; what cannot be read of it, a sentence a row.

    Args: path. Returns: rows and faults. Raises `InputError` where the table itself cannot be read, or has no
    column `station`. Valid range: up to 100 000 rows. Source: docs/season.md.
    """
    rows: list[Row] = []
    faults: list[str] = []
    for number, cells in enumerate(_cells(path), 2):
        try:
            rows.append(_row(path, cells))
        except (DrydownError, ValueError) as error:
            faults.append(say("line {n}: {e}", n=number, e=error))
    if len({r.name for r in rows}) < len(rows):
        raise InputError("a name stands twice.", path.name, "Give each station a name of its own.")
    return rows, faults


def _cells(path: Path) -> Iterator[dict[str, str]]:
    import pyarrow as pa  # noqa: PLC0415
    from pyarrow import csv, parquet  # noqa: PLC0415

    try:
        text = pa.string()
        kinds = csv.ConvertOptions(column_types=dict.fromkeys(COLUMNS, text))
        found = (
            parquet.read_table(path)
            if path.suffix == ".parquet"
            else csv.read_csv(path, convert_options=kinds)
        )
    except (OSError, pa.ArrowInvalid) as error:
        raise InputError(say("cannot be read: {e}.", e=error), path.name) from error
    if "station" not in found.column_names:
        raise InputError("has no column 'station'.", path.name, say("Columns: {c}.", c=", ".join(COLUMNS)))
    unknown = sorted(set(found.column_names) - set(COLUMNS))
    if unknown:
        raise InputError(
            say("has a column '{c}' that is not known.", c=unknown[0]), path.name,
            say("Columns: {c}.", c=", ".join(COLUMNS)),
        )  # fmt: skip
    for cells in found.to_pylist():
        yield {k: "" if v is None else str(v) for k, v in cells.items()}


def _row(table: Path, cells: dict[str, str]) -> Row:
    path = table.parent / cells["station"]
    load_station(path)
    name = cells.get("name") or path.stem
    fruit = float(cells["fruit_kg"]) if cells.get("fruit_kg") else None
    days = int(float(cells["days"])) if cells.get("days") else None
    begins = str(date.fromisoformat(cells["begins"])) if cells.get("begins") else ""
    return Row(name, path.read_text(encoding="utf-8"), str(path.parent), fruit, begins, days)


def pieces_of(rows: Sequence[Row], seasons: int, seed: int) -> list[Piece]:
    """The work of a study, in order. Args: rows; seasons of each; seed. Returns: pieces. Valid range: 1
    to 5000
    seasons. Source: none."""
    model = fingerprint(*MODEL, "way", "season")
    found = []
    for row in rows:
        air = _air_of(row)
        for first in range(0, seasons, UNIT):
            count = min(UNIT, seasons - first)
            made_of = json.dumps(
                [model, air, row.text, row.fruit_kg, row.begins, row.days, row.name, first, count, seed]
            )
            key = hashlib.sha256(made_of.encode()).hexdigest()[:32]
            found.append(Piece(key, row, first, count, seed))
    return found


def _air_of(row: Row) -> str:
    """Hash of the weather file a station uses; empty where it uses normals."""
    weather = parse_station(row.text, row.name).weather
    if weather.file is None or weather.months is not None:
        return ""
    return fingerprint_of_file(Path(row.folder) / weather.file)


def work(piece: Piece) -> bytes:
    """A piece's seasons as Parquet, a row a season; the same bytes wherever it is run.

    Args: piece. Returns: the file's bytes. Raises `DrydownError` where the station cannot be simulated. Valid
    range: any piece. Source: `study`.
    """
    import pyarrow as pa  # noqa: PLC0415
    from pyarrow import parquet  # noqa: PLC0415

    row = piece.row
    station = parse_station(row.text, row.name)
    harvest = harvest_of(station, date.fromisoformat(row.begins) if row.begins else None)
    harvest = replace(harvest, fruit_kg=row.fruit_kg or harvest.fruit_kg, days=row.days or harvest.days)
    weather = station_weather(station, Path(row.folder))
    found = study(station, weather, harvest, None, piece.seasons, piece.seed, 1, first=piece.first)
    count = found.outcome.seasons
    columns: dict[str, Any] = {
        "name": [row.name] * count,
        "season": list(range(piece.first, piece.first + count)),
    }
    columns |= {k: v.tolist() for k, v in found.outcome.each.items()}
    if not found.costs.unknown:
        columns |= {"yearly": found.costs.yearly.tolist(), "left": found.costs.left.tolist()}
    sink = pa.BufferOutputStream()
    parquet.write_table(pa.table(columns), sink, compression="zstd")
    return bytes(sink.getvalue())


def run_pieces(
    pieces: Sequence[Piece], folder: Path, scheduler: str = "", threads: int = 2,
    tell: Callable[[int, int, str], None] | None = None,
) -> list[str]:  # fmt: skip
    """Do what is not done yet; each answer is kept as it comes.

    Args: pieces; folder of the answers; scheduler, address of a Dask scheduler, else threads here; tell, is
    handed how many are done, of how many, and what went wrong. Returns: faults, a sentence each; a piece that
    fails stops none of the others. Valid range: any. Source: none.
    """
    folder.mkdir(parents=True, exist_ok=True)
    left = [p for p in pieces if not (folder / f"{p.key}.parquet").exists()]
    done, faults = len(pieces) - len(left), []
    if tell is not None:
        tell(done, len(pieces), "")
    for piece, future in _ended(left, scheduler, threads):
        fault = ""
        try:
            _keep(folder / f"{piece.key}.parquet", future.result())
        except DrydownError as error:
            fault = say("{name}: {e}", name=piece.row.name, e=error)
        except Exception as error:
            fault = say(
                "{name}: failed ({e})", name=piece.row.name, e=f"{type(error).__name__}: {error}"[:200]
            )
        done += 1
        if fault:
            faults.append(fault)
        if tell is not None:
            tell(done, len(pieces), fault)
    return faults


def _ended(pieces: Sequence[Piece], scheduler: str, threads: int) -> Iterable[tuple[Piece, Any]]:
    """Pieces as they end, each with what tells its answer."""
    if scheduler:
        import distributed  # noqa: PLC0415

        connect: Any = distributed.Client
        ended: Any = distributed.as_completed
        try:
            client = connect(scheduler, timeout="10s", set_as_default=False)
        except (OSError, TimeoutError, ValueError) as error:
            raise InputError(say("cannot be reached ({e}).", e=str(error)[:120]), scheduler) from error
        with client, client.as_current():
            by_key = {}
            for piece in pieces:
                future = client.submit(work, piece, key=f"drydown-{piece.key}", retries=3, pure=True)
                by_key[future.key] = (piece, future)
            for future in ended([f for _p, f in by_key.values()]):
                yield by_key[future.key][0], future
        return
    with ThreadPoolExecutor(threads) as pool:
        asked: dict[Future[bytes], Piece] = {pool.submit(work, p): p for p in pieces}
        for ended in as_completed(asked):
            yield asked[ended], ended


def _keep(path: Path, data: bytes) -> None:
    """Whole or not at all."""
    part = path.with_suffix(".part")
    part.write_bytes(data)
    part.replace(path)


def gathered(pieces: Sequence[Piece], folder: Path) -> pa.Table | None:
    """All answers that are there, in the order of the pieces. Args: pieces; folder. Returns: a table;
    None where
    none is. Valid range: any. Source: none."""
    import pyarrow as pa  # noqa: PLC0415
    from pyarrow import parquet  # noqa: PLC0415

    paths = [folder / f"{p.key}.parquet" for p in pieces]
    found = [parquet.read_table(p) for p in paths if p.exists()]
    return pa.concat_tables(found, promote_options="default") if found else None


def by_station(table: pa.Table) -> list[dict[str, Any]]:
    """Each station's seasons in a row: P10, P50, P90 of what counts most. Args: table of `gathered`. Returns:
    rows. Valid range: any. Source: none."""
    names = list(dict.fromkeys(table.column("name").to_pylist()))
    held = np.array(table.column("name").to_pylist())
    wanted = [c for c in ("fruit_kg", "green_kg", "in_time", "fresh_days", "mould_lots", "lost_share", "left")
              if c in table.column_names]  # fmt: skip
    rows = []
    for name in names:
        row: dict[str, Any] = {"name": name, "seasons": int((held == name).sum())}
        for column in wanted:
            values = np.array(table.column(column).to_pylist(), dtype=float)[held == name]
            row[column] = tuple(float(x) for x in np.nanpercentile(values, (10, 50, 90)))
        rows.append(row)
    return rows
