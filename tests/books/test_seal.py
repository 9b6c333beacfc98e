"""The seal is pinned: every column, every order, every gap is seen.

The expected digests are worked out here by hashlib from a text typed in this file, not by the
books' own functions.
"""

from __future__ import annotations

import hashlib
import json
import uuid
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from tests.books.test_money import NOW, delivery, who

ENTRY: dict[str, Any] = {
    "number": 7, "key": uuid.UUID(int=3), "kind": "cost", "body": '{"v":1,"what":"rope"}',
    "happened_at": datetime(2026, 5, 4, 9, tzinfo=UTC), "received_at": datetime(2026, 5, 4, 10, tzinfo=UTC),
    "by_id": 2, "by_name": "Ama", "device_id": 4, "device_seq": 11, "reason": "why", "reverses_id": 5,
}  # fmt: skip
LINES = [("cash", "XTS", -10), ("costs/rope", "XTS", 10)]
TEXT = (
    '{"body":"{\\"v\\":1,\\"what\\":\\"rope\\"}","by":2,"by_name":"Ama","device":4,"device_seq":11,'
    '"happened_at":"2026-05-04T09:00:00+00:00","key":"00000000-0000-0000-0000-000000000003","kind":"cost",'
    '"number":7,"postings":[["cash","XTS",-10],["costs/rope","XTS",10]],"previous":"PREVIOUS",'
    '"reason":"why","received_at":"2026-05-04T10:00:00+00:00","reverses":5}'
)
PREVIOUS = "a" * 64
OTHER: dict[str, Any] = {
    "number": 8, "key": uuid.UUID(int=4), "kind": "step", "body": '{"v":1,"what":"twine"}',
    "happened_at": ENTRY["happened_at"] + timedelta(seconds=1),
    "received_at": ENTRY["received_at"] + timedelta(seconds=1), "by_id": 3, "by_name": "Beno", "device_id": 5,
    "device_seq": 12, "reason": "because", "reverses_id": 6,
}  # fmt: skip


def digest(entry: dict[str, Any], lines: Any = LINES, previous: str = PREVIOUS) -> str:
    """By the books."""
    from drydown.books.journal.seal import digest_of

    made: Any = SimpleNamespace(**entry)
    return digest_of(made, lines, previous)


def test_the_digest_is_the_hash_of_this_text(data_folder: Path) -> None:
    text = TEXT.replace("PREVIOUS", PREVIOUS)
    assert json.loads(text)  # the text is what it looks like
    assert digest(ENTRY) == hashlib.sha256(text.encode()).hexdigest()


@pytest.mark.parametrize("column", OTHER)
def test_another_value_in_any_column_is_another_digest(data_folder: Path, column: str) -> None:
    assert digest(ENTRY | {column: OTHER[column]}) != digest(ENTRY)


@pytest.mark.parametrize(
    "lines",
    [
        LINES[::-1],
        LINES[:1],
        [("cash", "XTS", -11), ("costs/rope", "XTS", 11)],
        [("cash", "XTU", -10), ("costs/rope", "XTU", 10)],
        [("cash", "XTS", -10), ("costs/twine", "XTS", 10)],
    ],
)
def test_other_postings_or_another_order_are_another_digest(data_folder: Path, lines: Any) -> None:
    assert digest(ENTRY, lines) != digest(ENTRY)
    assert digest(ENTRY, LINES, "b" * 64) != digest(ENTRY)


def unguarded(table: str) -> Any:
    """The raw table with the database's own rules off, as a forger with the file would have it."""
    from django.db import connection

    cursor = connection.cursor()
    cursor.execute("SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = %s", [table])
    for (name,) in cursor.fetchall():
        cursor.execute(f"DROP TRIGGER {name}")
    return cursor


FIRST_POSTING = (
    "UPDATE books_posting SET amount = amount {} 1 "
    "WHERE id = (SELECT MIN(id) FROM books_posting WHERE entry_id = 2)"
)
FORGED = {
    "body": ("books_entry", "UPDATE books_entry SET body = '{}' WHERE number = 2", "not what was sealed"),
    "time": (
        "books_entry",
        "UPDATE books_entry SET happened_at = '2026-05-05 09:00:00' WHERE number = 2",
        "not what was sealed",
    ),
    "name": (
        "books_entry",
        "UPDATE books_entry SET by_name = 'someone' WHERE number = 2",
        "not what was sealed",
    ),
    "reason": (
        "books_entry",
        "UPDATE books_entry SET reason = 'other' WHERE number = 2",
        "not what was sealed",
    ),
    "amounts": (
        "books_posting",
        "UPDATE books_posting SET amount = amount * 2 WHERE entry_id = 2",
        "not what was sealed",
    ),
    "one amount": (
        "books_posting",
        FIRST_POSTING.format("-"),
        "does not balance",
    ),
    "one amount up": (
        "books_posting",
        FIRST_POSTING.format("+"),
        "does not balance",
    ),
    "seal": (
        "books_seal",
        "UPDATE books_seal SET previous = 'b' || previous WHERE number = 2",
        "does not join",
    ),
}


@pytest.mark.parametrize("what", FORGED)
def test_a_forged_file_is_found(books: Path, what: str) -> None:
    from django.db import connection

    from drydown.books.copies.verify import verify
    from drydown.books.lots.gate import add_grower

    if connection.vendor != "sqlite":
        pytest.skip("the embedded database's file")
    grower = add_grower("Ama Vembi", "Kell Ridge")
    for minutes in range(3):
        delivery(grower, 50.0 + minutes, minutes)
    assert verify().good
    table, act, words = FORGED[what]
    unguarded(table).execute(act)
    found = verify()
    assert not found.good
    assert any(words in problem for problem in found.problems), found.problems


def test_a_missing_entry_is_a_gap(books: Path) -> None:
    from django.db import connection

    from drydown.books.copies.verify import verify
    from drydown.books.lots.gate import add_grower

    if connection.vendor != "sqlite":
        pytest.skip("the embedded database's file")
    grower = add_grower("Ama Vembi", "Kell Ridge")
    for minutes in range(3):
        delivery(grower, 50.0, minutes)
    for table, key in (("books_posting", "entry_id"), ("books_seal", "number"), ("books_entry", "number")):
        cursor = unguarded(table)
        cursor.execute("PRAGMA defer_foreign_keys = ON")
        if table == "books_entry":
            cursor.execute("DELETE FROM books_delivery WHERE entry_id = 2")
        cursor.execute(f"DELETE FROM {table} WHERE {key} = 2")
    found = verify()
    assert any("entry 2 is missing; the next is 3" in problem for problem in found.problems), found.problems


def test_an_account_that_is_not_in_the_chart_does_not_open(books: Path) -> None:
    from drydown.books.journal.write import Draft, write
    from drydown.errors import InputError

    body = {"what": "rope", "amount": 5, "currency": "XTS", "lots": []}
    for lines in (
        [("csah", "XTS", -5), ("costs/rope", "XTS", 5)],
        [("cash/box", "XTS", -5), ("costs/rope", "XTS", 5)],
        [("lot/", "XTS", -5), ("costs/rope", "XTS", 5)],
        [("cash", "xts", -5), ("costs/rope", "xts", 5)],
    ):
        with pytest.raises(
            InputError, match=r"chart of accounts|has no owner|needs an owner|not a commodity"
        ):
            write(Draft("cost", uuid.uuid4(), body, lines, NOW, who()))


def test_a_body_of_another_shape_is_refused_and_carries_its_version(books: Path) -> None:
    from drydown.books.journal.write import Draft, write
    from drydown.books.models import Entry
    from drydown.books.models.bodies import facts_of
    from drydown.errors import BalanceError

    lines = [("cash", "XTS", -5), ("costs/rope", "XTS", 5)]
    good = {"what": "rope", "amount": 5, "currency": "XTS", "lots": []}
    for body in ({**good, "more": 1}, {**good, "amount": "5"}, {"what": "rope"}):
        with pytest.raises(BalanceError, match="another shape"):
            write(Draft("cost", uuid.uuid4(), body, lines, NOW, who()))
    with pytest.raises(BalanceError, match="no kind of entry"):
        write(Draft("dance", uuid.uuid4(), good, lines, NOW, who()))
    entry = write(Draft("cost", uuid.uuid4(), good, lines, NOW, who()))[0]
    kept = Entry.objects.get(pk=entry.pk)
    assert json.loads(kept.body)["v"] == 1
    assert kept.facts == good
    assert facts_of("cost", good) == good  # one from before bodies had a version
    with pytest.raises(BalanceError, match="newer"):
        facts_of("cost", {**good, "v": 99})
