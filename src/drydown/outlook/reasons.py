"""Why a lot dries as it does, in words: what another handling would change, and what it costs to wait."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np

from drydown.air.generator import generate
from drydown.air.normals import MonthNormals
from drydown.air.series import HourlyWeather, Site
from drydown.errors import RangeError
from drydown.outlook.case import DryingCase
from drydown.steps.dry.data import form
from drydown.steps.dry.draws import typical_parameters
from drydown.steps.dry.run import DryStage, dry_stages
from drydown.words import say, sentence

__all__ = ["overdrying_per_hour", "reasons"]

WORTH_H = 12.0
"""A difference below half a day is not worth a sentence."""
Weather = HourlyWeather | tuple[MonthNormals, ...]


def reasons(case: DryingCase, site: Site, weather: Weather, days: int = 45, seed: int = 1) -> tuple[str, ...]:
    """What would change the day it is dry, by running the typical lot with one thing changed.

    Args: case; site; weather; days [d] to look ahead; seed. Returns: sentences, largest
    effect first. Valid range: beds and floors; machines have no such reasons.
    Source: the drying step, typical properties, one weather for all runs.
    """
    if case.where().machine or case.where().always_covered or case.stops:
        return ()
    air = _one_weather(case, site, weather, days, seed)
    try:
        base = _hours(case, air)
    except RangeError:
        return ()  # the typical lot alone cannot be followed: the forecast itself says so, or leaves it out
    if np.isnan(base):
        return (say("not dry within the forecast in the typical future"),)
    found = []
    for words, changed in _changes(case):
        try:
            gain = base - _hours(changed, air)
        except RangeError:
            continue  # a what-if outside the valid range is left out; it never kills the answer
        if abs(gain) >= WORTH_H:
            how = say("sooner") if gain > 0 else say("later")
            found.append(
                (
                    abs(gain),
                    say(
                        "{what}: {days:.1f} days {how}", what=sentence(words), days=abs(gain) / 24.0, how=how
                    ),
                )
            )
    found.sort(reverse=True)
    return tuple(text for _gain, text in found)


def _changes(case: DryingCase) -> list[tuple[str, DryingCase]]:
    """One thing changed at a time."""
    routine, out = case.routine, []
    if case.where().vent_m_s > 0.0:
        pass  # nothing is uncovered in a closed tunnel
    elif routine.cover_from is None:
        covered = replace(routine, cover_from=17.5, cover_until=7.5)
        out.append(("covered at night", replace(case, routine=covered)))
    else:
        out.append(("left open at night", replace(case, routine=replace(routine, cover_from=None))))
    if case.where().keeps_rain_off:
        pass
    elif routine.rain_cover_mm is None:
        out.append(("covered when it rains", replace(case, routine=replace(routine, rain_cover_mm=0.1))))
    else:
        out.append(("left open when it rains", replace(case, routine=replace(routine, rain_cover_mm=None))))
    if routine.shade_from is not None:
        out.append(("not shaded", replace(case, routine=replace(routine, shade_from=None))))
    out.append(("spread at half the load", replace(case, load_kg_m2=case.load_kg_m2 / 2)))
    out.append(("spread at twice the load", replace(case, load_kg_m2=min(case.load_kg_m2 * 2, 100.0))))
    if len(routine.rake_hours) > 1:
        out.append(("raked once a day", replace(case, routine=replace(routine, rake_hours=(12,)))))
    return out


def _one_weather(case: DryingCase, site: Site, weather: Weather, days: int, seed: int) -> HourlyWeather:
    if isinstance(weather, HourlyWeather):
        return weather.window(case.start, min(days * 24, weather.hours_from(case.start)))
    return generate(site, weather, case.start, days * 24, 1, seed + 1000)


def _stage(case: DryingCase, target_wb: float) -> tuple[dict[str, np.ndarray], DryStage]:
    kind = form(case.form, case.species)
    load = kind.dry_load(case.load_kg_m2)
    return typical_parameters(kind), DryStage(case.where(), case.routine, load, target_wb)


def _hours(case: DryingCase, air: HourlyWeather) -> float:
    parameters, stage = _stage(case, case.target_wb)
    now = case.moisture_wb_now
    start = None if now is None else now / (1.0 - now)
    return float(dry_stages(parameters, [stage], air, start).done_h[0])


def overdrying_per_hour(case: DryingCase, site: Site, weather: Weather, seed: int = 1) -> float | None:
    """Weight lost for each daylight hour a lot is left on after it met its target.

    Equation: (1 - m(t)/m(0)) per hour of sun (in a machine, per hour) over the two days after, m the mass.
    Args: case; site; weather; seed. Returns: [fraction of sale weight per hour], None where the typical lot
    cannot be followed. Valid range: beds, floors and machines. Source: the drying step, typical properties.
    """
    later = replace(case, start=case.start + timedelta(days=1))
    air = _one_weather(later, site, weather, 2, seed)
    parameters, stage = _stage(later, 0.05)
    try:
        run = dry_stages(parameters, [stage], air, case.target_wb / (1.0 - case.target_wb))
    except RangeError:
        return None
    mass = 1.0 + run.column("moisture_db")[0]
    sunny = air.ghi_wm2[0] > (-1.0 if case.where().machine else 100.0)  # a machine runs at night too
    lost = float((1.0 - mass.min() / mass[0]) if sunny.any() else 0.0)
    hours = float(sunny[: int(np.argmin(mass)) or 1].sum()) or 1.0
    return max(lost, 0.0) / hours
