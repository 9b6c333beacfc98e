"""The trail of changes to registers and access: who, when, what."""

from __future__ import annotations

from typing import Any

from drydown.books.journal import Who
from drydown.books.models import Change

__all__ = ["note_change"]


def note_change(who: Who | None, what: str, about: str = "", **details: Any) -> Change:
    """Keep one line of the trail."""
    name = who.user.get_username() if who and who.user else ""
    return Change.objects.create(by_name=name, what=what, about=about[:120], details=details)
