"""The real thing: start the demo's server, walk gate, lot, dry date in headless Chromium."""

from __future__ import annotations

import os
import re
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

SIZES = {"phone": (390, 844), "desk": (1280, 800), "small": (320, 640)}
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--no-first-run"]


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory, filled_demo: Path) -> Iterator[str]:
    """A demo served on a free port, as `make run` starts it."""
    data, port = tmp_path_factory.mktemp("demo") / "walked", _free_port()
    shutil.copytree(filled_demo, data)
    command = [str(Path(sys.executable).parent / "drydown"), "demo", "--data", str(data), "--port", str(port)]
    env = {k: v for k, v in os.environ.items() if not k.startswith(("DRYDOWN", "DJANGO"))}
    env["DRYDOWN_SOLVE"] = "1"
    env["DRYDOWN_HARVESTS"], env["DRYDOWN_DESIGNS"] = "5", "4"
    env["DRYDOWN_FUTURES"] = "40"  # what is walked here is the pages
    server = subprocess.Popen(command, env=env, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
    url = f"http://127.0.0.1:{port}"
    try:
        _wait(url, server)
        yield url
    finally:
        server.terminate()
        server.wait(20)


def _wait(url: str, server: subprocess.Popen[str]) -> None:
    deadline = time.monotonic() + 240
    while time.monotonic() < deadline:
        assert server.poll() is None, server.stdout.read() if server.stdout else ""
        try:
            with urllib.request.urlopen(f"{url}/alive/", timeout=2) as answer:
                if answer.read() == b"alive":
                    return
        except OSError:
            time.sleep(0.2)
    pytest.fail("the demo did not answer within four minutes")


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """Debian's Chromium, driven by Playwright."""
    from playwright.sync_api import sync_playwright

    path = shutil.which("chromium")
    assert path, "Chromium is missing: run `make test`, which installs it"
    with sync_playwright() as play:
        made = play.chromium.launch(executable_path=path, args=FLAGS)
        yield made
        made.close()


def _page(browser: Browser, size: str, **more: Any) -> Page:
    width, height = SIZES[size]
    page = browser.new_context(viewport={"width": width, "height": height}, **more).new_page()
    page.set_default_timeout(20_000)
    return page


def _weigh(page: Page, address: str, name: str, route: str, kilograms: str) -> str:
    """Weigh in a new grower's fruit; returns the lot's code."""
    page.goto(f"{address}/gate/")
    page.fill("#id_grower", name)
    page.locator("summary", has_text="New grower").click()
    page.check("#id_new_grower")
    page.locator("#id_species").get_by_text("arabica").click()
    page.locator("#id_route").get_by_text(route.replace("_", " "), exact=True).click()
    page.fill("#id_gross", kilograms)
    page.locator("summary", has_text="Empty weight").click()
    page.fill("#id_tare", "1,5")
    page.locator("#keep", has_text=re.compile("Keep 150 kg")).click()  # the button says what it keeps
    page.wait_for_url("**/gate/?saved=*")
    page.get_by_role("link", name="Slip").first.click()
    return page.locator("dl a").inner_text()


@pytest.mark.parametrize("size", ["phone", "desk"])
def test_gate_to_dry_date(browser: Browser, address: str, size: str) -> None:
    page = _page(browser, size)
    code = _weigh(page, address, f"Kesa Walker {size}", "natural", "151.5")
    assert "150 kg" in page.content()
    page.get_by_role("link", name=code).click()
    page.get_by_role("button", name="Float: take the floaters off").click()
    page.get_by_text("Recorded: floated").wait_for()
    page.select_option("#id_spread_bed", "Old patio")
    page.get_by_role("button", name="Spread to dry").click()
    page.get_by_role("heading", name="Dry on").wait_for()
    page.wait_for_load_state("load")
    drawn = page.locator("svg.curve:visible")
    assert drawn.count() == 1  # one of the two, by the width of the screen
    assert "Moisture falls from" in (drawn.get_attribute("aria-label") or "")
    assert page.evaluate("document.querySelector('.curve .mid').getTotalLength() > 100")
    page.get_by_text("Working of every figure").click()
    page.get_by_text("show the working").first.click()
    page.get_by_text("Weakest input").first.wait_for()
    page.goto(f"{address}/yard/")
    assert code in page.content()
    page.context.close()


ADVICE = (
    "/advice/?crop_kg=900&species=arabica&begins=2026-10-01&weeks=6&people=2&pulper=0&beds=0"
    "&water_l_day=300&room_m2=100&money=2000000"
)


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize(
    "path",
    ["/day/", "/day/ahead/", "/round/", "/room/?kg=300&species=arabica&route=washed&day=1", "/air/",
     "/week/?go=1", "/week/before/", "/season/", "/build/",
     ADVICE,
     "/routes/?species=arabica&kg=500&day=2026-06-10&place=Old+patio",
     "/gate/", "/yard/", "/station/", "/station/?page=all", "/station/?page=climate",
     "/yard/?show=stored", "lot", "/growers/", "/growers/101/", "/money/",
     "/journal/", "/journal/40/", "/people/", "/devices/", "/field/", "/carry/", "/me/", "/more/",
     "/gate/slip/1/"],
)  # fmt: skip
def test_no_page_is_wider_than_the_screen_and_axe_finds_nothing(
    browser: Browser, address: str, size: str, path: str
) -> None:
    # axe-core 4, as packaged; also every target at least 44 px high on the phone.
    from axe_playwright_python.sync_playwright import Axe

    page = _page(browser, size)
    if path == "lot":
        page.goto(f"{address}/yard/")
        path = page.locator(".yardlist tbody a").first.get_attribute("href") or ""
    page.goto(address + path, timeout=150_000)  # the week's first plan of a day takes up to a minute
    assert page.evaluate("document.documentElement.scrollWidth") <= SIZES[size][0]
    found = Axe().run(page).response["violations"]
    serious = [(v["id"], v["nodes"][0]["html"]) for v in found if v["impact"] in {"serious", "critical"}]
    assert serious == []
    if size == "phone":
        short = page.eval_on_selector_all(
            "button:not(.off), input:not([type=checkbox]):not([type=radio]):not([type=hidden]), .pick span, "
            "select, summary, nav a, .gone-to a, .yardlist tr, a.button",
            "all => all.filter(e => e.offsetParent && e.getBoundingClientRect().height < 47)"
            ".map(e => e.outerHTML)",
        )
        assert short == []
    page.context.close()


def _reckoned(page: Page, address: str) -> None:
    """The day with every lot reckoned; its own page asks again until then."""
    page.goto(f"{address}/day/")
    for _ in range(60):
        if not page.get_by_text("being reckoned").count():
            return
        page.wait_for_timeout(1000)
    pytest.fail("the day was not reckoned within a minute")


def test_a_thumb_walks_the_day(browser: Browser, address: str) -> None:
    """Six lots read, all beds covered, a line put off: fewer than twenty taps; the day in two screens."""
    page, taps = _page(browser, "phone", has_touch=True), 0
    _reckoned(page, address)
    height = page.evaluate("document.documentElement.scrollHeight")
    assert height <= 2 * SIZES["phone"][1], height

    def tap(spot: Any) -> None:
        nonlocal taps
        taps += 1
        spot.tap()

    tap(page.get_by_role("link", name="Walk the beds"))
    tap(page.get_by_role("link", name="All that dry"))
    fields = page.locator(".walkplace input")
    fields.nth(5).wait_for()
    before = [fields.nth(n).get_attribute("name") for n in range(6)]
    for n in range(6):
        tap(fields.nth(n))
        page.keyboard.type("27")
    tap(page.get_by_role("button", name="Record the readings"))
    page.get_by_text("Recorded: 6 readings").wait_for()
    assert len(set(before)) == 6
    tap(page.get_by_role("link", name="Walk the beds"))
    tap(page.locator(".bedacts tr", has_text="All places").get_by_role("button", name="Cover", exact=True))
    page.get_by_text("Recorded: covered").wait_for()
    tap(page.locator("nav").get_by_role("link", name="Day"))
    tap(page.locator(".todo summary", has_text="Put off").first)
    tap(page.locator(".todo .late[open] button").last)
    page.get_by_text("Put off until").wait_for()
    tap(page.get_by_text("Done today"))
    page.get_by_text("Covered", exact=False).first.wait_for()
    assert taps < 20, taps
    page.context.close()


def test_gate_by_keyboard_alone(browser: Browser, address: str) -> None:
    page = _page(browser, "desk")
    page.goto(f"{address}/gate/")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    for _ in range(40):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.id") == "id_grower":
            break
    page.keyboard.type("101")
    _tab_to(page, "id_species_0")
    page.keyboard.press("Space")
    _tab_to(page, "id_route_0")
    page.keyboard.press("Space")
    _tab_to(page, "id_gross")
    page.keyboard.type("60,5")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")  # opens the fold with the empty weight
    _tab_to(page, "id_tare")
    page.keyboard.type("0,5")
    page.keyboard.press("Enter")
    page.wait_for_url("**/gate/?saved=*")
    page.wait_for_function("document.activeElement.id === 'id_grower'")  # the next grower
    assert "60 kg" in page.content()
    page.context.close()


def _tab_to(page: Page, name: str) -> None:
    for _ in range(12):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.id") == name:
            style = page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
            assert style != "none", f"{name} shows no focus"
            return
    pytest.fail(f"{name} cannot be reached by keyboard")


def test_gate_with_scripts_off(browser: Browser, address: str) -> None:
    page = _page(browser, "phone", java_script_enabled=False)
    page.goto(f"{address}/gate/")
    page.fill("#id_grower", "101")
    page.locator("#id_species").get_by_text("robusta").click()
    page.locator("#id_route").get_by_text("natural", exact=True).click()
    page.fill("#id_gross", "55")
    page.locator("#id_container").select_option(index=1)
    page.locator("button[name=more]").click()  # sends the form, keeps nothing
    assert page.input_value("#id_count") == "1"
    assert page.input_value("#id_gross") == "55"
    assert page.is_checked("#id_species_1")
    page.locator("summary", has_text="Empty weight").click()
    page.fill("#id_count", "")
    page.fill("#id_tare", "1")
    page.locator("#keep").click()
    assert "54 kg" in page.content()
    page.context.close()


def test_the_echo_answers_and_no_script_is_refused(browser: Browser, address: str) -> None:
    page = _page(browser, "phone")
    complaints: list[str] = []
    page.on("console", lambda message: complaints.append(message.text) if message.type == "error" else None)
    page.goto(f"{address}/gate/")
    page.fill("#id_gross", "41,25")
    page.locator("summary", has_text="Empty weight").click()
    page.fill("#id_tare", "1")
    page.locator("#id_grower").focus()
    page.get_by_text("Net: 40 kilograms and 250 grams").wait_for()
    assert complaints == []
    page.context.close()
