"""What to build and advice, through the desk."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from django.test import Client

ASK = {
    "crop_kg": "900", "species": "arabica", "begins": "2026-06-01", "weeks": "5", "people": "2",
    "pulper": "0",
    "beds": "0", "water_l_day": "400", "room_m2": "150", "money": "2000000",
}  # fmt: skip


def test_advice_is_given_printed_and_refused(client: Client) -> None:
    assert client.get("/advice/").status_code == 200
    text = client.get("/advice/", ASK).content.decode()
    assert "a year more than selling the fruit" in text
    assert "Buy in this order" in text
    for language in ("en", "sw"):
        assert client.get("/advice/print/", ASK | {"language": language}).content.startswith(b"%PDF")
    for wrong in ({"weeks": "1"}, {"crop_kg": "many"}, {"beds": "-3"}, {"species": "mocha"}):
        assert client.get("/advice/", ASK | wrong).status_code == 400
    poor = client.get("/advice/", ASK | {"money": "100", "water_l_day": "0"}).content.decode()
    assert "Not possible" in poor or "Selling the fruit" in poor
    assert client.get("/advice/print/", {}).status_code == 400


def test_a_search_is_begun_once_goes_on_beside_the_page_and_stays(client: Client, books: object) -> None:
    from pathlib import Path

    from django.conf import settings

    path = Path(settings.STATION_FILE)
    text = path.read_text(encoding="utf-8")
    small = text.replace("fruit_kg = 96000", "fruit_kg = 3000").replace(
        "ends = 2027-01-08", "ends = 2026-10-20"
    )
    path.write_text(small, encoding="utf-8")
    try:
        assert "Work it out" in client.get("/build/").content.decode()
        assert client.get("/build/print/").status_code == 400
        for _twice in range(2):
            assert client.post("/build/start/").status_code == 302
        until = time.monotonic() + 120.0
        page = client.get("/build/").content.decode()
        while "Bill of quantities" not in page and time.monotonic() < until:
            time.sleep(0.5)
            page = client.get("/build/").content.decode()
        for words in ("Bill of quantities", "Side by side", "Money against service", "What lots wait for",
                      "Published rules of thumb", "licensed practice"):  # fmt: skip
            assert words in page, words
        assert client.get("/build/print/").content.startswith(b"%PDF")
        assert client.post("/build/start/").status_code == 302  # nothing is begun anew
        assert "Bill of quantities" in client.get("/build/").content.decode()
    finally:
        path.write_text(text, encoding="utf-8")


def test_a_harvest_that_is_not_stated_is_learnt_from_the_books(client: Client) -> None:
    """Twenty days of 300 kg that ended eighty days ago: 6 t in twenty days is what is simulated."""
    from drydown.books.lots.air import folder
    from drydown.desk.building import harvest_here, look
    from drydown.errors import RangeError
    from drydown.station.load import example_text, parse_station
    from drydown.station.weather import station_weather
    from tests.desk.forms import weigh
    from tests.desk.test_day import ago

    here = parse_station(example_text()).model_copy(update={"crop": None})
    with pytest.raises(RangeError):
        harvest_here(here)
    for n in range(20):
        sent = weigh(client, at=ago(days=100 - n), new_grower="on" if n == 0 else "", gross="301,5")
        assert sent.status_code == 302
    found = harvest_here(here)
    assert found.fruit_kg == pytest.approx(20 * 300.0, rel=0.01)
    assert found.days == 20
    weather = station_weather(here, folder())
    key = look(here, weather).key
    assert weigh(client, at=ago(days=80), new_grower="", gross="301,5").status_code == 302
    assert look(here, weather).key != key  # an answer to other fruit is not shown for this one


def test_what_the_station_does_not_state_is_named(client: Client, books: object) -> None:
    from pathlib import Path

    from django.conf import settings

    path = Path(settings.STATION_FILE)
    text = path.read_text(encoding="utf-8")
    path.write_text(text.split("[season]")[0], encoding="utf-8")
    try:
        page = client.get("/build/").content.decode()
        assert "[season], [build]" in page
        assert client.post("/build/start/").status_code == 400
        assert client.get("/advice/", ASK).status_code == 400
    finally:
        path.write_text(text, encoding="utf-8")
