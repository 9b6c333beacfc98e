"""Ferment: into a tank, tested by hand, and when it looks ready."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

import numpy as np

from drydown.air.series import HourlyWeather
from drydown.figures import Source, Status
from drydown.numerals import number
from drydown.station.model import Station
from drydown.way.ask import choices, number_of, pick
from drydown.way.needs import Hours, Setting, Takes
from drydown.way.state import LotState, Stage, at_place
from drydown.way.step import Doing, Finding, Standing, Step
from drydown.way.yard import CROWDED, VOLUME_SOURCE, litres
from drydown.words import say

__all__ = ["LEAST_TANK_H", "ROUGH", "STEPS", "TANK_H", "not_ready", "tank_hours"]

TANK_H = 36.0
"""Codex CXC 69-2009, rules 27 and 29d as quoted: water fermentation 12 to 36 h."""
LEAST_TANK_H = 12.0
SLIPPERY, ROUGH = "slippery still", "grips, rough between the fingers"
_HOURS = Source(
    "12 to 20 h at about 20 C (handbooks 12 to 18, Cenicafe AT 432 14 to 20); own estimate for other "
    "temperatures: 2 to 2.5 times quicker for 10 C more, which no paper was found for",
    Status.OWN_ESTIMATE,
)
_SETTLED = Source("by the books", Status.STATED)


def not_ready(moved_at: datetime | None, felt: str, at: datetime) -> str:
    """Why a tank does not look ready to be washed; empty where it does or its hours are full.

    Args: moved_at, when it went in; felt, what the last test said; at. Returns: words.
    Source: common practice, no source: washed parchment feels rough; the hours are Codex CXC
    69-2009's, as quoted.
    """
    if felt and felt != ROUGH:
        return say("the last test says '{felt}'", felt=felt)
    hours = (at - moved_at).total_seconds() / 3600.0 if moved_at else 0.0
    if not felt and hours < LEAST_TANK_H:
        return say("{hours:.0f} h in the tank and not tested (Codex: 12 to 36 h with water)", hours=hours)
    return ""


def tank_hours(tank_c: float, members: int, seed: int) -> Hours:
    """Hours in the tank until the mucilage lets go, by the temperature of the mass.

    Equation: t = t20 Q10^((20 - T)/10), t20 triangular 12, 16, 20 h, Q10 even 2.0 to 2.5.
    Args: tank_c [C]; members; seed. Returns: draws [h]. Valid range: 10 to 35 C; the hand test decides.
    Source: handbook hours at about 20 C; the temperature's part is our own estimate.
    """
    rng = np.random.default_rng(seed)
    base = rng.triangular(12.0, 16.0, 20.0, members)
    q10 = rng.uniform(2.0, 2.5, members)
    return Hours(base * q10 ** ((20.0 - min(max(tank_c, 10.0), 35.0)) / 10.0), _HOURS)


def _air_c(setting: Setting) -> float:
    """Mean temperature of the days ahead, by the station's weather; 20 C where none is stated."""
    if isinstance(setting.weather, HourlyWeather):
        return float(setting.weather.temp_c.mean())
    if setting.weather:
        month = setting.weather[setting.start.month - 1]
        return 0.5 * (month.tmax_c + month.tmin_c)
    return 20.0


def _takes(state: LotState, setting: Setting) -> Takes:
    return Takes(tank_hours(_air_c(setting), setting.members, setting.seed), tank_l=litres(state.matter))


def _odd(doing: Doing) -> list[Finding]:
    """Whether a tank holds another lot already, or is too small for what is in it."""
    spot, found = doing.yard.tanks.get(doing.details["tank"]), []
    if spot is None:
        return []
    if spot.lots:
        words = say(
            "{tank} holds {lots} already: the two can no longer be told apart.", tank=spot.name,
            lots=", ".join(spot.lots),
        )  # fmt: skip
        found.append(Finding(words, _SETTLED))
    whole = spot.used + litres(doing.has)
    if whole > CROWDED * spot.size:
        words = say(
            "{tank} holds {size} L; this makes about {whole} L: it runs over, or not all of it is in.",
            tank=spot.name, size=number(spot.size), whole=number(whole),
        )  # fmt: skip
        found.append(Finding(words, VOLUME_SOURCE))
    return found


def _then(state: LotState, details: Mapping[str, Any], _at: datetime) -> LotState:
    return at_place(state, "tank", str(details.get("tank", "")))


def _has_tanks(_state: LotState, station: Station) -> bool:
    return bool(station.equipment.tanks)


def _at_tank(_state: LotState, _station: Station) -> tuple[str, ...]:
    return ("tank",)


STEPS = (
    Step(
        "ferment", "Put into a tank", "into the tank",
        Standing(Stage.FERMENTING, "in the tank", lies="tank"), (pick("tank", "tank"),),
        can=_has_tanks, then=_then, odd=_odd, takes=_takes, at=_at_tank, hurts=("tank",),
    ),
    Step(
        "test", "Test the fermentation", "fermentation tested", None,
        (
            choices("felt", "by hand", SLIPPERY, ROUGH),
            number_of("ph", "pH of the mass", 2, 9, "", "pH").optional(),
            number_of("tank_c", "temperature in the tank, C", 0, 60, "C").optional(),
        ),
        shapes=False, at=_at_tank, hurts=("tank",),
    ),
)  # fmt: skip
