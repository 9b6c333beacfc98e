"""The days a lot spent in the mould window: what they say once it is bagged."""

from __future__ import annotations

from dataclasses import dataclass

from drydown.figures import Source
from drydown.outlook.rules import window_days, window_state
from drydown.way.step import Finding
from drydown.words import say

__all__ = ["HOLD", "Passed", "findings", "passed"]

HOLD = "hold it apart, do not blend it; a laboratory decides"


@dataclass(frozen=True, slots=True)
class Passed:
    """Days in the window, in words; danger outside both rules; what to do, where there is one thing."""

    days: float
    danger: bool
    words: str
    todo: str


def passed(window_h: float) -> Passed | None:
    """What a lot brought along of its drying: days in the mould window do not go away in a bag.

    Args: window_h [h] in the window while it dried. Returns: words, None inside both rules.
    Source: `rules.toml`, window.
    """
    amber, red = window_days()
    days = window_h / 24.0
    if days >= red:
        words = say("mould window: {days:.0f} days while it dried, outside both rules", days=days)
        return Passed(days, True, words, HOLD)
    if days >= amber:
        words = say("mould window: {days:.0f} days while it dried, inside the longer rule only", days=days)
        return Passed(days, False, words, "")
    return None


def findings(window_h: float) -> list[Finding]:
    """The same as findings beside a step."""
    found = passed(window_h)
    if found is None:
        return []
    source: Source = window_state(0.0, 0.0)[1]
    words = say("{words}: {todo}.", words=found.words, todo=found.todo) if found.todo else None
    return [Finding(words or say("{words}.", words=found.words), source)]
