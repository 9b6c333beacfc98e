"""How long a lot would lie, by place, load and start: the outlook's own futures, kept by all they are made
of."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, MutableMapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from drydown.errors import DrydownError
from drydown.outlook.case import DryingCase, Stop
from drydown.outlook.corrected import corrected
from drydown.outlook.rules import chance_above, window_days
from drydown.plan.week import Week
from drydown.station.model import Station
from drydown.way.habits import habits_of, lot_form
from drydown.way.state import LotState

__all__ = ["START_H", "DryTime", "DryTimes", "case_of"]

Array = NDArray[np.float64]
START_H = 14
"""Hour of the day at which a lot of a day is taken to be spread; spread at ten its date at P80 is off by 7 h
in the mean (bench/plan.py): lots end in daylight."""


@dataclass(frozen=True, slots=True)
class DryTime:
    """Hours to dry in each future (member,), inf where never; chance to leave the mould window's longer
    rule."""

    done_h: Array
    mould: float

    def at(self, share: float) -> float:
        """Hours that are enough in a share of the futures [h], inf where none is."""
        return float(np.quantile(self.done_h, share, method="higher"))


def case_of(
    station: Station, species: str, route: str, place: str, load: float, start: datetime,
    stop: tuple[str, float, int] | None = None,
) -> DryingCase | None:  # fmt: skip
    """A lot as it would dry; None where the station has no table for it or no such place.

    stop, a stay before: place, load [kg/m2], hours.
    """
    state = LotState("", species, route)
    habits, found = habits_of(state, station), station.drying_places().get(place)
    if habits is None or found is None:
        return None
    stops: tuple[Stop, ...] = ()
    if stop is not None:
        before = station.drying_places().get(stop[0])
        if before is None:
            return None
        stops = (Stop(before[0], stop[1], stop[2]),)
    return DryingCase(
        species, lot_form(state), found[0].name, load, habits.target_wb, start, habits.routine(),
        stops=stops, spot=found[0],
    )  # fmt: skip


class DryTimes:
    """Drying times of a week; what was asked before with the same air, crop and handling is not run anew.

    kept: any mapping by name; what is in it already is taken. `ran` counts what was run.
    """

    def __init__(self, week: Week, kept: MutableMapping[str, DryTime], stamp: str = "") -> None:
        self.week, self.kept, self.stamp, self.ran = week, kept, stamp, 0
        self._near: dict[DryingCase, DryTime] = {}

    def _key(self, case: DryingCase) -> str:
        w = self.week
        learnt = "" if w.prior is None else (w.prior.names, w.prior.mean.tobytes(), w.prior.cov.tobytes())
        told = repr((self.stamp, case, w.members, learnt))
        return "drytime-" + hashlib.sha256(told.encode()).hexdigest()

    def ask(self, cases: Iterable[DryingCase]) -> dict[DryingCase, DryTime]:
        """Drying times of cases, two at a time; those that cannot be told are left out."""
        wanted = list(dict.fromkeys(cases))
        for case in wanted:
            if case not in self._near and (found := self.kept.get(self._key(case))) is not None:
                self._near[case] = found
        missing = [c for c in wanted if c not in self._near]
        if missing:
            with ThreadPoolExecutor(2) as pool:
                for case, made in zip(missing, pool.map(self._run, missing), strict=True):
                    if made is not None:
                        self._near[case] = made
                        self.kept[self._key(case)] = made
        return {c: self._near[c] for c in wanted if c in self._near}

    def _run(self, case: DryingCase) -> DryTime | None:
        w = self.week
        try:
            out = corrected(case, (), w.skies, w.members, seed=1, prior=w.prior, threads=1)
        except DrydownError:
            return None  # no climate, or outside what the engine covers: that place is not offered
        self.ran += 1
        done = np.where(np.isnan(out.forecast.done_h), np.inf, out.forecast.done_h)
        return DryTime(done, chance_above(out.window, 24.0 * window_days()[1]))


def start_of(day: datetime) -> datetime:
    """The moment a lot of a day is taken to be spread."""
    return day.replace(hour=START_H, minute=0, second=0, microsecond=0)


def days_of(week: Week) -> list[datetime]:
    """Local midnights of the plan's days, today first."""
    first = week.now.replace(hour=0, minute=0, second=0, microsecond=0)
    return [first + timedelta(days=d) for d in range(week.days)]
