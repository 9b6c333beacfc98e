"""The public face: what a scientist or engineer calls from Python. docs/python.md has examples.

Everything here is stable: names, arguments, units and shapes change only with a new major version,
and not without a note in CHANGELOG. Whatever is not in `__all__` is private to Drydown.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from drydown.air.generator import generate
from drydown.air.normals import MonthNormals
from drydown.air.series import HourlyWeather, Site
from drydown.axes import Named, NamedSet
from drydown.errors import BalanceError, DrydownError, InputError, NotFittedError, RangeError
from drydown.figures import Band, Figure, Source, Status
from drydown.matter.practice import practice
from drydown.matter.report import report_balance
from drydown.matter.routes import route_names
from drydown.matter.sorption import emc_wb, erh
from drydown.matter.species import species as species_row
from drydown.matter.species import species_names
from drydown.outlook.case import DryingCase
from drydown.outlook.fit import PastLot, StationFit, fit_station
from drydown.outlook.forecast import DryingForecast
from drydown.outlook.forecast import forecast as forecast_case
from drydown.outlook.moisture import water_activity
from drydown.quality.grade import Verdict, grade_sheet
from drydown.quality.sample import Sheet, load_sheet
from drydown.quality.scheme import Scheme, scheme, scheme_names
from drydown.station.load import example_text, load_station, parse_station
from drydown.station.model import Station
from drydown.station.weather import read_weather as read_file
from drydown.steps.dry.data import Place, form_names, place, place_names
from drydown.steps.dry.data import form as form_row
from drydown.steps.dry.draws import draw_parameters, typical_parameters
from drydown.steps.dry.lanes import OUT_COLUMNS
from drydown.steps.dry.routine import Routine
from drydown.steps.dry.run import DryStage, dry_stages
from drydown.steps.dry.state import DryState
from drydown.trade.prices import PriceChain, price_chain

__all__ = [
    "BalanceError",
    "Band",
    "DrydownError",
    "Drying",
    "DryingForecast",
    "Figure",
    "HourlyWeather",
    "InputError",
    "MassBalance",
    "MonthNormals",
    "Named",
    "NamedSet",
    "NotFittedError",
    "PastLot",
    "Place",
    "PriceChain",
    "RangeError",
    "Routine",
    "Scheme",
    "Sheet",
    "Site",
    "Source",
    "Station",
    "StationFit",
    "Status",
    "Verdict",
    "balance",
    "dry",
    "emc_wb",
    "erh",
    "example_station",
    "fit",
    "forecast",
    "form_names",
    "grade",
    "make_weather",
    "place",
    "place_names",
    "price",
    "read_station",
    "read_weather",
    "route_names",
    "scheme_names",
    "species_names",
    "water_activity",
]  # fmt: skip

Floats = NDArray[np.float64]
UNITS = {
    "moisture_db": ("kg/kg", "mean moisture of the lot, dry basis, film water included"),
    "moisture_db_low": ("kg/kg", "driest layer"),
    "moisture_db_high": ("kg/kg", "wettest layer"),
    "core_minus_surface_db": ("kg/kg", "core less skin of a bean, largest over layers"),
    "bean_temp_c": ("C", "mean of layers"),
    "bean_temp_high_c": ("C", "hottest layer"),
    "bean_temp_low_c": ("C", "coldest layer"),
    "surface_aw": ("1", "water activity of the wettest surface"),
    "free_water_kg_m2": ("kg/m2", "free water on the beans"),
    "evaporated_kg_m2": ("kg/m2", "water that left, net"),
    "rain_held_kg_m2": ("kg/m2", "rain that stayed"),
    "water_residual": ("1", "water unaccounted for, of all water"),
    "burner_mj_m2": ("MJ/m2", "heat given to the air of a machine"),
    "heat_residual": ("1", "heat unaccounted for, of all heat turned over"),
}


def read_station(path: str | Path) -> Station:
    """A station file (TOML), checked. Raises `InputError` naming key, value and range."""
    return load_station(Path(path))


def example_station() -> Station:
    """The commented example that `drydown station new` writes; invented."""
    return parse_station(example_text())


def read_weather(path: str | Path, site: Site | None = None) -> HourlyWeather:
    """Hourly weather from an EPW file, or from CSV together with a `Site`.

    Args: path; site, such as `station.place.site()`. Returns: axes (member, hour). Raises `InputError`
    with line and column for what cannot be read.
    """
    return read_file(Path(path), site)


def make_weather(
    station: Station, start: datetime, days: int, members: int = 1, seed: int = 1
) -> HourlyWeather:
    """Hours drawn from a station's monthly normals.

    Args: station; start, aware; days [count]; members, parallel futures; seed. Returns: axes (member,
    hour). Raises `InputError` where the station has no normals.
    """
    normals = station.normals()
    if normals is None:
        raise InputError("has no monthly normals.", "station", "Read its weather file instead.")
    return generate(station.place.site(), normals, start, days * 24, members, seed)


@dataclass(frozen=True, slots=True)
class MassBalance:
    """Where every kilogram of a delivery goes.

    streams: `dry_matter` and `water` [kg] along the axis "stream", at the typical values; figures with
    bands; closure of dry matter and water.
    """

    streams: NamedSet
    figures: Mapping[str, Figure]
    closure: tuple[float, float]


def balance(
    species: str, route: str, cherry_kg: float = 1.0, target_wb: float = 0.11, station: Station | None = None
) -> MassBalance:
    """Mass balance of ripe fruit to green coffee.

    Args: species, route (names as `species_names`, `route_names`); cherry_kg [kg]; target_wb [fraction]
    at hulling; station, for its own measured losses. Returns: `MassBalance`.
    """
    used = practice() if station is None else station.practice()
    made = report_balance(species_row(species), used, route, cherry_kg, target_wb)
    names = np.array(list(made.typical.ends))
    coords = {"stream": names}
    ends = made.typical.ends.values()
    parts = {
        "dry_matter": np.array([float(np.asarray(s.dm)) for s in ends]),
        "water": np.array([float(np.asarray(s.water)) for s in ends]),
    }
    named = {n: Named(n, v, ("stream",), coords, "kg", n.replace("_", " ")) for n, v in parts.items()}
    return MassBalance(NamedSet(named, {"species": species, "route": route}), made.figures, made.closure)


@dataclass(frozen=True, slots=True)
class Drying:
    """A drying run: quantities along "member" and "hour", when each member met the target, its end.

    columns: the names of `UNITS`; moisture_wb [fraction]; done_h [h], nan where the target was not met;
    end carries the run on (`dry(..., begin=run.end)`).
    """

    columns: NamedSet
    moisture_wb: Named
    done_h: Named
    end: DryState


def dry(
    weather: HourlyWeather,
    *,
    form: str = "parchment",
    place: str | Place = "raised_bed",
    load_kg_m2: float,
    target_wb: float = 0.11,
    species: str = "arabica",
    routine: Routine | None = None,
    start_wb: float | None = None,
    members: int = 1,
    seed: int = 1,
    begin: DryState | None = None,
) -> Drying:
    """Dry a lot under hourly weather, to a target or to the weather's end.

    Args: weather; form, place, species by name; load_kg_m2 [kg as first spread per m2]; target_wb
    [fraction]; routine (None: raked five times a day, covered by night and in rain); start_wb
    [fraction], None for fresh; members: 1 for the typical lot, else drawn from the form's ranges; begin,
    the end of an earlier run, carries it on. Returns: `Drying`.
    """
    kind = form_row(form, species)
    chosen = typical_parameters(kind) if members == 1 else draw_parameters(kind, members, seed)
    where = place if isinstance(place, Place) else _place(place)
    stage = DryStage(where, routine or Routine(), kind.dry_load(load_kg_m2), target_wb)
    start = None if start_wb is None else start_wb / (1.0 - start_wb)
    run = dry_stages(chosen, [stage], weather, start, begin=begin)
    if run.end is None:
        raise BalanceError("the drying run has no end.")
    coords = {"member": np.arange(members), "hour": np.arange(run.values.shape[1])}
    axes = ("member", "hour")
    parts = {n: Named(n, run.column(n), axes, coords, *UNITS[n]) for n in OUT_COLUMNS}
    about = {"form": kind.label, "place": where.label, "start": run.start.isoformat()}
    wet = Named("moisture_wb", run.moisture_wb(), axes, coords, "1", "mean moisture of the lot, wet basis")
    done = Named("done_h", run.done_h, ("member",), {"member": coords["member"]}, "h", "target met")
    return Drying(NamedSet(parts, about), wet, done, run.end)


def _place(name: str) -> Place:
    return place(name)


def forecast(
    station: Station, *, species: str, form: str, place: str, load_kg_m2: float, target_wb: float,
    start: datetime, weather: HourlyWeather | None = None, moisture_wb_now: float | None = None,
    routine: Routine | None = None, members: int = 100, seed: int = 1,
) -> DryingForecast:  # fmt: skip
    """When a lot will be dry, with its band: an ensemble over the crop and the station's weather.

    Args: station; species, form; place, one of the station's or a kind of place; load_kg_m2 [kg as first
    spread per m2]; target_wb, moisture_wb_now [fraction]; start, aware; weather (None: the station's
    normals); routine (None: the station's own); members; seed. Returns: `DryingForecast`.
    """
    habits = station.drying.get(form)
    chosen = routine or (habits.routine() if habits else Routine())
    spot = station.spot(place)
    case = DryingCase(
        species, form, spot.name, load_kg_m2, target_wb, start, chosen, moisture_wb_now, spot=spot
    )
    air = weather if weather is not None else station.normals()
    if air is None:
        raise InputError("has no monthly normals.", "station", "Give the weather.")
    return forecast_case(case, station.place.site(), air, members, seed)


def fit(form: str, lots: Sequence[PastLot], species: str = "arabica") -> StationFit:
    """Fit a station's own diffusivity factor and absorptance to lots that have dried.

    Args: form, species by name; lots, three or more with their readings and weather. Returns:
    `StationFit` with 90 % intervals. Raises `InputError` where the readings do not tell how quick they are.
    """
    return fit_station(form_row(form, species), lots)


def grade(sheet: Sheet | str | Path, by: str | Scheme, **options: str) -> Verdict:
    """Grade a sample's sheet by a scheme.

    Args: sheet, or the path of one; by, a scheme or its name (`scheme_names`); options where a scheme's
    sources differ. Returns: `Verdict` with every grade tried. Raises `InputError`.
    """
    read = sheet if isinstance(sheet, Sheet) else load_sheet(Path(sheet))
    return grade_sheet(read, by if isinstance(by, Scheme) else scheme(by), options)


def price(
    quotation_cents_lb: float, *, exchange_rate: float, parchment_kg_per_bag: float,
    cherry_kg_per_bag: float, differential_cents_lb: float = 0.0, bag_kg: float = 60.0,
    export_cost: float = 0.0, mill_cost: float = 0.0,
) -> PriceChain:  # fmt: skip
    """What a market quotation leaves for parchment and ripe fruit, step by step.

    Args: quotation and differential [US cents per lb green]; exchange_rate [local money per US dollar];
    parchment and cherry [kg for one bag of green]; bag_kg [kg]; costs [local money per bag]. Returns:
    `PriceChain`, each step a figure. A forecast of prices this is not.
    """
    return price_chain(
        quotation_cents_lb, differential_cents_lb, exchange_rate, bag_kg, export_cost, parchment_kg_per_bag,
        mill_cost, cherry_kg_per_bag,
    )  # fmt: skip
