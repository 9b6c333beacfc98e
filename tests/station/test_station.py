"""The station file: the example is good; each mistake is one sentence with key and range."""

from __future__ import annotations

from pathlib import Path

import pytest

from drydown.errors import InputError
from drydown.station.load import StationFileError, example_text, load_station, parse_station
from drydown.station.weather import read_weather, station_weather


def test_the_example_is_good_and_describes_an_invented_place() -> None:
    station = parse_station(example_text())
    assert station.place.name == "Orimba Station"
    assert station.money.currency == "XTS"
    assert station.normals() is not None
    assert {b.place for b in station.equipment.beds} == {"raised_bed", "roofed_bed", "patio"}


MISTAKES = [
    ("area_m2 = 420.0", "area_m2 = -1", "equipment.beds.1.area_m2 is -1; it must be above 0."),
    ("tmax_c = 26.1", "tmax_c = 6.1", "weather.months.1: tmax_c 6.1 must be above tmin_c 13.4."),
    ('currency = "XTS"', 'currency = "xt"', "money.currency is 'xt'"),
    ("[measured]", "[mesured]", "mesured is not a key of a station file (misspelt?)."),
    ("elevation_m = 1690.0", 'elevation_m = "high"', "place.elevation_m is 'high'; it must be a number"),
    ('"washed", ', '"wet", ', "routes.1 is 'wet'; it must be one of"),
    ('name = "Tank 2"', 'name = "Tank 1"', "the name 'tank 1' stands twice"),
    ('place = "patio"', 'place = "roof"', "place 'roof' is not one of raised_bed"),
    ("robusta = 410\n", "", "money.cherry_price_per_kg has no price for robusta"),
    ("latitude_deg = -3.4", "latitude_deg = -93.4", "place.latitude_deg is -93.4; it must be -60 or more."),
    ("utc_offset_h = 3.0", "utc_offset_h = nan", "place.utc_offset_h is nan"),
    (
        "arabica = 620",
        "arabica = 0.4",
        "the price of arabica, 0.4, has more digits than money.decimals allows",
    ),
    ('place = "patio"', 'place = "drum"', "place 'drum' is a machine or a heap"),
    ("rain_days = 12", "rain_days = 0", "rain_mm and rain_days must both be zero"),
]


@pytest.mark.parametrize(("good", "bad", "sentence"), MISTAKES)
def test_mistakes_are_named(good: str, bad: str, sentence: str) -> None:
    assert good in example_text()
    with pytest.raises(StationFileError) as caught:
        parse_station(example_text().replace(good, bad, 1))
    assert any(sentence in line for line in caught.value.lines)
    assert len(caught.value.lines) == 1


def test_a_missing_month_is_counted() -> None:
    text = example_text()
    cut = text[: text.index("[[weather.months]]  # December")] + text[text.index("[[equipment.pulpers]]") :]
    with pytest.raises(StationFileError, match="needs 12 or more entries, has 11"):
        parse_station(cut)


def test_not_toml_and_not_text(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="not valid TOML"):
        parse_station("name = Orimba Station")
    file = tmp_path / "s.toml"
    file.write_bytes("name = 'caf\xe9'".encode("latin-1"))
    with pytest.raises(InputError, match="not UTF-8"):
        load_station(file)
    with pytest.raises(InputError, match="station new"):
        load_station(tmp_path / "none.toml")


def test_own_measurements_replace_assumptions() -> None:
    station = parse_station(example_text())
    stated = station.practice().pulp_water_l_kg_cherry
    assert (stated.low, stated.high) == (1.2, 1.2)
    assert str(stated.source.status) == "stated by the user"
    assert station.practice().float_share.low < station.practice().float_share.high


def test_weather_files_by_their_ending(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"ends in '.xls'"):
        read_weather(tmp_path / "w.xls", None)
    with pytest.raises(InputError, match="does not say where"):
        read_weather(tmp_path / "w.csv", None)


def test_what_may_come_later_is_told_and_stops_nothing() -> None:
    """Place, a species with a price, a route and a bed are enough to weigh in; the rest is named."""
    from drydown.station.gaps import gaps

    text = example_text()
    assert gaps(parse_station(text)) == []
    begin, end = text.index("[drying.cherry]"), text.index("# What you have measured")
    bare = text[:begin] + text[end:]
    assert [g.about for g in gaps(parse_station(bare))] == ["drying"]
    begin, end = text.index("[[equipment.tanks]]"), text.index("# place is one of")
    assert [g.about for g in gaps(parse_station(text[:begin] + text[end:]))] == ["tanks"]
    begin, end = text.index("[[weather.months]]"), text.index("[[equipment.pulpers]]")
    dry = parse_station(text[:begin] + text[end:])
    assert [g.about for g in gaps(dry)] == ["climate"]
    with pytest.raises(InputError, match="no climate yet"):
        station_weather(dry, Path())


def test_a_dryer_is_a_place_with_a_fan() -> None:
    rows = ('name = "Bin 1"', 'kind = "static_bin"', "area_m2 = 6", "holds_kg = 1500", "air_c = 48")
    dryer = "\n".join(("[[equipment.dryers]]", *rows, "", "[[equipment.stores]]"))
    station = parse_station(example_text().replace("[[equipment.stores]]", dryer))
    assert station.equipment.dryers[0].place().air_set_c == 48.0
    wrong = dryer.replace("static_bin", "patio")
    with pytest.raises(StationFileError, match="kind 'patio' is not one of static_bin"):
        parse_station(example_text().replace("[[equipment.stores]]", wrong))


def test_a_climate_that_is_none_is_refused_with_its_name() -> None:
    text = example_text().replace("# [place.climate]", "[place.climate]")
    known = text.replace("# wet_sun = 0.75 ", "wet_sun = 0.75 ")
    assert dict(parse_station(known).place.site().climate) == {"wet_sun": 0.75}
    with pytest.raises(StationFileError, match="'wet_moon' is not known of a climate"):
        parse_station(known.replace("wet_sun =", "wet_moon ="))
    with pytest.raises(StationFileError, match=r"wet_sun: must be from .* got 75"):
        parse_station(known.replace("wet_sun = 0.75", "wet_sun = 75"))
