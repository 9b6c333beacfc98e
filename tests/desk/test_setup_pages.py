"""Setting up in short pages: the gate opens with the least there can be, nothing typed is lost."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from tests.desk.forms import station_fields, step, weigh

if TYPE_CHECKING:
    from django.test import Client

PLACE = {"place.name": "Kell Mill", "place.district": "Kell", "place.latitude_deg": "-3,4",
         "place.longitude_deg": "45", "place.elevation_m": "1500", "place.utc_offset_h": "3"}  # fmt: skip
CROP = {"species": ["robusta"], "routes": ["natural"], "money.currency": "xts", "money.decimals": "0",
        "money.cherry_price_per_kg.robusta": "350"}  # fmt: skip
BED = {"equipment.beds.1.name": "Floor", "equipment.beds.1.place": "patio",
       "equipment.beds.1.area_m2": "80"}  # fmt: skip


def send(client: Client, page: str, fields: dict[str, Any]) -> Any:
    return client.post("/station/", {"page": page, **fields})


@pytest.fixture
def bare(client: Client, books: Path) -> Path:
    """No station yet."""
    (books / "station.toml").unlink()
    return books / "station.toml"


def test_three_pages_open_the_gate(client: Client, bare: Path) -> None:
    """Place; one species with its price and one route; one bed: then fruit is weighed and spread."""
    from drydown.books.models import Lot
    from drydown.station.load import load_station

    assert client.get("/gate/").headers["Location"] == "/station/"
    assert send(client, "place", PLACE).headers["Location"] == "/station/?page=crop"
    assert not bare.exists()
    page = client.get("/station/?page=places").content.decode()
    assert "Not yet" in page
    assert send(client, "crop", CROP).status_code == 302
    assert send(client, "places", BED).status_code == 302
    station = load_station(bare)
    assert (station.place.name, station.species, station.money.currency) == ("Kell Mill", ("robusta",), "XTS")
    text = client.get("/station/").content.decode()
    assert "It is open" in text
    assert "no lot has a forecast until its twelve months are typed" in text
    assert weigh(client, species="robusta", route="natural", ripe="").status_code == 302
    code = Lot.objects.get().code
    assert step(client, code, "float", floaters_kg="2").status_code == 302
    made = step(client, code, "spread", bed="Floor", load_kg_m2="20")
    assert made.status_code == 302, made.content.decode()
    for path in ("/yard/", f"/lot/{code}/", "/money/", "/gate/"):
        assert client.get(path).status_code == 200, path


def test_without_climate_a_lot_says_why_there_is_no_date(client: Client, books: Path) -> None:
    from drydown.books.models import Lot

    file = books / "station.toml"
    text = file.read_text(encoding="utf-8")
    begin, end = text.index("[[weather.months]]"), text.index("[[equipment.pulpers]]")
    file.write_text(text[:begin] + text[end:], encoding="utf-8")
    weigh(client, route="natural")
    code = Lot.objects.get().code
    step(client, code, "float", floaters_kg="2")
    assert step(client, code, "spread", bed="Old patio", load_kg_m2="20").status_code == 302
    assert "no climate yet" in client.get(f"/lot/{code}/").content.decode()
    assert "no climate yet" in client.get("/yard/").content.decode()


def test_a_page_keeps_what_the_others_said(client: Client, books: Path) -> None:
    from drydown.station.load import load_station

    before = load_station(books / "station.toml")
    shown = station_fields(client.get("/station/?page=place").content.decode())
    assert set(shown) >= set(PLACE)
    assert not any(key.startswith("weather") for key in shown)
    answer = send(client, "place", shown | {"place.name": "New name"})
    assert answer.status_code == 302
    after = load_station(books / "station.toml")
    assert after.place.name == "New name"
    assert after.model_copy(update={"place": before.place}) == before


def test_a_row_taken_away_is_gone(client: Client, books: Path) -> None:
    from drydown.station.load import load_station

    shown = station_fields(client.get("/station/?page=places").content.decode())
    last = max(int(k.split(".")[2]) for k, v in shown.items() if k.startswith("equipment.beds.") and v)
    emptied = {k: "" if k.startswith(f"equipment.beds.{last}.") else v for k, v in shown.items()}
    names = [b.name for b in load_station(books / "station.toml").equipment.beds]
    assert send(client, "places", emptied).status_code == 302
    assert [b.name for b in load_station(books / "station.toml").equipment.beds] == names[:-1]


def test_a_mistake_stays_on_its_page(client: Client, bare: Path) -> None:
    wrong = send(client, "place", PLACE | {"place.elevation_m": "9000"})
    assert wrong.status_code == 400
    text = wrong.content.decode()
    box = re.search(r'<div class="error" role="alert".*?</div>', text, re.S)
    assert box
    assert box[0].count("<li>") == 1  # what other pages lack is no mistake of this one
    assert "5500" in box[0]
    assert 'value="Kell Mill"' in text
    assert 'value="Kell Mill"' in client.get("/station/?page=place").content.decode()  # and is kept


def test_places_are_drawn_to_one_scale(client: Client, books: Path) -> None:
    """Only areas count: width times height of every box over its m2 is the same."""
    from drydown.desk.setuppic import plan_of

    areas = {"1": "420", "2": "360", "3": "150", "4": "200", "5": "35", "6": "x", "7": ""}
    values = {f"equipment.beds.{i}.area_m2": a for i, a in areas.items()}
    boxes = plan_of(values)["boxes"]
    assert len(boxes) == 5
    scales = [b.width * b.height / float(a) for b, a in zip(boxes, areas.values(), strict=False)]
    assert max(scales) / min(scales) < 1.02
    drawn = client.post("/station/picture/", {"page": "places", "equipment.beds.1.area_m2": "99"})
    assert "99 m2" in drawn.content.decode()


def test_months_are_drawn_as_they_are_typed(client: Client, books: Path) -> None:
    typed = {"page": "climate", "weather.months.1.tmax_c": "27", "weather.months.1.tmin_c": "14",
             "weather.months.1.rh_percent": "70", "weather.months.1.rain_mm": "90",
             "weather.months.2.tmax_c": "?"}  # fmt: skip
    text = client.post("/station/picture/", typed).content.decode()
    assert "1 of 12 months" in text
    assert client.post("/station/picture/", {"page": "climate"}).status_code == 200
