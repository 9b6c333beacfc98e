"""The station page: what it asks, keeps, refuses."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from tests.desk.forms import station_fields, step, weigh

if TYPE_CHECKING:
    from django.test import Client


@pytest.mark.parametrize("damage", ["= =", "species = 5", "x = 1"])
def test_a_damaged_station_file_never_takes_a_page_down(client: Client, books: Path, damage: str) -> None:
    file = books / "station.toml"
    file.write_text(damage + "\n" + file.read_text(encoding="utf-8"), encoding="utf-8")
    for path in ("/", "/gate/", "/yard/", "/station/"):
        assert client.get(path, follow=True).status_code in {200, 400}


def test_the_station_page_keeps_what_it_does_not_show(client: Client, books: Path) -> None:
    file = books / "station.toml"
    text = file.read_text(encoding="utf-8")
    bed = '\n[[equipment.beds]]\nname = "Bed {}"\nplace = "patio"\narea_m2 = 9.0\n'
    more = "".join(bed.format(i) for i in range(5, 10))
    text = text.replace("\n[[equipment.hullers]]", more + "\n[[equipment.hullers]]")
    text = text.replace("latitude_deg = -3.4 ", "latitude_deg = -3.412345 ").replace(
        "[drying.cherry]", "[drying.cherry]\nshade_from_h = 11\nshade_until_h = 13"
    )
    text = text.replace("[measured]", "[measured]\nhuller_loss_share = 0.02")
    file.write_text(text, encoding="utf-8")
    from drydown.station.load import load_station

    before = load_station(file)
    fields = station_fields(client.get("/station/?page=all").content.decode())
    ticks = {"species": list(before.species), "routes": list(before.routes)}
    assert client.post("/station/", fields | ticks | {"place.name": "New name"}).status_code == 302
    after = load_station(file)
    assert after.place.name == "New name"
    assert after.model_copy(update={"place": before.place}) == before
    assert "[[weather.months]]  # March" in file.read_text(encoding="utf-8")


def test_a_bed_with_lots_on_it_keeps_its_name(client: Client, books: Path) -> None:
    from drydown.books.models import Lot
    from drydown.station.load import load_station

    weigh(client, route="natural")
    code = Lot.objects.get().code
    step(client, code, "float", floaters_kg="5")
    step(client, code, "spread", bed="Old patio", load_kg_m2="25")
    fields = station_fields(client.get("/station/?page=all").content.decode())
    name = next(k for k, v in fields.items() if v == "Old patio")
    station = load_station(books / "station.toml")
    ticks = {"species": list(station.species), "routes": list(station.routes)}
    answer = client.post("/station/", fields | ticks | {name: "Newer patio"})
    assert answer.status_code == 400
    assert code in answer.content.decode()


@pytest.mark.parametrize("typed", ["1.690", "1,690", "1690²", "9" * 400])
def test_heights_are_never_guessed(client: Client, books: Path, typed: str) -> None:
    from drydown.station.load import load_station

    station = load_station(books / "station.toml")
    fields = station_fields(client.get("/station/?page=all").content.decode())
    ticks = {"species": list(station.species), "routes": list(station.routes)}
    assert client.post("/station/", fields | ticks | {"place.elevation_m": typed}).status_code == 400


def test_weather_by_file_only(client: Client, books: Path) -> None:
    from drydown.books.models import Lot
    from tests.weatherfiles import epw_lines

    file = books / "station.toml"
    text = file.read_text(encoding="utf-8")
    start, end = text.index("[[weather.months]]"), text.index("[[equipment.pulpers]]")
    file.write_text(text[:start] + '[weather]\nfile = "own.epw"\n\n' + text[end:], encoding="utf-8")
    (books / "own.epw").write_text("\n".join(epw_lines()), encoding="utf-8")
    weigh(client, route="natural")
    code = Lot.objects.get().code
    step(client, code, "float", floaters_kg="5")
    step(client, code, "spread", bed="Old patio", load_kg_m2="25")
    assert "Dry on" in client.get(f"/lot/{code}/").content.decode()
    (books / "own.epw").unlink()
    assert "cannot be read" in client.get("/yard/").content.decode()
    assert client.get("/yard/").status_code == 200


def test_station_page_round_trip_and_mistakes(client: Client, books: Path) -> None:
    from drydown.station.load import load_station

    file = books / "station.toml"
    before, fields = load_station(file), station_fields(client.get("/station/?page=all").content.decode())
    ticks = {"species": list(before.species), "routes": list(before.routes)}
    assert client.post("/station/", fields | ticks).status_code == 302
    assert load_station(file) == before
    assert "# A station file" in file.read_text(encoding="utf-8")
    for key, value, sentence in (
        ("place.elevation_m", "9000", "it must be 5500 or less"),
        ("weather.months.3.rh_percent", "700", "it must be 99 or less"),
        ("equipment.beds.2.area_m2", "1.234", "could be read two ways"),
        ("money.currency", "money", "three capital letters"),
        ("drying.cherry.rake_hours", "8 noon", "is not a list of hours"),
        ("place.name", "", "station name: is missing"),
    ):
        answer = client.post("/station/", fields | ticks | {key: value})
        assert answer.status_code == 400
        assert sentence in answer.content.decode().replace("&#x27;", "'")
        assert load_station(file) == before


def test_first_set_up_begins_empty_and_keeps_what_was_typed(client: Client, books: Path) -> None:
    (books / "station.toml").unlink()
    assert client.get("/gate/").headers["Location"] == "/station/"
    page = client.get("/station/?page=all").content.decode()
    assert "Describe your station" in page
    assert not any(station_fields(page).values())
    answer = client.post("/station/", {"place.name": "Kell Ridge Mill"})
    assert answer.status_code == 400
    assert "Kell Ridge Mill" in answer.content.decode()
    assert not (books / "station.toml").exists()


def test_a_broken_station_file_is_one_sentence(client: Client, books: Path) -> None:
    (books / "station.toml").write_text("place = 3", encoding="utf-8")
    answer = client.get("/yard/")
    assert answer.status_code == 400
    assert "must be a table" in answer.content.decode()


def test_lots_on_their_way_keep_what_they_need(client: Client, books: Path) -> None:
    from drydown.books.models import Lot
    from drydown.station.load import load_station

    weigh(client)
    station = load_station(books / "station.toml")
    fields = station_fields(client.get("/station/?page=all").content.decode())
    answer = client.post("/station/", fields | {"species": ["robusta"], "routes": list(station.routes)})
    assert Lot.objects.get().code in answer.content.decode()
    answer = client.post("/station/", fields | {"species": list(station.species), "routes": ["natural"]})
    assert Lot.objects.get().code in answer.content.decode()
    assert load_station(books / "station.toml") == station


def test_a_tunnel_survives_the_station_page(client: Client, books: Path) -> None:
    from drydown.station.load import load_station

    file = books / "station.toml"
    file.write_text(file.read_text(encoding="utf-8").replace('"roofed_bed"', '"tunnel"'), encoding="utf-8")
    station = load_station(file)
    fields = station_fields(client.get("/station/?page=all").content.decode())
    ticks = {"species": list(station.species), "routes": list(station.routes)}
    assert client.post("/station/", fields | ticks).status_code == 302
    assert load_station(file) == station
