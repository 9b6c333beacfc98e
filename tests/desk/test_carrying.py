"""Everything out and lists in: read by other programs, looked at first, nothing kept twice."""

from __future__ import annotations

import csv
import io
import json
import re
import zipfile
from pathlib import Path
from typing import Any

import pytest

from tests.desk.forms import weigh

GROWERS = "number,name,village\n201,Ama Vembi,Kell Ridge\n,Beno Okkal,\n203,,Kell Ridge\nx,Dari Bellit,\n"
DELIVERIES = (
    "at;grower;species;route;gross_kg;tare_kg;price_per_kg;ripe_percent\n"
    "2026-05-04 09:30;101;arabica;washed;51,5;1,5;620;93\n"
    "2026-05-04 09:45;101;arabica;washed;1.234;0;620;93\n"
    "2026-13-04 09:45;101;arabica;washed;20;0;620;\n"
    "2026-05-04 10:00;977;arabica;washed;20;0;620;\n"
    "2026-05-04 10:00;101;racemosa;washed;20;0;620;\n"
    "2026-05-04 10:05;101;arabica;washed;1,5;51,5;620;\n"
    "2026-05-04 09:30;101;arabica;washed;51,5;1,5;620;93\n"
)


def look(client: Any, kind: str, content: str | bytes, name: str = "list.csv") -> Any:
    """Look at a list on the page."""
    from django.core.files.uploadedfile import SimpleUploadedFile

    raw = content.encode() if isinstance(content, str) else content
    return client.post("/carry/", {"kind": kind, "file": SimpleUploadedFile(name, raw)})


def keep(client: Any, page: str) -> Any:
    """Keep what was looked at."""
    sealed = re.search(r'name="sealed" value="([^"]+)"', page)
    assert sealed
    return client.post("/carry/", {"sealed": sealed[1]}, follow=True)


def test_growers_are_looked_at_then_kept(client: Any) -> None:
    from drydown.books.models import Grower

    page = look(client, "growers", GROWERS).content.decode()
    assert "row 4: name: is empty" in page
    assert "row 5: number: &#x27;x&#x27; is not a whole number" in page
    assert Grower.objects.count() == 0
    assert "2 growers imported" in keep(client, page).content.decode()
    assert {(g.number, g.name) for g in Grower.objects.all()} == {(201, "Ama Vembi"), (202, "Beno Okkal")}
    again = look(client, "growers", GROWERS).content.decode()
    assert "<strong>0</strong> rows can be imported, 2 are known already, 2 are wrong" in again


def test_past_deliveries_name_each_bad_row_and_are_kept_once(client: Any) -> None:
    from drydown.books.copies.verify import verify
    from drydown.books.models import Delivery

    weigh(client)
    page = look(client, "deliveries", DELIVERIES).content.decode().replace("&#x27;", "'")
    for words in (
        "row 3: gross_kg: '1.234' could be read two ways", "row 4: at: '2026-13-04 09:45' is not a time",
        "row 5: grower: No grower has the number 977", "row 6: species: 'racemosa' is not received here",
        "row 7: tare_kg: the empty weight is not below the full one",
        "row 8: the same row, or its number, stands above",
    ):  # fmt: skip
        assert words in page, words
    keep(client, page)
    kept = Delivery.objects.get(net_g=50_000)
    assert kept.happened_at.isoformat() == "2026-05-04T06:30:00+00:00"  # the station is at UTC+3
    assert kept.pays == 31_000
    assert "2 are known already" in look(client, "deliveries", DELIVERIES).content.decode()
    assert verify(anew=True).good


def test_a_workbook_reads_as_a_list_does(client: Any) -> None:
    from openpyxl import Workbook

    book = Workbook()
    sheet = book.active
    assert sheet is not None
    for row in (["number", "name"], [201, "Ama Vembi"], [202.0, "Beno Okkal"]):
        sheet.append(row)
    content = io.BytesIO()
    book.save(content)
    page = look(client, "growers", content.getvalue(), "list.xlsx").content.decode()
    assert "<strong>2</strong> rows can be imported" in page


@pytest.mark.parametrize(
    ("latitude", "longitude", "words"),
    [("-3.412345", "45.012345", ""), ("45.012345", "-3.412345", "latitude and longitude swapped"),
     ("3.4", "45.0", "Check both, and their signs"),
     ("-3,4", "45,0", ""),
     ("S3", "45", "not a number of degrees"),
     ("145", "-3.4", "latitude and longitude swapped")],
)  # fmt: skip
def test_plots_are_held_against_the_station(client: Any, latitude: str, longitude: str, words: str) -> None:
    weigh(client)
    line = f"grower;plot;latitude;longitude\n101;upper field;{latitude};{longitude}\n"
    page = look(client, "plots", line).content.decode()
    assert words in page
    assert ("<strong>1</strong> rows can be imported" in page) == (not words)


def test_everything_out_in_three_formats(client: Any) -> None:
    from openpyxl import load_workbook

    weigh(client, grower="=cmd|'/c calc'!A1", village="-2+3")
    text = b"".join(client.get("/carry/everything.json").streaming_content).decode()
    data = json.loads(text)
    assert data["shape"] == "drydown.everything/1"
    assert data["growers"][0]["name"].startswith("=cmd")  # JSON runs nothing; it stays as it was
    assert sum(row["amount"] for row in data["postings"] if row["commodity"] == "dry") == 0
    box = zipfile.ZipFile(io.BytesIO(b"".join(client.get("/carry/everything.csv").streaming_content)))
    rows = list(csv.DictReader(io.StringIO(box.read("growers.csv").decode())))
    assert rows[0]["name"].startswith("'=cmd")
    assert rows[0]["village"] == "'-2+3"
    book = load_workbook(io.BytesIO(b"".join(client.get("/carry/everything.xlsx").streaming_content)))
    cell = book["growers"].cell(2, 2)
    assert str(cell.value).startswith("'=cmd")
    assert cell.data_type == "s"
    assert set(box.namelist()) == {f"{name}.csv" for name in book.sheetnames}


def test_a_list_cannot_be_changed_between_looking_and_keeping(client: Any) -> None:
    page = look(client, "growers", GROWERS).content.decode()
    sealed = re.search(r'name="sealed" value="([^"]+)"', page)
    assert sealed
    answer = client.post("/carry/", {"sealed": sealed[1][:-3] + "abc"})
    assert answer.status_code == 400
    assert "looked at too long ago, or was changed" in answer.content.decode()


def test_command_line_export_and_import(tmp_path: Path) -> None:
    from tests.alone import run_alone

    (tmp_path / "growers.csv").write_text(GROWERS, encoding="utf-8")
    script = """
import sys
from tests.alone import station
station(sys.argv[1])
from typer.testing import CliRunner
from drydown.cli import app
run = CliRunner()
data = ["--data", sys.argv[1]]
look = run.invoke(app, ["import", "growers", sys.argv[2], *data, "--json"])
print(look.exit_code, look.stdout)
kept = run.invoke(app, ["import", "growers", sys.argv[2], *data, "--keep"])
print(kept.exit_code, kept.stdout)
out = run.invoke(app, ["export", sys.argv[3], *data])
print(out.exit_code, out.stdout)
again = run.invoke(app, ["export", sys.argv[3], *data])
print(again.exit_code)
"""
    books, out = tmp_path / "books", tmp_path / "all.json"
    said = run_alone(script, str(books), str(tmp_path / "growers.csv"), str(out))
    assert '"good": 2' in said
    assert "2 kept, 0 known already, 2 wrong." in said
    assert said.strip().splitlines()[-1] == "2"
    assert len(json.loads(out.read_text(encoding="utf-8"))["growers"]) == 2


def test_one_moment_in_two_zones_is_one_delivery(client: Any) -> None:
    from drydown.books.models import Delivery

    weigh(client)
    head = "at,grower,species,route,gross_kg,tare_kg,price_per_kg\n"
    row = ",101,arabica,washed,51.5,1.5,620\n"
    keep(client, look(client, "deliveries", f"{head}2026-05-04 01:30{row}").content.decode())
    again = look(client, "deliveries", f"{head}2026-05-03T22:30:00+00:00{row}").content.decode()
    assert "1 are known already" in again
    kept = Delivery.objects.get(net_g=50_000)
    assert kept.lot.opened_on.isoformat() == "2026-05-04"  # the day at the station, not in UTC


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("0001-01-01 00:00", "before 2000"),
        ("9998-12-31 23:00", "future"),
        ("1999-12-31 23:00", "before 2000"),
    ],
)
def test_years_off_the_calendar(client: Any, row: str, words: str) -> None:
    weigh(client)
    head = "at,grower,species,route,gross_kg,tare_kg,price_per_kg\n"
    page = look(client, "deliveries", f"{head}{row},101,arabica,washed,51.5,1.5,620\n")
    assert words in page.content.decode()


def test_two_rows_with_one_number_are_told_before_anything_is_kept(client: Any) -> None:
    page = look(client, "growers", "number,name\n201,Ama Vembi\n201,Beno Okkal\n").content.decode()
    assert "row 3: the same row, or its number" in page
