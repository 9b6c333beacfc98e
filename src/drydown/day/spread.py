"""Before spreading: each place at each of some loads, with days, mould window and area-days."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from drydown.errors import DrydownError
from drydown.figures import Figure
from drydown.outlook.case import DryingCase
from drydown.outlook.corrected import corrected
from drydown.outlook.rules import chance_above, window_days
from drydown.outlook.skies import Skies
from drydown.station.model import Station
from drydown.way.dry import whole_hour
from drydown.way.habits import habits_of, lot_form
from drydown.way.state import LotState
from drydown.way.yard import dry_matter_of, spread_m2

__all__ = ["MEMBERS", "Trial", "trials"]

MEMBERS = 64
SHARES = (0.6, 1.0, 1.5)
"""Loads that are tried, over the station's habit (own choice)."""


@dataclass(frozen=True, slots=True)
class Trial:
    """One place at one load: area [m2], days to dry, chance to stay inside the mould rules, m2 times days."""

    place: str
    load_kg_m2: float
    area_m2: float
    days: Figure
    inside: float
    area_days: float
    habit: bool


def trials(
    station: Station, skies: Skies, now: datetime, species: str, route: str, fruit_kg: float, day: int,
    places: Sequence[str] | None = None,
) -> list[Trial]:  # fmt: skip
    """What spreading would give, place by place and load by load.

    Args: station; skies; now; species; route; fruit_kg [kg]; day, in how many days it is spread; places,
    those
    looked at (all beds by default; dryers are left out: they ask more than a load). Returns: trials, in the
    order
    of the places; one that the engine refuses is left out. Source: the drying step from fresh, 64 futures.
    """
    state = LotState("", species, route)
    habits = habits_of(state, station)
    if habits is None:
        return []
    dry_g, found = dry_matter_of(species, route, station, fruit_kg), []
    start = whole_hour(now + timedelta(days=day), station)
    kinds = station.drying_places()
    for name in places or list(kinds):
        spot, _area = kinds[name]
        if spot.machine:
            continue
        for share in SHARES:
            load = round(min(max(habits.load_kg_m2 * share, 2.0), 60.0), 1)
            case = DryingCase(
                species,
                lot_form(state),
                spot.name,
                load,
                habits.target_wb,
                start,
                habits.routine(),
                spot=spot,
            )
            try:
                out = corrected(case, (), skies, MEMBERS, seed=1)
            except DrydownError:
                continue
            area = spread_m2(route, species, station, dry_g, load)
            days = out.forecast.figures["dry_days"]
            middle = days.value if np.isfinite(days.value) else np.nan
            inside = 1.0 - chance_above(out.window, 24.0 * window_days()[1])
            found.append(Trial(name, load, area, days, inside, area * middle, share == 1.0))
    return found
