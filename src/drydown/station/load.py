"""Read a station file; answer mistakes with key, value and what is allowed."""

from __future__ import annotations

import tomllib
from importlib.resources import files
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from drydown.errors import InputError
from drydown.station.model import Station
from drydown.words import say

__all__ = ["StationFileError", "example_text", "load_station", "parse_station", "problems"]

_WORDS = {
    "missing": "is missing",
    "extra_forbidden": "is not a key of a station file (misspelt?)",
    "greater_than_equal": "must be {ge:g} or more",
    "greater_than": "must be above {gt:g}",
    "less_than_equal": "must be {le:g} or less",
    "less_than": "must be below {lt:g}",
    "float_type": "must be a number",
    "float_parsing": "must be a number (decimal point, no quotes)",
    "int_type": "must be a whole number",
    "int_parsing": "must be a whole number",
    "int_from_float": "must be a whole number",
    "bool_type": "must be true or false",
    "bool_parsing": "must be true or false",
    "string_type": "must be text in quotes",
    "string_too_short": "must not be empty",
    "string_too_long": "must be {max_length} characters or fewer",
    "string_pattern_mismatch": "must be three capital letters, such as XTS",
    "literal_error": "must be one of {expected}",
    "too_short": "needs {min_length} or more entries, has {actual_length}",
    "too_long": "takes {max_length} entries at most, has {actual_length}",
    "finite_number": "must be a finite number",
    "dict_type": "must be a table",
    "tuple_type": "must be a list",
    "model_type": "must be a table",
}


class StationFileError(InputError):
    """One or more keys of a station file are wrong; `lines` has one sentence each."""

    def __init__(self, where: str, lines: list[str]) -> None:
        self.lines = lines
        super().__init__(" ".join(lines), where)


def load_station(path: Path) -> Station:
    """Read and check a station file.

    Args: path of the TOML file. Returns: `Station`.
    Valid range: as `station.model`. Raises `StationFileError` naming key, value and range.
    """
    try:
        text = path.read_text(encoding="utf-8")
    except UnicodeDecodeError as error:
        raise InputError("is not UTF-8 text.", path.name, "Save it as UTF-8.") from error
    except OSError as error:
        raise InputError(
            say("cannot be read ({strerror}).", strerror=error.strerror),
            str(path),
            "Make one: drydown station new",
        ) from error
    return parse_station(text, path.name)


def parse_station(text: str, where: str = "station file") -> Station:
    """Check the text of a station file."""
    try:
        data = tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # bad TOML, endless digits, a bomb of brackets
        raise InputError(
            say("is not valid TOML: {error}.", error=error), where, "Text needs quotes."
        ) from error
    try:
        return Station.model_validate(data)
    except ValidationError as error:
        raise StationFileError(where, problems(error)) from error


def problems(error: ValidationError) -> list[str]:
    """One sentence for each thing that is wrong; a list is not also called too short for it."""
    items = error.errors()
    deeper = {item["loc"][:i] for item in items for i in range(len(item["loc"]))}
    kept = [i for i in items if not (i["type"] == "too_short" and i["loc"] in deeper)]
    return [_sentence(item) for item in kept]


def _sentence(item: Any) -> str:
    key = ".".join(str(part + 1) if isinstance(part, int) else str(part) for part in item["loc"])
    kind, context = item["type"], item.get("ctx", {})
    if kind == "value_error":
        words = str(context["error"])
        return f"{key}: {words}." if key else f"{words}."
    words = _WORDS.get(kind, item["msg"]).format(**context)
    if kind in {"missing", "extra_forbidden", "too_short", "too_long"}:
        return f"{key} {words}."
    return f"{key} is {item['input']!r}; it {words}."


def example_text() -> str:
    """The commented example, ready to edit."""
    return (files("drydown.station") / "example.toml").read_text(encoding="utf-8")
