"""What waiting costs on the wet side: hours from which fruit and washed coffee lose, and how much."""

from __future__ import annotations

from drydown.figures import Source, Status

__all__ = ["DEFECT_COST", "FRUIT_H", "SOUR_H", "WAIT_SOURCE"]

DEFECT_COST = 0.30
"""Share of a lot's worth that is lost where its cup is defective (own estimate)."""
FRUIT_H, SOUR_H = (8.0, 24.0), (6.0, 24.0)
"""Hours from which ripe fruit, and washed wet coffee, lose, and hours at which all of it is taken as lost."""
WAIT_SOURCE = Source(
    "common practice, no source: fruit is pulped the day it is picked, washed coffee is spread within "
    "hours; the "
    "slope from 8 (6 where washed) to 24 h and 30 % of the worth at its end are our own estimate",
    Status.OWN_ESTIMATE,
)
