"""Make a small copy of books that holds every kind of entry, by the code that is installed.

Run on the code of a release, once: `python tests/golden/make.py FOLDER NAME` writes NAME.zip and
NAME.json (facts read with plain SQL) to FOLDER. Later code must restore the copy and show the same.
"""

from __future__ import annotations

import json
import os
import sqlite3
import sys
import tempfile
import uuid
import zipfile
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

BEGIN = datetime(2026, 10, 1, 6, 0, tzinfo=UTC)


class Season:
    """Time goes on with every entry; keys follow from a counter."""

    def __init__(self, station: Any, who: Any) -> None:
        self.station, self.who, self.count = station, who, 0
        self.now = BEGIN

    def key(self) -> uuid.UUID:
        """The next key."""
        self.count += 1
        return uuid.uuid5(uuid.NAMESPACE_OID, f"golden {self.count}")

    def later(self, hours: float = 1.0) -> datetime:
        """A moment later on."""
        self.now += timedelta(hours=hours)
        return self.now


def _weigh(s: Season, grower: Any, species: str, route: str, kg: float) -> Any:
    from drydown.books.lots.gate import Weighing, receive

    at, money = s.later(0.2), s.station.money
    net = round(kg * 1000)
    price = money.price_coins(species, 93)
    value = round(net * price / 1000)
    return receive(
        Weighing(
            s.key(), grower, species, route, net + 2000, 2000, price, money.currency, money.decimals, at,
            at.date(), 93, 4, "B", (("crate", 1),), money.held_back(net, value), "", None, s.who,
        )
    )  # fmt: skip


def _step(s: Season, code: str, kind: str, hours: float = 1.0, **details: Any) -> Any:
    from drydown.books.lots.take import take_step
    from drydown.books.models import Lot

    return take_step(Lot.objects.get(code=code), kind, s.key(), s.later(hours), s.who, details, s.station)


def _read(s: Season, code: str, percent: float, hours: float = 24.0) -> Any:
    from drydown.books.lots.readings import record_reading
    from drydown.books.models import Lot

    lot = Lot.objects.get(code=code)
    return record_reading(lot, s.key(), percent, "meter 2", 24.0, s.later(hours), s.who)


def _lots(s: Season, growers: list[Any]) -> tuple[str, str]:
    washed = _weigh(s, growers[0], "arabica", "washed", 812.4).lot.code
    _weigh(s, growers[1], "arabica", "washed", 401.5)
    natural = _weigh(s, growers[1], "arabica", "natural", 350.0).lot.code
    _step(s, washed, "float", floaters_kg=31.0)
    _step(s, washed, "pulp")
    _step(s, washed, "ferment", tank="Tank 1")
    _step(s, washed, "test", 8, felt="slippery still", ph=4.9, tank_c=21.0)
    _step(s, washed, "wash", 10)
    _step(s, washed, "spread", 2, bed="Upper beds", load_kg_m2=12.0)
    _step(s, natural, "float", floaters_kg=9.0)
    _step(s, natural, "spread", bed="Old patio", load_kg_m2=25.0)
    _step(s, washed, "cover", 8)
    _step(s, washed, "uncover", 13)
    _step(s, washed, "rake", 1)
    _step(s, washed, "air", 1, air_c=24.0, rh_percent=61.0)
    _read(s, washed, 31.0)
    _step(s, washed, "move", 1, bed="Lower beds", load_kg_m2=10.0)
    _read(s, washed, 12.1, 96)
    _read(s, washed, 10.9, 10)
    _read(s, natural, 16.0, 2)
    return washed, natural


def _kin(s: Season, washed: str, natural: str) -> tuple[str, str]:
    from drydown.books.lots.family import join, split
    from drydown.books.models import Lot

    one, two = split(Lot.objects.get(code=washed), s.key(), [120.0], s.later(), s.who)
    _step(s, one.code, "bag", mass_kg=118.5, store="Main store")
    _step(s, two.code, "bag", mass_kg=122.0, store="Main store")
    both = join([(Lot.objects.get(code=c.code), None) for c in (one, two)], s.key(), s.later(), s.who)
    _step(s, both.code, "shift", store="Main store")
    _step(s, both.code, "weigh", mass_kg=239.0, moisture_percent=11.1)
    _step(s, both.code, "hull", green_kg=192.0, husk_kg=44.0, moisture_percent=11.0)
    _step(s, both.code, "sort", rejects_kg=6.5)
    _read(s, natural, 11.2, 200)
    _step(s, natural, "bag", mass_kg=131.0, store="Main store")
    _step(s, natural, "respread", bed="Old patio", load_kg_m2=20.0)
    _step(s, natural, "bag", 30, mass_kg=130.0, store="Main store")
    return both.code, natural


def _bench(s: Season, code: str) -> None:
    from drydown.books.bench.sheets import record_sheet
    from drydown.books.bench.tastings import keep_tasting, open_session
    from drydown.quality.scheme import scheme, scheme_names

    taken = [
        _step(s, code, "sample", sample_g=700.0, bags_in_lot=4.0, bags_opened=4.0, kept_back_g=100.0)
        for _ in range(3)
    ]
    numbers = [t.happening.entry_id for t in taken]
    first = numbers[0]

    def sheet(kind: str, told: dict[str, Any]) -> None:
        record_sheet(kind, told, s.key(), s.later(0.2), s.who, sample=first)

    for name in scheme_names():
        rules = scheme(name)
        if rules.species and "arabica" not in rules.species:
            continue
        counts = {d.code: 2 for d in rules.defects if d.counts}
        masses = {} if rules.kind == "equivalents" else {d.code: 1.5 for d in rules.defects}
        grams = 300.0 if rules.sample_g is None else rules.sample_g
        told = {"scheme": name, "sample_g": grams, "counts": counts, "masses_g": masses, "quakers": 1}
        sheet("count", told)
    sheet("screens", {"taken_g": 300.0, "screens_g": {"18": 60.0, "16": 120.0, "15": 90.0, "pan": 29.0}})
    pairs = [[10.4, 11.0], [11.2, 11.7], [12.5, 13.2]]
    sheet("moisture", {"method": "meter", "meter": "meter 2", "replicates": [10.8, 11.0], "pairs": pairs})
    sheet("density", {"volume_l": 0.5, "masses_g": [352.0, 349.0], "hundred_g": [15.2, 15.4]})
    sheet("handed", {"part": "counter-test", "mass_g": 100.0, "to": "Mill", "mark": "R 7"})
    session = open_session("Weekly", numbers, 2, 3, first, "medium", s.key(), s.later(), s.who)
    codes = session.told["codes"]
    for seat in (1, 2):
        told = {
            "taster": f"Taster {seat}", "seat": seat, "marks": {c: {"acidity": 4.0 + seat} for c in codes},
            "off": {codes[0]: {"1": {"fermented": 2}}}, "words": {codes[0]: "round"},
        }  # fmt: skip
        keep_tasting(session.entry_id, told, s.key(), s.later(0.1), s.who)


def _money(s: Season, code: str, growers: list[Any]) -> None:
    from drydown.books.lots.byproducts import Leaving, part_with
    from drydown.books.lots.undo import take_back
    from drydown.books.models import Delivery, Lot
    from drydown.books.money.payments import add_cost, adjust, buyer_pays, pay_grower, second_payment

    _step(s, code, "sell", buyer="First Buyer", mass_kg=80.0, price_per_kg=5600.0)
    _step(s, code, "sell", buyer="First Buyer", mass_kg=100.0, price_per_kg=5500.0, all_gone=True)
    lot = Lot.objects.get(code=code)
    pay_grower(growers[0], 200_000, "XTS", "payment", "week 1", s.key(), s.later(), s.who)
    pay_grower(growers[1], 900_000, "XTS", "advance", "", s.key(), s.later(), s.who)
    add_cost("labour", 30_000, "XTS", [lot], s.key(), s.later(), s.who)
    add_cost("rent", 10_000, "XTS", [], s.key(), s.later(), s.who)
    buyer_pays("First Buyer", 400_000, "XTS", "", s.key(), s.later(), s.who)
    adjust(Delivery.objects.order_by("entry_id")[0], 1500, "scale was off", s.key(), s.later(), s.who)
    second_payment([lot], 55_555, "ripe", "XTS", s.key(), s.later(), s.who)
    part_with(Leaving("pulp", 50_000, 0.7, "", 0, "XTS"), s.key(), s.later(), s.who)
    part_with(Leaving("pulp", 20_000, None, "Farm", 900, "XTS"), s.key(), s.later(), s.who)
    late = _weigh(s, growers[0], "robusta", "natural", 77.0)
    take_back(late.entry, "weighed twice", s.who, s.key(), s.later())


def _undone_reading(s: Season, code: str) -> None:
    from drydown.books.lots.undo import take_back
    from drydown.books.models import Entry

    wrong = _read(s, code, 13.9, 3)
    take_back(Entry.objects.get(pk=wrong.entry_id), "other lot", s.who, s.key(), s.later())


def _phone(s: Season, code: str, user: Any) -> None:
    from drydown.books.journal.outbox import Item, keep_items
    from drydown.books.people.register import enrol
    from drydown.desk.fieldwork import KEEPERS

    device = enrol("gate phone", s.who)
    at = s.later()
    reading = {"lot": code, "moisture_percent_wb": 11.4, "method": "meter 2"}
    weighing = {
        "grower": 101, "species": "arabica", "route": "washed", "gross_g": 41_500, "tare_g": 1_500
    }  # fmt: skip
    items = [
        Item(s.key(), 1, at, "reading", reading),
        Item(s.key(), 2, at, "delivery", weighing),
        Item(s.key(), 3, at, "discard", {"kind": "reading", "key": "", "reason": "meant another lot"}),
    ]
    answers = keep_items(items, device, user, None, KEEPERS)
    assert all(a.outcome == "kept" for a in answers), answers


def fill(data: Path) -> None:
    """Write the books."""
    from django.contrib.auth.models import User

    from drydown.books.journal.write import Who, clock
    from drydown.books.lots.gate import add_grower
    from drydown.station.load import example_text, load_station

    file = data / "station.toml"
    file.write_text(example_text(), encoding="utf-8")
    owner = User.objects.create_superuser("owner", password="a long enough word")
    who = Who(owner)
    season = Season(load_station(file), who)
    token = clock.set(lambda: season.now)
    growers = [add_grower("Ama Tessaro", "Kell Ridge", who), add_grower("Beno Okkal", "Old Cairn", who)]
    washed, natural = _lots(season, growers)
    both, natural = _kin(season, washed, natural)
    _bench(season, both)
    _money(season, both, growers)
    _undone_reading(season, natural)
    _phone(season, natural, owner)
    clock.reset(token)


def facts_of(books: Path) -> dict[str, Any]:
    """What the books say, by plain SQL: holdings, lots, deliveries, seals; nothing reckoned by us."""
    with sqlite3.connect(books) as db:

        def rows(query: str) -> list[list[Any]]:
            return [list(row) for row in db.execute(query)]

        return {
            "head": rows("SELECT number, digest FROM books_head"),
            "seals": rows("SELECT number, digest FROM books_seal ORDER BY number"),
            "kinds": rows("SELECT kind, count(*) FROM books_entry GROUP BY kind ORDER BY kind"),
            "bodies": rows("SELECT number, kind, body FROM books_entry ORDER BY number"),
            "holdings": rows(
                "SELECT a.name, h.commodity, h.amount FROM books_holding h JOIN books_account a "
                "ON a.id = h.account_id WHERE h.amount != 0 ORDER BY a.name, h.commodity"
            ),
            "lots": rows("SELECT code, species, route, stage, bed, store FROM books_lot ORDER BY code"),
            "deliveries": rows(
                "SELECT entry_id, gross_g, tare_g, net_g, pays, held_back, undone FROM books_delivery "
                "ORDER BY entry_id"
            ),
            "steps": rows("SELECT entry_id, kind, details, undone FROM books_happening ORDER BY entry_id"),
            "readings": rows("SELECT entry_id, moisture_wb, undone FROM books_reading ORDER BY entry_id"),
            "sheets": rows("SELECT entry_id, kind, told, undone FROM books_benchsheet ORDER BY entry_id"),
        }


def main(folder: Path, name: str) -> None:
    """Make the copy and its facts."""
    with tempfile.TemporaryDirectory() as work:
        data = Path(work)
        os.environ["DRYDOWN_DATA"] = str(data)
        os.environ["DJANGO_SETTINGS_MODULE"] = "drydown.desk.settings"
        import django

        from drydown.books.prepare import prepare_folder, prepare_tables

        prepare_folder(data)
        django.setup()
        prepare_tables()
        fill(data)
        from drydown.books.copies.backup import back_up

        made = back_up(data, data / "copies", BEGIN + timedelta(days=50))
        made.path.rename(folder / f"{name}.zip")
        with zipfile.ZipFile(folder / f"{name}.zip") as box:
            box.extract("books.sqlite3", work)
        facts = facts_of(data / "books.sqlite3")
    (folder / f"{name}.json").write_text(json.dumps(facts, indent=0, ensure_ascii=False) + "\n")


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2])
