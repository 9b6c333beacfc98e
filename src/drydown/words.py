"""Sentences that are ready for languages: a template and its values, filled in English.

A `Said` reads as the English sentence it is; where it is written out (`str()`, an f-string, a page)
the edge's translator is asked for the template first. Numbers stay values until then.
"""

from __future__ import annotations

from collections.abc import Callable
from string import Formatter
from typing import Any

__all__ = ["Said", "say", "sentence", "speak"]

Translate = Callable[[str], str]
_FORMATTER = Formatter()
_voice: list[Translate] = []
"""The edge's translator: one function for the process, which asks who is being spoken to."""


def speak(translate: Translate | None) -> None:
    """Name the function that translates a template for whoever is being spoken to; None for none."""
    _voice[:] = [translate] if translate else []


class Said(str):
    """A sentence with the template and values it was made of.

    Compared, searched and stored it is plain English; written out it is in the reader's language.
    """

    __slots__ = ("template", "values")
    template: str
    values: dict[str, Any]

    def __str__(self) -> str:
        """The sentence in the language of whoever is being spoken to."""
        if not _voice:
            return str.__str__(self)
        return _filled(_voice[0](self.template), self.values)

    def __format__(self, spec: str) -> str:
        """As `str()`, in an f-string."""
        return format(str(self), spec)

    def __reduce__(self) -> tuple[Any, ...]:
        """Kept as template and values."""
        return _again, (self.template, self.values)


def _filled(template: str, values: dict[str, Any]) -> str:
    return _FORMATTER.vformat(template, (), values) if values else template


def say(template: str, **values: Any) -> Said:
    """A sentence of a template with named gaps, such as say("{kg:g} kg is too much.", kg=3.0).

    Args: template; values of its gaps (a gap's format is as in `str.format`). Without values braces
    are plain. Returns: the sentence. Raises `KeyError` where a gap has no value.
    """
    plain = {k: _english(v) for k, v in values.items()}
    made = Said(_filled(template, plain))
    made.template, made.values = template, values
    return made


def sentence(text: str) -> Said:
    """A plain text as a sentence of its own template; a sentence stays what it is.

    Args: text. Returns: the sentence.
    """
    return text if isinstance(text, Said) else say(text)


def _english(value: Any) -> Any:
    return str.__str__(value) if isinstance(value, Said) else value


def _again(template: str, values: dict[str, Any]) -> Said:
    return say(template, **values)
