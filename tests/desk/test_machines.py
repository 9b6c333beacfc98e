"""Machines and tunnels on the pages: what the station states, what a lot's page then tells."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from tests.desk.forms import station_fields, step, weigh

if TYPE_CHECKING:
    from django.test import Client

TRAYS = {
    "name": "Tray house", "kind": "tray_dryer", "area_m2": "20", "holds_kg": "800", "air_c": "45",
    "air_m3_min_m2": "12", "recirculated_percent": "60", "burner_percent": "50", "fuel": "wood",
}  # fmt: skip
TUNNEL = {"name": "Long tunnel", "place": "tunnel", "area_m2": "60", "film_age_years": "2"}


def _keep(client: Client, books: Path, prefix: str, row: dict[str, str], number: int) -> tuple[int, str]:
    """Fill one row of the station page; status and page of the answer."""
    from drydown.station.load import load_station

    page = client.get("/station/?page=all").content.decode()
    station = load_station(books / "station.toml")
    ticks = {"species": list(station.species), "routes": list(station.routes)}
    changed = {f"{prefix}.{number}.{key}": value for key, value in row.items()}
    answer = client.post("/station/", station_fields(page) | ticks | changed)
    return answer.status_code, answer.content.decode()


def test_a_lot_in_a_dryer_tells_its_fuel_heat_and_cautions(client: Client, books: Path) -> None:
    assert _keep(client, books, "equipment.dryers", TRAYS, 1)[0] == 302
    from drydown.books.models import Lot
    from drydown.station.load import load_station

    place = load_station(books / "station.toml").drying_places()["Tray house"][0]
    assert (place.recirculated, place.burner, place.fuel) == (0.6, 0.5, "wood")
    assert weigh(client, gross="1001,5").status_code == 302
    code = Lot.objects.get().code
    for kind, more in (
        ("float", {"floaters_kg": "4"}), ("pulp", {}), ("ferment", {"tank": "Tank 1"}), ("wash", {}),
        ("spread", {"bed": "Tray house", "load_kg_m2": "40"}),
    ):  # fmt: skip
        assert step(client, code, kind, **more).status_code == 302
    page = client.get(f"/lot/{code}/").content.decode()
    for words in (
        "Fuel for this lot",
        "kg wood of about 20 % moisture",
        "Heat for a kg of water",
        "Pressure of the air",
        "60 % of the leaving air",
        "Smoke and flue gas must not touch coffee",
        "Stop and isolate",
    ):
        assert words in page, words
    crowded = step(client, code, "move", bed="Tray house", load_kg_m2="12")
    assert crowded.status_code == 302
    said = client.get(f"/lot/{code}/").content.decode()
    assert "m2; Tray house has 20: is it spread thicker?" in said


def test_a_share_typed_for_a_per_cent_is_noticed(client: Client, books: Path) -> None:
    for key, typed, words in (
        ("recirculated_percent", "0.6", "per cent: write 60"),
        ("burner_percent", "0.55", "per cent: write 55"),
    ):
        status, page = _keep(client, books, "equipment.dryers", TRAYS | {key: typed}, 1)
        assert status == 400
        assert words in page


def test_a_tunnel_states_its_vents_whole_or_not_at_all(client: Client, books: Path) -> None:
    status, page = _keep(client, books, "equipment.beds", TUNNEL | {"air_changes_h": "15"}, 5)
    assert status == 400
    assert "Drying places, row 5: vents need both, air changes an hour and height." in page
    status, page = _keep(client, books, "equipment.beds", TUNNEL | {"place": "patio", "air_changes_h": ""}, 5)
    assert status == 400
    assert "has no film" in page
    assert (
        _keep(client, books, "equipment.beds", TUNNEL | {"air_changes_h": "15", "height_m": "2,2"}, 5)[0]
        == 302
    )
    from drydown.station.load import load_station

    tunnel = load_station(books / "station.toml").drying_places()["Long tunnel"][0]
    assert abs(tunnel.vent_m_s - 15 / 3600 * 2.2 / 0.6) < 1e-12
    assert abs(tunnel.light - 0.75 * 0.85**2) < 1e-12
