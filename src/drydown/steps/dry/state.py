"""The state of a drying lot, so that a run can be stopped, read, moved and carried on at any hour."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from drydown.errors import RangeError
from drydown.steps.dry.data import Place
from drydown.steps.dry.lanes import START_COLUMNS, state_rows
from drydown.steps.dry.layout import SHELLS, SLAB, shell_geometry
from drydown.words import say

__all__ = ["FIRST_STEP_S", "DryState", "mixed", "spread_over"]

Array = NDArray[np.float64]
NS = SHELLS + 1
FIRST_STEP_S = 300.0
"""The first step tried of a run [s]; the error decides on the next."""


def spread_over(mean: Array, layers: int) -> Array:
    """A mixed lot as a state with layers, all alike.

    Args: mean (members, START_COLUMNS) kg/kg, kg/m2, C; layers [count]. Returns: (members, rows).
    Valid range: any. Source: the layout of `lanes.begin`.

    >>> spread_over(np.full((3, len(START_COLUMNS)), 0.8), 4).shape[0]
    3
    """
    rows = np.zeros((mean.shape[0], state_rows(layers)))
    rows[:, : layers * NS] = np.tile(mean[:, :NS], layers)
    rows[:, layers * NS : layers * (NS + 1)] = mean[:, NS : NS + 1] / layers
    rows[:, layers * (NS + 1) : layers * (NS + 2)] = mean[:, NS + 1 : NS + 2]
    rows[:, layers * (NS + 3) : layers * (NS + 3) + SLAB] = mean[:, NS + 2 : NS + 3]
    rows[:, -1] = FIRST_STEP_S
    return rows


def mixed(rows: Array, layers: int) -> Array:
    """A state with its layers mixed: shells and temperature in the mean, film added up.

    Args: rows (members, rows); layers [count]. Returns: (members, START_COLUMNS).
    Valid range: any. Source: conservation of water; layers of one load have nearly one heat capacity.

    >>> lot = np.full((1, len(START_COLUMNS)), 0.8)
    >>> bool(np.allclose(mixed(spread_over(lot, 4), 4), lot))
    True
    """
    members = rows.shape[0]
    mean = np.empty((members, len(START_COLUMNS)))
    mean[:, :NS] = rows[:, : layers * NS].reshape(members, layers, NS).mean(axis=1)
    mean[:, NS] = rows[:, layers * NS : layers * (NS + 1)].sum(axis=1)
    mean[:, NS + 1] = rows[:, layers * (NS + 1) : layers * (NS + 2)].mean(axis=1)
    mean[:, NS + 2] = rows[:, layers * (NS + 3) : layers * (NS + 3) + SLAB].mean(axis=1)
    return mean


@dataclass(frozen=True, slots=True)
class DryState:
    """Where every member of a run stands: rows (member, `lanes.state_rows`), on a place at a load.

    load_dm_kg_m2 [kg dry matter/m2]; hour (member) [h from the run's start] that the state is of: the
    last hour, or the whole hour after the target was met; ground_c (member) [C] half a metre below a floor;
    air (member, `HOURLY`) of the last hour; pace (member): film water in rows is that of load over pace.
    """

    rows: Array
    layers: int
    place: Place
    load_dm_kg_m2: float
    hour: NDArray[np.int64]
    ground_c: Array
    air: Array
    pace: Array

    def moisture_db(self) -> Array:
        """Mean moisture of each member, film water included.

        Args: none. Returns: (members,) [kg/kg dry matter]. Valid range: any. Source: volume shares.
        """
        volumes, _factors = shell_geometry()
        mean = mixed(self.rows, self.layers)
        return np.asarray(mean[:, :NS] @ volumes + mean[:, NS] * self.pace / self.load_dm_kg_m2)

    def moisture_wb(self) -> Array:
        """Mean moisture of each member, wet basis.

        Args: none. Returns: (members,) [fraction]. Valid range: any. Source: definition.
        """
        x = self.moisture_db()
        return np.asarray(x / (1.0 + x))

    def read(self, moisture_wb: float | Array) -> DryState:
        """The same lot once a meter has spoken: every member has the moisture read, its profile kept.

        Equation: film and shells times one factor. Args: moisture_wb [fraction, one or (members,)].
        Returns: `DryState`. Valid range: 0.03 to 0.80. Source: own choice; a mean says nothing of the
        profile.
        """
        wanted = np.broadcast_to(np.asarray(moisture_wb, dtype=float), self.rows.shape[:1])
        if not np.all((wanted >= 0.03) & (wanted <= 0.80)):
            raise RangeError(
                say(
                    "moisture must be from 0.03 to 0.80 wet basis, got {moisture_wb}.",
                    moisture_wb=moisture_wb,
                ),
                "reading",
            )
        factor = wanted / (1.0 - wanted) / self.moisture_db()
        rows = self.rows.copy()
        rows[:, : self.layers * (NS + 1)] *= factor[:, None]
        return replace(self, rows=rows)

    def members(self, rows: NDArray[np.int64]) -> DryState:
        """Some of the members.

        Args: rows (member,) [numbers]. Returns: `DryState`. Valid range: numbers of members. Source: none
        needed.
        """
        return replace(
            self, rows=self.rows[rows], hour=self.hour[rows], ground_c=np.asarray(self.ground_c)[rows],
            air=self.air[rows], pace=np.asarray(self.pace)[rows],
        )  # fmt: skip

    def with_members(self, rows: NDArray[np.int64], other: DryState) -> DryState:
        """These members as another state has them, the rest as they are.

        Args: rows (member,) [numbers]; other, of as many. Returns: `DryState`. Valid range: one place and
        load.
        Source: none needed.
        """
        rows_, hour, air = self.rows.copy(), self.hour.copy(), self.air.copy()
        rows_[rows], hour[rows], air[rows] = other.rows, other.hour, other.air
        return replace(self, rows=rows_, hour=hour, air=air)
