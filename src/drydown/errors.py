"""What can go wrong, as a tree. Each error is one clear sentence for the person who reads it.

DrydownError
├── InputError      something handed in is wrong: what, where, what to do
│   └── RangeError  a number is outside the range a formula or rule was made for
├── BalanceError    dry matter, water or energy do not close: a fault of ours, never hidden
└── NotFittedError  a published model exists, but not for this species or form
"""

from __future__ import annotations

from drydown.words import sentence

__all__ = ["BalanceError", "DrydownError", "InputError", "NotFittedError", "RangeError"]


class DrydownError(Exception):
    """Base of every error Drydown raises on purpose."""


class InputError(DrydownError):
    """Something handed in is wrong.

    `what` is wrong, `where` (file, line, key or field), and what to do about it (`fix`).
    """

    def __init__(self, what: str, where: str = "", fix: str = "") -> None:
        self.what, self.where, self.fix = sentence(what), sentence(where), sentence(fix)
        lead, tail = where + ": " if where else "", " " + fix if fix else ""
        super().__init__(lead + what + tail)  # plain English, as it is logged and handed on

    def __str__(self) -> str:
        """The sentence in the language of whoever is being spoken to."""
        lead = f"{self.where}: " if self.where else ""
        tail = f" {self.fix}" if self.fix else ""
        return f"{lead}{self.what}{tail}"


class RangeError(InputError):
    """A number lies outside the range that a formula or rule was made for."""


class BalanceError(DrydownError):
    """Dry matter, water or energy do not close. Please report it: it is a fault in Drydown."""


class NotFittedError(DrydownError):
    """No published constants are at hand for this species or form."""
