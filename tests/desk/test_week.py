"""The week through the desk: planned from the books, accepted, in the day, held to what came."""

from __future__ import annotations

import re
import uuid
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from tests.desk.forms import step, weigh
from tests.desk.test_day import ago

if TYPE_CHECKING:
    from django.test import Client


def fruit(client: Client, days: int = 10) -> str:
    """Fruit of ten days as natural lots, and washed fruit of today, floated; its code."""
    from drydown.books.models import Lot

    for n in range(days, 0, -1):
        new = "on" if n == days else ""
        sent = weigh(client, at=ago(days=n), new_grower=new, gross="301,5", route="natural")
        assert sent.status_code == 302
    assert weigh(client, at=ago(hours=1), new_grower="", gross="301,5").status_code == 302
    code = Lot.objects.order_by("-id")[0].code
    assert step(client, code, "float", at=ago(hours=0.5), floaters_kg="3").status_code == 302
    return code


def test_the_week_is_planned_accepted_and_stands_in_the_day(client: Client) -> None:
    from drydown.books.models import Entry

    code = fruit(client)
    first = client.get("/week/").content.decode()
    assert "up to a minute" in first
    text = client.get("/week/?go=1").content.decode()
    assert "Does it fit?" in text
    assert code in text
    assert "Beside simple rules" in text
    wished = client.get(f"/week/?go=1&lot={code}&place=Old+patio")
    assert f"{code} on Old patio" in wished.content.decode()
    for bad in ("lot=XX-1&place=Old+patio", f"lot={code}&place=Moon"):
        assert client.get(f"/week/?go=1&{bad}").status_code == 400
    assert "(own estimate)" in text
    plan = re.search(r'name="plan" value="([^"]+)"', text)
    assert plan
    key = str(uuid.uuid4())
    for _twice in range(2):
        assert client.post("/week/accept/", {"plan": plan[1], "key": key}).status_code == 302
    entry = Entry.objects.get(kind="plan")
    mine = [t for t in entry.facts["tasks"] if t["lot"] == code]
    assert [t["kind"] for t in mine] == ["pulp", "ferment", "wash", "dry"]
    assert not mine[0]["expected"]
    assert code in client.get("/day/").content.decode()
    assert client.get("/week/print/").content.startswith(b"%PDF")
    feed = re.search(r'href="(/calendar/[^"]+)"', client.get("/day/").content.decode())
    assert feed
    spread = next(t for t in mine if t["kind"] == "dry")
    assert spread["words"].split(",")[0].encode() in client.get(feed[1]).content.replace(b"\r\n ", b"")
    again = client.get("/week/?go=1").content.decode()
    assert "Changed since the plan you accepted" in again
    assert (
        "1 task" in (before := client.get("/week/before/").content.decode()) or "tasks of accepted" in before
    )
    assert client.post("/week/accept/", {"plan": "week-x", "key": key}).status_code == 400


def test_what_is_expected_can_be_typed_and_counts(client: Client) -> None:
    from django.utils import timezone

    from drydown.books.models import Entry

    fruit(client)
    text = client.get("/week/").content.decode()
    assert "Fruit expected" in text
    assert text.count('name="kg"') >= 3
    day = (timezone.now() + timedelta(days=2)).date().isoformat()
    sent = {"day": day, "species": "arabica", "route": "washed", "kg": "1 750", "key": str(uuid.uuid4())}
    for _twice in range(2):
        assert client.post("/week/expect/", sent).status_code == 302
    assert Entry.objects.filter(kind="expect").count() == 1
    assert "1750" in client.get("/week/").content.decode()
    for bad in ({"kg": "-3"}, {"kg": "many"}, {"species": "mocha"}, {"day": "soon"}, {"day": "2031-01-01"}):
        answer = client.post("/week/expect/", sent | bad | {"key": str(uuid.uuid4())})
        assert answer.status_code == 400


def test_an_empty_yard_has_a_week_too(client: Client) -> None:
    text = client.get("/week/?go=1").content.decode()
    assert "It fits" in text
    assert "Nothing to lay" in text


def test_routes_stand_side_by_side(client: Client) -> None:
    assert client.get("/routes/").status_code == 200
    text = client.get("/routes/?species=arabica&kg=500&day=2026-06-10&place=Old+patio").content.decode()
    assert "What must be true" in text
    for words in ("days of drying", "left of it", "common practice", "Local law".lower()):
        assert words in text.replace("local law", "local law")
    for bad in (
        "kg=-4",
        "kg=x",
        "kg=500&species=mocha&day=2026-06-10",
        "kg=500&species=arabica&day=1800-01-01",
    ):
        assert client.get(f"/routes/?{bad}").status_code == 400


BARE = {
    "no climate": r"\[\[weather\.months\]\].*?(?=\n\[\[equipment)",
    "no tanks": r"\[\[equipment\.tanks\]\]\nname = \"[^\"]*\"\nvolume_l = [^\n]*",
    "no pulper": r"\[\[equipment\.pulpers\]\]\nname = \"[^\"]*\"\nkind = [^\n]*\ncapacity_kg_h = [^\n]*",
    "no work": r"\[work\].*?(?=\n# What you have measured)",
    "no habits": r"\[drying\.parchment\].*?(?=\n\[drying\.mucilage)",
}


@pytest.mark.parametrize("what", BARE)
def test_a_station_that_lacks_something_has_a_week_and_routes_all_the_same(
    client: Client, books: Path, what: str
) -> None:
    """Nothing that may be left out of the station file makes these pages fail."""
    fruit(client, 8)
    file = books / "station.toml"
    text = file.read_text(encoding="utf-8")
    bare = re.sub(BARE[what], "", text, flags=re.S)
    assert bare != text
    file.write_text(bare, encoding="utf-8")
    for path in ("/week/", "/week/?go=1", "/week/before/", "/season/", "/day/", "/air/",
                 "/routes/?species=arabica&kg=500&day=2026-06-10"):  # fmt: skip
        answer = client.get(path)
        assert answer.status_code in {200, 400}, (what, path)
        assert answer.status_code == 200 or "climate" in answer.content.decode(), (what, path)
