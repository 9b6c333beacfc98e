"""Docs say what the code does: generated pages, links, settings, JSON shapes, README's promises."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from tools.make_docs import cautions, commands, nomenclature

ROOT = Path(__file__).resolve().parent.parent
PAGES = [ROOT / "README.md", ROOT / "CONTRIBUTING.md", *sorted((ROOT / "docs").glob("*.md"))]


def test_generated_pages_are_current(data_folder: Path) -> None:  # the steps of lots need the books set up
    assert (ROOT / "docs/commands.md").read_text(encoding="utf-8") == commands()
    assert (ROOT / "docs/nomenclature.md").read_text(encoding="utf-8") == nomenclature()
    assert (ROOT / "docs/cautions.md").read_text(encoding="utf-8") == cautions()


@pytest.mark.parametrize("page", PAGES, ids=[p.name for p in PAGES])
def test_links_lead_somewhere(page: Path) -> None:
    for target in re.findall(r"\]\(([^)#]+)\)", page.read_text(encoding="utf-8")):
        assert (page.parent / target).exists(), f"{page.name} links to {target}"


def test_every_page_is_in_the_index() -> None:
    index = (ROOT / "docs/index.md").read_text(encoding="utf-8")
    for page in (ROOT / "docs").glob("*.md"):
        assert page.name == "index.md" or f"({page.name})" in index


def test_every_setting_is_documented() -> None:
    settings = (ROOT / "src/drydown/desk/settings.py").read_text(encoding="utf-8")
    page = (ROOT / "docs/architecture.md").read_text(encoding="utf-8")
    for name in set(re.findall(r'"(DRYDOWN_[A-Z]+)"', settings)):
        assert f"`{name}`" in page


def test_every_json_shape_is_documented() -> None:
    page = (ROOT / "docs/json.md").read_text(encoding="utf-8")
    for file in (ROOT / "src").rglob("*.py"):
        for shape in re.findall(r'"(drydown\.[a-z]+/\d+)"', file.read_text(encoding="utf-8")):
            assert f"`{shape}`" in page


def test_no_promise_of_safety() -> None:
    for file in [*PAGES, *(ROOT / "src").rglob("*.toml"), *(ROOT / "src").rglob("*.html")]:
        words = file.read_text(encoding="utf-8").lower()
        assert not re.search(r"\b(is|are|be) safe\b|\bsafe to\b", words), file.name
