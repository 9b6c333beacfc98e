"""One odd note never holds up a good one, and a lost phone does not stay in."""

from __future__ import annotations

import json
import uuid
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

import pytest

from tests.desk.forms import weigh

if TYPE_CHECKING:
    from django.test import Client

NOW = datetime.now(UTC)
GOOD_BODY = {"grower": 101, "species": "arabica", "route": "washed", "gross_g": 41_500, "tare_g": 1_500}


def item(number: int, **change: Any) -> dict[str, Any]:
    made = {
        "key": str(uuid.uuid4()),
        "seq": number,
        "phone_time": NOW.isoformat(),
        "kind": "delivery",
        "body": GOOD_BODY,
    }
    return made | change


@pytest.fixture
def phone(client: Client) -> Client:
    weigh(client)
    client.post("/devices/", {"name": "gate phone"})
    return client


def send(phone: Client, items: list[Any], sent_at: str = "") -> Any:
    box = {"sent_at": sent_at or datetime.now(UTC).isoformat(), "items": items}
    return phone.post("/api/field/items", json.dumps(box), content_type="application/json")


ODD: list[Any] = [
    {"phone_time": "1970-01-01T00:00:00+00:00"},
    {"phone_time": "2086-01-01T00:00:00+00:00"},
    {"phone_time": (NOW - timedelta(days=200)).isoformat()},
    {"phone_time": "yesterday"},
    {"phone_time": "0001-01-01T00:00:00+14:00"},
    {"seq": 2**53},
    {"seq": -4},
    {"seq": "one"},
    {"key": "no key"},
    {"kind": "x" * 40},
    {"kind": "dance"},
    {"body": "text"},
    {"body": {"grower": 10**30}},
    {"body": GOOD_BODY | {"gross_g": 1e300}},
    {"more": 1},
]  # fmt: skip


@pytest.mark.parametrize("odd", ODD, ids=lambda o: str(o)[:40])
def test_a_good_note_does_not_wait_behind_an_odd_one(phone: Client, odd: dict[str, Any]) -> None:
    from drydown.books.models import Delivery

    before, good = Delivery.objects.count(), item(2)
    answer = send(phone, [item(1, **odd), good])
    assert answer.status_code == 200, answer.content
    told = {a["key"]: a for a in json.loads(answer.content)["answers"]}
    assert told[good["key"]]["outcome"] == "kept"
    assert Delivery.objects.count() >= before + 1
    other = next(a for k, a in told.items() if k != good["key"])
    assert other["outcome"] == "kept" or other["words"]  # refused by itself, in a sentence
    again = send(phone, [item(1, **odd), good])
    assert json.loads(again.content)["answers"]


def test_things_that_are_no_items_are_answered_too(phone: Client) -> None:
    good = item(1)
    answer = send(phone, [None, 7, "x", [], {}, good])
    assert answer.status_code == 200
    outcomes = [a["outcome"] for a in json.loads(answer.content)["answers"]]
    assert outcomes.count("kept") == 1
    assert outcomes.count("refused") == 5


@pytest.mark.parametrize("clock", ["1970-01-01T00:00:00+00:00", "2086-01-01T00:00:00+00:00", "soon"])
def test_an_impossible_time_is_kept_as_received_with_a_remark(phone: Client, clock: str) -> None:
    from drydown.books.models import Delivery

    first = item(1, phone_time=clock)
    answer = json.loads(send(phone, [first]).content)["answers"][0]
    assert answer["outcome"] == "kept"
    assert clock[:10] in answer["words"]
    kept = Delivery.objects.get(entry__key=first["key"])
    assert abs(kept.happened_at - datetime.now(UTC)) < timedelta(minutes=2)
    again = json.loads(send(phone, [first]).content)["answers"][0]
    assert again == answer | {"next": again["next"]}  # sent again, the same answer


def test_a_number_that_ran_away_is_told_the_next_one(phone: Client) -> None:
    from drydown.books.models import Device

    assert json.loads(send(phone, [item(1)]).content)["answers"][0]["outcome"] == "kept"
    answer = json.loads(send(phone, [item(2**53)]).content)["answers"][0]
    assert (answer["outcome"], answer["code"], answer["next"]) == ("refused", "number", 2)
    assert Device.objects.get().last_seq == 1
    assert phone.get("/devices/").status_code == 200


@pytest.mark.parametrize("clock", ["", "1970-01-01T00:00:00Z", "2086-01-01T00:00:00Z", "x" * 39])
def test_the_clock_of_sending_may_be_anything(phone: Client, clock: str) -> None:
    answer = send(phone, [item(1)], clock or "nonsense")
    assert json.loads(answer.content)["answers"][0]["outcome"] == "kept"


def test_a_saved_outbox_with_one_odd_note_is_taken_in(phone: Client) -> None:
    from django.core.files.uploadedfile import SimpleUploadedFile

    from drydown.books.models import Delivery

    before = Delivery.objects.count()
    box = {"shape": "drydown.outbox/1", "device": "gate phone", "sent_at": "1970-01-01T00:00:00Z",
           "items": [item(1, phone_time="1970-01-01T00:00:00Z"), item(2, key="?"), item(3)]}  # fmt: skip
    upload = SimpleUploadedFile("outbox.json", json.dumps(box).encode())
    text = phone.post("/devices/carry-in/", {"file": upload}).content.decode()
    assert "2 of 3" in text
    assert Delivery.objects.count() == before + 2


def test_a_closed_device_s_phone_is_out(phone: Client) -> None:
    from drydown.books.models import Device

    device = Device.objects.get()
    assert phone.get("/gate/").status_code == 200
    from django.contrib.auth.models import User
    from django.test import Client as Browser

    owner = Browser()
    owner.force_login(User.objects.get(username="owner"))
    closing = owner.post(f"/devices/{device.pk}/close/", {})
    assert closing.status_code == 302
    assert Device.objects.get().closed_at is not None
    for path in ("/gate/", "/yard/", "/api/lots", "/me/"):
        answer = phone.get(path)
        assert answer.status_code in {302, 401}, path
    assert owner.get("/gate/").status_code == 200
