"""Ferment: into a tank, tested by hand, and when it looks ready."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from drydown.air.series import HourlyWeather
from drydown.figures import Source, Status
from drydown.numerals import number
from drydown.outlook.tank import learnt_hours
from drydown.station.model import Station
from drydown.steps.ferment import FALL_SHARE, HOURS_SOURCE, VOID_MM
from drydown.way.ask import choices, number_of, pick
from drydown.way.needs import Hours, Setting, Takes
from drydown.way.state import LotState, Stage, at_place
from drydown.way.step import Doing, Finding, Standing, Step
from drydown.way.yard import CROWDED, VOLUME_SOURCE, litres
from drydown.words import say

__all__ = ["LEAST_TANK_H", "ROUGH", "STEPS", "TANK_H", "felt_of", "not_ready", "says_ready", "tank_hours"]

TANK_H = 36.0
"""Codex CXC 69-2009, rules 27 and 29d as quoted: water fermentation 12 to 36 h."""
LEAST_TANK_H = 12.0
SLIPPERY, ROUGH = "slippery still", "grips, rough between the fingers"
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


def says_ready(details: Mapping[str, Any]) -> bool:
    """Whether a test says that the mucilage has let go: by the hand, the fall of the mass, or the probe.

    Args: details of a test. Source: washed parchment feels rough, common practice, no source; a fall of 7 %
    and a void of 85 mm, Penuela 2012, Cenicafe 63(1).
    """
    fall, void = details.get("fall_percent"), details.get("void_mm")
    measured = (fall is not None and fall >= 100.0 * FALL_SHARE) or (void is not None and void >= VOID_MM)
    return details.get("felt") == ROUGH or measured


def felt_of(details: Mapping[str, Any]) -> str:
    """What a test comes to: ready as the hand would say it, where probe or fall say so."""
    return ROUGH if says_ready(details) else str(details.get("felt", ""))


def tank_hours(tank_c: float, members: int, seed: int) -> Hours:
    """Hours in the tank until the mucilage lets go, by the temperature of the mass, where no tank was seen
    yet.

    Args: tank_c [C]; members; seed. Returns: draws [h]. Valid range: 10 to 35 C; the hand test decides.
    Source: `steps.ferment`, hours of handbooks; the temperature's part is our own estimate.
    """
    return Hours(learnt_hours([]).draws(tank_c, seed, members), HOURS_SOURCE)


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
            number_of("fall_percent", "how far the mass has fallen, % of its height", 0, 40, "%",
            "fall").optional(),
            number_of("void_mm", "void in the probe, mm", 0, 200, "mm").optional(),
            number_of("tank_c", "temperature in the tank, C", 0, 60, "C").optional(),
        ),
        shapes=False, at=_at_tank, hurts=("tank",),
    ),
)  # fmt: skip
