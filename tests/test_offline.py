"""Fifty weighings on a phone without network, three page loads, answers lost at random."""

from __future__ import annotations

import json
import random
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from tests.alone import Desk, run_alone
from tests.test_walk import SIZES, browser

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page, Route

__all__ = ["browser"]

PREPARE = """
import sys
from tests.alone import station
station(sys.argv[1])
from drydown.books.lots.gate import add_grower
for name in ("Ama Vembi", "Beno Okkal", "Dari Bellit"):
    add_grower(name, "Kell Ridge")
"""
COUNT = """
import sys
from tests.alone import station
station(sys.argv[1])
from collections import Counter
from drydown.books.models import Delivery, Device, Entry, Outgoing
from drydown.books.journal.outbox import gaps
from drydown.books.copies.verify import verify
found = verify(anew=True)
assert found.good, found.problems
device = Device.objects.get()
rows = list(Delivery.objects.order_by("entry__device_seq").values_list("entry__device_seq", "net_g"))
late = [e.received_at - e.happened_at for e in Entry.objects.filter(kind="delivery")]
import json
print(json.dumps({
    "rows": rows, "gaps": gaps(device), "outgoing": Outgoing.objects.count(), "last": device.last_seq,
    "phone_time_kept": all(o.phone_time for o in Outgoing.objects.all()),
    "received_after": all(x.total_seconds() >= 0 for x in late),
}))
"""


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Desk]:
    """A desk of a real station, served as `drydown serve` does."""
    folder = tmp_path_factory.mktemp("offline")
    run_alone(PREPARE, str(folder))
    made = Desk(folder)
    made.start()
    yield made
    made.kill()


def _phone(browser: Browser, desk: Desk, name: str) -> Page:
    """A phone that has entered, is enrolled, and has opened the Field page once."""
    width, height = SIZES["phone"]
    page = browser.new_context(viewport={"width": width, "height": height}).new_page()
    page.set_default_timeout(15_000)
    page.goto(f"{desk.url}/enter/")
    page.fill("#id_name", "owner")
    page.fill("#id_password", "a long enough word")
    page.get_by_role("button", name="Log in").click()
    page.goto(f"{desk.url}/devices/")
    page.fill("#name", name)
    page.get_by_role("button", name="Enrol this device").click()
    page.get_by_text(f"This device is enrolled as {name}").wait_for()
    page.goto(f"{desk.url}/field/")
    _ready(page)
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    page.reload()
    _ready(page)
    return page


def _ready(page: Page) -> None:
    page.locator("body[data-ready='1']").wait_for()


def _note(page: Page, i: int) -> None:
    page.fill("#grower", str(101 + i % 3))
    page.select_option("#species", "arabica")
    page.select_option("#route", "washed")
    page.fill("#gross", f"{50 + i},5")
    page.fill("#tare", "0.5")
    number = (page.evaluate("Outbox.fact('seq')") or 0) + 1
    page.get_by_role("button", name="Note this weighing").click()
    page.get_by_text(f"Noted on this phone as number {number}", exact=True).wait_for()
    assert page.input_value("#gross") == ""


def _sent(page: Page) -> None:
    """Wait until the outbox itself is empty: what the page shows follows a moment later."""
    for _ in range(150):
        if page.evaluate("Outbox.count()") == 0:
            break
        page.wait_for_timeout(100)
    page.get_by_text("Nothing is waiting").wait_for()


def _waiting(page: Page) -> int:
    return int(page.locator("#waiting").inner_text().split()[0])


def test_fifty_weighings_without_network(browser: Browser, desk: Desk) -> None:
    page = _phone(browser, desk, "gate phone")
    names_kept = page.evaluate("localStorage.length")
    page.context.set_offline(True)
    for i in range(50):
        if i in {0, 17, 34}:
            page.reload()  # from the worker's shelf
            _ready(page)
            assert _waiting(page) == i
        _note(page, i)
    page.locator("#waiting", has_text="50 waiting").wait_for()
    state = page.evaluate("Outbox.all().then(items => JSON.stringify(items))")
    assert "Vembi" not in state + page.content()
    assert names_kept == 0
    rng = random.Random(11)
    dropped = {"before": 0, "after": 0}

    def unsteady(route: Route) -> None:
        fate = rng.random()
        if fate < 0.35:
            dropped["before"] += 1
            route.abort()
        elif fate < 0.75:
            route.fetch()  # the station has it, the phone does not hear so
            dropped["after"] += 1
            route.abort()
        else:
            route.continue_()

    page.route("**/api/field/items", unsteady)
    page.context.set_offline(False)
    for _ in range(40):
        if _waiting(page) == 0:
            break
        page.locator("#send").click()
        page.wait_for_timeout(300)
    page.unroute("**/api/field/items")
    page.locator("#send").click()
    page.locator("#waiting", has_text="0 waiting").wait_for()
    assert dropped["after"] > 0
    found = json.loads(run_alone(COUNT, str(desk.folder)).splitlines()[-1])
    assert found["rows"] == [[i + 1, (50 + i) * 1000] for i in range(50)]
    assert found["gaps"] == []
    assert (found["outgoing"], found["last"]) == (50, 50)
    assert found["phone_time_kept"]
    assert found["received_after"]
    page.context.close()


def test_a_refused_note_stays_and_can_be_given_up(browser: Browser, desk: Desk) -> None:
    page = _phone(browser, desk, "second phone")
    page.fill("#grower", "977")
    page.select_option("#species", "arabica")
    page.select_option("#route", "washed")
    page.fill("#gross", "20")
    page.fill("#tare", "0")
    page.get_by_role("button", name="Note this weighing").click()
    page.get_by_text("No grower has the number 977").wait_for()
    assert _waiting(page) == 1
    page.get_by_label("reason").fill("wrong number, weighed again")
    page.get_by_role("button", name="Give it up").click()
    _sent(page)
    page.goto(f"{desk.url}/devices/")
    assert "not come in yet" not in page.content()
    page.context.close()


def test_an_outbox_carried_by_file(browser: Browser, desk: Desk, tmp_path: Path) -> None:
    page = _phone(browser, desk, "far phone")
    page.route("**/api/field/items", lambda route: route.abort())
    for i in range(3):
        _note(page, i)
    with page.expect_download() as waiting:
        page.locator("#save").click()
    file = tmp_path / "outbox.json"
    waiting.value.save_as(file)
    assert "Vembi" not in file.read_text(encoding="utf-8")
    page.goto(f"{desk.url}/devices/carry-in/")
    page.set_input_files("#file", file)
    page.get_by_role("button", name="Import").click()
    page.get_by_text("3 of 3 items are in the books").wait_for()
    page.unroute("**/api/field/items")
    page.goto(f"{desk.url}/field/")  # and the phone, back in reach, sends them again
    _sent(page)
    page.goto(f"{desk.url}/devices/")
    assert "far phone" in page.content()
    assert page.content().count("not come in yet") == 0
    page.context.close()


def test_a_phone_whose_storage_was_cleared_goes_on_counting(browser: Browser, desk: Desk) -> None:
    page = _phone(browser, desk, "cleared phone")
    for i in range(2):
        _note(page, i)
    _sent(page)
    clear = (
        "new Promise(r => { const d = indexedDB.deleteDatabase('drydown'); d.onsuccess = d.onblocked = r; })"
    )
    page.evaluate(clear)
    page.reload()
    _ready(page)
    _note(page, 5)
    _sent(page)
    page.evaluate(clear)  # and once more, with a note made before the station is in reach again
    page.context.set_offline(True)
    page.reload()
    page.context.set_offline(False)
    page.reload()
    _ready(page)
    assert page.evaluate("Outbox.fact('seq')") == 3
    page.context.close()


def test_two_quick_taps_are_one_weighing(browser: Browser, desk: Desk) -> None:
    page = _phone(browser, desk, "quick phone")
    page.route("**/api/field/items", lambda route: route.abort())
    for name, value in (("grower", "101"), ("gross", "20"), ("tare", "0")):
        page.fill(f"#{name}", value)
    page.select_option("#species", "arabica")
    page.select_option("#route", "washed")
    tap = "document.querySelector('#weigh button').click()"
    page.evaluate(f"{tap}; {tap}")
    page.get_by_text("Noted on this phone as number 1").wait_for()
    page.locator("#waiting", has_text="1 waiting").wait_for()
    assert page.evaluate("Outbox.count()") == 1
    page.context.close()
