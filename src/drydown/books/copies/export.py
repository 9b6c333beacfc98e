"""Carry everything out: every table as CSV, XLSX or JSON, readable without Drydown."""

from __future__ import annotations

import csv
import io
import json
import zipfile
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from typing import Any, BinaryIO

from django.db.models import Model, QuerySet

from drydown.books.models import (
    BenchSheet,
    Delivery,
    Descent,
    Entry,
    Grower,
    Happening,
    Holding,
    Lot,
    Posting,
    Reading,
)
from drydown.errors import InputError
from drydown.words import say

__all__ = ["FORMATS", "TABLES", "carry_out", "disarmed", "rows_of"]

FORMATS = ("csv", "xlsx", "json")
_DANGEROUS = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")
XLSX_ROWS = 1_048_575

Spec = tuple[Callable[[], QuerySet[Model]], dict[str, str]]
TABLES: dict[str, Spec] = {
    "growers": (lambda: Grower.objects.order_by("number"), {
        "number": "number", "name": "name", "village": "village", "language": "language", "plots": "plots",
    }),
    "lots": (lambda: Lot.objects.order_by("id"), {
        "code": "code", "species": "species", "route": "route", "opened_on": "opened_on", "stage": "stage",
        "bed": "bed", "store": "store", "load_kg_m2": "load_kg_m2", "moisture_wb": "known_wb",
        "moisture_at": "known_at",
    }),
    "deliveries": (lambda: Delivery.objects.order_by("entry_id"), {
        "entry": "entry_id", "at": "happened_at", "grower": "grower__number", "lot": "lot__code",
        "gross_g": "gross_g", "tare_g": "tare_g", "net_g": "net_g", "ripe_percent": "ripe_percent",
        "float_percent": "float_percent", "class": "fruit_class", "price_per_kg": "price_per_kg",
        "pays": "pays", "held_back": "held_back", "currency": "currency", "decimals": "decimals",
        "taken_back": "undone",
    }),
    "steps": (lambda: Happening.objects.order_by("entry_id"), {
        "entry": "entry_id", "at": "happened_at", "lot": "lot__code", "step": "kind", "details": "details",
        "taken_back": "undone",
    }),
    "readings": (lambda: Reading.objects.order_by("entry_id"), {
        "entry": "entry_id", "at": "happened_at", "lot": "lot__code", "moisture_wb": "moisture_wb",
        "method": "method", "bean_temp_c": "bean_temp_c", "taken_back": "undone",
    }),
    "descent": (lambda: Descent.objects.order_by("id"), {
        "entry": "entry_id", "parent": "parent__code", "child": "child__code", "kind": "kind",
        "dry_g": "dry_g", "water_g": "water_g", "taken_back": "undone",
    }),
    "bench": (lambda: BenchSheet.objects.order_by("entry_id"), {
        "entry": "entry_id", "at": "happened_at", "lot": "lot__code", "sample": "sample_no",
        "session": "session_no", "sheet": "kind", "told": "told", "taken_back": "undone",
    }),
    "journal": (lambda: Entry.objects.order_by("number"), {
        "entry": "number", "kind": "kind", "happened_at": "happened_at", "received_at": "received_at",
        "by": "by_name", "device": "device__name", "device_number": "device_seq", "reason": "reason",
        "takes_back": "reverses_id", "facts": "body", "seal": "seal__digest",
    }),
    "postings": (lambda: Posting.objects.order_by("id"), {
        "entry": "entry_id", "account": "account__name", "commodity": "commodity", "amount": "amount",
    }),
    "holdings": (lambda: Holding.objects.order_by("account__name", "commodity"), {
        "account": "account__name", "commodity": "commodity", "amount": "amount",
    }),
}  # fmt: skip


def disarmed(value: Any) -> Any:
    """A cell that a spreadsheet will not run as a formula; numbers stay numbers."""
    if isinstance(value, str) and value.startswith(_DANGEROUS):
        return "'" + value
    return value


def _plain(value: Any) -> Any:
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat()
    if isinstance(value, (dict, list)):
        return json.dumps(value, ensure_ascii=False, sort_keys=True)
    if value is None or isinstance(value, (str, int, float, bool)):
        return value
    return str(value)


def rows_of(table: str) -> Iterator[list[Any]]:
    """Rows of a table as plain values, in the order of its columns."""
    query, columns = TABLES[table]
    found = query().values_list(*columns.values())
    for row in found.iterator(chunk_size=2000):
        yield [_plain(value) for value in row]


def carry_out(fmt: str, out: BinaryIO) -> None:
    """Write everything to a binary file: a zip of CSV files, one XLSX book, or one JSON text."""
    if fmt not in FORMATS:
        raise InputError(
            say("'{fmt}' is not a format.", fmt=fmt), fix=say("One of {formats}.", formats=", ".join(FORMATS))
        )
    {"csv": _csv, "xlsx": _xlsx, "json": _json}[fmt](out)


def _csv(out: BinaryIO) -> None:
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as box:
        for table, (_query, columns) in TABLES.items():
            with box.open(f"{table}.csv", "w") as raw, io.TextIOWrapper(raw, "utf-8", newline="") as text:
                writer = csv.writer(text)
                writer.writerow(columns)
                writer.writerows([disarmed(v) for v in row] for row in rows_of(table))


def _xlsx(out: BinaryIO) -> None:
    from openpyxl import Workbook  # noqa: PLC0415 (only where a workbook is asked for)

    book = Workbook(write_only=True)
    for table, (_query, columns) in TABLES.items():
        sheet = book.create_sheet(table)
        sheet.append(list(columns))
        for i, row in enumerate(rows_of(table)):
            if i >= XLSX_ROWS:
                raise InputError(
                    say("{table} has more rows than a workbook holds.", table=table),
                    "xlsx",
                    "Use csv or json.",
                )
            sheet.append([_cell(v) for v in row])
    book.save(out)


def _cell(value: Any) -> Any:
    """A value a workbook can hold: no control characters, no formulas, no text above its limit."""
    if not isinstance(value, str):
        return value
    clean = "".join(c for c in value if c >= " " or c in "\n\t")
    return disarmed(clean[:32_000])


def _json(out: BinaryIO) -> None:
    text = io.TextIOWrapper(out, "utf-8", write_through=True)
    text.write('{"shape": "drydown.everything/1"')
    for table, (_query, columns) in TABLES.items():
        text.write(f', "{table}": [')
        for i, row in enumerate(rows_of(table)):
            text.write(",\n" if i else "\n")
            text.write(json.dumps(dict(zip(columns, row, strict=True)), ensure_ascii=False))
        text.write("]")
    text.write("}\n")
    text.detach()
