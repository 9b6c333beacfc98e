"""Twice at once: what must be there once is there once."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from tests.alone import PREPARE, run_alone

TWICE = """
import os, sys, threading
os.environ["DRYDOWN_DATA"] = sys.argv[1]
os.environ["DJANGO_SETTINGS_MODULE"] = "drydown.desk.settings"
import django; django.setup()
from django.conf import settings
from django.db import connection
from drydown.books.copies.imports import keep, preview
from drydown.books.journal.write import Who
from drydown.books.models import Device, Grower
from drydown.books.people.register import enrol
from drydown.errors import InputError
from drydown.station.load import load_station
station = load_station(settings.STATION_FILE)
rows = "name,village\\n" + "".join(f"Grower {i},Kell Ridge\\n" for i in range(100))
looked = [preview("growers", "list.csv", rows.encode(), station) for _ in range(4)]  # four tabs
counts, told = [], []
def one(found):
    try:
        counts.append(keep(found, Who()))
        enrol("gate phone", Who())
    except InputError as error:
        told.append(str(error))
    finally:
        connection.close()
threads = [threading.Thread(target=one, args=(f,)) for f in looked]
[t.start() for t in threads]; [t.join() for t in threads]
print(sum(counts), Grower.objects.count(), Device.objects.count(), len(told))
"""


@pytest.mark.skipif("DRYDOWN_DATABASE" in os.environ, reason="about the embedded database")
def test_a_list_kept_four_times_at_once_is_there_once(tmp_path: Path) -> None:
    assert "ready" in run_alone(PREPARE, str(tmp_path))
    kept, growers, devices, told = map(int, run_alone(TWICE, str(tmp_path)).split())
    assert (kept, growers, devices, told) == (100, 100, 1, 3)


PAID_TWICE = """
import os, sys, threading, uuid
from tests.alone import station
client = station(sys.argv[1])
from django.db import connection
from drydown.books.journal.write import Draft, Who, held, write
from drydown.books.money.payments import buyer_pays
from drydown.errors import DrydownError
from datetime import UTC, datetime
now = datetime.now(UTC)
lines = [("buyer/Invented Buyer One", "XTS", 100), ("sales/x", "XTS", -100)]
sale = {"delivery": 1, "grower": 101, "amount": 100, "currency": "XTS"}
write(Draft("adjust", uuid.uuid4(), sale, lines, now, Who(), "a sale"))
refused = []
def pay():
    try:
        buyer_pays("Invented Buyer One", 100, "XTS", "", uuid.uuid4(), None, Who())
    except DrydownError as error:
        refused.append(str(error))
    finally:
        connection.close()
threads = [threading.Thread(target=pay) for _ in range(6)]
[t.start() for t in threads]; [t.join() for t in threads]
print(held("buyer/Invented Buyer One", "XTS"), len(refused))
"""


@pytest.mark.skipif("DRYDOWN_DATABASE" in os.environ, reason="about the embedded database")
def test_a_buyer_pays_what_is_owed_once_however_many_press_at_once(tmp_path: Path) -> None:
    assert run_alone(PAID_TWICE, str(tmp_path)).split() == ["0", "5"]
