"""A copy of books made by an earlier release opens, holds the same, and shows every page."""

from __future__ import annotations

import json
import zipfile
from pathlib import Path
from typing import Any

import pytest

from tests.alone import run_alone
from tests.golden.make import facts_of

HERE = Path(__file__).resolve().parent
COPIES = sorted(f.stem for f in HERE.glob("*.zip"))
OPEN = """
import json, os, sys
from pathlib import Path
data = Path(sys.argv[1])
os.environ["DRYDOWN_DATA"] = str(data)
os.environ["DJANGO_SETTINGS_MODULE"] = "drydown.desk.settings"
import django
from drydown.books.copies.backup import restore
from drydown.books.prepare import prepare_folder, prepare_tables
restore(Path(sys.argv[2]), data)
prepare_folder(data)
django.setup()
prepare_tables()
from drydown.books.copies.verify import verify
found = verify(anew=True)
assert found.good, found.problems
from django.conf import settings
from django.contrib.auth.models import User
from django.test import Client
settings.ALLOWED_HOSTS = ["*"]
client = Client()
client.force_login(User.objects.get(username="owner"))
from drydown.books.models import BenchSheet, Delivery, Entry, Grower, Happening, Lot
pages = ["/gate/", "/yard/", "/yard/?show=stored", "/yard/?show=gone", "/growers/", "/growers/cards.pdf",
         "/money/", "/journal/", "/bench/", "/bench/roasts/", "/people/", "/devices/", "/carry/", "/more/",
         "/station/"]
pages += [f"/lot/{lot.code}/" for lot in Lot.objects.all()]
pages += [f"/lot/{lot.code}/family.svg" for lot in Lot.objects.all()]
pages += [f"/gate/slip/{d.pk}/" for d in Delivery.objects.all()]
pages += [f"/gate/slip/{d.pk}.pdf" for d in Delivery.objects.all()[:1]]
pages += [f"/growers/{g.number}/" for g in Grower.objects.all()]
pages += [f"/growers/{g.number}/statement.pdf" for g in Grower.objects.all()]
pages += [f"/journal/{e.number}/" for e in Entry.objects.all()]
schemes = sorted({s.told["scheme"] for s in BenchSheet.objects.all() if "scheme" in s.told})
samples = [h.entry_id for h in Happening.objects.filter(kind="sample", undone=False)]
for n in samples:
    pages += [f"/bench/{n}/", f"/bench/{n}.pdf"]
    pages += [f"/bench/{n}/?scheme={s}" for s in schemes]
failed = {}
for page in pages:
    answer = client.get(page, follow=True)
    if answer.status_code != 200:
        failed[page] = (answer.status_code, answer.content.decode(errors="replace")[-400:])
assert not failed, failed
first = samples[0]
graded = {s: "Not graded" not in client.get(f"/bench/{first}/?scheme={s}").content.decode() for s in schemes}
print(json.dumps({"pages": len(pages), "schemes": graded}))
"""
RAW = ("bodies", "kinds", "seals", "holdings", "lots", "deliveries", "steps", "readings", "sheets", "head")


def box_of(name: str, folder: Path) -> Path:
    """The database inside a copy."""
    with zipfile.ZipFile(HERE / f"{name}.zip") as box:
        box.extract("books.sqlite3", folder)
    return folder / "books.sqlite3"


@pytest.fixture(scope="module", params=COPIES)
def opened(request: Any, tmp_path_factory: pytest.TempPathFactory) -> tuple[str, Path, dict[str, Any]]:
    """A copy restored by this code, its pages opened: name, folder, what was found."""
    folder = tmp_path_factory.mktemp("golden")
    told = run_alone(OPEN, str(folder), str(HERE / f"{request.param}.zip"))
    return request.param, folder, json.loads(told.splitlines()[-1])


def test_there_is_a_copy() -> None:
    assert COPIES


def test_every_page_opens_and_every_old_sheet_is_graded(opened: Any) -> None:
    _name, _folder, found = opened
    assert found["pages"] > 100
    assert {"us-2018", "us-older", "arabica-c"} <= set(found["schemes"])  # as they were called then
    assert all(found["schemes"].values()), found["schemes"]


@pytest.mark.parametrize("part", RAW)
def test_what_was_recorded_is_the_same_to_the_gram_and_the_letter(opened: Any, part: str) -> None:
    """Facts read by plain SQL when the copy was made, and read again after migration."""
    name, folder, _found = opened
    before = json.loads((HERE / f"{name}.json").read_text(encoding="utf-8"))
    after = json.loads(json.dumps(facts_of(folder / "books.sqlite3")))
    if part == "bodies":
        assert {row[0] for row in before[part]} == {row[0] for row in after[part]}
    if part == "lots":
        after[part] = [row for row in after[part] if row[0] in {r[0] for r in before[part]}]
    assert after[part] == before[part]


def test_a_changed_fact_is_found(tmp_path: Path) -> None:
    """The reading by plain SQL does see a gram."""
    import sqlite3

    books = box_of(COPIES[0], tmp_path)
    whole = facts_of(books)
    with sqlite3.connect(books) as db:
        db.executescript("DROP TRIGGER IF EXISTS books_delivery_no_update")
        db.execute(
            "UPDATE books_holding SET amount = amount + 1 WHERE id = (SELECT min(id) FROM books_holding)"
        )
    db.close()
    assert facts_of(books)["holdings"] != whole["holdings"]
