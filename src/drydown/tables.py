"""Data tables that ship with Drydown, and rows that somebody has added in a folder of their own.

`DRYDOWN_ADDED` may name a folder. A file there with the name of a packaged table (`species.toml`,
`forms.toml`, `places.toml`, `routes.toml`, `order.toml`, `cautions.toml`) adds its rows to it; files
in its `schemes` are further grading schemes, and Python files in its `steps` further steps of a lot.
"""

from __future__ import annotations

import os
import tomllib
from collections.abc import Mapping
from functools import lru_cache
from importlib.resources import files
from pathlib import Path
from typing import Any

from drydown.errors import InputError
from drydown.words import say

__all__ = ["ADDED", "added_files", "added_folder", "table"]

ADDED = "DRYDOWN_ADDED"
"""Name of the variable that names the folder."""


def added_folder() -> Path | None:
    """The folder of added rows; None without one."""
    text = os.environ.get(ADDED, "")
    return Path(text) if text else None


def table(package: str, name: str) -> dict[str, Any]:
    """A packaged table with the added rows: tables within tables are put together, the rest replaced.

    Args: package, such as "drydown.matter"; name of the file. Returns: the table, to be read only.
    Raises `InputError` where the added file cannot be read.
    """
    return _read(package, name, added_folder())


@lru_cache(maxsize=64)
def _read(package: str, name: str, folder: Path | None) -> dict[str, Any]:
    own = tomllib.loads((files(package) / name).read_text(encoding="utf-8"))
    added = folder / name if folder else None
    if added is None or not added.is_file():
        return own
    try:
        return _together(own, tomllib.loads(added.read_text(encoding="utf-8")))
    except (OSError, ValueError, RecursionError) as error:
        raise InputError(
            say("cannot be read: {error}.", error=error),
            str(added),
            say("Mend it, or unset {name}.", name=ADDED),
        ) from error


def _together(own: Mapping[str, Any], more: Mapping[str, Any]) -> dict[str, Any]:
    found = dict(own)
    for key, value in more.items():
        before = found.get(key)
        both = isinstance(before, Mapping) and isinstance(value, Mapping)
        found[key] = _together(before, value) if both else value  # type: ignore[arg-type]
    return found


def added_files(kind: str, ending: str) -> list[Path]:
    """Files that were added in the folder `kind`, by name.

    Args: kind, "schemes" or "steps"; ending, such as ".toml". Returns: paths, none without a folder.
    """
    folder = added_folder()
    return sorted((folder / kind).glob(f"*{ending}")) if folder else []
