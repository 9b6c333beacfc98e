"""A small invented station for tests of seasons: one hand pulper, two barrels, beds, a long shift."""

from __future__ import annotations

from functools import cache

from drydown.air.normals import MonthNormals
from drydown.station.load import parse_station
from drydown.station.model import Station

SMALL = """
species = ["arabica"]
routes = ["washed", "natural"]
[place]
name = "Test hill"
district = "Nowhere"
latitude_deg = -3.0
longitude_deg = 40.0
elevation_m = 1500.0
utc_offset_h = 3.0
[money]
currency = "XTS"
decimals = 0
[money.cherry_price_per_kg]
arabica = 600
[[equipment.pulpers]]
name = "Pulper"
kind = "drum"
capacity_kg_h = 300.0
[[equipment.tanks]]
name = "Barrel 1"
volume_l = 400.0
[[equipment.tanks]]
name = "Barrel 2"
volume_l = 400.0
[[equipment.beds]]
name = "Bed"
place = "raised_bed"
area_m2 = 60.0
[[equipment.stores]]
name = "Store"
holds_kg = 5000.0
[drying.parchment]
load_kg_m2 = 12.0
target_moisture_percent_wb = 11.0
rake_hours = [8, 12, 16]
cover_from_h = 18
cover_until_h = 7
cover_for_rain = true
[drying.cherry]
load_kg_m2 = 20.0
target_moisture_percent_wb = 11.5
rake_hours = [8, 12, 16]
cover_from_h = 18
cover_until_h = 7
cover_for_rain = true
[work]
wage_per_h = 400
pulping_people = 1
washing_people = 1
[[work.shifts]]
name = "day"
from_h = 6
until_h = 21
people = 3
[[work.green_prices]]
species = "arabica"
route = "washed"
per_kg = 5600
[[work.green_prices]]
species = "arabica"
route = "natural"
per_kg = 5300
[crop]
fruit_kg = 4000
begins = 2026-06-01
ends = 2026-06-30
[season]
gate_from_h = 13
gate_until_h = 17
hours_from_tree = 3
[season.species_percent]
arabica = 100
[season.route_percent.arabica]
washed = 100
[build]
fresh_hours = 12
fresh_days_percent = 90
mould_lots_percent = 10
interest_percent = 10
upkeep_percent = 5
days_until_paid = 30
[[build.options]]
kind = "raised_bed"
price = 20000
most = 3
size = 20
[[build.options]]
kind = "barrel"
price = 5000
most = 2
size = 400
"""
MONTH = """[[weather.months]]
tmax_c = 26.0
tmin_c = 14.0
rh_percent = 70
rain_mm = 90
rain_days = 10
wind_ms = 1.8
ghi_kwh_m2_day = 5.2
"""


def months() -> tuple[MonthNormals, ...]:
    """Its normals."""
    found = small().normals()
    assert found is not None
    return found


@cache
def small() -> Station:
    """The station."""
    return parse_station(SMALL + 12 * MONTH)
