"""The station description as typed, and as data: reading fields out of a file and out of a form."""

from __future__ import annotations

import re
import tomllib
from typing import Any

from drydown.books.numbers import parse_decimal
from drydown.desk.setupfields import all_fields, sections
from drydown.errors import InputError
from drydown.words import say

__all__ = ["from_post", "from_text"]

_COORDINATE = re.compile(r"^[0-9]{1,3}([.,][0-9]{1,9})?$")


def from_text(text: str) -> tuple[dict[str, str], dict[str, list[str]]]:
    """Field values of a station file; empty for a new station."""
    if not text:
        return {}, {}
    data = tomllib.loads(text)
    lists = {k: list(data.get(k, [])) for k in ("species", "routes")}
    values: dict[str, str] = {}
    _flatten("", {k: v for k, v in data.items() if k not in lists}, values)
    return values, lists


def _flatten(prefix: str, node: Any, values: dict[str, str]) -> None:
    if isinstance(node, dict):
        for key, inner in node.items():
            _flatten(f"{prefix}.{key}" if prefix else key, inner, values)
    elif isinstance(node, list) and node and isinstance(node[0], dict):
        for i, inner in enumerate(node, 1):
            _flatten(f"{prefix}.{i}", inner, values)
    elif isinstance(node, list):
        values[prefix] = ", ".join(str(v) for v in node)
    elif isinstance(node, bool):
        values[prefix] = "true" if node else "false"
    else:
        values[prefix] = str(node).removesuffix(".0")


def from_post(values: dict[str, str], lists: dict[str, list[str]]) -> tuple[dict[str, Any], dict[str, str]]:
    """Flat data from posted fields (None for a field left empty), and what is wrong with each, by key."""
    found: dict[str, Any] = {key: lists.get(key, []) or None for key in ("species", "routes")}
    wrong: dict[str, str] = {}
    for shown in (f for s in sections(values, {}, {}) for f in all_fields(s)):
        text = values.get(shown.key, "").strip()
        if shown.kind == "ticks":
            continue
        try:
            found[shown.key] = _typed(text, shown.kind, shown.key) if text else None
        except InputError as error:
            found[shown.key], wrong[shown.key] = None, f"{error.what} {error.fix}".strip()
    return found, wrong


def _clock(text: str, key: str) -> float:
    """17:30, 17.30 h, 17h30 or 17.5 as hours."""
    match = re.fullmatch(r"([0-2]?[0-9])\s*[:h]\s*([0-5][0-9])?\s*h?", text.lower())
    if match:
        return int(match[1]) + int(match[2] or 0) / 60.0
    return _number(text.lower().removesuffix("h").strip(), key)


def _typed(text: str, kind: str, key: str) -> Any:
    if kind == "text":
        return text.upper() if key == "money.currency" else text
    if kind == "choice":
        return {"true": True, "false": False}.get(text, text)
    if kind == "hours":
        return _hours(text, key)
    if kind == "clock":
        number = _clock(text, key)
        return int(number) if number == int(number) else round(number, 4)
    sign = -1 if text.startswith("-") else 1
    number = sign * _number(text.removeprefix("-"), key)
    return int(number) if number == int(number) else number


def _hours(text: str, key: str) -> list[int]:
    """Whole hours of the day, with blanks or commas between; 8:00 is 8."""
    parts = text.replace(",", " ").replace(";", " ").split()
    found = [re.fullmatch(r"([0-2]?[0-9])(?::00)?h?", part.lower()) for part in parts]
    if not all(found):
        raise InputError(say("'{text}' is not a list of hours.", text=text), key, "Write 8 10 12 14.")
    return [int(m[1]) for m in found if m]


def _number(text: str, key: str) -> float:
    """Coordinates have many digits; everything else follows the rule of the gate."""
    if key in {"place.latitude_deg", "place.longitude_deg"} and _COORDINATE.match(text):
        return float(text.replace(",", "."))
    return float(parse_decimal(text, key))
