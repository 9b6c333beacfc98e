"""The journal: balanced, append-only and chained, and held so by the database itself."""

from __future__ import annotations

import itertools
import uuid
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

NOW = datetime(2026, 5, 4, 9, 0, tzinfo=UTC)


def a_cost(what: str) -> dict[str, Any]:
    """The body of a cost."""
    return {"what": what, "amount": 10, "currency": "XTS", "lots": []}


def write(lines: list[tuple[str, str, int]], **more: Any) -> Any:
    """One entry of money or matter."""
    from drydown.books.journal.write import Draft
    from drydown.books.journal.write import write as keep

    draft = Draft(
        "cost", more.pop("key", uuid.uuid4()), a_cost(more.pop("what", "twine")), lines, NOW, **more
    )
    return keep(draft)[0]


def refused(act: Callable[[], Any], words: str) -> bool:
    """Whether the database refuses with these words; the transaction around goes on."""
    from django.db import DatabaseError, transaction

    try:
        with transaction.atomic():
            act()
    except DatabaseError as error:
        return words in str(error)
    return False


def test_entries_number_by_one_and_chain(books: Path) -> None:
    from drydown.books.models import Seal

    for i in range(4):
        write([("cash", "XTS", -10 - i), ("costs/twine", "XTS", 10 + i)])
    seals = list(Seal.objects.order_by("number"))
    assert [s.number for s in seals] == [1, 2, 3, 4]
    assert seals[0].previous == "0" * 64
    assert all(b.previous == a.digest for a, b in itertools.pairwise(seals))


def test_unbalanced_is_refused_by_us_and_by_the_database(books: Path) -> None:
    from drydown.books.models import Account, Entry, Posting, Seal
    from drydown.errors import BalanceError

    with pytest.raises(BalanceError, match="does not balance"):
        write([("cash", "XTS", -10), ("costs/twine", "XTS", 9)])
    write([("cash", "XTS", -10), ("costs/twine", "XTS", 10)])
    last = Seal.objects.get()

    def lopsided() -> None:
        entry = Entry(number=2, key=uuid.uuid4(), kind="cost", body="{}", happened_at=NOW, received_at=NOW,
                      seal_id=2)  # fmt: skip
        entry.save(force_insert=True)
        Posting.objects.create(entry=entry, account=Account.objects.all()[0], commodity="XTS", amount=1)
        Seal.objects.create(number=2, previous=last.digest, digest="f" * 64)

    assert refused(lopsided, "do not sum to zero")


def test_an_entry_without_a_seal_cannot_be_committed(books: Path) -> None:
    from django.db import IntegrityError, connection, transaction

    from drydown.books.models import Entry

    def unsealed() -> None:
        Entry(number=1, key=uuid.uuid4(), kind="cost", body="{}", happened_at=NOW, received_at=NOW,
              seal_id=1).save(force_insert=True)  # fmt: skip
        connection.check_constraints()

    with pytest.raises(IntegrityError), transaction.atomic():
        unsealed()


def test_the_chain_must_join(books: Path) -> None:
    from drydown.books.models import Entry, Seal

    write([("cash", "XTS", -10), ("costs/twine", "XTS", 10)])

    def torn() -> None:
        Entry(number=2, key=uuid.uuid4(), kind="cost", body="{}", happened_at=NOW, received_at=NOW,
              seal_id=2).save(force_insert=True)  # fmt: skip
        Seal.objects.create(number=2, previous="a" * 64, digest="f" * 64)

    assert refused(torn, "chain does not join")

    def skipping() -> None:
        Entry(number=9, key=uuid.uuid4(), kind="cost", body="{}", happened_at=NOW, received_at=NOW,
              seal_id=9).save(force_insert=True)  # fmt: skip
        Seal.objects.create(number=9, previous="0" * 64, digest="f" * 64)

    assert refused(skipping, "chain does not join")


def test_nothing_sealed_is_ever_changed(books: Path) -> None:
    from drydown.books.models import Account, Entry, Posting, Seal

    entry = write([("cash", "XTS", -10), ("costs/twine", "XTS", 10)])
    assert refused(lambda: Entry.objects.update(body="{}"), "only added")
    assert refused(lambda: Posting.objects.update(amount=11), "only added")
    assert refused(lambda: Seal.objects.update(digest="0" * 64), "only added")
    assert refused(lambda: Posting.objects.all()._raw_delete("default"), "only added")
    assert refused(lambda: Entry.objects.all()._raw_delete("default"), "only added")
    more = Posting(entry=entry, account=Account.objects.all()[0], commodity="XTS", amount=1)
    assert refused(more.save, "takes no postings")


def test_one_key_one_content(books: Path) -> None:
    from drydown.books.models import Entry
    from drydown.errors import InputError

    key = uuid.uuid4()
    lines = [("cash", "XTS", -10), ("costs/twine", "XTS", 10)]
    first = write(lines, key=key)
    assert write(lines, key=key) == first
    with pytest.raises(InputError, match="sent before with other values"):
        write(lines, key=key, what="rope")
    assert Entry.objects.count() == 1


def test_a_clock_put_back_keeps_the_order(books: Path) -> None:
    from drydown.books.copies.verify import verify
    from drydown.books.journal.write import clock
    from drydown.books.models import Entry

    lines = [("cash", "XTS", -10), ("costs/twine", "XTS", 10)]
    for minutes in (0, 30, -30, -29, 40):
        token = clock.set(lambda m=minutes: NOW + timedelta(minutes=m))  # type: ignore[misc]
        write(lines)
        clock.reset(token)
    numbers = [e.number for e in Entry.objects.order_by("number")]
    assert numbers == [1, 2, 3, 4, 5]
    assert verify().good
    assert "clock" in " ".join(verify().notes)


def test_tampering_shows(books: Path) -> None:
    """Someone with the file and enough rights takes the rules off and changes a price."""
    from django.db import connection

    from drydown.books.copies.verify import verify

    for amount in (10, 20, 30):
        write([("cash", "XTS", -amount), ("costs/twine", "XTS", amount)])
    assert verify().good
    if connection.vendor != "sqlite":
        pytest.skip("the embedded database's way of taking a rule off")
    with connection.cursor() as cursor:
        cursor.execute("DROP TRIGGER books_posting_no_update")
        cursor.execute("UPDATE books_posting SET amount = amount * 2 WHERE entry_id = 2")
    found = verify()
    assert not found.good
    assert "entry 2" in found.problems[0]
    assert any("holding" in line for line in found.problems)
    with connection.cursor() as cursor:
        cursor.execute("UPDATE books_posting SET amount = amount / 2 WHERE entry_id = 2")
        cursor.execute("DROP TRIGGER books_entry_no_update")
        cursor.execute("""UPDATE books_entry SET body = '{"what":"rope"}' WHERE number = 3""")
    assert any("entry 3" in line for line in verify().problems)


def test_sealed_rows_cannot_be_replaced_either(books: Path) -> None:
    from django.db import connection

    if connection.vendor != "sqlite":
        pytest.skip("a way of writing that only the embedded database has")
    for amount in (10, 20):
        write([("cash", "XTS", -amount), ("costs/twine", "XTS", amount)])

    def run(sql: str) -> None:
        with connection.cursor() as cursor:
            cursor.execute(sql)

    columns = "key, kind, happened_at, received_at, by_name, reason, seal_id"
    assert refused(
        lambda: run(
            f"INSERT OR REPLACE INTO books_entry (number, body, {columns}) "
            f"SELECT number, '{{}}', {columns} FROM books_entry WHERE number = 1"
        ),
        "only added",
    )
    assert refused(
        lambda: run(
            "INSERT OR REPLACE INTO books_posting (id, entry_id, account_id, commodity, amount) "
            "SELECT id, 99, account_id, commodity, amount FROM books_posting"
        ),
        "journal:",
    )
    assert refused(
        lambda: run(
            "INSERT OR REPLACE INTO books_seal (number, previous, digest) "
            "SELECT number, previous, 'f' FROM books_seal WHERE number = 2"
        ),
        "only added",
    )


def test_a_posting_needs_its_entry(books: Path) -> None:
    from drydown.books.models import Account, Posting

    write([("cash", "XTS", -10), ("costs/twine", "XTS", 10)])
    early = Posting(entry_id=2, account=Account.objects.all()[0], commodity="XTS", amount=777)
    assert refused(early.save, "needs its entry first")


def test_verify_sees_what_is_read_off_and_the_end_of_the_chain(client: Any) -> None:
    from tests.desk.forms import weigh

    from drydown.books.copies.verify import verify
    from drydown.books.models import Head, Holding, Lot

    weigh(client)
    assert verify(anew=True).good
    Lot.objects.update(group="other")
    assert not verify(anew=True).good
    Lot.objects.update(group="")
    Holding.objects.filter(commodity="dry", matter_only=True).update(matter_only=False)
    assert "not guarded" in verify().problems[0]
    Holding.objects.filter(account__name__startswith="lot/", commodity="dry").update(matter_only=True)
    Lot.objects.update(stage="gone")
    assert "is gone and still holds" in verify().problems[0]
    Head.objects.all().delete()
    assert any("end of the chain" in line for line in verify().problems)
