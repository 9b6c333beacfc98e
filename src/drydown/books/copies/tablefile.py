"""A spreadsheet's rows: CSV or XLSX, read whole or refused in one sentence."""

from __future__ import annotations

import csv
import io
import zipfile
from datetime import datetime
from typing import Any

from drydown.errors import InputError
from drydown.words import say

__all__ = ["MOST_BYTES", "MOST_ROWS", "Row", "check_columns", "read_table", "row_of"]

MOST_BYTES, MOST_ROWS, MOST_CELL, MOST_COLUMNS = 8_000_000, 50_000, 400, 40
Row = dict[str, str]


def read_table(name: str, content: bytes) -> tuple[list[str], list[list[str]]]:
    """Head and rows of a file; raises `InputError` when it cannot be read as a table."""
    return _xlsx(name, content) if content[:2] == b"PK" else _csv(name, content)


def _csv(name: str, content: bytes) -> tuple[list[str], list[list[str]]]:
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        raise InputError(
            say("is not UTF-8 text (line {line}).", line=line), name, "Save it as CSV UTF-8."
        ) from error
    if "\x00" in text:
        raise InputError("is not a text file.", name, "Save it as CSV UTF-8 or XLSX.")
    first = text.partition("\n")[0]
    mark = max(",;\t", key=first.count)
    try:
        rows = [list(row) for row in csv.reader(io.StringIO(text, newline=""), delimiter=mark, strict=True)]
    except csv.Error as error:
        raise InputError(
            say("is not a table: {error}.", error=error), name, "Save it as CSV UTF-8."
        ) from error
    return _head(name, rows)


def _xlsx(name: str, content: bytes) -> tuple[list[str], list[list[str]]]:
    from openpyxl import load_workbook  # noqa: PLC0415 (only where a workbook comes)

    try:
        with zipfile.ZipFile(io.BytesIO(content)) as box:
            if sum(part.file_size for part in box.infolist()) > 20 * MOST_BYTES:
                raise InputError("unpacks to far more than a list of rows.", name)
        book = load_workbook(io.BytesIO(content), read_only=True, data_only=True)
        sheet = book.worksheets[0]
        cells = sheet.iter_rows(values_only=True, max_row=MOST_ROWS + 2, max_col=MOST_COLUMNS + 1)
        rows = [[_text(v) for v in row] for row in cells]
        if (sheet.max_column or 0) > MOST_COLUMNS or any(len(r) > MOST_COLUMNS and r[-1] for r in rows):
            words = say("has something beyond column {most_columns}.", most_columns=MOST_COLUMNS)
            raise InputError(words, name, "Leave only the columns that are asked for.")
        rows = [_trimmed(row) for row in rows]
    except InputError:
        raise
    except Exception as error:
        raise InputError("cannot be read as a workbook.", name, "Save it as XLSX or CSV UTF-8.") from error
    return _head(name, rows)


def _trimmed(row: list[str]) -> list[str]:
    """A row without the empty cells behind it."""
    while row and not row[-1]:
        row.pop()
    return row


def _text(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, datetime):
        return value.isoformat(sep=" ", timespec="minutes")
    if isinstance(value, float):
        return f"{value:.10g}"
    return str(value)


def _head(name: str, rows: list[list[str]]) -> tuple[list[str], list[list[str]]]:
    if not rows:
        raise InputError("is empty.", name)
    return [cell.strip().lower().replace(" ", "_") for cell in rows[0]], rows[1:]


def check_columns(name: str, head: list[str], needed: tuple[str, ...], optional: tuple[str, ...]) -> None:
    """Refuse a file whose first row lacks a column, has an unknown one, or one twice."""
    missing = [c for c in needed if c not in head]
    if missing:
        raise InputError(
            say("has no column '{value}'.", value=missing[0]),
            name,
            say("The first row must name: {needed}.", needed=", ".join(needed)),
        )
    odd = [c for c in head if c and c not in needed + optional]
    if odd:
        raise InputError(
            say("has a column '{value}' that is not known.", value=odd[0]), name, "Take it out or rename it."
        )
    if len(set(head)) < len(head):
        raise InputError("names a column twice.", name)


def row_of(head: list[str], cells: list[str]) -> Row:
    """A row as cells by column; refuse one that is longer than its head."""
    if len(cells) > len(head) and any(c.strip() for c in cells[len(head) :]):
        raise InputError(
            say("has {cells} cells, the first row names {head} columns.", cells=len(cells), head=len(head))
        )
    long = next((h for h, c in zip(head, cells, strict=False) if len(c) > MOST_CELL), None)
    if long:
        raise InputError(say("is longer than {most_cell} characters.", most_cell=MOST_CELL), long)
    return {h: c.strip() for h, c in zip(head, cells, strict=False)} | dict.fromkeys(head[len(cells) :], "")
