"""Bombs, edges, clocks: one sentence each, and no page that only says 500."""

from __future__ import annotations

import io
import zipfile
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import DatabaseError, OperationalError

from drydown.desk.tls import ensure
from drydown.errors import InputError
from tests.desk.forms import weigh

if TYPE_CHECKING:
    from django.test import Client


@pytest.mark.parametrize(
    "text", ["x = " + "9" * 5_000, "x = " + "[" * 9_000, "x = " + "{a=" * 4_000, "\x00", "x = 1979-99-99"]
)
def test_toml_bombs_are_one_sentence(text: str) -> None:
    from drydown.quality.sample import parse_sheet
    from drydown.station.load import parse_station

    with pytest.raises(InputError):
        parse_sheet(text)
    with pytest.raises(InputError):
        parse_station(text)


def test_a_station_file_that_is_a_bomb_takes_no_page_down(client: Client, books: Path) -> None:
    (books / "station.toml").write_text("x = " + "9" * 5_000, encoding="utf-8")
    for path in ("/", "/gate/", "/yard/", "/station/", "/alive/"):
        assert client.get(path, follow=True).status_code in {200, 400}, path


ADDRESSES = (
    "/gate/slip/{}/", "/growers/{}/", "/journal/{}/", "/bench/{}/", "/gate/?saved={}", "/money/?grower={}",
    "/bench/drawing/?items={}&aql=1&level=II", "/api/lots?offset={}", "/journal/?page={}",
)  # fmt: skip


@pytest.mark.parametrize("number", ["9" * 30, "0" * 40, "-1", "1e9", "%D9%A1"])
def test_far_numbers_in_addresses_are_no_page(client: Client, number: str) -> None:
    weigh(client)
    for path in ADDRESSES:
        assert client.get(path.format(number)).status_code in {200, 400, 404, 422}, path


def test_a_workbook_with_a_far_column_is_refused_quickly(client: Client) -> None:
    from openpyxl import Workbook

    book = Workbook()
    book.active["A1"], book.active["XFD1"] = "name", "far"  # type: ignore[index]
    for row in range(2, 3000):
        book.active[f"A{row}"], book.active[f"XFD{row}"] = f"Grower {row}", "x"  # type: ignore[index]
    out = io.BytesIO()
    book.save(out)
    upload = SimpleUploadedFile("far.xlsx", out.getvalue())
    answer = client.post("/carry/", {"kind": "growers", "file": upload})
    assert answer.status_code == 400
    assert "beyond column" in answer.content.decode()


def test_a_workbook_that_is_a_bomb_is_refused(client: Client, books: Path) -> None:
    from drydown.books.copies.imports import preview
    from drydown.station.load import load_station

    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as box:
        box.writestr("xl/worksheets/sheet1.xml", b" " * 200_000_000)
    with pytest.raises(InputError, match="far more"):
        preview("growers", "b.xlsx", out.getvalue(), load_station(books / "station.toml"))


@pytest.mark.parametrize(
    ("error", "words"),
    [
        (OperationalError("disk I/O error"), "disk"), (OperationalError("database is locked"), "busy"),
        (OperationalError("database or disk is full"), "full"),
        (DatabaseError("connection refused"), "do not answer"),
        (OSError(30, "Read-only file system"), "read-only"), (OSError(28, "No space left on device"), "full"),
    ],
)  # fmt: skip
@pytest.mark.parametrize("path", ["/gate/", "/yard/", "/alive/", "/api/lots"])
def test_books_that_do_not_answer_are_a_page_that_tries_again(
    client: Client, monkeypatch: pytest.MonkeyPatch, error: Exception, words: str, path: str
) -> None:
    from django.contrib.sessions.backends.db import SessionStore

    def broken(*_all: Any, **_more: Any) -> Any:
        raise error

    client.raise_request_exception = False
    monkeypatch.setattr(SessionStore, "load", broken)
    answer = client.get(path)
    assert answer.status_code == 503
    assert words.casefold() in answer.content.decode().casefold()
    assert answer.headers["Retry-After"] == "10"


def test_a_clock_before_the_last_entry_is_told(client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    from drydown.desk.context import clock_words

    weigh(client)
    now = datetime.now(UTC)
    assert clock_words(now) == ""
    assert "before the last entry" in clock_words(now - timedelta(days=2))
    assert "far after" in clock_words(now + timedelta(days=900))
    assert clock_words(now + timedelta(days=20)) == ""


@pytest.mark.parametrize("days", [-4000, 40_000])
def test_an_authority_that_is_not_valid_now_is_told(tmp_path: Path, days: int) -> None:
    now = datetime(2026, 11, 26, tzinfo=UTC)
    ensure(tmp_path, "Orimba", ["localhost"], now)
    with pytest.raises(InputError, match="clock"):
        ensure(tmp_path, "Orimba", ["localhost"], now + timedelta(days=days))


def test_a_desk_certificate_from_the_future_is_made_anew(tmp_path: Path) -> None:
    now = datetime(2026, 11, 26, tzinfo=UTC)
    first = ensure(tmp_path, "Orimba", ["localhost"], now + timedelta(days=300))
    (tmp_path / "authority.crt").unlink()  # made by a clock that ran ahead
    before = first.certificate.read_bytes()
    assert ensure(tmp_path, "Orimba", ["localhost"], now).certificate.read_bytes() != before


def test_a_second_desk_on_one_folder_does_not_start(tmp_path: Path) -> None:
    from drydown.cli.running import holding

    second = holding(tmp_path, "http://127.0.0.1:2/")
    with holding(tmp_path, "http://127.0.0.1:1/"), pytest.raises(InputError, match="desk already"), second:
        pass
