"""The day page, its taps, its calendar, and the round of the beds, through the desk."""

from __future__ import annotations

import re
import uuid
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

import pytest

from tests.desk.forms import station_clock, step, weigh

if TYPE_CHECKING:
    from django.test import Client


def ago(**spell: float) -> str:
    return station_clock(datetime.now(UTC) - timedelta(**spell))


def natural(client: Client, grower: str = "Ama Tessaro", bed: str = "Old patio", days: float = 5) -> str:
    """A natural lot on a drying place."""
    from drydown.books.models import Lot

    before = set(Lot.objects.values_list("code", flat=True))
    assert (
        weigh(client, grower=grower, gross="81", route="natural", at=ago(days=days + 0.2)).status_code == 302
    )
    (code,) = set(Lot.objects.values_list("code", flat=True)) - before
    assert step(client, code, "float", at=ago(days=days + 0.1), floaters_kg="2").status_code == 302
    assert step(client, code, "spread", at=ago(days=days), bed=bed, load_kg_m2="10").status_code == 302
    return code


def line_of(client: Client, verb: str) -> dict[str, str]:
    """The form of the first line whose verb begins so."""
    text = client.get("/day/").content.decode()
    for part in text.split("<li>\n")[1:]:
        if re.search(rf"<h3>{verb}", part):
            key = re.search(r'name="line" value="([^"]*)"', part)
            assert key
            return {"line": key[1].replace("&#x27;", "'"), "key": str(uuid.uuid4()), "part": part}
    raise AssertionError(f"no line {verb!r} in {re.findall('<h3>(.*?)</h3>', text)}")


def test_the_first_page_is_the_day(client: Client) -> None:
    natural(client)
    answer = client.get("/")
    assert answer.headers["Location"] == "/day/"
    text = client.get("/day/").content.decode()
    assert "Read moisture, in walking order" in text
    assert "What loses most stands first" in text
    assert "Old patio" in text


def test_done_is_an_entry_and_puts_the_line_away(client: Client) -> None:
    """A place that is over-full: a word that room was made is kept in the journal, once for a key."""
    from drydown.books.models import Entry

    for n in range(6):
        weigh(
            client,
            grower=("Ama Tessaro", "Beno Okkal")[n % 2],
            gross="900",
            route="natural",
            at=ago(days=6.2),
        )
    from drydown.books.models import Lot

    code = Lot.objects.get().code
    step(client, code, "float", at=ago(days=6.1), floaters_kg="20")
    made = step(client, code, "spread", at=ago(days=6), bed="Old patio", load_kg_m2="8")
    assert made.status_code == 302
    sent = line_of(client, "Make room on Old patio")
    for _twice in range(2):
        assert client.post("/day/done/", sent).status_code == 302
    assert Entry.objects.filter(kind="dayline").count() == 1
    assert Entry.objects.get(kind="dayline").facts["what"] == "done"
    text = client.get("/day/").content.decode()
    assert "<h3>Make room" not in text
    assert "Put off or done: 1" in text


def test_put_off_needs_one_of_its_hours_and_keeps_the_reason(client: Client) -> None:
    from drydown.books.models import Entry

    natural(client)
    sent = line_of(client, "Read moisture")
    assert client.post("/day/later/", sent | {"hours": "7"}).status_code == 400
    assert client.post("/day/later/", sent | {"hours": "soon"}).status_code == 400
    assert not Entry.objects.filter(kind="dayline").exists()
    assert (
        client.post("/day/later/", sent | {"hours": "24", "reason": "all at the funeral"}).status_code == 302
    )
    facts = Entry.objects.get(kind="dayline").facts
    assert (facts["what"], facts["reason"]) == ("put off", "all at the funeral")
    assert "<h3>Read moisture" not in client.get("/day/").content.decode()


def test_a_tap_on_a_line_that_is_gone_says_so(client: Client) -> None:
    answer = client.post("/day/done/", {"line": "cover:20200101:rain", "key": str(uuid.uuid4())}, follow=True)
    assert "no longer open" in answer.content.decode()
    assert client.post("/day/done/", {"line": "x"}).status_code == 302


def test_one_tap_covers_every_lot_of_a_place_and_of_all(client: Client) -> None:
    from drydown.books.models import Happening

    one, two = natural(client), natural(client, "Beno Okkal", "Upper beds")
    sent = {"kind": "cover", "bed": "Upper beds", "key": str(uuid.uuid4())}
    assert client.post("/round/bed/", sent).status_code == 302
    assert client.post("/round/bed/", sent).status_code == 302  # the same tap again
    rows = Happening.objects.filter(kind="cover", undone=False)
    assert [h.lot.code for h in rows] == [two]
    assert (
        client.post("/round/bed/", {"kind": "uncover", "bed": "", "key": str(uuid.uuid4())}).status_code
        == 302
    )
    assert set(Happening.objects.filter(kind="uncover").values_list("lot__code", flat=True)) == {one, two}
    for bad in ({"kind": "sell"}, {"kind": "rake", "bed": "No such place"}, {"kind": "rake", "key": "x"}):
        assert client.post("/round/bed/", bad).status_code == 400


def test_a_walk_keeps_what_is_good_and_gives_back_what_is_not(client: Client) -> None:
    from drydown.books.models import Reading

    one, two = natural(client), natural(client, "Beno Okkal", "Upper beds")
    text = client.get("/round/").content.decode()
    assert text.index("Upper beds</h2>") < text.index("Old patio</h2>")  # as the station names its places
    sent = {"key": str(uuid.uuid4()), "of": "due", "method": "meter 2", f"m-{one}": "32,5", f"m-{two}": "325"}
    answer = client.post("/round/", sent)
    assert answer.status_code == 400
    text = answer.content.decode()
    assert "must be from 3 to 80" in text
    assert f'name="m-{two}"' in text
    assert f'name="m-{one}"' not in text
    assert [r.moisture_wb for r in Reading.objects.all()] == [0.325]
    good = sent | {f"m-{two}": "41"}
    assert client.post("/round/", good).status_code == 302
    assert Reading.objects.count() == 2  # the first was kept already, under its own key
    assert client.post("/round/", {"key": str(uuid.uuid4()), "of": "due", "method": "m"}).status_code == 400


def test_the_calendar_is_private_and_ends_with_the_password(client: Client) -> None:
    import icalendar
    from django.contrib.auth.models import User
    from django.test import Client as Browser

    natural(client)
    text = client.get("/day/").content.decode()
    address = re.search(r'href="(/calendar/[^"]*\.ics)"', text)
    assert address
    stranger = Browser()
    answer = stranger.get(address[1])
    assert answer.status_code == 200
    assert answer.headers["Content-Type"].startswith("text/calendar")
    feed: Any = icalendar.Calendar.from_ical(answer.content)
    names = [str(e["summary"]) for e in feed.walk("VEVENT")]
    assert any(n.startswith("Read moisture") for n in names)
    assert all(e["dtend"].dt > e["dtstart"].dt for e in feed.walk("VEVENT"))
    assert stranger.get(address[1].replace("/calendar/", "/calendar/x")).status_code == 404
    user = User.objects.order_by("pk").first()
    assert user is not None
    user.set_password("another long enough word")
    user.save()
    assert stranger.get(address[1]).status_code == 404


def test_may_i_take_more_is_answered_and_bad_input_is_said(client: Client) -> None:
    natural(client)
    ask: dict[str, Any] = {"kg": "300", "species": "arabica", "route": "washed", "day": "1"}
    text = client.get("/room/", ask).content.decode()
    assert "Yes: it takes" in text
    assert "Where, and how thick?" in text
    assert "Not as it stands" in client.get("/room/", ask | {"kg": "90000"}).content.decode()
    for bad in ({"kg": "much"}, {"species": "cocoa"}, {"day": "99"}):
        answer = client.get("/room/", ask | bad)
        assert answer.status_code == 200
        assert "Where, and how thick?" not in answer.content.decode()


@pytest.mark.parametrize("odd", ["68", "3.1"])
def test_a_reading_that_contradicts_the_rest_is_asked_about(client: Client, odd: str) -> None:
    """20, 19 and then 68 or 3.1 % wb in a day: left out, said on the lot's page and on the day's."""
    code = natural(client, days=14)
    for n, (days, moisture) in enumerate(((4, "24"), (3, "21"), (2, "19"), (0.1, odd))):
        sent = {
            "key": f"00000000-0000-4000-8000-00000000000{n}", "moisture": moisture, "method": "meter 2",
            "bean_temp": "", "at": ago(days=days),
        }  # fmt: skip
        assert client.post(f"/lot/{code}/reading/", sent).status_code == 302
    text = client.get(f"/lot/{code}/").content.decode()
    assert "contradicts all else" in text
    day = client.get("/day/").content.decode()
    assert f"Read {code} again" in day


def test_a_phone_covers_all_that_lay_there_once_each(client: Client) -> None:
    """Noted without network: each lot has its own entry, one of them the phone's number; a lot spread after
    the note is left alone; sent again, nothing is doubled; a place that is not there is told."""
    import json

    from drydown.books.models import Entry, Happening, Outgoing

    first, second = natural(client, bed="Upper beds"), natural(client, "Beno Okkal", bed="Upper beds", days=4)
    later = natural(client, "Dari Bellit", bed="Upper beds", days=0.5)
    client.post("/devices/", {"name": "yard phone"})
    at = (datetime.now(UTC) - timedelta(hours=20)).isoformat()

    def note(seq: int, **body: str) -> dict[str, Any]:
        return {"key": str(uuid.uuid4()), "seq": seq, "phone_time": at, "kind": "beds", "body": body}

    items = [
        note(1, kind="cover", bed="Upper beds"),
        note(2, kind="cover", bed="Nowhere"),
        note(3, kind="sell"),
    ]
    for _twice in range(2):
        box = {"sent_at": datetime.now(UTC).isoformat(), "items": items}
        answer = client.post("/api/field/items", json.dumps(box), content_type="application/json")
        told = {a["key"]: a for a in json.loads(answer.content)["answers"]}
        assert told[items[0]["key"]]["outcome"] == "kept"
        assert "no place Nowhere" in told[items[1]["key"]]["words"]
        assert "not done to a whole bed" in told[items[2]["key"]]["words"]
    covered = Happening.objects.filter(kind="cover", undone=False)
    assert {h.lot.code for h in covered} == {first, second}
    assert later not in {h.lot.code for h in covered}
    assert covered.count() == 2
    assert Entry.objects.filter(device__isnull=False).count() == Outgoing.objects.count() == 1


def test_air_read_by_hand_is_kept_and_shown(client: Client) -> None:
    from drydown.books.lots.air import air_read
    from drydown.books.models import Entry

    at = ago(hours=9)
    sent = {"key": str(uuid.uuid4()), "temp_c": "24,5", "rh_percent": "62", "at": at}
    for _twice in range(2):
        assert client.post("/air/read/", sent).status_code == 302
    assert Entry.objects.filter(kind="airread").count() == 1
    (found,) = air_read()
    assert (found.temp_c, found.rh) == (24.5, 0.62)
    assert "24.5 C" in client.get("/air/").content.decode()
    for bad in ({"temp_c": "240"}, {"rh_percent": ""}, {"at": "tomorrow noon"}):
        answer = client.post("/air/read/", sent | bad | {"key": str(uuid.uuid4())})
        assert answer.status_code == 400


def test_what_a_lot_is_kept_in_tells_its_month(client: Client) -> None:
    """A bag noted at bagging; the page shows its month; in other bags it is another; unknown is said."""
    from drydown.books.models import Lot

    code = natural(client, days=20)
    form = {"key": str(uuid.uuid4()), "moisture": "11", "method": "oven", "bean_temp": "", "at": ago(days=1)}
    assert client.post(f"/lot/{code}/reading/", form).status_code == 302
    assert step(client, code, "bag", mass_kg="25", store="Main store").status_code == 302
    assert "noted what it is kept in" in client.get(f"/lot/{code}/").content.decode()
    assert step(client, code, "rebag", kept_in="hermetic bag").status_code == 302
    sealed = client.get(f"/lot/{code}/").content.decode()
    assert "Its cover sweats below" in sealed
    assert step(client, code, "rebag", kept_in="jute").status_code == 302
    jute = client.get(f"/lot/{code}/").content.decode()
    assert "Moisture in 30 days" in jute
    assert "Its cover sweats below" not in jute
    assert "120 days" in jute
    assert Lot.objects.get().stage == "stored"
    assert step(client, code, "rebag", kept_in="cardboard").status_code == 400
    assert client.get("/day/").status_code == 200


def test_the_season_page_adds_up(client: Client) -> None:
    from drydown.books.models import Delivery

    for days in range(12, 1, -1):
        new = "on" if days == 12 else ""
        assert weigh(client, at=ago(days=days), new_grower=new).status_code == 302
    text = client.get("/season/").content.decode()
    net = sum(d.net_g for d in Delivery.objects.all()) / 1000
    assert net == 1100
    assert re.search(r"1\D?100 kg of fruit since", text)
    assert "<svg" in text
    assert "Days to come" in text
    assert text.count("<tr><th scope=") >= 8
    assert client.get("/season/?species=robusta").status_code == 200
    assert client.get("/season/?species=<x>").status_code == 200
