"""The counting sheet at 390 x 844 without network: twelve classes, nothing lost on reload."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import TYPE_CHECKING

import pytest

from tests.alone import Desk, run_alone
from tests.test_offline import _phone, _ready
from tests.test_walk import browser

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

__all__ = ["browser"]

PREPARE = """
import sys
from tests.alone import station
client = station(sys.argv[1])
from tests.desk.test_bench import stored_lot, take_sample
print(take_sample(client, stored_lot(client)))
"""
TOLD = """
import json, sys
from tests.alone import station
station(sys.argv[1])
from drydown.books.bench.sheets import sheet_for
from drydown.books.models import BenchSheet
from drydown.books.copies.verify import verify
from drydown.quality.grade import grade_sheet
from drydown.quality.scheme import scheme
found = verify(anew=True)
assert found.good, found.problems
sheet = BenchSheet.objects.get()
graded = grade_sheet(sheet_for(sheet.sample_no, "sni-2008"), scheme("sni-2008"))
noted_by = sheet.entry.facts["noted_by"]
print(json.dumps({"told": sheet.told, "total": float(graded.total), "noted_by": noted_by}))
"""
COUNTS = {
    "black": 3, "part_black": 4, "broken": 17, "brown": 6, "in_parchment": 2, "immature": 9, "one_hole": 11,
    "holes": 3, "spotted": 4, "husk_small": 2, "stone_small": 1, "pod": 1,
}  # fmt: skip


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Desk]:
    """A desk with one sample of a hulled lot."""
    folder = tmp_path_factory.mktemp("count")
    run_alone(PREPARE, str(folder))
    made = Desk(folder)
    made.start()
    yield made
    made.kill()


class Finger:
    """Counts what a hand does."""

    def __init__(self, page: Page) -> None:
        self.page, self.taps = page, 0

    def tap(self, where: str) -> None:
        """One tap."""
        self.taps += 1
        self.page.locator(where).click()


def _count(finger: Finger, code: str, pieces: int) -> None:
    for _ in range(pieces):
        finger.tap(f".key[data-code={code}]")


def test_a_count_of_twelve_classes_without_network(browser: Browser, desk: Desk) -> None:
    page = _phone(browser, desk, "bench phone")
    page.goto(f"{desk.url}/field/count/")
    _ready(page)
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    page.reload()
    _ready(page)
    page.context.set_offline(True)
    page.reload()  # from the phone alone
    _ready(page)
    finger = Finger(page)
    page.select_option("#sample", index=1)
    page.select_option("#scheme", "sni-2008")
    page.fill("#mass", "300")
    finger.taps += 3
    codes = list(COUNTS)
    for i, code in enumerate(codes):
        if i in {4, 9}:
            page.reload()  # an empty battery, a tab that was closed
            _ready(page)
        _count(finger, code, COUNTS[code])
    finger.tap(".key[data-code=pod]")  # one too many,
    finger.tap("#back")  # and taken back
    assert page.locator("#sum").inner_text() == "17.2 full defects, 63 pieces"
    for code in codes:
        assert page.locator(f".key[data-code={code}] .big").inner_text() == str(COUNTS[code])
    width = page.evaluate("document.documentElement.scrollWidth")
    assert width <= 390
    sizes = page.evaluate(
        "[...document.querySelectorAll('.key, .step, #back, #done')]"
        ".map(b => b.getBoundingClientRect().height)"
    )
    assert min(sizes) >= 48
    finger.tap("#done")
    page.locator("#waiting", has_text="1 waiting").wait_for()
    pieces = sum(COUNTS.values())
    assert finger.taps - pieces < 60, finger.taps
    assert finger.taps - pieces == 6  # three to set up, one mistake and its undoing, one to finish
    assert page.evaluate("Outbox.fact('count-draft owner')") is None
    assert page.evaluate("localStorage.length") == 0
    page.context.set_offline(False)
    page.reload()
    _ready(page)
    _wait_sent(page)
    found = json.loads(run_alone(TOLD, str(desk.folder)).splitlines()[-1])
    kept = {c: n for c, n in found["told"]["counts"].items() if n}
    assert kept == COUNTS
    assert found["told"]["sample_g"] == 300
    assert found["total"] == pytest.approx(17.2)  # 3+2+3.4+1.5+1+1.8+1.1+.6+.4+.4+1+1 by its table
    assert found["noted_by"] == "owner"
    page.context.close()


def _wait_sent(page: Page) -> None:
    for _ in range(150):
        if page.evaluate("Outbox.count()") == 0:
            return
        page.wait_for_timeout(100)
    raise AssertionError("the count was not sent")


def test_ten_at_once_and_nothing_found(browser: Browser, desk: Desk) -> None:
    """A heap of broken beans goes by tens; a clean sample must be ticked, an empty count is refused."""
    page = _phone(browser, desk, "second bench phone")
    page.goto(f"{desk.url}/field/count/")
    _ready(page)
    page.route("**/api/field/items", lambda route: route.abort())
    page.click("#what")
    page.select_option("#sample", index=1)
    page.select_option("#scheme", "washed-arabica-2018")
    page.click("#done")
    page.get_by_text("Nothing was counted").wait_for()
    page.check("#clean")
    page.click("#done")
    page.get_by_text("Write the mass").wait_for()
    page.click(".step[data-step='10']")
    page.click(".key[data-code=broken]")
    assert not page.is_checked("#clean")
    page.click(".key[data-code=broken]")  # after a ten the next tap is one again
    page.click(".step[data-step='10']")
    page.click(".key[data-code=broken]")
    page.select_option("#scheme", "sni-2008")  # another scheme has a tally of its own, and this one stays
    assert page.locator("#sum").inner_text() == "0 full defects, 0 pieces"
    page.select_option("#scheme", "washed-arabica-2018")
    assert page.locator(".key[data-code=broken] .big").inner_text() == "21"
    for wrong, says in (
        ("1.350", "Write the mass"),
        ("50", "counts a sample of 350"),
        ("5000", "More was counted"),
    ):
        page.fill("#mass", wrong)
        page.click("#done")
        page.get_by_text(says).first.wait_for()
    page.fill("#mass", "350")
    page.check("#clean")
    page.click("#done")
    page.get_by_text("no defects is ticked").wait_for()
    page.uncheck("#clean")
    page.click("#done")
    page.locator("#waiting", has_text="1 waiting").wait_for()
    assert page.evaluate("Outbox.all().then(items => items[0].body.told.counts.broken)") == 21
    page.context.close()
