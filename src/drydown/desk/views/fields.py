"""Fields for lists: numbers, and pairs, one a line."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from drydown.books.numbers import parse_decimal
from drydown.errors import InputError

__all__ = ["Numbers", "Pairs"]

LINES = {"rows": 3, "inputmode": "decimal", "autocomplete": "off"}


def _parts(text: str) -> list[str]:
    return [p.strip() for p in text.replace(";", "\n").split("\n") if p.strip()]


def _words(line: str) -> list[str]:
    """A line's words, without the marks and units people write beside numbers."""
    plain = line.replace(":", " ").replace("=", " ").replace("%", " ")
    return [w for w in plain.split() if w.lower() not in {"g", "mm"}]


class Numbers(forms.CharField):
    """Numbers, one a line or with semicolons between; a list."""

    def __init__(self, **more: Any) -> None:
        more.setdefault("help_text", _("with blanks or semicolons between: 11.2; 11,4"))
        super().__init__(max_length=600, widget=forms.Textarea(attrs=dict(LINES)), **more)

    def clean(self, value: Any) -> list[float]:
        """The numbers; what is not one is named."""
        try:
            parts = [w for p in _parts(super().clean(value) or "") for w in _words(p)]
            return [float(parse_decimal(p, str(self.label))) for p in parts]
        except InputError as error:
            raise forms.ValidationError(f"{error.what} {error.fix}") from error


class Pairs(forms.CharField):
    """Pairs of a word and a number, one a line."""

    def __init__(self, first_is_number: bool = False, **more: Any) -> None:
        self.first_is_number = first_is_number
        super().__init__(max_length=1500, widget=forms.Textarea(attrs=dict(LINES)), **more)

    def clean(self, value: Any) -> list[tuple[Any, float]]:
        """The pairs; a line that is none is named."""
        found: list[tuple[Any, float]] = []
        for line in _parts(super().clean(value) or ""):
            words = _words(line)
            if len(words) != 2:
                raise forms.ValidationError(
                    _now("'%(line)s' is not two things: write for example 17 210."),
                    params={"line": line[:60]},
                )
            try:
                second = float(parse_decimal(words[1], line))
                first: Any = (
                    float(parse_decimal(words[0], line)) if self.first_is_number else words[0].lower()
                )
            except InputError as error:
                raise forms.ValidationError(str(error)) from error
            if first in {f for f, _s in found} and not self.first_is_number:
                raise forms.ValidationError(_now("%(name)s stands twice."), params={"name": first})
            found.append((first, second))
        return found
