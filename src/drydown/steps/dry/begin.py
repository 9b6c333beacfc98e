"""How a drying lot begins: its water inside and outside, its profile, and what joins it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from drydown.errors import RangeError
from drydown.steps.dry.layout import SHELLS, shell_nodes
from drydown.words import say

__all__ = ["Joined", "join", "start"]

Array = NDArray[np.float64]
DRYING_SKIN_DB = 0.13
"""Skin of a bean that is drying: near balance with daytime air (own estimate)."""
PROFILE_FORMED = 0.15
"""Share of the fresh moisture that must be gone before the profile is fully formed (own estimate)."""


@dataclass(frozen=True, slots=True)
class Joined:
    """A lot of the same form that is put together with this one: two beds become one.

    share [of all dry matter, 0 to 1]; moisture_db [kg/kg]. Beans of both are then drawn together
    as one, evenly mixed: the mean is right, the spread between beans of the two is not shown.
    """

    share: float
    moisture_db: float

    def __post_init__(self) -> None:
        if not 0.01 <= self.share <= 0.99:
            raise RangeError(
                say("the joined lot must be 0.01 to 0.99 of all, got {share:g}.", share=self.share),
                "joined lot",
            )
        if not 0.05 <= self.moisture_db <= 4.0:
            raise RangeError(
                say("must be from 0.05 to 4 dry basis, got {moisture_db:g}.", moisture_db=self.moisture_db),
                "joined lot",
            )


def join(begin: Array, other: Joined, fresh: Array, air_c: Array) -> None:
    """Mix another lot into the state; its beans have the air's temperature and a profile of their own.

    Args: begin (members, START_COLUMNS), changed in place; other; fresh moisture (members,) [kg/kg];
    air_c (members,) [C]. Returns: nothing. Valid range: as `Joined`. Source: conservation of water.

    >>> lot = np.full((1, SHELLS + 4), 1.0)
    >>> join(lot, Joined(0.5, 0.2), np.array([0.85]), np.array([20.0]))
    >>> float(lot[0, SHELLS + 1])
    0.5
    """
    inside = np.minimum(np.full(len(fresh), other.moisture_db), fresh)
    mine = 1.0 - other.share
    begin[:, : SHELLS + 1] = mine * begin[:, : SHELLS + 1] + other.share * _profile(inside, fresh)
    begin[:, SHELLS + 1] *= mine
    begin[:, SHELLS + 2] = mine * begin[:, SHELLS + 2] + other.share * air_c


def start(
    parameters: Mapping[str, Array], load: float | Array, start_db: float | Array | None, members: int
) -> Array:
    """Water at the start: moisture inside and free water outside.

    Args: parameters; load [kg dry matter/m2, one or (members,)]; start_db [kg/kg], None for fresh;
    members [count]. Returns: (members, shells + skin + film) [kg/kg, kg/m2]. Valid range: 0.03 to 4 kg/kg.
    Source: free water is what is above the moisture a bean holds inside (`forms.toml`).

    >>> fresh = {"x_full": np.array([1.13]), "x_bean": np.array([0.85])}
    >>> start(fresh, 5.0, None, 1)[0, -1].round(3).item()
    1.4
    """
    full, bean = parameters["x_full"], parameters["x_bean"]
    total = full if start_db is None else np.broadcast_to(np.asarray(start_db, float), members)
    if not np.all((total >= 0.03) & (total <= 4.0)):
        raise RangeError(
            say("moisture now must be from 0.03 to 4 kg/kg dry basis, got {start_db}.", start_db=start_db)
        )
    inside = np.minimum(total, bean)
    state = np.empty((members, SHELLS + 2))
    state[:, : SHELLS + 1] = inside[:, np.newaxis] if start_db is None else _profile(inside, bean)
    state[:, SHELLS + 1] = (total - inside) * load
    return state


def _profile(inside: Array, fresh: Array) -> Array:
    """Moisture of the shells of a bean that has been drying, from its mean, (members, shells + skin).

    The slowest mode of diffusion in a sphere, sin(pi r)/(pi r), over a dry skin: what is left
    of any start after the first days. Even near the fresh moisture, and blended in between.
    """
    edges, radius = shell_nodes()
    mode = np.sin(np.pi * radius) / (np.pi * radius)
    mode = mode / (np.diff(edges**3) @ mode)
    skin = np.minimum(inside, DRYING_SKIN_DB)
    shaped = skin[:, None] + (inside - skin)[:, None] * mode
    gone = np.clip((1.0 - inside / fresh) / PROFILE_FORMED, 0.0, 1.0)[:, None]
    return np.asarray(gone * shaped + (1.0 - gone) * inside[:, None])
