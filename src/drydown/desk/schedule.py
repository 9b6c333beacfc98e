"""Copies of the books on a schedule, made beside the running desk."""

from __future__ import annotations

import sys
import threading
import time
from datetime import UTC, datetime
from pathlib import Path

from drydown.books.copies.backup import back_up, copies_in, prune
from drydown.errors import DrydownError
from drydown.words import say

__all__ = ["copy_if_due", "start_copies"]


def copy_if_due(data: Path, to: Path, every_h: float, keep: int, now: datetime) -> bool:
    """Make a copy when the newest is older than `every_h`; returns whether one was made."""
    ages = [now.timestamp() - made.stat().st_mtime for made in copies_in(to)] if to.exists() else []
    if any(0.0 <= age < every_h * 3600.0 for age in ages):  # one dated ahead of now says nothing
        return False
    back_up(data, to, now)
    prune(to, keep)
    return True


def start_copies(data: Path, to: Path, every_h: float, keep: int) -> threading.Thread:
    """Look every few minutes whether a copy is due; a failure is told and tried again."""

    def work() -> None:
        while True:
            try:
                copy_if_due(data, to, every_h, keep, datetime.now(UTC))
            except (DrydownError, OSError) as error:
                sys.stderr.write(say("scheduled copy: {error}\n", error=error))
            time.sleep(min(600.0, every_h * 3600.0 / 4))

    thread = threading.Thread(target=work, name="copies", daemon=True)
    thread.start()
    return thread
