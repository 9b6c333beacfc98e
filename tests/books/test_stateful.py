"""Ten thousand random steps of a station: nothing is ever off by one gram or one coin.

The model beside the books is plain addition: what was received, in grams, must be found again in
lots, by-products, air, drain, store and buyers, commodity by commodity.
"""

from __future__ import annotations

import os
import uuid
from collections import Counter
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

BEGIN = datetime(2026, 5, 4, 6, 0, tzinfo=UTC)
SEEN: Counter[str] = Counter()
grams = st.integers(1_000, 400_000)
share = st.floats(0.0, 1.0)


class StationMachine(RuleBasedStateMachine):
    """A station at work, with every kind of entry there is."""

    def __init__(self) -> None:
        super().__init__()
        from django.db import transaction

        from drydown.books.journal.write import Who
        from drydown.station.load import example_text, parse_station

        self.atomic = transaction.atomic()
        self.atomic.__enter__()
        self.station, self.who, self.hours, self.count = parse_station(example_text()), Who(), 0.0, 0

    def teardown(self) -> None:
        """All seals, holdings and tables are checked at the end of every run."""
        from django.db import transaction

        from drydown.books.copies.verify import verify
        from drydown.books.models import Entry, Happening

        SEEN.update(Entry.objects.values_list("kind", flat=True))
        SEEN.update(Happening.objects.values_list("kind", flat=True))
        found = verify(anew=True)
        transaction.set_rollback(True)
        self.atomic.__exit__(None, None, None)
        assert found.good, found.problems

    def now(self) -> datetime:
        """A moment, later each time."""
        self.hours += 0.5
        return BEGIN + timedelta(hours=self.hours)

    def lot(self, pick: int, *stages: str) -> Any:
        """One of the lots at some stage."""
        from drydown.books.models import Lot

        found = list(Lot.objects.filter(stage__in=stages).order_by("id"))
        return found[pick % len(found)] if found else None

    def tried(self, act: Any) -> None:
        """Do it; a refusal in a sentence is fine and must leave nothing behind."""
        from drydown.books.models import Entry
        from drydown.errors import InputError

        before, refusal = Entry.objects.count(), None
        try:
            act()
        except InputError as error:
            refusal = str(error)
        assert refusal is None or (refusal and Entry.objects.count() == before)

    @initialize()
    def growers(self) -> None:
        """Three growers."""
        from drydown.books.lots.gate import add_grower

        self.people = [add_grower(name, "Kell Ridge") for name in ("Ama Vembi", "Beno Okkal", "Dari Bellit")]
        for species, route in (("arabica", "washed"), ("arabica", "natural"), ("robusta", "natural")):
            self.receive_some(180_000, 1_500, 0, 95, species, route)
            self.rush(0)

    @rule(
        net=grams, tare=st.integers(0, 5_000), who=st.integers(0, 2), ripe=st.integers(0, 100),
        species=st.sampled_from(["arabica", "robusta", "liberica"]),
        route=st.sampled_from(["washed", "pulped_natural", "natural"]),
    )  # fmt: skip
    def receive(self, net: int, tare: int, who: int, ripe: int, species: str, route: str) -> None:
        """Fruit comes in."""
        self.receive_some(net, tare, who, ripe, species, route)

    def receive_some(self, net: int, tare: int, who: int, ripe: int, species: str, route: str) -> None:
        """One weighing."""
        from drydown.books.lots.gate import Weighing, receive

        at, money = self.now(), self.station.money
        price = money.price_coins(species, ripe)
        held_back = money.held_back(net, round(net * price / 1000))
        receive(Weighing(
            uuid.uuid4(), self.people[who], species, route, net + tare, tare, price, "XTS", 0, at, at.date(),
            ripe, None, "", (), held_back, "", None, self.who,
        ))  # fmt: skip

    def step(self, lot: Any, kind: str, **details: Any) -> None:
        """One step of a lot, if there is one."""
        from drydown.books.lots.take import take_step

        if lot is not None:
            at = self.now()
            self.tried(lambda: take_step(lot, kind, uuid.uuid4(), at, self.who, details, self.station))

    def held_kg(self, lot: Any) -> float:
        """Mass by the books, kg."""
        from drydown.books.lots.states import lot_matter

        return lot_matter(lot).mass / 1000.0 if lot else 0.0

    @rule(pick=st.integers(0, 99), part=st.floats(0.0, 0.5))
    def go_on(self, pick: int, part: float) -> None:
        """The next wet step of some lot."""
        self.go_on_with(self.lot(pick, "gathering", "floated", "pulped", "fermenting", "washed"), part)

    def go_on_with(self, lot: Any, part: float) -> None:
        """The usual next step of a wet lot."""
        from drydown.way.order import next_steps

        if lot is None or lot.stage == "drying":
            return
        kind = next_steps(lot)[0].kind
        asked: dict[str, dict[str, Any]] = {
            "float": {"floaters_kg": round(part * self.held_kg(lot), 3)},
            "ferment": {"tank": "Tank 1"},
            "spread": {"bed": "Upper beds", "load_kg_m2": 12.0},
        }
        self.step(lot, kind, **asked.get(kind, {}))

    @rule(pick=st.integers(0, 99))
    def rush(self, pick: int) -> None:
        """A lot goes all the way to the store in good order."""
        from drydown.books.lots.readings import record_reading

        lot = self.lot(pick, "gathering", "floated", "pulped", "fermenting", "washed")
        for _ in range(6):
            self.go_on_with(lot, 0.04)
            if lot is not None:
                lot.refresh_from_db()
        if lot is not None and lot.stage == "drying":
            record_reading(lot, uuid.uuid4(), 11.0, "meter", 25.0, self.now(), self.who)
            self.step(lot, "bag", mass_kg=round(self.held_kg(lot), 1) or 0.1)

    @rule(pick=st.integers(0, 99), moisture=st.integers(60, 550))
    def read(self, pick: int, moisture: int) -> None:
        """A moisture reading."""
        from drydown.books.lots.readings import record_reading

        lot, at = self.lot(pick, "drying", "stored", "hulled"), self.now()
        if lot is not None:
            percent = moisture / 10.0
            self.tried(
                lambda: record_reading(lot, uuid.uuid4(), percent, "meter", None, at, self.who)
            )  # fmt: skip

    @rule(pick=st.integers(0, 99), factor=st.floats(0.2, 1.1))
    def bag(self, pick: int, factor: float) -> None:
        """Bagged by the scale, near or far from the books."""
        lot = self.lot(pick, "drying")
        self.step(lot, "bag", mass_kg=round(self.held_kg(lot) * factor * 0.5, 3) or 0.1, wet=True)

    @rule(pick=st.integers(0, 99), factor=st.floats(0.3, 0.9), weighed=st.booleans())
    def hull(self, pick: int, factor: float, weighed: bool) -> None:
        """Hulled, with the husk weighed or not."""
        lot = self.lot(pick, "stored")
        more = {"husk_kg": round(self.held_kg(lot) * 0.15, 3)} if weighed else {}
        green = round(self.held_kg(lot) * factor, 3)
        self.step(lot, "hull", green_kg=green, moisture_percent=11.0, **more)

    @rule(pick=st.integers(0, 99), part=share, kind=st.sampled_from(["sort", "sample", "weigh"]))
    def dry_work(self, pick: int, part: float, kind: str) -> None:
        """Sorting, sampling, weighing again."""
        lot = self.lot(pick, "hulled", "sorted", "stored")
        kg = round(self.held_kg(lot) * part, 3)
        asked: dict[str, dict[str, Any]] = {
            "sort": {"rejects_kg": kg},
            "sample": {"sample_g": round(kg * 1000)},
            "weigh": {"mass_kg": kg, "moisture_percent": 11.5},
        }
        self.step(lot, kind, **asked[kind])

    @rule(pick=st.integers(0, 99), part=share, gone=st.booleans(), price=st.integers(0, 9000))
    def sell(self, pick: int, part: float, gone: bool, price: int) -> None:
        """Sold, all or part."""
        lot = self.lot(pick, "stored", "hulled", "sorted")
        mass = round(self.held_kg(lot) * part, 3)
        more = {"all_gone": True} if gone else {}
        self.step(lot, "sell", buyer="Invented Buyer One", mass_kg=mass, price_per_kg=float(price), **more)

    @rule(pick=st.integers(0, 9), part=st.floats(0.01, 1.2), percent=st.integers(0, 80))
    def aside(self, pick: int, part: float, percent: int) -> None:
        """A by-product leaves, sold or used, with its moisture said or not."""
        from drydown.books.lots.byproducts import Leaving, part_with, piles

        held, at = piles(), self.now()
        if held:
            pile = held[pick % len(held)]
            mass, wb = round(pile.matter.mass * part), percent / 100.0 if percent >= 5 else None
            buyer, coins = ("Compost makers", 700) if pick % 2 else ("", 0)
            what = Leaving(pile.name, mass, wb, buyer, coins, "XTS")
            self.tried(lambda: part_with(what, uuid.uuid4(), at, self.who))

    @rule(pick=st.integers(0, 99), parts=st.lists(st.floats(0.01, 0.6), min_size=1, max_size=3))
    def split(self, pick: int, parts: list[float]) -> None:
        """Split by weight."""
        from drydown.books.lots.family import split

        lot, at = self.lot(pick, "floated", "pulped", "drying", "stored", "hulled"), self.now()
        if lot is not None:
            masses = [round(p * self.held_kg(lot), 3) for p in parts]
            self.tried(lambda: split(lot, uuid.uuid4(), masses, at, self.who))

    @rule(picks=st.lists(st.integers(0, 99), min_size=2, max_size=3), whole=st.booleans(), part=share)
    def join(self, picks: list[int], whole: bool, part: float) -> None:
        """Put together, whole or in part."""
        from drydown.books.lots.family import join

        at = self.now()
        lots = [self.lot(p, "drying", "stored", "hulled", "sorted") for p in picks]
        if all(lots):
            parents = [(p, None if whole else round(part * self.held_kg(p), 3)) for p in lots]
            self.tried(lambda: join(parents, uuid.uuid4(), at, self.who))

    @rule(pick=st.integers(0, 9999))
    def take_back(self, pick: int) -> None:
        """Something recorded is taken back, if nothing stands on it."""
        from drydown.books.lots.undo import take_back
        from drydown.books.models import Entry

        count = Entry.objects.count()
        if count:
            entry = Entry.objects.get(number=count - pick % min(count, 12))
            self.tried(lambda: take_back(entry, "typed wrong", self.who, uuid.uuid4(), self.now()))

    @rule(who=st.integers(0, 2), amount=st.integers(1, 60_000), kind=st.sampled_from(["payment", "advance"]))
    def pay(self, who: int, amount: int, kind: str) -> None:
        """Money to a grower."""
        from drydown.books.money.payments import pay_grower

        at = self.now()
        person = self.people[who]
        self.tried(lambda: pay_grower(person, amount, "XTS", kind, "", uuid.uuid4(), at, self.who))

    @rule(picks=st.lists(st.integers(0, 99), max_size=3, unique=True), amount=st.integers(1, 99_999))
    def spend(self, picks: list[int], amount: int) -> None:
        """A cost for some lots or for the station."""
        from drydown.books.money.payments import add_cost

        at = self.now()
        lots = {p.pk: p for p in (self.lot(i, "drying", "stored") for i in picks) if p}
        self.tried(
            lambda: add_cost("labour", amount, "XTS", list(lots.values()), uuid.uuid4(), at, self.who)
        )  # fmt: skip

    @rule(
        pick=st.integers(0, 99),
        total=st.integers(1, 500_000),
        way=st.sampled_from(["fruit", "ripe", "value"]),
    )
    def share(self, pick: int, total: int, way: str) -> None:
        """A second payment to all behind a lot."""
        from drydown.books.money.payments import second_payment

        lot, at = self.lot(pick, "stored", "hulled", "sorted", "gone"), self.now()
        if lot is not None:
            self.tried(lambda: second_payment([lot], total, way, "XTS", uuid.uuid4(), at, self.who))

    @invariant()
    def everything_is_somewhere(self) -> None:
        """Each commodity adds up to nothing over all accounts, and no lot is below zero."""
        SEEN["steps"] += 1
        from django.db.models import Sum

        from drydown.books.models import Holding

        for row in Holding.objects.values("commodity").annotate(total=Sum("amount")):
            assert row["total"] == 0, row
        assert not Holding.objects.filter(matter_only=True, amount__lt=0).exists()


LONG = os.environ.get("DRYDOWN_TEST_LONG") == "1"
RUNS, STEPS, WANTED = (120, 100, 10_000) if LONG else (40, 100, 2_800)
MAY_MISS = 0 if LONG else 2
"""Kinds of steps that a short round may not come to; a long one comes to all."""
WORDS = """delivery by-product reading reverse split join payment advance cost second reckon
float pulp ferment wash spread bag hull sort sample weigh sell"""


@pytest.mark.timeout(900)
def test_thousands_of_steps(books: Path) -> None:
    from django.db import connection
    from hypothesis.stateful import run_state_machine_as_test

    embedded = connection.vendor == "sqlite"
    profile = settings(
        max_examples=RUNS if embedded else RUNS // 6, stateful_step_count=STEPS, deadline=None,
        derandomize=True, database=None,
        suppress_health_check=list(HealthCheck),
    )  # fmt: skip
    run_state_machine_as_test(StationMachine, settings=profile)
    assert SEEN["steps"] >= (WANTED if embedded else WANTED // 12), SEEN
    unseen = [kind for kind in WORDS.split() if not SEEN[kind]]
    assert not embedded or len(unseen) <= MAY_MISS, (unseen, SEEN)
