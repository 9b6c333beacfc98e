"""Sheets to print: slips, statements, cards, as PDF by typst. Words by language are data."""

from __future__ import annotations

import json
import tomllib
from functools import cache
from importlib.resources import as_file, files
from typing import Any

import segno

from drydown.errors import InputError
from drydown.words import say

__all__ = ["LANGUAGES", "languages", "pdf", "qr_svg", "words"]


@cache
def _words() -> dict[str, dict[str, str]]:
    text = (files("drydown.desk.prints") / "words.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def languages() -> dict[str, str]:
    """Languages a sheet can be printed in: code and own name."""
    return {code: rows["name"] for code, rows in _words().items()}


LANGUAGES = tuple(languages())


def words(language: str) -> dict[str, str]:
    """All words of a sheet in a language; English where one is missing."""
    return _words()["en"] | _words().get(language, {})


def qr_svg(text: str) -> str:
    """A QR code as SVG text, error correction M."""
    return str(segno.make(text, error="m", micro=False).svg_inline(border=2, omitsize=True))


def pdf(sheet: str, data: dict[str, Any], language: str = "en") -> bytes:
    """A sheet as PDF. Data goes in as JSON, never into the source.

    Args: sheet, name of a `.typ` file of this folder; data, plain; language, a code of `languages`.
    Returns: the PDF's bytes. Raises `InputError` when the sheet cannot be set.
    """
    import typst  # noqa: PLC0415 (loads a typesetter; only where a sheet is printed)

    inputs = {"data": json.dumps(data | {"words": words(language), "language": language}, ensure_ascii=False)}
    with as_file(files("drydown.desk.prints") / f"{sheet}.typ") as source:
        try:
            made: bytes = typst.compile(str(source), format="pdf", sys_inputs=inputs)
        except RuntimeError as error:
            raise InputError(say("could not be set: {error}", error=error), sheet) from error
    return made
