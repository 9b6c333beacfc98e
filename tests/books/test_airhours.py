"""Hours of air in the books: taken in once, read back by date, moved from forecast to seen."""

from __future__ import annotations

import http.server
import json
import threading
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest

from drydown.air.told import SHAPE
from drydown.errors import InputError

if TYPE_CHECKING:
    from django.test import Client


def _table(path: Path, start: datetime, hours: int, rain: float = 0.0) -> None:
    rows = ["time,temp_c,rh_percent,ghi_wm2,wind_ms,rain_mm"]
    for h in range(1, hours + 1):
        at = start + timedelta(hours=h)
        sun = max(0.0, 700.0 * np.sin(np.pi * (at.hour - 6) / 12)) if 6 < at.hour < 18 else 0.0
        rows.append(f"{at:%Y-%m-%d %H:%M},{18 + 5 * (6 < at.hour < 18)},70,{sun:.0f},1.2,{rain}")
    path.write_text("\n".join(rows), encoding="utf-8")


def _station() -> object:
    from drydown.desk.context import need_station

    return need_station()


def _midnight(days: int) -> datetime:
    from django.utils import timezone

    zone = _station().place.site().zone  # type: ignore[attr-defined]
    now = timezone.now().astimezone(zone)
    return now.replace(hour=0, minute=0, second=0, microsecond=0) - timedelta(days=days)


def forecast(start: datetime, hours: int, rain: float) -> str:
    columns = {
        "temp_c": [20.0] * hours, "rh_percent": [80.0] * hours, "ghi_wm2": [100.0] * hours,
        "wind_ms": [1.0] * hours,
        "rain_mm": [rain] * hours,
    }  # fmt: skip
    told = {"shape": SHAPE, "issued": start.isoformat(), "start": start.isoformat(), "hours": columns}
    return json.dumps(told)


def test_a_logger_s_file_becomes_the_air_that_was(client: Client, tmp_path: Path) -> None:
    from drydown.books.lots.air import air_stamp, station_skies
    from drydown.books.lots.airhours import take_in_file
    from drydown.books.models import AirHour
    from drydown.outlook.skies import lot_air

    station, start = _station(), _midnight(4)
    before = air_stamp(station).since(start)  # type: ignore[arg-type]
    _table(tmp_path / "log.csv", start, 72)
    site = station.place.site()  # type: ignore[attr-defined]
    hours, _odd = take_in_file(tmp_path / "log.csv", site, "log.csv")
    assert hours == AirHour.objects.count() == 72
    assert take_in_file(tmp_path / "log.csv", site, "log.csv")[0] == 72  # the same again: nothing twice
    assert AirHour.objects.count() == 72
    found = lot_air(station_skies(station), start, 96, 40, 1001)  # type: ignore[arg-type]
    assert found.measured.sum() == 72
    assert np.ptp(found.air.temp_c[:, 10]) == 0.0
    assert air_stamp(station).since(start) != before  # type: ignore[arg-type]
    _table(tmp_path / "log.csv", start, 72, rain=3.0)
    take_in_file(tmp_path / "log.csv", site, "log.csv")
    again = lot_air(station_skies(station), start, 96, 40, 1001)  # type: ignore[arg-type]
    assert np.all(again.air.rain_mm[:, :72] == 3.0)  # corrected hours take the place of the first ones


def test_a_forecast_is_kept_for_hours_to_come_only(client: Client) -> None:
    from django.utils import timezone

    from drydown.books.lots.airhours import ahead_pieces, own_skill, take_in_told
    from drydown.outlook.skill import AT_FIRST

    site = _station().place.site()  # type: ignore[attr-defined]
    begin = timezone.now().astimezone(site.zone).replace(minute=0, second=0, microsecond=0) - timedelta(
        hours=10
    )
    kept = take_in_told(forecast(begin, 48, 1.0), site, "file")
    assert 36 <= kept <= 38
    (piece,) = ahead_pieces(site)
    assert piece.hours in {kept - 1, kept}
    assert own_skill(site, None).share == AT_FIRST


def test_skill_is_scored_on_days_that_came(client: Client) -> None:
    """Ten dry days that were forecast wet: the share falls to nothing."""
    from drydown.air.told import read_told
    from drydown.books.lots.airhours import own_skill, take_in
    from drydown.books.models import AirHour
    from drydown.outlook.skill import AT_FIRST

    station = _station()
    site, start = station.place.site(), _midnight(11)  # type: ignore[attr-defined]
    take_in(read_told(forecast(start, 240, 0.0), site).air, "seen", "made up", None)
    AirHour.objects.update(kind="ahead")
    AirHour.objects.update(rain_mm=1.0)
    take_in(read_told(forecast(start, 240, 0.0), site).air, "seen", "made up", None)
    found = own_skill(site, station.normals())  # type: ignore[attr-defined]
    assert found.days == 10
    assert found.share < AT_FIRST


@pytest.fixture
def service() -> Iterator[str]:
    """A forecast service of our own on this machine."""

    class Answer(http.server.BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            good = self.path == "/hourly"
            self.send_response(200 if good else 503)
            self.end_headers()
            self.wfile.write(
                forecast(datetime(2031, 1, 1).astimezone(), 24, 1.0).encode() if good else b"busy"
            )

        def log_message(self, *_args: object) -> None:
            return None

    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Answer)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield f"http://127.0.0.1:{server.server_port}"
    server.shutdown()
    server.server_close()


def test_a_service_is_asked_and_its_silence_is_a_sentence(client: Client, service: str) -> None:
    from drydown.books.lots.airhours import take_in_told
    from drydown.desk.fetching import fetched

    site = _station().place.site()  # type: ignore[attr-defined]
    assert take_in_told(fetched(f"{service}/hourly"), site, service) == 24
    for address, words in (
        (f"{service}/other", "did not answer"), ("http://127.0.0.1:9/", "did not answer"),
        ("file:///etc/passwd", "no http"),
    ):  # fmt: skip
        with pytest.raises(InputError, match=words):
            fetched(address)


def test_the_page_takes_both_kinds_and_refuses_others(client: Client, tmp_path: Path) -> None:
    from django.core.files.uploadedfile import SimpleUploadedFile

    from drydown.books.models import AirHour

    _table(tmp_path / "log.csv", _midnight(3), 48)
    sent = SimpleUploadedFile("log.csv", (tmp_path / "log.csv").read_bytes())
    assert client.post("/air/", {"file": sent}).status_code == 302
    told = SimpleUploadedFile("next.json", forecast(datetime(2031, 1, 1).astimezone(), 24, 1.0).encode())
    assert client.post("/air/", {"file": told}).status_code == 302
    text = client.get("/air/").content.decode()
    assert "48 hours" in text
    assert "24 hours" in text
    for bad in (SimpleUploadedFile("x.csv", b"\x00\x01"), SimpleUploadedFile("x.json", b"{}")):
        answer = client.post("/air/", {"file": bad})
        assert answer.status_code == 400
    assert AirHour.objects.count() == 72
    day = f"{_midnight(1):%Y-%m-%d}"
    key = "00000000-0000-4000-8000-00000000aaaa"
    assert client.post("/day/sky/", {"day": day, "word": "rain", "key": key}).status_code == 302
    assert "rain all day" in client.get("/air/").content.decode()
