"""The station file written back: the shown keys put in, all other keys and comments kept."""

from __future__ import annotations

from typing import Any

import tomlkit

from drydown.desk.setupfields import MACHINES
from drydown.desk.setupnames import form_titles

__all__ = ["to_toml"]


FILE_ONLY = {"at_m", "wide_m"}
"""Keys of a row that no form asks."""


def to_toml(data: dict[str, Any], text: str) -> str:
    """The file text with the shown keys put in; all other keys and all comments are kept."""
    document = tomlkit.parse(text) if text else tomlkit.document()
    if not text:
        document.add(tomlkit.comment("Station file, written by the Station page; edit freely."))
    for key, value in data.items():
        _put(document, key.split("."), value)
    for prefix in (*MACHINES, "weather.months"):
        _drop_empty_rows(document, prefix.split("."))
    for form in form_titles():
        _drop_empty_table(document, "drying", form)
    _drop_empty_table(document, "gate")
    return tomlkit.dumps(document)


def _put(node: Any, path: list[str], value: Any) -> None:
    """Set a key deep in the document, or take it away; only what differs is touched."""
    head, *rest = path
    if not rest:
        if value is None:
            if head in node:
                del node[head]
        elif head not in node or node[head] != value:
            node[head] = value
        return
    if rest[0].isdigit():
        _put_row(node, head, int(rest[0]) - 1, rest[1:], value)
        return
    if head not in node:
        if value is None:
            return
        node[head] = tomlkit.table()
    _put(node[head], rest, value)


def _put_row(node: Any, head: str, row: int, rest: list[str], value: Any) -> None:
    rows = node.get(head)
    if rows is None:
        if value is None:
            return
        rows = node[head] = tomlkit.aot()
    while value is not None and len(rows) <= row:
        rows.append(tomlkit.table())
    if row < len(rows):
        _put(rows[row], rest, value)


def _drop_empty_rows(document: Any, path: list[str]) -> None:
    """Rows whose fields were all left empty go, with what stands only in the file."""
    node = document
    for part in path[:-1]:
        node = node.get(part, {})
    rows = node.get(path[-1], [])
    for i in range(len(rows) - 1, -1, -1):
        if set(rows[i]) <= FILE_ONLY:
            del rows[i]


def _drop_empty_table(document: Any, *path: str) -> None:
    node = document
    for part in path[:-1]:
        node = node.get(part, {})
    if path[-1] in node and not node[path[-1]]:
        del node[path[-1]]
