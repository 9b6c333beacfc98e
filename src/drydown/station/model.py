"""The station file as types. Every key has a unit in its name and an allowed range."""

from __future__ import annotations

from typing import Annotated, Self

from pydantic import Field, field_validator, model_validator

from drydown.air.climate import check_climate
from drydown.air.normals import MonthNormals
from drydown.air.series import Site
from drydown.errors import DrydownError, InputError
from drydown.matter.practice import Practice, practice
from drydown.station.building import Build, SeasonHabits
from drydown.station.part import FormName, Hour, Part, RouteName, SpeciesName, Text
from drydown.station.roasters import Brewer, Grinder, Roaster
from drydown.station.trade import Alarms, Crop, Gate, Loggers, Measured, Money, Wet
from drydown.station.work import Work
from drydown.steps.dry.data import Place, place, place_names
from drydown.steps.dry.fuel import fuel_names
from drydown.steps.dry.routine import Routine
from drydown.words import say

__all__ = ["Bed", "Drying", "Station", "bed_names"]


def bed_names() -> list[str]:
    """Places that a bed can be: all but machines and heaps."""
    return [n for n in place_names() if not (place(n).machine or place(n).always_covered)]


class PlaceOnEarth(Part):
    """Where the station is."""

    name: Text
    district: Text
    latitude_deg: Annotated[float, Field(ge=-60, le=60)]
    longitude_deg: Annotated[float, Field(ge=-180, le=180)]
    elevation_m: Annotated[float, Field(ge=-420, le=5500)]
    utc_offset_h: Annotated[float, Field(ge=-12, le=14)]
    climate: dict[str, float] = {}
    """What is known of its weather beyond monthly means (`drydown weather learn`)."""

    @field_validator("climate")
    @classmethod
    def _known(cls, value: dict[str, float]) -> dict[str, float]:
        try:
            check_climate(value)
        except DrydownError as error:
            raise ValueError(str(error).rstrip(".")) from error
        return value

    def site(self) -> Site:
        """The same as the air room knows it."""
        known = tuple(sorted(self.climate.items()))
        return Site(
            self.latitude_deg, self.longitude_deg, self.elevation_m, self.utc_offset_h, self.name, known
        )


class Month(Part):
    """One line of monthly normals."""

    tmax_c: Annotated[float, Field(ge=-10, le=50)]
    tmin_c: Annotated[float, Field(ge=-20, le=40)]
    rh_percent: Annotated[float, Field(ge=5, le=99)]
    rain_mm: Annotated[float, Field(ge=0, le=2500)]
    rain_days: Annotated[float, Field(ge=0, le=31)]
    wind_ms: Annotated[float, Field(ge=0, le=20)]
    ghi_kwh_m2_day: Annotated[float, Field(ge=1, le=10)] | None = None
    sunshine_h_day: Annotated[float, Field(ge=0, le=16)] | None = None

    @model_validator(mode="after")
    def _order(self) -> Self:
        if self.tmax_c <= self.tmin_c:
            raise ValueError(
                say(
                    "tmax_c {tmax_c:g} must be above tmin_c {tmin_c:g}",
                    tmax_c=self.tmax_c,
                    tmin_c=self.tmin_c,
                )
            )
        if (self.rain_mm > 0) != (self.rain_days > 0):
            raise ValueError("rain_mm and rain_days must both be zero or both above zero")
        return self

    def normals(self) -> MonthNormals:
        """The same as the air room knows it."""
        return MonthNormals(
            self.tmax_c, self.tmin_c, self.rh_percent / 100.0, self.rain_mm, self.rain_days,
            self.wind_ms, self.ghi_kwh_m2_day, self.sunshine_h_day,
        )  # fmt: skip


class Weather(Part):
    """Twelve months of normals, January first, or a weather file, or both; neither: no forecast yet.

    forecast_url, where an hourly forecast is asked for; forecast_names, where that has what (`air/told.py`).
    """

    file: str | None = None
    forecast_url: Annotated[str, Field(pattern=r"^https?://", max_length=400)] | None = None
    forecast_names: dict[str, Annotated[str, Field(max_length=80)]] = {}
    months: Annotated[tuple[Month, ...], Field(min_length=12, max_length=12)] | None = None

    @property
    def given(self) -> bool:
        """Whether there is anything to forecast with."""
        return self.file is not None or self.months is not None


class Machine(Part):
    """A pulper, huller or washer."""

    name: Text
    kind: Text
    capacity_kg_h: Annotated[float, Field(gt=0, le=50_000)]


class Tank(Part):
    """A fermenting or soaking tank."""

    name: Text
    volume_l: Annotated[float, Field(gt=0, le=500_000)]


class Bed(Part):
    """A drying place of one kind; film and vents only for tunnels, where known."""

    name: Text
    place: str
    area_m2: Annotated[float, Field(gt=0, le=100_000)]
    film_age_years: Annotated[float, Field(ge=0, le=10)] | None = None
    air_changes_h: Annotated[float, Field(ge=0.5, le=200)] | None = None
    height_m: Annotated[float, Field(ge=0.5, le=8)] | None = None
    at_m: (
        tuple[Annotated[float, Field(ge=-5000, le=5000)], Annotated[float, Field(ge=-5000, le=5000)]] | None
    ) = None
    """Its near left corner on the station's own map: metres to the right, metres down."""
    wide_m: Annotated[float, Field(gt=0, le=500)] | None = None

    @model_validator(mode="after")
    def _known(self) -> Self:
        if (self.at_m is None) != (self.wide_m is None):
            raise ValueError("a place on the map needs both, its corner (at_m) and its width (wide_m)")
        if self.place not in place_names():
            raise ValueError(
                say(
                    "place '{place}' is not one of {bed_names}",
                    place=self.place,
                    bed_names=", ".join(bed_names()),
                )
            )
        if self.place not in bed_names():
            raise ValueError(
                say(
                    "place '{place}' is a machine or a heap; machines go under equipment.dryers",
                    place=self.place,
                )
            )
        if (self.air_changes_h is None) != (self.height_m is None):
            raise ValueError("vents need both, air changes an hour (air_changes_h) and height (height_m)")
        try:
            self.spot()
        except DrydownError as error:
            raise ValueError(str(error).rstrip(".")) from error
        return self

    def spot(self) -> Place:
        """The place with this bed's own film and vents."""
        found = place(self.place)
        if self.film_age_years is not None:
            found = found.aged(self.film_age_years)
        if self.air_changes_h is not None and self.height_m is not None:
            found = found.vented(self.air_changes_h, self.height_m)
        return found


class Dryer(Part):
    """A mechanical dryer: kind is a place with a fan; its own air, where measured."""

    name: Text
    kind: str
    area_m2: Annotated[float, Field(gt=0, le=1000)]
    holds_kg: Annotated[float, Field(gt=0, le=100_000)]
    air_c: Annotated[float, Field(ge=20, le=100)] | None = None
    air_m3_min_m2: Annotated[float, Field(ge=1, le=150)] | None = None
    bean_cap_c: Annotated[float, Field(ge=25, le=60)] | None = None
    recirculated_percent: Annotated[float, Field(ge=0, le=95)] | None = None
    burner_percent: Annotated[float, Field(gt=0, le=100)] | None = None
    fuel: str | None = None

    @model_validator(mode="after")
    def _known(self) -> Self:
        fans = [name for name in place_names() if place(name).machine]
        if self.kind not in fans:
            raise ValueError(say("kind '{kind}' is not one of {fans}", kind=self.kind, fans=", ".join(fans)))
        for name in ("recirculated_percent", "burner_percent"):
            value = getattr(self, name)
            if value is not None and 0.0 < value < 1.0:
                raise ValueError(
                    say(
                        "{name} is {value:g}; per cent: write {value_2:g}",
                        name=name,
                        value=value,
                        value_2=100 * value,
                    )
                )
        if self.burner_percent is not None and self.burner_percent < 10.0:
            raise ValueError(
                say(
                    "burner_percent is {burner_percent:g}; it must be 10 or more",
                    burner_percent=self.burner_percent,
                )
            )
        if self.fuel is not None and self.fuel not in fuel_names():
            raise ValueError(
                say(
                    "fuel '{fuel}' is not one of {fuel_names}",
                    fuel=self.fuel,
                    fuel_names=", ".join(fuel_names()),
                )
            )
        return self

    def place(self) -> Place:
        """The place with this dryer's own air."""
        flow = None if self.air_m3_min_m2 is None else self.air_m3_min_m2 / 60.0
        again = None if self.recirculated_percent is None else self.recirculated_percent / 100.0
        burner = None if self.burner_percent is None else self.burner_percent / 100.0
        return place(self.kind).set_to(flow, self.air_c, self.bean_cap_c, again, burner, self.fuel)


class Store(Part):
    """Where dry coffee waits."""

    name: Text
    holds_kg: Annotated[float, Field(gt=0, le=10_000_000)]
    temperature_c: Annotated[float, Field(ge=0, le=45)] | None = None
    """Mean temperature of its air in the months coffee lies there; water activity is judged at it."""


class Equipment(Part):
    """Machines, tanks, beds, dryers, stores."""

    pulpers: tuple[Machine, ...] = ()
    hullers: tuple[Machine, ...] = ()
    tanks: tuple[Tank, ...] = ()
    beds: Annotated[tuple[Bed, ...], Field(min_length=1)]
    dryers: tuple[Dryer, ...] = ()
    stores: tuple[Store, ...] = ()
    roasters: tuple[Roaster, ...] = ()
    grinders: tuple[Grinder, ...] = ()
    brewers: tuple[Brewer, ...] = ()

    @model_validator(mode="after")
    def _once(self) -> Self:
        groups = (
            self.pulpers, self.hullers, self.tanks, self.beds, self.dryers, self.stores, self.roasters,
            self.grinders, self.brewers,
        )  # fmt: skip
        names = [item.name.casefold() for group in groups for item in group]
        twice = next((n for n in names if names.count(n) > 1), None)
        if twice:
            raise ValueError(say("the name '{twice}' stands twice; each needs its own", twice=twice))
        return self


class Drying(Part):
    """How one form is dried here."""

    load_kg_m2: Annotated[float, Field(ge=2, le=60)]
    target_moisture_percent_wb: Annotated[float, Field(ge=7, le=20)]
    rake_hours: Annotated[tuple[Annotated[int, Field(ge=0, le=23)], ...], Field(max_length=24)]
    cover_from_h: Hour | None = None
    cover_until_h: Hour = 0.0
    cover_for_rain: bool
    shade_from_h: Hour | None = None
    shade_until_h: Hour = 0.0
    heap_share: Annotated[float, Field(ge=0.05, le=1)] | None = None

    @property
    def target_wb(self) -> float:
        """Target as a fraction."""
        return self.target_moisture_percent_wb / 100.0

    def routine(self) -> Routine:
        """The same as the drying step knows it."""
        rain = 0.1 if self.cover_for_rain else None
        return Routine(
            self.rake_hours, self.cover_from_h, self.cover_until_h, rain,
            self.shade_from_h, self.shade_until_h, (), self.heap_share or 1.0,
        )  # fmt: skip


class Station(Part):
    """The whole description, as in the station file; what may come later is told by `gaps`."""

    place: PlaceOnEarth
    species: Annotated[tuple[SpeciesName, ...], Field(min_length=1)]
    routes: Annotated[tuple[RouteName, ...], Field(min_length=1)]
    weather: Weather = Weather()
    equipment: Equipment
    drying: dict[FormName, Drying] = {}
    money: Money
    measured: Measured = Measured()
    gate: Gate = Gate()
    wet: Wet = Wet()
    crop: Crop | None = None
    work: Work = Work()
    season: SeasonHabits | None = None
    build: Build | None = None
    loggers: Loggers | None = None
    alarms: Alarms | None = None

    @model_validator(mode="after")
    def _prices(self) -> Self:
        missing = [s for s in self.species if s not in self.money.cherry_price_per_kg]
        if missing:
            raise ValueError(say("money.cherry_price_per_kg has no price for {value}", value=missing[0]))
        return self

    @model_validator(mode="after")
    def _known_things(self) -> Self:
        e = self.equipment
        names = {
            x.name for group in (e.pulpers, e.hullers, e.tanks, e.beds, e.dryers, e.stores) for x in group
        }
        for one in self.work.breakdowns:
            if one.thing not in names:
                raise ValueError(say("work.breakdowns names '{t}', which is not here", t=one.thing))
        return self

    def practice(self) -> Practice:
        """Assumed losses and water with the station's own numbers in their place."""
        return practice().stated(**self.measured.model_dump())

    def drying_places(self) -> dict[str, tuple[Place, float]]:
        """Beds and dryers by name: the place with the station's own air, and its area in m2."""
        things = self.equipment
        beds = {b.name: (b.spot(), b.area_m2) for b in things.beds}
        return beds | {d.name: (d.place(), d.area_m2) for d in things.dryers}

    def spot(self, name: str) -> Place:
        """A drying place by its own name here, or a kind of place by its general one."""
        own = self.drying_places()
        if name in own:
            return own[name][0]
        if name not in place_names():
            names = ", ".join([*own, *place_names()])
            raise InputError(
                say("place '{name}' is not known.", name=name), "place", say("Choose: {names}.", names=names)
            )
        return place(name)

    def store_c(self, name: str = "") -> tuple[float, float] | None:
        """Lowest and highest stated temperature of the stores (or of one); None where one is not stated."""
        stores = [s for s in self.equipment.stores if not name or s.name == name]
        known = [s.temperature_c for s in stores if s.temperature_c is not None]
        return (min(known), max(known)) if known and len(known) == len(stores) else None

    def normals(self) -> tuple[MonthNormals, ...] | None:
        """Monthly normals, if the station gave any."""
        months = self.weather.months
        return None if months is None else tuple(m.normals() for m in months)
