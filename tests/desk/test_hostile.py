"""Forty hostile or broken inputs, each answered rightly: a sentence, no trace, nothing kept."""

from __future__ import annotations

import io
import json
import uuid
import zipfile
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from tests.desk.forms import weigh
from tests.desk.test_carrying import look

Case = Callable[[Any], Any]


def items(client: Any, *bodies: dict[str, Any], **change: Any) -> Any:
    """What a phone sends."""
    now = datetime.now(UTC).isoformat()
    rows = [
        {"key": str(uuid.uuid4()), "seq": i, "phone_time": now, "kind": "delivery", "body": b} | change
        for i, b in enumerate(bodies, 1)
    ]
    return client.post(
        "/api/field/items", json.dumps({"sent_at": now, "items": rows}), content_type="application/json"
    )


GOOD = {"grower": 101, "species": "arabica", "route": "washed", "gross_g": 51_500, "tare_g": 1_500}


def bomb() -> bytes:
    """A small workbook that unpacks to very much."""
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w", zipfile.ZIP_DEFLATED) as box:
        box.writestr("[Content_Types].xml", b" " * 200_000_000)
    return content.getvalue()


def post_json(client: Any, text: str | bytes) -> Any:
    """Raw text to the phones' address."""
    return client.post("/api/field/items", text, content_type="application/json")


def outbox_file(client: Any, content: bytes) -> Any:
    """An outbox by file."""
    return client.post("/devices/carry-in/", {"file": SimpleUploadedFile("outbox.json", content)})


# name, what is done, status, words of the answer
CASES: list[tuple[str, Case, int, str]] = [
    ("script in a name",
     lambda c: weigh(c, grower="<script>alert(1)</script>", gross="x"), 200, "is not a number"),
    ("quotes in a name",
     lambda c: weigh(c, grower="x' OR '1'='1", new_grower=""), 200, "No grower is called"),
    ("a name of 200 letters", lambda c: weigh(c, grower="a" * 200), 200, "at most 90 characters"),
    ("a null in a name", lambda c: weigh(c, grower="Ama\x00"), 200, "Null characters are not allowed"),
    ("a weight of words", lambda c: weigh(c, gross="about 50"), 200, "is not a number"),
    ("a weight below zero", lambda c: weigh(c, gross="-5"), 200, "is not a number"),
    ("a weight of infinity", lambda c: weigh(c, gross="inf"), 200, "is not a number"),
    ("a weight with an exponent", lambda c: weigh(c, gross="1e9"), 200, "is not a number"),
    ("Arabic digits", lambda c: weigh(c, gross="\u0665\u0660"), 200, "is not a number"),
    ("a thousand or a comma", lambda c: weigh(c, gross="1,234"), 200, "could be read two ways"),
    ("forty tonnes", lambda c: weigh(c, grower="101", new_grower="", gross="40000"), 200, "above 30 000 kg"),
    ("tare and gross swapped", lambda c: weigh(c, gross="1.5", tare="101.5"), 200, "swapped"),
    ("a date in 1990", lambda c: weigh(c, at="1990-01-01T10:00"), 200, "more than 400 days ago"),
    ("a species of another crop",
     lambda c: weigh(c, species="cacao"), 200, "not one of the available choices"),
    ("a container that is not there",
     lambda c: weigh(c, container="barrel"), 200, "not one of the available"),
    ("a lot of path marks", lambda c: c.get("/lot/..%2f..%2fetc/"), 404, ""),
    ("a lot with a null", lambda c: c.get("/lot/A%00/"), 404, ""),
    ("a step that is not one",
     lambda c: c.post(f"/lot/{code()}/step/", {"kind": "__class__"}), 400, "not a step"),
    ("a slip far away", lambda c: c.get(f"/gate/slip/{2**70}/"), 404, ""),
    ("a page far away", lambda c: c.get("/journal/?page=99999999999999999999"), 200, "Journal"),
    ("taking back without a reason", lambda c: c.post("/journal/1/take-back/", {"key": str(uuid.uuid4()),
     "reason": "  "}), 400, "This field is required"),
    ("not JSON", lambda c: post_json(c, "{"), 400, "Cannot parse"),
    ("JSON of another shape", lambda c: post_json(c, "[]"), 422, "words"),
    ("JSON 3,000 deep", lambda c: post_json(c, "[" * 3000 + "]" * 3000), 400, "Cannot parse"),
    ("wrong encoding", lambda c: post_json(c, b'{"sent_at": "\xff\xfe"}'), 400, "Cannot parse"),
    ("an item with a field too many", lambda c: items(c, GOOD | {"pays": 10**9}), 200, "Extra inputs"),
    ("an item of text for a number", lambda c: items(c, GOOD | {"gross_g": "51500"}), 200, "valid integer"),
    ("an item of half a gram", lambda c: items(c, GOOD | {"gross_g": 51_500.5}), 200, "valid integer"),
    ("an item for nobody", lambda c: items(c, GOOD | {"grower": 977}), 200, "No grower has the number 977"),
    ("an item of another kind",
     lambda c: items(c, {}, kind="payment"), 200, "not something a phone can send"),
    ("a number used twice", lambda c: items(c, GOOD, GOOD, seq=7), 200, "was used by another item"),
    ("300 items at once", lambda c: items(c, *[GOOD] * 300), 422, "at most 200"),
    ("a list in UTF-16", lambda c: look(c, "growers", "name\nAma\n".encode("utf-16")), 400, "is not UTF-8"),
    ("a list that is a picture", lambda c: look(c, "growers", b"\x89PNG\r\n\x1a\n\x00"), 400, "is not UTF-8"),
    ("an empty list", lambda c: look(c, "growers", b""), 400, "is empty"),
    ("a list of 9 MB", lambda c: look(c, "growers", b"name\n" + b"a\n" * 4_500_000), 400, "larger than 8 MB"),
    ("a workbook that is a bomb", lambda c: look(c, "growers", bomb(), "x.xlsx"), 400, "unpacks to far more"),
    ("a workbook that is none",
     lambda c: look(c, "growers", b"PK\x03\x04 no", "x.xlsx"), 400, "as a workbook"),
    ("a list with swapped coordinates", lambda c: look(
        c, "plots", "grower,plot,latitude,longitude\n101,a,45.0,-3.4\n"), 200,
     "latitude and longitude swapped"),
    ("an outbox that is a shopping list", lambda c: outbox_file(c, b"milk, bread"), 400, "cannot be read"),
    ("an outbox of a stranger", lambda c: outbox_file(c, json.dumps({
        "shape": "drydown.outbox/1", "device": "nobody's", "sent_at": "2026-05-04T09:00:00Z", "items": [],
    }).encode()), 400, "no enrolled device"),
    ("a redirect to elsewhere", lambda c: c.get("/enter/?next=https://example.org/"), 200, "Log in"),
]  # fmt: skip


def code() -> str:
    """The code of the only lot."""
    from drydown.books.models import Lot

    return Lot.objects.get().code


@pytest.mark.parametrize(("act", "status", "words"), [c[1:] for c in CASES], ids=[c[0] for c in CASES])
def test_hostile(client: Any, act: Case, status: int, words: str) -> None:
    from drydown.books.models import Delivery, Entry, Grower

    weigh(client)
    client.post("/devices/", {"name": "gate phone"})
    before = (Entry.objects.count(), Delivery.objects.count(), Grower.objects.count())
    answer = act(client)
    text = answer.content.decode().replace("&#x27;", "'").replace("&quot;", '"')
    assert answer.status_code == status, text[-600:]
    assert words in text
    assert "Traceback" not in text
    assert "<script>alert" not in text
    extra = 1 if "used by another item" in words else 0
    assert (Entry.objects.count(), Delivery.objects.count(), Grower.objects.count()) == (
        before[0] + extra, before[1] + extra, before[2],
    )  # fmt: skip


def test_there_are_forty() -> None:
    assert len(CASES) >= 40


def test_a_replayed_key_with_another_body_is_refused(client: Any) -> None:
    from drydown.books.models import Delivery

    weigh(client)
    client.post("/devices/", {"name": "gate phone"})
    key, now = str(uuid.uuid4()), datetime.now(UTC)
    at = {"key": key, "seq": 1, "phone_time": (now - timedelta(minutes=5)).isoformat(), "kind": "delivery"}

    def send(body: dict[str, Any]) -> dict[str, Any]:
        text = json.dumps({"sent_at": now.isoformat(), "items": [at | {"body": body}]})
        found: dict[str, Any] = client.post("/api/field/items", text, content_type="application/json").json()
        return found["answers"][0]  # type: ignore[no-any-return]

    first = send(GOOD)
    assert first["outcome"] == "kept"
    assert send(GOOD) == first
    assert send(GOOD | {"gross_g": 99_000})["outcome"] == "refused"
    assert Delivery.objects.filter(net_g=50_000).count() == 1
    assert Delivery.objects.count() == 2


def test_a_phone_s_wrong_clock_is_set_right(client: Any) -> None:
    from drydown.books.models import Delivery, Outgoing

    weigh(client)
    client.post("/devices/", {"name": "gate phone"})
    fast = datetime.now(UTC) + timedelta(hours=5)  # the phone is five hours ahead
    item = {"key": str(uuid.uuid4()), "seq": 1, "phone_time": (fast - timedelta(minutes=20)).isoformat(),
            "kind": "delivery", "body": GOOD}  # fmt: skip
    text = json.dumps({"sent_at": fast.isoformat(), "items": [item]})
    assert client.post("/api/field/items", text, content_type="application/json").status_code == 200
    kept = Delivery.objects.get(net_g=50_000)
    assert abs(datetime.now(UTC) - timedelta(minutes=20) - kept.happened_at) < timedelta(seconds=20)
    assert Outgoing.objects.get().phone_time > datetime.now(UTC)
