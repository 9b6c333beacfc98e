"""By-products that leave: the grams and coins of it, what is refused, what stands on it."""

from __future__ import annotations

import uuid
from dataclasses import replace
from datetime import timedelta
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.books.test_money import NOW, delivery, who

from drydown.errors import InputError, RangeError

if TYPE_CHECKING:
    from pathlib import Path

    from django.test import Client


@pytest.fixture
def pulped(books: Path) -> Any:
    """A washed lot of 1,000 kg, floated and pulped; the entry of the pulping."""
    from drydown.books.lots.gate import add_grower
    from drydown.books.lots.take import take_step
    from drydown.station.load import example_text, parse_station

    station = parse_station(example_text())
    lot = delivery(add_grower("Ama Vembi", "Kell Ridge"), 1000.0).lot
    for hour, kind in ((1, "float"), (2, "pulp")):
        take_step(lot, kind, uuid.uuid4(), NOW + timedelta(hours=hour), who(), {}, station)
        lot.refresh_from_db()
    return lot.happenings.get(kind="pulp").entry


def leaves(**more: Any) -> Any:
    """100 kg of pulp to a buyer for 500 coins, changed as said."""
    from drydown.books.lots.byproducts import Leaving

    return replace(Leaving("pulp", 100_000, None, "Compost makers", 500, "XTS"), **more)


def keep(what: Any, key: uuid.UUID | None = None) -> Any:
    """Keep what leaves."""
    from drydown.books.lots.byproducts import part_with

    return part_with(what, key or uuid.uuid4(), NOW + timedelta(hours=3), who())


def balance(account: str) -> tuple[int, int]:
    """Dry matter and water of an account, g."""
    from drydown.books.journal.write import held

    return held(account, "dry"), held(account, "water")


def test_pulp_sold_as_moist_as_the_books_hold_it(pulped: Any) -> None:
    # By hand: pulp of arabica holds 76.8 % water (INCAP 1978, in species.toml), so 100 kg are 23.2 kg
    # dry matter and 76.8 kg water; the buyer owes 500, and the pile is so much smaller.
    from drydown.books.copies.verify import verify
    from drydown.books.journal.write import held
    from drydown.books.money.accounts import accounts_view
    from drydown.books.money.payments import buyer_pays
    from drydown.station.load import example_text, parse_station

    before = balance("by-product/pulp")
    made = keep(leaves())
    got = balance("buyer/Compost makers")
    assert sum(got) == 100_000
    assert got[0] == pytest.approx(23_200, abs=150)
    assert balance("by-product/pulp") == (before[0] - got[0], before[1] - got[1])
    assert held("buyer/Compost makers", "XTS") == 500
    view = accounts_view(parse_station(example_text()).money)
    assert view.incomes == [("pulp", 500)]
    assert view.lots == []  # it is no lot's sale
    buyer_pays("Compost makers", 500, "XTS", "", uuid.uuid4(), None, who())
    assert held("cash", "XTS") == 500
    assert "pulp" in made.summary
    assert verify(anew=True).good


def test_a_dried_pile_takes_its_dry_matter_and_leaves_its_water_to_the_air(pulped: Any) -> None:
    # 60 kg at 40 % are 36 kg dry matter; at the books' 76.8 % these stood with 119.2 kg of water, of
    # which the scale found 24: some 95 kg went to the air.
    air, pile = balance("air"), balance("by-product/pulp")
    keep(leaves(mass_g=60_000, moisture_wb=0.40, buyer="", amount=0))
    assert balance("used/pulp") == (36_000, 24_000)
    assert balance("by-product/pulp")[0] == pile[0] - 36_000
    assert balance("air")[1] - air[1] == pytest.approx(95_200, abs=600)
    rest = balance("by-product/pulp")
    assert rest[1] / sum(rest) == pytest.approx(pile[1] / sum(pile), abs=1e-4)


@pytest.mark.parametrize(
    ("more", "sentence"),
    [
        ({"mass_g": 0}, "more than nothing"),
        ({"mass_g": 900_000}, "is more than the books hold"),
        ({"mass_g": 300_000, "moisture_wb": 0.2}, "kg of dry matter is more than the books hold"),
        ({"buyer": ""}, "Say who pays"),
        ({"amount": -1}, "must not be below zero"),
        ({"name": "gold"}, "the books hold no gold"),
    ],
)
def test_what_cannot_leave(pulped: Any, more: dict[str, Any], sentence: str) -> None:
    from drydown.books.models import Entry

    before = Entry.objects.count()
    with pytest.raises((InputError, RangeError), match=sentence):
        keep(leaves(**more))
    assert Entry.objects.count() == before


def test_sent_twice_is_kept_once_and_never_as_something_else(pulped: Any) -> None:
    from drydown.books.models import Entry

    key = uuid.uuid4()
    first = keep(leaves(mass_g=400_000), key)
    assert keep(leaves(mass_g=400_000), key) == first  # more than is left now, and still the same form
    with pytest.raises(InputError, match="sent before"):
        keep(leaves(mass_g=10_000), key)
    assert Entry.objects.filter(kind="by-product").count() == 1


def test_a_step_whose_by_product_has_left_stands_until_the_sale_is_taken_back(pulped: Any) -> None:
    from drydown.books.lots.undo import take_back, why_not

    sale = keep(leaves(mass_g=300_000))
    assert "pulp from it has left the station" in why_not(pulped)
    take_back(sale, "wrong pile", who(), uuid.uuid4())
    assert why_not(pulped) == ""
    assert balance("buyer/Compost makers") == (0, 0)


@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(mass=st.integers(1, 500_000), moisture=st.one_of(st.none(), st.floats(0.02, 0.93)))
def test_nothing_is_lost_whatever_is_weighed(pulped: Any, mass: int, moisture: float | None) -> None:
    from django.db.models import Sum

    from drydown.books.models import Posting

    try:
        made = keep(leaves(mass_g=mass, moisture_wb=moisture))
    except InputError:
        return
    sums = Posting.objects.filter(entry=made).values("commodity").annotate(total=Sum("amount"))
    assert all(row["total"] == 0 for row in sums)
    assert min(balance("by-product/pulp")) >= 0
    assert sum(balance("buyer/Compost makers")) >= mass


def test_on_the_money_page(client: Client, pulped: Any) -> None:
    page = client.get("/money/").content.decode()
    assert "A by-product leaves" in page
    assert '<option value="pulp">pulp (' in page
    form = {"act": "aside", "key": str(uuid.uuid4()), "what": "pulp", "mass": "120,5", "moisture": "",
            "buyer": "Compost makers", "amount": "300", "note": "", "at": ""}  # fmt: skip
    answer = client.post("/money/", form, follow=True).content.decode()
    assert "Saved: 120.5 kg pulp to Compost makers" in answer
    assert "fetched by pulp" in " ".join(answer.split())
    own = form | {"key": str(uuid.uuid4()), "buyer": "", "amount": ""}
    assert "to your own use" in client.post("/money/", own, follow=True).content.decode()
    wrong = client.post("/money/", form | {"key": str(uuid.uuid4()), "mass": "9000"})
    assert wrong.status_code == 400
    assert "is more than the books hold" in wrong.content.decode()
    assert 'value="9000"' in wrong.content.decode()
