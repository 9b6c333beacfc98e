"""Rules of the books that are easy to lose: each of these fails when its one line is changed."""

from __future__ import annotations

import json
import re
import uuid
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from tests.books.test_money import NOW, delivery, people, who  # noqa: F401 (a fixture)
from tests.desk.forms import weigh

if TYPE_CHECKING:
    from django.test import Client


def test_the_same_form_with_another_tare_is_refused(client: Client) -> None:
    from drydown.books.models import Delivery

    key = str(uuid.uuid4())
    assert weigh(client, key=key).status_code == 302
    assert weigh(client, key=key).status_code == 302  # the very same: kept once
    for change in ({"tare": "2.5"}, {"gross": "102,5"}, {"ripe": "92"}, {"species": "robusta"}):
        answer = weigh(client, key=key, **change)
        assert answer.status_code in {200, 400}, change
        assert "sent before" in answer.content.decode(), change
    kept = Delivery.objects.get()
    assert (kept.gross_g, kept.tare_g, kept.ripe_percent) == (101_500, 1_500, 93)


def test_a_lot_is_closed_before_it_would_be_above_the_limit(books: Path, client: Client) -> None:
    from drydown.books.models import Lot

    file = books / "station.toml"
    text = file.read_text(encoding="utf-8")
    limited = re.sub(r"(?m)^#? ?lot_max_kg = .*$", "lot_max_kg = 250", text)
    assert limited != text
    file.write_text(limited, encoding="utf-8")
    for gross in ("101,5", "151,5", "2,5"):  # 100 + 150 = 250 kg fill it; the next kilogram opens another
        answer = weigh(client, gross=gross, new_grower="" if Lot.objects.exists() else "on")
        token = re.search(r'name="sure" value="([^"]+)"', answer.content.decode())
        if token:
            weigh(client, gross=gross, new_grower="", sure=token[1])
    lots = {lot.code[-1]: sum(d.net_g for d in lot.deliveries.all()) for lot in Lot.objects.all()}
    assert lots == {"A": 250_000, "B": 1_000}


def test_floaters_above_a_fifth_are_told_and_a_fifth_is_not(books: Path) -> None:
    # Typical float 3-10 % of cherry, up to 20 % in a late crop (from memory).
    from drydown.books.lots.gate import add_grower
    from drydown.books.lots.take import take_step
    from drydown.station.load import example_text, parse_station

    station = parse_station(example_text())
    for kg, told in ((20.0, False), (20.5, True)):
        lot = delivery(add_grower(f"Ama {kg}", "Kell Ridge"), 100.0, minutes=round(kg * 100)).lot
        from drydown.books.models import Lot

        Lot.objects.filter(pk=lot.pk).update(stage="gathering")
        found = take_step(lot, "float", uuid.uuid4(), None, who(), {"floaters_kg": kg}, station).findings
        assert [f for f in found if "floated" in f.words] != [] if told else found == (), kg
        Lot.objects.filter(pk=lot.pk).update(stage="floated", code=f"X-{kg}")


def test_ripeness_of_a_lot_is_weighed_by_mass(people: list[Any]) -> None:  # noqa: F811
    # 300 kg at 80 % and 100 kg at 100 %: 85 % by weight, not 90.
    from drydown.books.lots.past import record_of
    from drydown.station.load import example_text, parse_station

    lot = delivery(people[0], 300.0, 0, ripe=80).lot
    delivery(people[1], 100.0, 5, ripe=100)
    delivery(people[2], 100.0, 7, ripe=None)
    said = record_of(lot, parse_station(example_text()))["ripe"]
    assert "85 % by weight" in said
    assert "80 % of the fruit was looked at" in said


def test_a_statement_ends_before_its_last_moment(people: list[Any]) -> None:  # noqa: F811
    from drydown.books.money.payments import pay_grower, statement

    end = NOW + timedelta(days=2)
    for at in (NOW - timedelta(days=3), NOW, end - timedelta(seconds=1), end, end + timedelta(days=1)):
        pay_grower(people[0], 100, "XTS", "advance", "", uuid.uuid4(), at, who())
    lines = statement(people[0], "XTS", NOW, end)
    assert [line.at for line in lines[1:]] == [NOW, end - timedelta(seconds=1)]
    assert lines[0].balance == -100
    assert lines[-1].balance == -300


def test_a_buyer_pays_no_more_than_is_owed_also_by_one_coin(people: list[Any]) -> None:  # noqa: F811
    from drydown.books.journal.write import Draft, held, write
    from drydown.books.money.payments import buyer_pays
    from drydown.errors import RangeError

    body = {"delivery": 1, "grower": 101, "amount": 100, "currency": "XTS"}
    buyer = "buyer/Invented Buyer One"
    sale = [(buyer, "XTS", 100), ("sales/x", "XTS", -100), (buyer, "dry", 9), ("difference", "dry", -9)]
    write(Draft("adjust", uuid.uuid4(), body, sale, NOW, who(), "a sale"))
    with pytest.raises(RangeError, match="more than"):
        buyer_pays("Invented Buyer One", 101, "XTS", "", uuid.uuid4(), NOW, who())
    buyer_pays("Invented Buyer One", 100, "XTS", "", uuid.uuid4(), NOW, who())
    with pytest.raises(RangeError, match="more than"):
        buyer_pays("Invented Buyer One", 1, "XTS", "", uuid.uuid4(), NOW, who())
    assert held(buyer, "XTS") == 0


def test_a_phone_s_time_in_the_future_is_now(client: Client) -> None:
    from drydown.books.models import Delivery

    weigh(client)
    client.post("/devices/", {"name": "gate phone"})
    now = datetime.now(UTC)
    ahead = (now + timedelta(hours=30)).isoformat()
    body = {"grower": 101, "species": "arabica", "route": "washed", "gross_g": 41_500, "tare_g": 1_500}
    item = {"key": str(uuid.uuid4()), "seq": 1, "phone_time": ahead, "kind": "delivery", "body": body}
    # Sent at once by a phone whose clock is right: only the item's own time runs ahead.
    box = {"sent_at": now.isoformat(), "items": [item]}
    answer = client.post("/api/field/items", json.dumps(box), content_type="application/json")
    assert answer.json()["answers"][0]["outcome"] == "kept"
    kept = Delivery.objects.order_by("-entry_id")[0]
    assert kept.happened_at <= datetime.now(UTC)
    assert abs(kept.happened_at - now) < timedelta(minutes=1)


def test_what_a_role_is_given_is_this_table() -> None:
    # Typed by hand: who sees and writes money. The pages are walked by tests/desk/test_access.py.
    from drydown.books.people.access import may

    for role in ("weigher", "yard", "quality", "reader"):
        assert not may(role, "money.accounts"), role
        assert not may(role, "lots.sales"), role
    for role in ("owner", "manager"):
        assert may(role, "money.accounts", write=True), role
    assert may("weigher", "deliveries.money")
    assert not may("weigher", "deliveries.money", write=True)
    assert not may("yard", "deliveries.money")
