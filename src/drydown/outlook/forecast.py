"""Forecast of a drying lot: an ensemble over what is uncertain about the crop and the weather."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from drydown.air.generator import generate
from drydown.air.normals import MonthNormals, month_sun_kwh
from drydown.air.ownyears import blended
from drydown.air.series import HourlyWeather, Site
from drydown.errors import InputError
from drydown.figures import Figure
from drydown.outlook.case import DryingCase
from drydown.outlook.dryfigures import PERCENTS, drying_figures, sun_of
from drydown.outlook.machine import machine_notes
from drydown.steps.dry.data import Form, Place, form, place
from drydown.steps.dry.draws import draw_parameters
from drydown.steps.dry.run import DryingRun, DryStage, dry_stages
from drydown.words import say, sentence

__all__ = ["DryingCase", "DryingForecast", "forecast", "forecast_of_run", "sun_notes"]

Array = NDArray[np.float64]
LEAST_HOURS = 72
READING_SD_WB = 0.004
"""Spread of a moisture reading, fraction wb: about the 0.6-0.8 point error of field methods."""


@dataclass(frozen=True, slots=True)
class DryingForecast:
    """What comes out: figures, the curve with its band, and each member's hour of being dry."""

    case: DryingCase
    form: Form
    place: Place
    done_h: Array
    figures: dict[str, Figure]
    curve_wb: Array
    undried: float
    weather_words: str
    notes: tuple[str, ...]

    def dry_on(self) -> tuple[datetime | None, datetime | None, datetime | None]:
        """Early, middle and late moment the target is met (P10, P50, P90 of all members)."""
        found = []
        for percent in PERCENTS:
            hour = _percentile_with_never(self.done_h, percent)
            found.append(None if hour is None else self.case.start + timedelta(hours=hour))
        return found[0], found[1], found[2]

    def as_dict(self) -> dict[str, object]:
        """Plain data for `--json`, shape `drydown.dry/2` (docs/json.md)."""
        early, middle, late = (m.isoformat(timespec="minutes") if m else None for m in self.dry_on())
        case = self.case
        return {
            "shape": "drydown.dry/2",
            "species": case.species,
            "form": case.form,
            "place": case.place,
            "load_kg_m2": case.load_kg_m2,
            "stops": [
                {"place": s.spot.name, "load_kg_m2": s.load_kg_m2, "hours": s.hours} for s in case.stops
            ],
            "target_wb": case.target_wb,
            "start": case.start.isoformat(timespec="minutes"),
            "weather": self.weather_words,
            "dry_on": {"p10": early, "p50": middle, "p90": late},
            "share_not_dry": self.undried,
            "figures": {k: f.as_dict() for k, f in self.figures.items()},
            "curve": {
                "hours": list(range(0, self.curve_wb.shape[1], 6)),
                "moisture_wb_p10": self.curve_wb[0, ::6].round(5).tolist(),
                "moisture_wb_p50": self.curve_wb[1, ::6].round(5).tolist(),
                "moisture_wb_p90": self.curve_wb[2, ::6].round(5).tolist(),
            },
            "notes": list(self.notes),
        }


def forecast(
    case: DryingCase,
    site: Site,
    weather: HourlyWeather | tuple[MonthNormals, ...],
    members: int = 100,
    seed: int = 1,
    ahead: HourlyWeather | None = None,
) -> DryingForecast:
    """Forecast a lot.

    Args: case; site; weather: twelve normals (every member has its own generated weather), a
    series of three or more years (past years in turn), or a shorter one (then the band holds
    the crop's uncertainty only); members; seed; ahead, a weather forecast that covers the
    first days of every member.
    Returns: `DryingForecast` with P10/P50/P90.
    Valid range: 2 to 2000 members; ranges of the drying step.
    Source: drying step; priors of forms.toml; weather generator.
    """
    if not 2 <= members <= 2000:
        raise InputError(say("members must be from 2 to 2000, got {members}.", members=members))
    kind = form(case.form, case.species)
    parameters = draw_parameters(kind, members, seed)
    days = 20
    while True:
        air, words = _weather(case, site, weather, days * 24, members, seed, ahead)
        run = _run(case, kind, parameters, air, seed)
        undried = float(np.isnan(run.done_h).mean())
        if undried <= 0.02 or days >= kind.limit_days or air.hours < days * 24:
            break
        days = min(days * 2, kind.limit_days)
    notes = [*air.notes, *sun_notes(site, weather)]
    return forecast_of_run(case, kind, run, parameters, site, air, words, notes)


def forecast_of_run(
    case: DryingCase, kind: Form, run: DryingRun, parameters: Mapping[str, Array], site: Site,
    air: HourlyWeather, words: str, notes: Sequence[str] = (),
) -> DryingForecast:  # fmt: skip
    """What a run says, with figures and notes.

    Args: case; kind of form; run, from the case's start on; its parameters; site; the air it met; words for
    the
    weather; notes so far. Returns: `DryingForecast`; members left out of the run are left out and counted.
    Valid range: any run. Source: the run.
    """
    notes, members = [*notes, *([kind.note] if kind.note else [])], len(run.done_h)
    undried = float(np.isnan(run.done_h).mean())
    if undried > 0:
        share = "fewer than 1 %" if undried < 0.01 else f"{undried * 100:.0f} %"
        notes.append(
            say(
                "{share} of the futures are not dry after {hours:.0f} days", share=share, hours=air.hours / 24
            )
        )
    run, stayed = run.sound()
    if stayed.size < members:
        parameters = {k: v[stayed] for k, v in parameters.items()}
        notes.append(
            say(
                "{out} of {members} futures are left out: not to be followed, or past a bound of physics",
                out=members - stayed.size,
                members=members,
            )
        )
    figures = drying_figures(case, kind, run, words, parameters, site, sun_of(air, stayed))
    notes += _place_notes(case, kind, run, figures)
    curve = np.percentile(run.moisture_wb(), PERCENTS, axis=0)
    return DryingForecast(
        case, kind, case.where(), run.done_h, figures, curve, undried, sentence(words),
        tuple(map(sentence, notes)),
    )  # fmt: skip


def _place_notes(case: DryingCase, kind: Form, run: DryingRun, figures: dict[str, Figure]) -> list[str]:
    """What a reader of a machine's or a sequence's figures should know."""
    notes, spot = [], case.where()
    if spot.machine:
        notes += machine_notes(spot, figures)
        cap = kind.cap_c
        if spot.bean_cap_c > cap:
            notes.append(
                say(
                    "this machine lets beans reach {bean_cap_c:g} C, above the quoted cap of {cap:g} C",
                    bean_cap_c=spot.bean_cap_c,
                    cap=cap,
                )
            )
    if spot.vent_m_s > 0.0 and spot.vent_m_s == place(spot.name).vent_m_s:
        notes.append("the tunnel's vents are not stated: taken as 25 air changes an hour in 2.5 m of height")
    wettest = kind.ranges["x_full"].high / (1.0 + kind.ranges["x_full"].high)
    if case.moisture_wb_now is not None and case.moisture_wb_now > wettest + 0.005:
        notes.append(
            say(
                "wetter now than this form is known to be (at most {wettest:.0f} % wb)", wettest=100 * wettest
            )
        )
    before = sum(stop.hours for stop in case.stops)
    at = min(before, run.values.shape[1] - 1)
    early = float(np.mean(run.moisture_wb()[:, at] <= case.target_wb)) if before else 0.0
    if early > 0.0:
        notes.append(
            say(
                "in {early:.0f} % of the futures the lot is dry before it reaches the last place",
                early=early * 100,
            )
        )
    return notes


def sun_notes(site: Site, weather: HourlyWeather | tuple[MonthNormals, ...]) -> list[str]:
    """Say where the sun of the normals was not measured."""
    if isinstance(weather, HourlyWeather):
        return []
    kinds = {month_sun_kwh(site, m, n)[1] for m, n in enumerate(weather, 1)} - {"measured sun"}
    return [say("sun of some months estimated from {kind}", kind=kind) for kind in sorted(kinds)]


def _weather(
    case: DryingCase,
    site: Site,
    weather: HourlyWeather | tuple[MonthNormals, ...],
    hours: int,
    members: int,
    seed: int,
    ahead: HourlyWeather | None,
) -> tuple[HourlyWeather, str]:
    words: str
    if not isinstance(weather, HourlyWeather):
        words = say("{members} futures generated from the station's monthly normals", members=members)
        air = generate(site, weather, case.start, hours, members, seed + 1000)
    elif (own := blended(weather, case.start, hours, members, seed + 1000)) is not None:
        air, words = own
    else:
        words = say("one weather series ({value}): band without weather", value=weather.site.name or "file")
        left = weather.hours_from(case.start)
        air = weather.window(case.start, min(hours, left) if left >= LEAST_HOURS else hours)
    if ahead is None:
        return air, words
    days = min(ahead.hours_from(case.start), air.hours)
    if days <= 0:
        raise InputError(
            say("does not reach {start:%Y-%m-%d %H:%M}.", start=case.start), "the weather forecast"
        )
    return air.after(ahead.window(case.start, days)), say(
        "forecast for {days:.1f} days, then {words}", days=days / 24.0, words=words
    )


def _run(
    case: DryingCase, kind: Form, parameters: dict[str, Array], air: HourlyWeather, seed: int
) -> DryingRun:
    stages = [
        DryStage(s.spot, case.routine, kind.dry_load(s.load_kg_m2), case.target_wb, s.hours)
        for s in case.stops
    ]
    last = kind.dry_load(case.load_kg_m2)
    stages.append(DryStage(case.where(), case.routine, last, case.target_wb, None, case.joined))
    if case.moisture_wb_now is None:
        return dry_stages(parameters, stages, air)
    rng = np.random.default_rng(seed + 2000)
    members = len(parameters["x_full"])
    now = case.moisture_wb_now + READING_SD_WB * rng.standard_normal(members)
    now[0] = case.moisture_wb_now
    now = np.clip(now, 0.04, 0.80)
    start = now / (1.0 - now)
    parameters = {**parameters, "x_full": np.maximum(parameters["x_full"], start)}
    return dry_stages(parameters, stages, air, start)


def _percentile_with_never(done_h: Array, percent: float) -> float | None:
    """Percentile over all members, those that never dry counted as last; None if it is never."""
    hours = np.where(np.isnan(done_h), np.inf, done_h)
    value = float(np.percentile(hours, percent, method="higher"))
    return value if np.isfinite(value) else None
