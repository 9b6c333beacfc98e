"""Money: payments, advances, deductions, second payments shared to the last coin, statements."""

from __future__ import annotations

import uuid
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

NOW = datetime(2026, 5, 4, 9, 0, tzinfo=UTC)


def who() -> Any:
    """Nobody in particular."""
    from drydown.books.journal.write import Who

    return Who()


def delivery(grower: Any, kg: float, minutes: int = 0, ripe: int | None = 93, route: str = "washed") -> Any:
    """A weighing by the example station's rules."""
    from drydown.books.lots.gate import Weighing, receive
    from drydown.station.load import example_text, parse_station

    money, net = parse_station(example_text()).money, round(kg * 1000)
    price = money.price_coins("arabica", ripe)
    at = NOW + timedelta(minutes=minutes)
    return receive(Weighing(
        uuid.uuid4(), grower, "arabica", route, net, 0, price, "XTS", 0, at, at.date(), ripe, None, "", (),
        money.held_back(net, round(net * price / 1000)), "", None, who(),
    ))  # fmt: skip


@pytest.fixture
def people(books: Path) -> list[Any]:
    """Three growers."""
    from drydown.books.lots.gate import add_grower

    return [add_grower(name, "Kell Ridge") for name in ("Ama Vembi", "Beno Okkal", "Dari Bellit")]


def test_class_price_and_deduction(people: list[Any]) -> None:
    # The example's published rules: class A from 95 % ripe at 105 % of 620 = 651; B at 620; C at 85 %
    # = 527; 2 % held back. 100 kg: worth 65,100 / 62,000 / 52,700.
    from drydown.books.journal.write import held
    from drydown.books.lots.gate import owed

    for ripe, worth in ((96, 65_100), (94, 62_000), (80, 52_700), (None, 62_000)):
        before = owed(people[0], "XTS")
        made = delivery(people[0], 100.0, ripe=ripe)
        assert (made.pays + made.held_back, made.held_back) == (worth, round(worth * 0.02))
        assert owed(people[0], "XTS") - before == made.pays
    assert held("deduction/Members fund", "XTS") == -(1302 + 1240 + 1054 + 1240)


def test_payments_advances_and_what_is_owed(people: list[Any]) -> None:
    from drydown.books.lots.gate import owed
    from drydown.books.money.payments import pay_grower
    from drydown.errors import InputError

    def pay(amount: int, kind: str, key: uuid.UUID | None = None) -> None:
        pay_grower(people[0], amount, "XTS", kind, "", key or uuid.uuid4(), NOW, who())

    pay(20_000, "advance")
    assert owed(people[0], "XTS") == -20_000
    delivery(people[0], 100.0)  # 60,760 after 2 %
    assert owed(people[0], "XTS") == 40_760
    with pytest.raises(InputError, match=r"40 761 is more than the 40 760 XTS that is owed"):
        pay(40_761, "payment")
    key = uuid.uuid4()
    pay(40_760, "payment", key)
    pay(40_760, "payment", key)  # the same form again, after nothing is owed any more
    assert owed(people[0], "XTS") == 0


def test_second_payment_is_shared_by_rule_to_the_last_coin(people: list[Any]) -> None:
    from drydown.books.lots.gate import owed
    from drydown.books.money.payments import second_payment

    first = delivery(people[0], 100.0, ripe=96)
    delivery(people[1], 50.0, 1, ripe=80)
    delivery(people[2], 50.0, 2, ripe=94)
    lot = first.lot
    before = [owed(p, "XTS") for p in people]
    for rule, shares in (
        # by hand: 10,001 over 100:50:50, over 96:40:47 and over the worth 65,100:26,350:31,000.
        ("fruit", [5001, 2500, 2500]),
        ("ripe", [5246, 2186, 2569]),
        ("value", [5317, 2152, 2532]),
    ):
        second_payment([lot], 10_001, rule, "XTS", uuid.uuid4(), NOW, who())
        after = [owed(p, "XTS") for p in people]
        assert [b - a for a, b in zip(before, after, strict=True)] == shares, rule
        assert sum(shares) == 10_001
        before = after


def test_a_second_payment_reaches_through_splits_and_joins(people: list[Any]) -> None:
    from drydown.books.lots.family import join, split
    from drydown.books.lots.gate import owed
    from drydown.books.lots.states import lot_matter
    from drydown.books.lots.take import take_step
    from drydown.books.money.payments import second_payment
    from drydown.station.load import example_text, parse_station

    station = parse_station(example_text())
    lots = []
    for person, kg, day in ((people[0], 300.0, 0), (people[1], 100.0, 1440)):
        lot = delivery(person, kg, day, route="natural").lot
        at = NOW + timedelta(minutes=day + 60)
        for kind, more in (("float", {}), ("spread", {"bed": "Old patio", "load_kg_m2": 25.0})):
            take_step(lot, kind, uuid.uuid4(), at, who(), dict(more), station)
        lot.refresh_from_db()
        lots.append(lot)
    half = split(lots[0], uuid.uuid4(), [lot_matter(lots[0]).mass / 2000.0], None, who())
    both = join([(half[0], None), (lots[1], None)], uuid.uuid4(), None, who())
    before = [owed(p, "XTS") for p in people]
    second_payment([both], 25_000, "fruit", "XTS", uuid.uuid4(), NOW, who())
    got = [owed(p, "XTS") - b for p, b in zip(people, before, strict=True)]
    # Half of the first grower's 300 kg and all of the second's 100 kg stand behind the lot: 3 to 2.
    assert got == [15_000, 10_000, 0]


def test_costs_follow_dry_matter_and_sales_give_the_margin(people: list[Any]) -> None:
    from drydown.books.journal.write import held
    from drydown.books.money.payments import add_cost

    one = delivery(people[0], 300.0).lot
    two = delivery(people[1], 100.0, 1, route="natural").lot
    before = [held(lot.account, "XTS") for lot in (one, two)]
    add_cost("rakers", 1_001, "XTS", [one, two], uuid.uuid4(), NOW, who())
    # 1,001 over 3 to 1: 750.75 and 250.25; the coin that is left goes to the larger remainder.
    assert [held(lot.account, "XTS") - b for lot, b in zip((one, two), before, strict=True)] == [751, 250]


def test_a_buyer_s_payment_and_an_unknown_buyer(people: list[Any]) -> None:
    from drydown.books.money.payments import buyer_pays
    from drydown.errors import InputError

    with pytest.raises(InputError, match="nothing was sold"):
        buyer_pays("Invented Buyer One", 5, "XTS", "", uuid.uuid4(), NOW, who())


def test_statement_adds_up(people: list[Any]) -> None:
    from drydown.books.lots.gate import owed
    from drydown.books.lots.undo import take_back
    from drydown.books.money.payments import adjust, pay_grower, statement

    pay_grower(people[0], 1_000, "XTS", "advance", "seed", uuid.uuid4(), NOW - timedelta(days=400), who())
    wrong = delivery(people[0], 999.0)
    take_back(wrong.entry, "typed wrong", who(), uuid.uuid4(), NOW + timedelta(minutes=1))
    right = delivery(people[0], 99.9, 2)
    adjust(right, 40, "class A after all", uuid.uuid4(), NOW + timedelta(minutes=3), who())
    pay_grower(people[0], 10_000, "XTS", "payment", "", uuid.uuid4(), NOW + timedelta(minutes=4), who())
    lines = statement(people[0], "XTS", NOW - timedelta(days=1), NOW + timedelta(days=1))
    assert [line.kind for line in lines] == [
        "forward",
        "delivery",
        "adjust",
        "payment",
    ]
    assert lines[0].balance == -1_000
    assert lines[-1].balance == owed(people[0], "XTS") == right.pays + 40 - 11_000
    assert sum(line.amount for line in lines) + lines[0].balance == lines[-1].balance


def test_money_page_does_and_says(client: Any, people: list[Any]) -> None:
    from drydown.books.lots.gate import owed

    delivery(people[0], 100.0)
    form = {"act": "pay", "grower": "101", "kind": "payment", "amount": "760", "note": "", "at": ""}
    answer = client.post("/money/", form | {"key": str(uuid.uuid4())}, follow=True)
    assert "Paid 760 XTS to 101 Ama Vembi" in answer.content.decode()
    assert owed(people[0], "XTS") == 60_000
    for change, words in (
        ({"amount": "1,234"}, "could be read two ways"), ({"amount": "0"}, "more than nothing"),
        ({"grower": "977"}, "No grower has the number 977"), ({"amount": "99999"}, "is more than the"),
        ({"act": "cost", "what": "rope", "lots": "AW-9"}, "There is no lot AW-9"),
        ({"act": "second", "lots": "", "rule": "fruit"}, "This field is required"),
        ({"act": "dance"}, "not something to do with money"),
    ):  # fmt: skip
        refused = client.post("/money/", form | {"key": str(uuid.uuid4())} | change)
        assert refused.status_code == 400
        assert words in refused.content.decode()
    assert owed(people[0], "XTS") == 60_000


def test_sheets_are_pdf_in_the_grower_s_language(client: Any, people: list[Any]) -> None:
    from drydown.books.models import Grower
    from drydown.desk.prints import languages, words

    made = delivery(people[0], 100.0)
    Grower.objects.update(language="sw")
    for path in (
        f"/gate/slip/{made.pk}.pdf", f"/gate/slip/{made.pk}.pdf?paper=58",
        f"/gate/slip/{made.pk}.pdf?paper=80",
        "/growers/101/statement.pdf", "/growers/101/statement.pdf?language=fr", "/growers/cards.pdf",
    ):  # fmt: skip
        sheet = client.get(path)
        assert sheet["Content-Type"] == "application/pdf", path
        assert sheet.content.startswith(b"%PDF")
    assert all(set(words(code)) == set(words("en")) for code in languages())


def test_names_go_into_sheets_as_data(client: Any, books: Path) -> None:
    from drydown.books.lots.gate import add_grower

    odd = add_grower('#panic("x") *b* $x$ \\ " </script>', "")
    made = delivery(odd, 10.0)
    assert client.get(f"/gate/slip/{made.pk}.pdf").content.startswith(b"%PDF")


def test_a_second_payment_counts_coffee_where_it_was_sold(people: list[Any]) -> None:
    # A lot sells two thirds, the rest joins another of the same size. Named together, every grower's
    # fruit counts once: 300 kg and 300 kg, half of the sum each.
    from drydown.books.lots.family import join, where_it_went
    from drydown.books.lots.gate import owed
    from drydown.books.lots.readings import record_reading
    from drydown.books.lots.states import lot_matter
    from drydown.books.lots.take import take_step
    from drydown.books.money.payments import second_payment
    from drydown.errors import InputError
    from drydown.station.load import example_text, parse_station

    station, lots = parse_station(example_text()), []
    for i in (0, 1):
        lot = delivery(people[i], 300.0, 1440 * i, route="natural").lot
        at = NOW + timedelta(days=i, hours=1)
        for kind, more in (("float", {}), ("spread", {"bed": "Old patio", "load_kg_m2": 25.0})):
            take_step(lot, kind, uuid.uuid4(), at, who(), dict(more), station)
        record_reading(lot, uuid.uuid4(), 11.0, "meter", None, at + timedelta(hours=1), who())
        mass = {"mass_kg": 100.0}
        take_step(lot, "bag", uuid.uuid4(), at + timedelta(hours=2), who(), mass, station)
        lot.refresh_from_db()
        lots.append(lot)
    sold = {"buyer": "Invented Buyer One", "mass_kg": 66.667, "price_per_kg": 3000.0}
    take_step(lots[0], "sell", uuid.uuid4(), NOW + timedelta(days=2), who(), sold, station)
    lots[0].refresh_from_db()
    both = join([(lots[0], None), (lots[1], None)], uuid.uuid4(), NOW + timedelta(days=3), who())
    assert where_it_went(lots[0]).own == pytest.approx(2 / 3, abs=1e-4)
    assert lot_matter(both).mass == pytest.approx(133_333, abs=2)
    before = [owed(p, "XTS") for p in people]
    second_payment([lots[0], both], 30_000, "fruit", "XTS", uuid.uuid4(), NOW, who())
    got = [owed(p, "XTS") - b for p, b in zip(people, before, strict=True)]
    assert got[:2] == pytest.approx([15_000, 15_000], abs=2)
    assert sum(got) == 30_000
    with pytest.raises(InputError, match="name those"):
        second_payment([lots[1]], 10_000, "fruit", "XTS", uuid.uuid4(), NOW, who())


def test_the_cost_of_what_is_sold_stays_with_it(people: list[Any]) -> None:
    from drydown.books.journal.write import held
    from drydown.books.lots.family import split
    from drydown.books.lots.readings import record_reading
    from drydown.books.lots.take import take_step
    from drydown.books.money.accounts import lot_money
    from drydown.station.load import example_text, parse_station

    station = parse_station(example_text())
    lot = delivery(people[0], 300.0, route="natural").lot
    at = NOW + timedelta(hours=1)
    for kind, more in (("float", {}), ("spread", {"bed": "Old patio", "load_kg_m2": 25.0})):
        take_step(lot, kind, uuid.uuid4(), at, who(), dict(more), station)
    record_reading(lot, uuid.uuid4(), 11.0, "meter", None, at, who())
    sale: dict[str, Any] = {"buyer": "B", "mass_kg": 40.0, "price_per_kg": 5.5}
    take_step(lot, "bag", uuid.uuid4(), at, who(), {"mass_kg": 100.0}, station)
    take_step(lot, "sell", uuid.uuid4(), at, who(), sale, station)
    cost = 186_000  # 300 kg at 620
    assert held(f"sold/{lot.code}", "XTS") == pytest.approx(0.4 * cost, abs=1)
    assert held("buyer/B", "XTS") == 220  # 40 kg at 5.5: the product is rounded, not the price
    parts = split(lot, uuid.uuid4(), [30.0], None, who())
    assert sum(held(p.account, "XTS") for p in parts) == pytest.approx(0.6 * cost, abs=1)
    found = next(m for m in lot_money(station.money) if m.name == lot.code)
    assert (found.cost, found.sold_g) == (held(f"sold/{lot.code}", "XTS"), 40_000)


def test_half_a_coin_is_not_rounded_away(client: Any, people: list[Any]) -> None:
    delivery(people[0], 100.0)
    form = {"act": "pay", "grower": "101", "kind": "payment", "note": "", "at": ""}
    refused = client.post("/money/", form | {"key": str(uuid.uuid4()), "amount": "100,5"})
    assert "more digits after the point" in refused.content.decode()
    kept = client.post("/money/", form | {"key": str(uuid.uuid4()), "amount": "50 000"}, follow=True)
    assert "Paid 50 000 XTS" in kept.content.decode()


def test_the_class_goes_by_what_was_typed(client: Any, books: Path) -> None:
    from tests.desk.forms import weigh

    from drydown.books.models import Delivery

    weigh(client, ripe="94,6")  # class A begins at 95
    assert Delivery.objects.get().fruit_class == "B"


def test_the_currency_of_the_books_stays(client: Any, people: list[Any], books: Path) -> None:
    from tests.desk.forms import station_fields

    from drydown.station.load import load_station

    delivery(people[0], 100.0)
    station = load_station(books / "station.toml")
    fields = station_fields(client.get("/station/?page=all").content.decode())
    ticks = {"species": list(station.species), "routes": list(station.routes)}
    for change in ({"money.decimals": "2"}, {"money.currency": "XXX"}):
        answer = client.post("/station/", fields | ticks | change)
        assert answer.status_code == 400
        assert "The books are in XTS" in answer.content.decode()


def test_what_is_owed_is_corrected_after_the_lot_moved_on(client: Any, people: list[Any]) -> None:
    from drydown.books.journal.write import held
    from drydown.books.lots.gate import owed

    made = delivery(people[0], 100.0)
    before = owed(people[0], "XTS"), held(made.lot.account, "XTS")
    form = {"sign": "less", "amount": "760", "reason": "scale read twice", "key": str(uuid.uuid4())}
    for _ in range(2):  # sent twice, kept once
        answer = client.post(f"/gate/slip/{made.pk}/owed/", form, follow=True)
        assert "What is owed is corrected" in answer.content.decode()
    assert (owed(people[0], "XTS"), held(made.lot.account, "XTS")) == (before[0] - 760, before[1] - 760)
    bad = client.post(f"/gate/slip/{made.pk}/owed/", form | {"amount": "7,5", "key": str(uuid.uuid4())})
    assert "more digits after the point" in bad.content.decode()
