"""A million entries: how fast the pages answer, how large the file is; durable entries a second.

Run: python -m bench.books [entries]. The season is invented: 1,500 growers, deliveries in lots of
about forty, steps, readings. Entries are written in bulk with true hashes and postings, so that
`verify` can be run on the result; the pages are then asked through Django's own handler.
"""

from __future__ import annotations

import os
import sqlite3
import statistics
import sys
import tempfile
import time
import uuid
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

BEGIN = datetime(2024, 1, 3, 6, 0, tzinfo=UTC)
GROWERS, PER_LOT, BATCH = 1500, 40, 5000


def prepare(folder: Path) -> Any:
    """A data folder with the example station; returns a browser of the owner."""
    os.environ["DRYDOWN_DATA"] = str(folder)
    os.environ["DJANGO_SETTINGS_MODULE"] = "drydown.desk.settings"
    import django

    from drydown.books.prepare import prepare_folder, prepare_tables
    from drydown.station.load import example_text

    prepare_folder(folder)
    django.setup()
    prepare_tables()
    (folder / "station.toml").write_text(example_text(), encoding="utf-8")
    from django.conf import settings
    from django.contrib.auth.models import User
    from django.test import Client

    settings.ALLOWED_HOSTS = ["*"]
    client = Client()
    client.force_login(User.objects.create_superuser("owner", password="a long enough word"))
    return client


class Filler:
    """Writes entries as `books.journal.write` would, many at a time."""

    def __init__(self) -> None:
        from drydown.books.models import Account, Grower

        Grower.objects.bulk_create(
            Grower(number=101 + i, name=f"Grower {i}", village=f"Village {i % 23}") for i in range(GROWERS)
        )
        self.growers = {g.number: g.pk for g in Grower.objects.all()}
        self.accounts: dict[str, int] = {}
        self.account = Account
        self.sums: dict[tuple[str, str], int] = {}
        self.number, self.digest = 0, "0" * 64
        self.rows: dict[str, list[Any]] = {
            k: [] for k in ("entry", "posting", "seal", "delivery", "step", "read")
        }

    def _account(self, name: str) -> int:
        if name not in self.accounts:
            self.accounts[name] = self.account.objects.create(name=name).pk
        return self.accounts[name]

    def entry(self, kind: str, body: dict[str, Any], lines: list[Any], at: datetime) -> int:
        """One entry with its seal."""
        from drydown.books.journal.seal import canonical, digest_of
        from drydown.books.models import Entry, Posting, Seal

        self.number += 1
        made = Entry(number=self.number, key=uuid.uuid4(), kind=kind, body=canonical(body), happened_at=at,
                     received_at=at, seal_id=self.number)  # fmt: skip
        digest = digest_of(made, lines, self.digest)
        self.rows["entry"].append(made)
        self.rows["seal"].append(Seal(number=self.number, previous=self.digest, digest=digest))
        for account, commodity, amount in lines:
            pk = self._account(account)
            self.rows["posting"].append(
                Posting(entry_id=self.number, account_id=pk, commodity=commodity, amount=amount)
            )
            self.sums[account, commodity] = self.sums.get((account, commodity), 0) + amount
        self.digest = digest
        return self.number

    def flush(self) -> None:
        """Write what has gathered, in the order the rules want."""
        from django.db import transaction

        from drydown.books.models import Delivery, Entry, Happening, Posting, Reading, Seal

        with transaction.atomic():
            tables: dict[str, Any] = {"entry": Entry, "posting": Posting, "seal": Seal, "delivery": Delivery,
                      "step": Happening, "read": Reading}  # fmt: skip
            for name, table in tables.items():
                table.objects.bulk_create(self.rows[name], batch_size=900)
                self.rows[name].clear()

    def close(self) -> None:
        """Holdings and the end of the chain."""
        from drydown.books.models import Head, Holding

        self.flush()
        Holding.objects.bulk_create(
            Holding(account_id=self.accounts[a], commodity=c, amount=m,
                    matter_only=a.startswith("lot/") and c in {"dry", "water"})
            for (a, c), m in self.sums.items()
        )  # fmt: skip
        Head.objects.update_or_create(pk=1, defaults={"number": self.number, "digest": self.digest})


def fill(entries: int) -> int:
    """Fill the books; returns how many entries there are."""
    from drydown.books.models import Delivery, Happening, Lot, Reading
    from drydown.way.matter import Matter, fruit, moved, to_moisture

    filler, day = Filler(), 0
    while filler.number < entries:
        at = BEGIN + timedelta(minutes=14 * day)
        code = f"AN-{day:06d}"
        told = {"code": code, "species": "arabica", "route": "natural", "opened_on": at.date().isoformat(),
                "group": ""}  # fmt: skip
        lot = Lot.objects.create(
            code=code, species="arabica", route="natural", opened_on=at.date(), stage="stored",
            bed="Old patio", load_kg_m2=25.0, spread_at=at, known_wb=0.11, known_at=at, moved_at=at,
        )  # fmt: skip
        total = Matter(0, 0)
        for i in range(PER_LOT):
            number, net = 101 + (day * PER_LOT + i) % GROWERS, 40_000 + 137 * i
            has, value = fruit("arabica", net), net * 620 // 1000
            total = Matter(total.dry + has.dry, total.water + has.water)
            body = {
                "grower": number, "lot": told, "gross_g": net, "tare_g": 0, "net_g": net, "ripe_percent": 93,
                "float_percent": None, "fruit_class": "B", "price_per_kg": 620, "pays": value, "held_back": 0,
                "deductions": [], "containers": [], "currency": "XTS", "decimals": 0,
            }  # fmt: skip
            lines = moved(has, f"grower/{number}", f"lot/{code}")
            lines += [(f"lot/{code}", "XTS", value), (f"grower/{number}", "XTS", -value)]
            n = filler.entry("delivery", body, lines, at)
            plain = {k: body[k] for k in ("gross_g", "tare_g", "net_g", "ripe_percent", "fruit_class",
                                          "price_per_kg", "pays", "currency", "decimals")}  # fmt: skip
            filler.rows["delivery"].append(
                Delivery(entry_id=n, lot=lot, grower_id=filler.growers[number], happened_at=at, **plain)
            )
        for kind, details in (("float", {}), ("spread", {"bed": "Old patio", "load_kg_m2": 25.0})):
            n = filler.entry("step", {"code": code, "kind": kind, "details": details, "warned": [],
                                      "assumed": {}}, [], at)  # fmt: skip
            filler.rows["step"].append(
                Happening(entry_id=n, lot=lot, kind=kind, details=details, happened_at=at)
            )
        for moisture in (0.5, 0.4, 0.3, 0.2, 0.11):
            lines = [line for line in to_moisture(total, f"lot/{code}", moisture) if line[2]]
            total = Matter(total.dry, round(total.dry * moisture / (1 - moisture)))
            n = filler.entry("reading", {"code": code, "moisture_wb": moisture, "method": "meter",
                                         "bean_temp_c": None}, lines, at)  # fmt: skip
            filler.rows["read"].append(
                Reading(entry_id=n, lot=lot, moisture_wb=moisture, method="meter", happened_at=at)
            )
        day += 1
        if len(filler.rows["entry"]) >= BATCH:
            filler.flush()
    filler.close()
    return filler.number


def timed(act: Callable[[], Any], runs: int = 15) -> tuple[float, float]:
    """Median and worst of several runs, ms; the first, cold one counts."""
    times = []
    for _ in range(runs):
        begun = time.perf_counter()
        answer = act()
        times.append((time.perf_counter() - begun) * 1000.0)
        assert answer.status_code in {200, 302}, answer.content[:500]
    return statistics.median(times), max(times)


def weigh(client: Any) -> Any:
    """The gate's form."""
    return client.post("/gate/", {
        "key": str(uuid.uuid4()), "grower": "101", "species": "arabica", "route": "washed", "gross": "51.5",
        "tare": "1.5", "at": "",
    })  # fmt: skip


def pages(client: Any) -> None:
    """The pages of the issue, through Django's whole handler."""
    for name, act in (
        ("gate form", lambda: client.get("/gate/")), ("gate, a weighing kept", lambda: weigh(client)),
        ("lot page", lambda: client.get("/lot/AN-000007/")),
        ("grower's season statement", lambda: client.get("/growers/101/?since=2024-01-01")),
        ("statement as PDF", lambda: client.get("/growers/101/statement.pdf?since=2024-01-01")),
        ("yard", lambda: client.get("/yard/")), ("stored lots", lambda: client.get("/yard/?show=stored")),
        ("growers", lambda: client.get("/growers/")), ("money", lambda: client.get("/money/")),
        ("journal", lambda: client.get("/journal/")),
    ):  # fmt: skip
        middle, worst = timed(act)
        print(f"  {name:28s} median {middle:7.1f} ms, worst {worst:7.1f} ms")


def durable(client: Any, folder: Path, seconds: float = 6.0) -> None:
    """Durable entries a second through the whole stack, beside plain sqlite3 at the same settings."""
    from django.conf import settings

    def rate(act: Callable[[], Any]) -> float:
        begun, count = time.perf_counter(), 0
        while time.perf_counter() - begun < seconds:
            act()
            count += 1
        return count / (time.perf_counter() - begun)

    through = rate(lambda: weigh(client))
    plain = sqlite3.connect(folder / "plain.sqlite3", isolation_level=None)
    plain.executescript(settings.DATABASES["default"]["OPTIONS"]["init_command"])
    plain.execute("CREATE TABLE entry (id INTEGER PRIMARY KEY, body TEXT)")
    body = "x" * 500

    def one() -> None:
        plain.execute("BEGIN IMMEDIATE")
        plain.execute("INSERT INTO entry (body) VALUES (?)", (body,))
        plain.execute("COMMIT")

    bare = rate(one)
    print(f"  durable weighings through the stack {through:.0f}/s; plain sqlite3, a row each, {bare:.0f}/s")
    print(f"  ratio {through / bare:.3f}")


def main() -> None:
    """Fill, ask, measure."""
    entries = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000
    with tempfile.TemporaryDirectory(prefix="drydown-bench-") as name:
        folder = Path(name)
        client = prepare(folder)
        begun = time.perf_counter()
        count = fill(entries)
        spent = time.perf_counter() - begun
        size = (folder / "books.sqlite3").stat().st_size / 1e6
        print(f"{count:,} entries in {spent:.0f} s; file {size:,.0f} MB, {size * 1e6 / count:.0f} B an entry")
        pages(client)
        durable(client, folder)
        from drydown.books.copies.verify import verify

        begun = time.perf_counter()
        found = verify()
        print(f"  verify: {'good' if found.good else found.problems}, {time.perf_counter() - begun:.0f} s")


if __name__ == "__main__":
    main()
