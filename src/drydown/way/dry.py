"""Dry: spread, raked, covered, moved, spread again; the drying case and how long it will take."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import numpy as np

from drydown.errors import RangeError
from drydown.figures import Source, Status
from drydown.numerals import number
from drydown.outlook.case import DryingCase
from drydown.outlook.forecast import forecast
from drydown.station.model import Station
from drydown.steps.dry.data import Place
from drydown.way.ask import number_of, pick
from drydown.way.habits import habits_of, lot_form
from drydown.way.needs import Hours, Setting, Takes
from drydown.way.state import LotState, Stage, at_place
from drydown.way.step import Doing, Finding, Standing, Step
from drydown.way.yard import CROWDED, spread_m2
from drydown.words import say

__all__ = ["STEPS", "drying_case", "whole_hour"]

_SAID = Source("as the station describes it", Status.STATED)
_FORECAST = Source("the drying forecast for this lot, place and weather (docs/drying.md)", Status.DERIVED)
MOST_LOAD, MOST_IN_MACHINE = 60.0, 900.0
"""kg/m2 that no bed, and no machine, holds (own choice)."""
_BED = pick("bed", "drying place")
_LOAD = number_of("load_kg_m2", "load, kg per m2 as spread", 2, MOST_IN_MACHINE, "kg/m2")


def whole_hour(at: datetime, station: Station) -> datetime:
    """The next whole hour of the station's clock, never before the moment itself."""
    later = at + timedelta(minutes=59, seconds=59)
    return later.astimezone(station.place.site().zone).replace(minute=0, second=0, microsecond=0)


def drying_case(state: LotState, station: Station) -> DryingCase | None:
    """The drying case of a lot, from its last reading or from spreading; None where it is not drying.

    Args: state; station. Returns: case that starts at a whole hour, or None where the place or the
    drying table is not described.
    """
    habits, found = habits_of(state, station), station.drying_places().get(state.at("bed"))
    if state.spread_at is None or state.load_kg_m2 is None or habits is None or found is None:
        return None
    return DryingCase(
        state.species, lot_form(state), found[0].name, state.load_kg_m2, habits.target_wb,
        whole_hour(state.known_at or state.spread_at, station), habits.routine(), state.known_wb,
        spot=found[0],
    )  # fmt: skip


def _refuse(doing: Doing) -> None:
    """Refuse a load that only a machine could hold on a bed."""
    load, bed = doing.typed("load_kg_m2"), str(doing.details.get("bed", ""))
    found = doing.station.drying_places().get(bed)
    most = MOST_IN_MACHINE if found and found[0].machine else MOST_LOAD
    if load > most:
        raise RangeError(
            say("{load:g} kg/m2 is more than {most:g} on {bed}.", load=load, most=most, bed=bed), "load",
            "Check the load.",
        )  # fmt: skip


def _odd(doing: Doing) -> list[Finding]:
    """Whether a drying place is too small for a lot at the load that was said, with what lies on it."""
    bed, load, state = str(doing.details["bed"]), doing.typed("load_kg_m2"), doing.state
    spot = doing.yard.beds.get(bed)
    if spot is None:
        return []
    need = spread_m2(state.route, state.species, doing.station, state.matter.dry, load)
    found = []
    if need > CROWDED * spot.size:
        words = say(
            "At {load:g} kg/m2 the lot needs {need:.1f} m2; {bed} has {size:g}: is it spread thicker?",
            load=load, need=need, bed=bed, size=spot.size,
        )  # fmt: skip
        found.append(Finding(words, _SAID))
    elif spot.used + need > CROWDED * spot.size:
        words = say(
            "{bed} is over-full: {percent:.0f} % of {size:g} m2 with {lots}. Spread elsewhere too, or the "
            "layers are thicker than was said.",
            bed=bed, percent=100 * (spot.used + need) / spot.size, size=spot.size, lots=", ".join(spot.lots),
        )  # fmt: skip
        found.append(Finding(words, _SAID))
    return [*found, *_too_heavy(doing, bed)]


def _too_heavy(doing: Doing, bed: str) -> list[Finding]:
    """Whether a dryer's charge is above what it holds."""
    held = doing.state.held_kg
    words = "{kg} kg is more than {bed} holds ({most} kg)."
    return [
        Finding(say(words, kg=number(held), bed=bed, most=number(d.holds_kg)), _SAID)
        for d in doing.station.equipment.dryers
        if d.name == bed and held > CROWDED * d.holds_kg
    ]


def _spread(state: LotState, details: Mapping[str, Any], at: datetime) -> LotState:
    return replace(_moved(state, details, at), spread_at=at)


def _moved(state: LotState, details: Mapping[str, Any], _at: datetime) -> LotState:
    return replace(at_place(state, "bed", str(details["bed"])), load_kg_m2=details["load_kg_m2"])


def _takes(state: LotState, setting: Setting) -> Takes:
    """Area, and hours to the target: the ensemble of the lot's own drying forecast, from this start."""
    station, told = setting.station, setting.details
    habits = habits_of(state, station)
    bed = str(told.get("bed") or state.at("bed"))
    load = float(str(told.get("load_kg_m2") or state.load_kg_m2 or (habits.load_kg_m2 if habits else 0.0)))
    found = station.drying_places().get(bed)
    if habits is None or found is None or not load or setting.weather is None:
        return Takes(why=say("place, load, drying table and weather are needed to tell"))
    area = spread_m2(state.route, state.species, station, state.matter.dry, load)
    case = DryingCase(
        state.species, lot_form(state), found[0].name, load, habits.target_wb,
        whole_hour(setting.start, station), habits.routine(), state.known_wb, spot=found[0],
    )  # fmt: skip
    made = forecast(case, station.place.site(), setting.weather, setting.members, setting.seed)
    hours = made.done_h.copy()
    hours[np.isnan(hours)] = np.inf
    return Takes(Hours(hours, _FORECAST), area_m2=area)


def _spot(state: LotState, station: Station) -> Place | None:
    found = station.drying_places().get(state.at("bed"))
    return found[0] if found else None


def _not_in_machine(state: LotState, station: Station) -> bool:
    spot = _spot(state, station)
    return spot is None or not spot.machine


def _open_to_the_sky(state: LotState, station: Station) -> bool:
    spot = _spot(state, station)
    return spot is None or not (spot.machine or spot.vent_m_s > 0.0)


def _another_place(state: LotState, station: Station) -> bool:
    return any(name != state.at("bed") for name in station.drying_places())


def its_place(state: LotState, station: Station) -> tuple[str, ...]:
    """The kind of place a drying lot is at."""
    spot = _spot(state, station)
    return (spot.name,) if spot is not None and state.stage == Stage.DRYING else ()


def _any_place(_state: LotState, station: Station) -> tuple[str, ...]:
    return tuple(dict.fromkeys(spot.name for spot, _area in station.drying_places().values()))


_DRYING = Standing(Stage.DRYING, "drying", lies="bed", readable=True)
STEPS = (
    Step(
        "spread", "Spread to dry", "spread to dry", _DRYING, (_BED, _LOAD), refuse=_refuse, then=_spread,
        odd=_odd, takes=_takes, at=_any_place, hurts=("mould",),
    ),
    Step("rake", "Rake", "raked", shapes=False, can=_not_in_machine, at=its_place),
    Step("cover", "Cover", "covered", shapes=False, can=_open_to_the_sky, at=its_place),
    Step("uncover", "Uncover", "uncovered", shapes=False, can=_open_to_the_sky, at=its_place),
    Step(
        "air", "Read the air", "air read", None,
        (
            number_of("air_c", "air temperature, C", -10, 60, "C"),
            number_of("rh_percent", "air humidity, %", 0, 100, "%", "% RH"),
        ),
        shapes=False, at=its_place,
    ),
    Step(
        "tray", "Weigh the sample tray", "sample tray weighed", None,
        (number_of("tray_g", "mass of the tray's coffee, g", 20, 50_000, "g"),), shapes=False, at=its_place,
    ),
    Step(
        "move", "Move to another place", "moved", None, (_BED, _LOAD), can=_another_place, refuse=_refuse,
        then=_moved, odd=_odd, takes=_takes, at=_any_place, hurts=("mould",),
    ),
    Step(
        "respread", "Spread again", "back on a bed", _DRYING, (_BED, _LOAD), refuse=_refuse, then=_spread,
        odd=_odd, takes=_takes, at=_any_place, hurts=("mould",), on_reading=True,
    ),
)  # fmt: skip
