"""`drydown dry`: when a lot will be dry, with bands."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from drydown.cli.show import amount, answering, figures_table, out, print_cautions, print_json, waiting
from drydown.cli.typed import MONTH, layer_kg_m2, normals_of, routine_of, site_of
from drydown.errors import InputError, RangeError
from drydown.words import say

if TYPE_CHECKING:
    from drydown.air.normals import MonthNormals
    from drydown.air.series import HourlyWeather, Site
    from drydown.figures import Source
    from drydown.outlook.case import Stop
    from drydown.outlook.forecast import DryingForecast
    from drydown.outlook.rules import RuleCheck
    from drydown.station.model import Drying, Station
    from drydown.steps.dry.data import Place
    from drydown.steps.dry.routine import Routine
    from drydown.steps.dry.run import Joined

__all__ = ["dry_lot"]


def dry_lot(
    form: Annotated[
        str,
        typer.Option(help="parchment (washed), mucilage (pulped), cherry or green (hulled early, still wet)"),
    ],
    start: Annotated[str, typer.Option(help="spread at, local time: 2026-06-10 or 2026-06-10T09:00")],
    species: Annotated[str, typer.Option(help="arabica, robusta or liberica")] = "arabica",
    place: Annotated[
        str,
        typer.Option(
            help="raised_bed, patio, tunnel, tray_dryer ... or, with --station, the name of its own"
        ),
    ] = "raised_bed",
    load_kg_m2: Annotated[
        float | None,
        typer.Option(parser=amount, help="kg as spread per m2 (default: the station file's)"),
    ] = None,
    target_percent_wb: Annotated[
        float | None,
        typer.Option(parser=amount, help="target moisture, per cent wet basis (default: station's)"),
    ] = None,
    moisture_now_percent_wb: Annotated[
        float | None,
        typer.Option(parser=amount, help="moisture at the start, if not fresh from the mill"),
    ] = None,
    layer_cm: Annotated[
        float | None, typer.Option(parser=amount, help="depth of the fresh layer, instead of --load-kg-m2")
    ] = None,
    station: Annotated[Path | None, typer.Option(help="station file: normals, routine, load")] = None,
    site: Annotated[
        str, typer.Option(help="without a station file: latitude,longitude,metres,hours from UTC")
    ] = "",
    month: Annotated[
        str,
        typer.Option(help=f"with --site, the season's means: {MONTH}"),
    ] = "",
    rake: Annotated[str, typer.Option(help="hours it is turned, 8,10,12; or no")] = "",
    cover: Annotated[str, typer.Option(help="covered from-until, 17.5-7.5; or no")] = "",
    shade: Annotated[str, typer.Option(help="shaded from-until, 11-14; or no")] = "",
    rain_cover: Annotated[bool | None, typer.Option(help="covered when it rains")] = None,
    weather_file: Annotated[
        Path | None, typer.Option(help="EPW, or CSV together with --station or --site")
    ] = None,
    before: Annotated[
        str,
        typer.Option(
            help="places before the last: place@kg_m2/hours, e.g. 'raised_bed@12/96 rest_heap@60/24'"
        ),
    ] = "",
    join: Annotated[
        str, typer.Option(help="another lot joins at the last place: its share of dry matter@% wb, 0.4@30")
    ] = "",
    air_c: Annotated[
        float | None, typer.Option(parser=amount, help="machine: air temperature the burner aims at")
    ] = None,
    air_m3_min_m2: Annotated[
        float | None, typer.Option(parser=amount, help="machine: air, m3 per minute and m2")
    ] = None,
    bean_cap_c: Annotated[
        float | None, typer.Option(parser=amount, help="machine: hottest beans allowed")
    ] = None,
    recirculated_percent: Annotated[
        float | None,
        typer.Option(parser=amount, help="machine: share of the leaving air that is blown in again"),
    ] = None,
    burner_percent: Annotated[
        float | None,
        typer.Option(parser=amount, help="machine: share of the fuel's heat that reaches the air"),
    ] = None,
    fuel: Annotated[str | None, typer.Option(help="machine: coffee_husk, husk_pellet, wood, lpg ...")] = None,
    film_age_years: Annotated[
        float | None, typer.Option(parser=amount, help="tunnel: age of its film")
    ] = None,
    air_changes_h: Annotated[
        float | None, typer.Option(parser=amount, help="tunnel: air changes an hour, with --height-m")
    ] = None,
    height_m: Annotated[float | None, typer.Option(parser=amount, help="tunnel: its mean height")] = None,
    forecast_file: Annotated[
        Path | None, typer.Option(help="weather forecast (CSV) for the first days, with --station")
    ] = None,
    store_c: Annotated[
        float | None,
        typer.Option(parser=amount, help="store's temperature, for water activity (default: the station's)"),
    ] = None,
    window_hours_before: Annotated[
        float | None,
        typer.Option(parser=amount, help="hours in the mould window before this run (0.80 to 0.95)"),
    ] = None,
    members: Annotated[int, typer.Option(help="futures in the ensemble")] = 200,
    seed: Annotated[int, typer.Option(help="same seed, same answer", min=0)] = 1,
    json: Annotated[bool, typer.Option("--json", help="print JSON, shape drydown.dry/2")] = False,
) -> None:
    """Forecast a drying lot: day it is dry, mould-window hours, spread, hottest bean."""
    from drydown.outlook.case import DryingCase  # noqa: PLC0415
    from drydown.outlook.forecast import forecast  # noqa: PLC0415
    from drydown.outlook.reasons import overdrying_per_hour, reasons  # noqa: PLC0415
    from drydown.station.load import load_station  # noqa: PLC0415
    from drydown.station.weather import read_weather  # noqa: PLC0415
    from drydown.steps.dry.data import form as form_of  # noqa: PLC0415

    with answering():
        form_of(form, species)
        here = None if station is None else load_station(station)
        where, weather = _weather(
            here,
            weather_file,
            Path() if station is None else station.parent,
            site_of(site),
            normals_of(month),
        )
        habits = None if here is None else here.drying.get(form)
        spot = _tunnel(_spot(here, place), film_age_years, air_changes_h, height_m).set_to(
            None if air_m3_min_m2 is None else air_m3_min_m2 / 60.0,
            air_c,
            bean_cap_c,
            _share("--recirculated-percent", recirculated_percent, 0, 95),
            _share("--burner-percent", burner_percent, 10, 100),
            fuel,
        )
        case = DryingCase(
            species,
            form,
            spot.name,
            _given(
                "--load-kg-m2",
                _one_load(load_kg_m2, layer_kg_m2(layer_cm, form, species)),
                habits.load_kg_m2 if habits and not spot.machine else None,
                "A machine's load is in no station file: give it." if spot.machine else "",
            ),
            _percent(
                "--target-percent-wb",
                _given("--target-percent-wb", target_percent_wb, _target(habits)),
                5,
                45,
            ),
            _moment(start).replace(tzinfo=where.zone),
            routine_of(rake, cover, shade, rain_cover, _routine(habits)),
            None
            if moisture_now_percent_wb is None
            else _percent("--moisture-now-percent-wb", moisture_now_percent_wb, 3, 80),
            _stops(here, before),
            spot,
            _joined(join),
        )
        ahead = None if forecast_file is None else read_weather(forecast_file, where)
        with waiting(f"running {members} futures", json):
            found = forecast(case, where, weather, members, seed, ahead)
            why = reasons(case, where, weather)
            waiting_costs = overdrying_per_hour(case, where, weather)
        keeping = _keeping(found, _store(here, store_c), window_hours_before)
        if json:
            extra = {"would_change": list(why), "weight_lost_per_hour_left_on": waiting_costs}
            print_json(found.as_dict() | extra | keeping.as_dict())
            return
        _print(found, habits is None and not spot.machine and not (rake and cover), keeping)
        for words in why:
            out.print(f"If {words}.", markup=False)
        if waiting_costs is not None:
            out.print(
                f"Left on after the target: {waiting_costs * 100:.2f} % of sale weight lost an hour"
                f"{'' if spot.machine else ' of sun'}."
            )


@dataclass(frozen=True, slots=True)
class Keeping:
    """What the published rules say of a run: words for the mould window, the rules at the target."""

    window: str
    window_source: Source
    hours: float
    rules: list[RuleCheck]

    def as_dict(self) -> dict[str, object]:
        """Plain data for `--json`."""
        return {
            "mould_window": {"words": self.window, "hours_in_all_p50": self.hours},
            "rules_at_target": [{"rule": r.text, "inside": r.inside, "why": r.why} for r in self.rules],
        }


def _store(here: Station | None, stated: float | None) -> float | tuple[float, float] | None:
    """The store's temperature: as given, else from lowest to highest of the station's stores."""
    if stated is not None:
        if not 5.0 <= stated <= 45.0:
            raise RangeError(say("must be from 5 to 45 C, got {stated:g}.", stated=stated), "--store-c")
        return stated
    return here.store_c() if here else None


def _keeping(
    found: DryingForecast, store: float | tuple[float, float] | None, before: float | None
) -> Keeping:
    from drydown.outlook.rules import check_rules, window_state  # noqa: PLC0415

    case, window = found.case, found.figures["mould_window_h"]
    hours, wet = before or 0.0, found.figures["very_wet_h"].value
    told = before is not None
    begun_late = case.moisture_wb_now is not None or case.form == "green" or case.joined is not None
    wet_before = begun_late and not told  # it was wet before this run, and nobody says for how long
    words, source = window_state(
        hours + window.value, hours + window.high, wet, found.undried, case.target_wb, wet_before
    )
    if wet_before:
        words += ". Give them with --window-hours-before"
    rules = check_rules(case.target_wb, store, case.form, case.species)
    return Keeping(words, source, hours + window.value, rules)


def _one_load(load: float | None, layer: float | None) -> float | None:
    if load is not None and layer is not None:
        raise InputError("give one of --load-kg-m2 and --layer-cm.", "drydown dry")
    return layer if load is None else load


def _target(habits: Drying | None) -> float | None:
    return None if habits is None else habits.target_moisture_percent_wb


def _given(option: str, value: float | None, fallback: float | None, fix: str = "") -> float:
    found = value if value is not None else fallback
    if found is None:
        raise InputError("is needed.", option, fix or "Give it, or a station file that has it for this form.")
    return found


def _stops(here: Station | None, text: str) -> tuple[Stop, ...]:
    """Stays before the last place, from place@kg_m2/hours one after the other."""
    from drydown.outlook.case import Stop  # noqa: PLC0415

    one = r"\s*([^@]+)@([0-9]+(?:[.,][0-9]+)?)/([0-9]{1,4})(?![0-9])"
    if text.strip() and re.fullmatch(rf"(?:{one})+\s*", text) is None:
        raise InputError(
            say("'{text}' is not place@kg_m2/hours.", text=text), "--before", "Write raised_bed@12/96."
        )
    return tuple(
        Stop(_spot(here, name.strip()), float(load.replace(",", ".")), int(hours))
        for name, load, hours in re.findall(one, text)
    )


def _joined(text: str) -> Joined | None:
    """The lot that joins, from share@percent."""
    from drydown.steps.dry.run import Joined  # noqa: PLC0415

    if not text:
        return None
    match = re.fullmatch(r"(0?\.[0-9]{1,3})@([0-9]{1,2}(?:\.[0-9])?)", text.replace(",", "."))
    if match is None:
        raise InputError(say("'{text}' is not share@percent.", text=text), "--join", "Write 0.4@30.")
    wb = _percent("--join", float(match[2]), 5, 80)
    return Joined(float(match[1]), wb / (1.0 - wb))


def _tunnel(spot: Place, years: float | None, changes: float | None, height: float | None) -> Place:
    """The place with its own film and vents, where they were given."""
    if (changes is None) != (height is None):
        raise InputError("vents need both --air-changes-h and --height-m.", "drydown dry")
    spot = spot if years is None else spot.aged(years)
    return spot if changes is None or height is None else spot.vented(changes, height)


def _spot(here: Station | None, name: str) -> Place:
    """The place: one of the station's by its name, or a kind of place."""
    from drydown.steps.dry.data import place  # noqa: PLC0415

    return place(name) if here is None else here.spot(name)


def _share(option: str, value: float | None, low: float, high: float) -> float | None:
    """Per cent to a fraction, where it was given."""
    if value is None:
        return None
    return 0.0 if value == low == 0 else _percent(option, value, max(low, 1.0), high)


def _percent(option: str, value: float, low: float, high: float) -> float:
    """Per cent to a fraction; a fraction typed by mistake is noticed."""
    if not low <= value <= high:
        hint = (
            say("Per cent: write {value:g}, not {value_2:g}.", value=value * 100, value_2=value)
            if 0 < value < 1
            else ""
        )
        raise RangeError(
            say("must be from {low:g} to {high:g} per cent, got {value:g}.", low=low, high=high, value=value),
            option,
            hint,
        )
    return value / 100.0


def _moment(text: str) -> datetime:
    try:
        moment = datetime.fromisoformat(text)
    except ValueError as error:
        raise InputError(
            say("'{text}' is not a time.", text=text), "--start", "Write 2026-06-10T09:00."
        ) from error
    if moment.tzinfo is not None:
        raise InputError("takes local standard time without a zone.", "--start")
    if not 1990 <= moment.year <= 2200:
        raise RangeError(say("year must be from 1990 to 2200, got {year}.", year=moment.year), "--start")
    return moment.replace(hour=9) if len(text) <= 10 else moment


def _routine(habits: Drying | None) -> Routine:
    from drydown.steps.dry.routine import Routine  # noqa: PLC0415

    return Routine() if habits is None else habits.routine()


def _weather(
    here: Station | None,
    weather_file: Path | None,
    folder: Path,
    site: Site | None,
    normals: tuple[MonthNormals, ...] | None,
) -> tuple[Site, HourlyWeather | tuple[MonthNormals, ...]]:
    """Site and weather from what was given; nothing is invented."""
    from drydown.station.weather import read_weather, station_weather  # noqa: PLC0415

    if weather_file is not None:
        series = read_weather(weather_file, site if here is None else here.place.site())
        return series.site, series
    if normals is not None and site is not None:
        return site, normals
    if here is None:
        raise InputError(
            "no weather.",
            "drydown dry",
            "Give --station (with monthly normals), --site with --month, or --weather-file.",
        )
    return here.place.site(), station_weather(here, folder)


def _print(found: DryingForecast, assumed_routine: bool, keeping: Keeping) -> None:
    from drydown.outlook.cautions import at_command  # noqa: PLC0415
    from drydown.steps.dry.routine import ROUTINE_SOURCE  # noqa: PLC0415

    case = found.case
    title = say(
        "{label} ({species}), {load_kg_m2:g} kg/m2 on a {label_2}, to {target_wb:g} % wb",
        label=found.form.label,
        species=case.species,
        load_kg_m2=case.load_kg_m2,
        label_2=found.place.label,
        target_wb=case.target_wb * 100,
    )
    out.print(figures_table(title, found.figures))
    if case.moisture_wb_now is not None and case.moisture_wb_now <= case.target_wb:
        out.print("The lot is at or below its target already.")
    names = ("early (P10)", "middle (P50)", "late (P90)")
    for name, moment in zip(names, found.dry_on(), strict=True):
        day = moment.strftime("%a %d %b %Y, %H:%M") if moment else "not within the forecast"
        out.print(f"dry {name}: {day}", markup=False)
    out.print(f"Weather: {found.weather_words}.", markup=False)
    if assumed_routine:
        out.print(
            "Routine taken as: raked at 8, 10, 12, 14, 16 h, covered 17:30 to 07:30 and in rain "
            f"({ROUTINE_SOURCE}). A station file states your own."
        )
    out.print(f"Mould window: {keeping.window} ({keeping.window_source.text}).", markup=False)
    for rule in keeping.rules:
        out.print(f"At the target, {rule.words()} [{rule.source.text}]", markup=False)
    for note in found.notes:
        out.print(f"Note: {note}.", markup=False)
    print_cautions(at_command("dry", found.place.name))
