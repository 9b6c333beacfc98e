"""What the day is told: every lot as it stands with its outlook, the yard, the air, as plain values."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from drydown.day.line import Worth
from drydown.outlook.corrected import Corrected
from drydown.outlook.keeping import Kept
from drydown.outlook.tank import TankWindow
from drydown.station.model import Station
from drydown.way.state import LotState
from drydown.way.yard import Yard

__all__ = ["DayNow", "LotNow", "MeterNow", "PlanNow", "TankNow", "WetNow", "codes"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class TankNow:
    """A full tank: since when, its window, whether a test said that it is ready, and the temperature it
    rests on."""

    since: datetime
    window: TankWindow
    tested: bool
    ready: bool


@dataclass(frozen=True, slots=True)
class LotNow:
    """A lot.

    outlook, where it dries and that is reckoned; window_h, hours in the mould window so far and, in the
    middle,
    until it is dry; covered, by the log (None: nothing noted); first_fruit_at; steps, kinds that can follow
    here; kept, its month in store, where it is noted what it is kept in.
    """

    state: LotState
    worth: Worth
    outlook: Corrected | None = None
    window_h: tuple[float, float] | None = None
    tank: TankNow | None = None
    covered: bool | None = None
    raked_at: datetime | None = None
    first_fruit_at: datetime | None = None
    steps: tuple[str, ...] = ()
    dry: bool = False
    kept: Kept | None = None

    @property
    def code(self) -> str:
        """Its code."""
        return self.state.code


@dataclass(frozen=True, slots=True)
class MeterNow:
    """A moisture meter: readings in the last thirty days, and when it was last held against an oven."""

    name: str
    readings: int
    checked_at: datetime | None
    first_at: datetime


@dataclass(frozen=True, slots=True)
class PlanNow:
    """A task of the plan that was accepted: lot, what, in words, from when; and when the plan was made."""

    lot: str
    kind: str
    words: str
    begin: datetime
    made_at: datetime


@dataclass(frozen=True, slots=True)
class WetNow:
    """What the books say of the wet side: water drawn and let out today [L], let out on a day of the last
    seven on the mean [L], and pulp that is not yet sold or used [kg, as wet as it came]."""

    drawn_l: float = 0.0
    let_out_l: float = 0.0
    week_l_day: float = 0.0
    pulp_kg: float = 0.0


@dataclass(frozen=True, slots=True)
class DayNow:
    """All that a day's lines are made of.

    now, local; rain (hour,) chance of more than 0.1 mm in each coming hour, from now's hour on; sun (hour,)
    [W/m2], the middle; waiting, lots not reckoned yet; put_off, keys of lines and until when; owed, growers
    with
    money owed for longer than a week, their number, the sum as text, since when; troubles, sentences that
    stand
    first (a broker that is away, a sensor that stands still); day_said, whether somebody said what the day
    was; wet, water and pulp by the books; plan, tasks that were accepted.
    """

    now: datetime
    station: Station
    yard: Yard
    lots: tuple[LotNow, ...]
    rain: Array
    sun: Array
    meters: tuple[MeterNow, ...] = ()
    put_off: Mapping[str, datetime] = field(default_factory=dict)
    owed: tuple[int, str, datetime] | None = None
    troubles: tuple[tuple[str, str], ...] = ()
    day_said: bool = True
    waiting: int = 0
    wet: WetNow = field(default_factory=WetNow)
    plan: tuple[PlanNow, ...] = ()

    def local(self, at: datetime) -> datetime:
        """A moment by the station's clock."""
        return at.astimezone(self.now.tzinfo)

    def by_place(self, lots: list[LotNow]) -> list[tuple[str, list[LotNow]]]:
        """Drying lots by their place, in the order in which the station names its places."""
        names = list(self.station.drying_places())
        found = [(name, [x for x in lots if x.state.at("bed") == name]) for name in names]
        return [(name, own) for name, own in found if own]


def codes(lots: list[LotNow]) -> tuple[str, ...]:
    """Codes of lots."""
    return tuple(x.code for x in lots)
