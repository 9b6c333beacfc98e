"""Alarms by mail against a mail server of the test's own (aiosmtpd): once each, told where it fails."""

from __future__ import annotations

import socket
from datetime import UTC, datetime
from email import message_from_bytes
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from aiosmtpd.controller import Controller

from tests.desk.test_day import ago, natural

if TYPE_CHECKING:
    from django.test import Client


class Box:
    """Keeps what comes; asks for a name and password where it has one."""

    def __init__(self) -> None:
        self.mails: list[Any] = []

    async def handle_DATA(self, _server: Any, _session: Any, envelope: Any) -> str:  # noqa: N802
        self.mails.append(envelope)
        return "250 kept"


@pytest.fixture
def box() -> Any:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = int(probe.getsockname()[1])
    kept = Box()
    server = Controller(kept, hostname="127.0.0.1", port=port)
    server.start()
    yield kept, server
    if server.loop.is_running():
        server.stop()


def alarmed(books: Path, port: int) -> Any:
    """The station with a mail server."""
    from drydown.station.load import load_station

    file = books / "station.toml"
    text = file.read_text(encoding="utf-8").partition("\n[alarms]")[0]
    told = f'\n[alarms]\nserver = "127.0.0.1"\nport = {port}\nsecurity = "none"\n'
    ends = 'sender = "desk@orimba.example"\nto = ["lead@orimba.example"]\n'
    file.write_text(text + told + ends, encoding="utf-8")
    return load_station(file)


def stored_wet(client: Client) -> str:
    code = natural(client, days=12)
    from tests.desk.forms import step

    assert (
        step(client, code, "bag", mass_kg="30", store="Main store", wet="on", at=ago(days=1)).status_code
        == 302
    )
    form = {
        "key": "0b9ad3f0-0000-4000-8000-000000000001",
        "moisture": "14.4",
        "method": "oven",
        "bean_temp": "",
    }
    assert client.post(f"/lot/{code}/reading/", form | {"at": ""}).status_code == 302
    return code


def test_danger_is_mailed_once_and_says_the_lot(client: Client, books: Path, box: Any) -> None:
    from drydown.desk.alarms import send_alarms

    kept, server = box
    code, station = stored_wet(client), alarmed(books, server.port)
    assert send_alarms(station, books, datetime.now(UTC)) >= 1
    assert send_alarms(station, books, datetime.now(UTC)) == 0
    (mail,) = kept.mails
    assert mail.rcpt_tos == ["lead@orimba.example"]
    said = message_from_bytes(mail.content)
    assert code in said.get_payload(decode=True).decode()  # type: ignore[union-attr]
    assert "12.5" in said.get_payload(decode=True).decode()  # type: ignore[union-attr]
    assert "safe" not in str(said).casefold()


def test_nothing_wrong_sends_nothing(client: Client, books: Path, box: Any) -> None:
    from drydown.desk.alarms import send_alarms

    kept, server = box
    natural(client, days=1)
    assert send_alarms(alarmed(books, server.port), books, datetime.now(UTC)) == 0
    assert kept.mails == []


def test_a_server_that_is_away_is_a_line_and_is_tried_again(client: Client, books: Path, box: Any) -> None:
    from drydown.desk.alarms import mail_state, send_alarms

    kept, server = box
    stored_wet(client)
    station = alarmed(books, server.port)
    server.stop()  # its port is free now: nobody answers there
    assert send_alarms(station, books, datetime.now(UTC)) == 0
    assert "was not sent" in mail_state()
    assert "was not sent" in client.get("/day/").content.decode()
    again = Controller(kept, hostname="127.0.0.1", port=server.port)
    again.start()
    assert send_alarms(station, books, datetime.now(UTC)) >= 1
    again.stop()
    assert mail_state() == ""
    assert len(kept.mails) == 1


def test_the_password_is_in_no_copy(books: Path, tmp_path: Path) -> None:
    from drydown.books.copies import backup

    (books / "mail.secret").write_text("forbidden words\n", encoding="utf-8")
    assert not any("secret" in part.name for part in backup._beside(books, tmp_path))
    (books / "mail.secret").unlink()
