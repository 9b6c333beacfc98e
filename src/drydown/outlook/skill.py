"""How far a forecast is trusted: published skill first, then the station's own record of wet and dry days.

Published: raw rain forecasts in the tropics are often no better than the month's frequency, at best 30 %
better
in Brier's score. A share of the futures as large as the skill takes the forecast's hours, the rest keeps
its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from drydown.figures import Band, Figure, Source, Status
from drydown.words import say

__all__ = ["AT_FIRST", "Skill", "skill_of"]

AT_FIRST, WORTH_DAYS = 0.15, 30.0
"""Skill before any day was compared, half of the best published, and how many days it is worth (own
choice)."""
SOURCE = Source(
    "published: raw rain forecasts in the tropics are often no better than the month's frequency, at best "
    "30 % "
    "better; 15 % at first, own choice",
    Status.OWN_ESTIMATE,
)


@dataclass(frozen=True, slots=True)
class Skill:
    """Share of the futures that take a forecast, with its working, and how many days were compared."""

    share: float
    days: int

    def figure(self) -> Figure:
        """The share with its working."""
        rule = say(
            "Brier skill of wet days against the month's frequency over {days} days, and {first:.0f} % as "
            "if of "
            "{worth:.0f} days", days=self.days, first=100 * AT_FIRST, worth=WORTH_DAYS,
        )  # fmt: skip
        return Figure(self.share, "of the futures", self.share, self.share, Band.EXACT, rule, {}, (SOURCE,))


def skill_of(told_wet: Sequence[bool], was_wet: Sequence[bool], frequency: Sequence[float]) -> Skill:
    """Skill of wet-day forecasts.

    Equation: 1 - B/B0, B the mean of (forecast - observed)^2, B0 that of the month's frequency; mixed with
    the skill at first by days. Args: told_wet, was_wet, frequency [0 to 1], one a day. Returns: `Skill`, 0 to
    0.9.
    Source: Brier 1950, Monthly Weather Review 78; shares of futures own choice.
    """
    told, was, base = (np.asarray(v, dtype=float) for v in (told_wet, was_wet, frequency))
    if not told.size:
        return Skill(AT_FIRST, 0)
    ours, plain = float(np.mean((told - was) ** 2)), float(np.mean((base - was) ** 2))
    own = 1.0 - ours / plain if plain > 1e-9 else float(ours <= 1e-9)
    mixed = (WORTH_DAYS * AT_FIRST + told.size * own) / (WORTH_DAYS + told.size)
    return Skill(float(np.clip(mixed, 0.0, 0.9)), int(told.size))
