"""A pay-run: sums by hand, whom first, all or nobody, once. Amounts follow the example's price list."""

from __future__ import annotations

import re
import uuid
from typing import TYPE_CHECKING, Any

import pytest
from tests.books.test_money import delivery, people

if TYPE_CHECKING:
    from django.test import Client

__all__ = ["people"]

# 100 kg of class B: 62 000 less 2 % = 60 760; so 50, 100 and 25 kg are owed 30 380, 60 760 and 15 190.
SUMS = {101: 30_380, 102: 60_760, 103: 15_190}
ALL = 106_330


@pytest.fixture
def owing(people: list[Any]) -> list[Any]:
    """Beno brought first, then Ama, then Dari."""
    delivery(people[1], 100.0, 0)
    delivery(people[0], 50.0, 60)
    delivery(people[2], 25.0, 120)
    return people


def test_what_is_owed_since_when(owing: list[Any]) -> None:
    """What is not paid yet is the fruit of the latest deliveries."""
    from tests.books.test_money import NOW, who

    from drydown.books.money.payments import pay_grower
    from drydown.books.money.payrun import dues

    found = dues("XTS")
    assert [d.grower.number for d in found] == [102, 101, 103]
    assert {d.grower.number: d.owed for d in found} == SUMS
    delivery(owing[1], 10.0, 180)  # 6 076 more
    pay_grower(owing[1], 60_760, "XTS", "payment", "", uuid.uuid4(), None, who())
    late = next(d for d in dues("XTS") if d.grower.number == 102)
    assert (late.owed, late.fruit_g) == (6_076, 10_000)
    assert late.since is not None
    assert (late.since - NOW).total_seconds() == 180 * 60


@pytest.mark.parametrize(
    ("rule", "sum_", "pays"),
    [
        ("oldest", None, SUMS), ("smallest", None, SUMS), ("part", None, SUMS),
        ("oldest", 80_000, {102: 60_760, 101: 19_240}),  # nobody is passed over: the second in part
        ("smallest", 80_000, {103: 15_190, 101: 30_380}),
        ("oldest", 15_000, {102: 15_000}), ("smallest", 15_000, {}),
        ("part", 53_165, {101: 15_190, 102: 30_380, 103: 7_595}),
        ("part", 2, {101: 1, 102: 1}), ("oldest", ALL * 2, SUMS),
    ],
)  # fmt: skip
def test_whom_a_sum_pays(owing: list[Any], rule: str, sum_: int | None, pays: dict[int, int]) -> None:
    from drydown.books.money.payrun import dues, plan_run

    run = plan_run(dues("XTS"), rule, sum_)
    assert {d.grower.number: amount for d, amount in run.pays} == pays
    assert run.total == sum(pays.values())
    assert run.left == ALL - run.total
    assert run.in_full + run.in_part + run.waiting == 3
    assert run.in_full == sum(amount == SUMS[n] for n, amount in pays.items())


def page_of(client: Client, query: str = "") -> dict[str, str]:
    """The pay-run's form, as the page gives it."""
    text = client.get(f"/money/{query}").content.decode()
    form = text[text.index('action="/money/run/"') :]
    fields = dict(re.findall(r'<input type="hidden" name="(key|token|sum)" value="([^"]*)"', form))
    rule = re.search(r'name="rule" value="(\w+)" checked', form)
    assert rule
    return fields | {"rule": rule[1]}


def test_the_page_pays_what_it_shows_once(client: Client, owing: list[Any]) -> None:
    from drydown.books.journal.write import held
    from drydown.books.models import Entry

    form = page_of(client, "?sum=80000&rule=smallest")
    told = client.post("/money/run/", form, follow=True).content.decode()
    assert "Paid 45 570 XTS to 2 growers; 60 760 XTS stays owed" in told
    assert held("cash", "XTS") == -45_570
    assert Entry.objects.filter(kind="payment").count() == 2
    again = client.post("/money/run/", form, follow=True).content.decode()
    assert "paid already" in again
    assert held("cash", "XTS") == -45_570


def test_sums_that_changed_pay_nobody(client: Client, owing: list[Any]) -> None:
    from drydown.books.journal.write import held

    form = page_of(client)
    delivery(owing[2], 5.0, 200)
    told = client.post("/money/run/", form, follow=True).content.decode()
    assert "Nobody was paid" in told
    assert held("cash", "XTS") == 0


def test_all_or_nobody(owing: list[Any]) -> None:
    """One who was paid elsewhere meanwhile stops the whole run."""
    from tests.books.test_money import who

    from drydown.books.journal.write import held
    from drydown.books.money.payments import pay_grower
    from drydown.books.money.payrun import dues, pay_run, plan_run
    from drydown.errors import RangeError

    run = plan_run(dues("XTS"), "oldest", None)
    pay_grower(owing[2], 15_190, "XTS", "payment", "", uuid.uuid4(), None, who())
    with pytest.raises(RangeError, match="is more than the 0 XTS"):
        pay_run(run, "XTS", 0, "", uuid.uuid4(), who())
    assert held("cash", "XTS") == -15_190


@pytest.mark.parametrize("bad", ["?sum=1,234", "?sum=-5", "?sum=0", "?rule=dance", "?sum=abc"])
def test_a_sum_that_cannot_be_read_does_not_end_the_page(client: Client, owing: list[Any], bad: str) -> None:
    answer = client.get(f"/money/{bad}")
    assert answer.status_code == 200
    assert "106 330" in answer.content.decode()


def test_growers_sorted_by_what_is_owed(client: Client, owing: list[Any]) -> None:
    def order(sort: str) -> list[str]:
        text = client.get(f"/growers/?sort={sort}").content.decode()
        return re.findall(r'href="/growers/(\d+)/"', text)

    assert order("owed") == ["102", "101", "103"]
    assert order("since") == ["102", "101", "103"]
    assert order("number") == ["101", "102", "103"]
    assert "106 330 XTS" in client.get("/growers/").content.decode()
    shown = client.get("/growers/102/").content.decode()
    assert "60 760 XTS" in shown
    assert re.search(r'name="amount"[^>]*value="60 760"', shown)


def test_another_sum_answers_with_the_run_alone(client: Client, owing: list[Any]) -> None:
    """What is typed is reckoned in place: the same form, the same sums, without the accounts."""
    query = "?sum=80000&rule=smallest"
    whole = page_of(client, query)
    part = client.get(f"/money/{query}", headers={"HX-Target": "run"}).content.decode()
    assert "Pay 2, 45 570 XTS" in part
    assert f'name="token" value="{whole["token"]}"' in part
    assert "csrfmiddlewaretoken" in part
    assert "<html" not in part
