"""Names, words and sources: one word for one thing, every source can be followed, old names still open."""

from __future__ import annotations

import itertools
import re
import shutil
import socket
import subprocess
import sys
import threading
import tomllib
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from typing import Any

import pytest
from tools.make_docs import page_words
from typer.testing import CliRunner

ROOT = Path(__file__).resolve().parents[2]
SRC = ROOT / "src/drydown"
PAGES = sorted((SRC / "desk/templates").rglob("*.html"))


# ---- words on the pages ----


def _shown(text: str) -> str:
    """What a template shows: without tags, comments, addresses and names of variables."""
    said = re.findall(r"""{%\s*translate\s+["'](.*?)["'](?:\s+as\s+\w+)?\s*%}""", text)
    plain = re.sub(r"<script.*?</script>|<[^>]+>|{%.*?%}|{{.*?}}|{#.*?#}", " ", text, flags=re.S)
    return " ".join([*said, plain]).casefold()


@pytest.mark.parametrize("row", page_words(), ids=lambda row: row["say"])
def test_pages_say_one_word_for_one_thing(row: dict[str, Any]) -> None:
    for page in PAGES:
        for word in row["never"]:
            found = re.search(rf"\b{re.escape(word.casefold())}\b", _shown(page.read_text(encoding="utf-8")))
            assert not found, f"{page.name} says '{word}', not '{row['say']}'"


def test_a_page_with_another_word_would_be_found() -> None:
    assert re.search(r"\bsign in\b", _shown('<p>{% translate "Sign in" %}</p>'))


def test_steps_are_verbs(books: Path) -> None:
    from drydown.way.order import steps

    verbs = {"float", "pulp", "put", "test", "wash", "spread", "rake", "cover", "uncover", "read", "move",
             "bag",
             "shift", "weigh", "hull", "sort", "roast", "take", "sell"}  # fmt: skip
    for kind, row in steps().items():
        assert row.words.split()[0].rstrip(":").casefold() in verbs, kind


# ---- sources ----

WEAK = (
    "trade page",
    "extension page",
    "journal paper",
    "haccp text",
    "a leaflet",
    "hobby page",
    "a web page",
)
NOTES = re.compile(r"\((?:fair|sure|read|weak)\)|\bnot at hand\b|\bread \(abstract\)", re.I)


def _sources(node: Any) -> list[tuple[str, str]]:
    """Every source with the status that stands beside it."""
    if isinstance(node, dict):
        own = [
            (v, str(node.get("status", ""))) for k, v in node.items() if k == "source" and isinstance(v, str)
        ]
        return own + [s for v in node.values() for s in _sources(v)]
    if isinstance(node, list):
        return [s for v in node for s in _sources(v)]
    return []


@pytest.mark.parametrize("file", sorted(SRC.rglob("*.toml")), ids=lambda f: f.name)
def test_every_source_can_be_followed(file: Path) -> None:
    """An author or a publisher and a year or a title, or a plain "no source" or "from memory"."""
    for text, status in _sources(tomllib.loads(file.read_text(encoding="utf-8"))):
        low = text.casefold()
        assert not any(w in low for w in WEAK), text
        assert not NOTES.search(text), text
        told = status in {
            "from memory",
            "own estimate",
            "common practice",
            "derived",
        }  # said beside the figure
        plain = (
            told
            or any(
                w in low
                for w in (
                    "no source",
                    "from memory",
                    "own ",
                    "as told by",
                    "(definition)",
                    "the meter as it reads",
                )
            )
            or low.startswith("as ")
        )
        named = re.search(r"\b(1[89]|20)\d\d\b", text) or len(re.findall(r"\b[A-Z][A-Za-z]+", text)) >= 2
        assert plain or named, f"{file.name}: '{text}' ({status}) cannot be looked up"


def test_working_notes_do_not_reach_users() -> None:
    for file in [*SRC.rglob("*.toml"), *PAGES, *(ROOT / "docs").glob("*.md"), ROOT / "README.md"]:
        text = file.read_text(encoding="utf-8")
        assert not NOTES.search(text), (file.name, NOTES.search(text))
        low = text.casefold()
        for words in WEAK:
            assert words not in low, (file.name, words)


# ---- schemes: the trade's names, the old ones still open ----


@pytest.mark.parametrize(
    ("old", "new"),
    [("us-2018", "washed-arabica-2018"), ("us-older", "arabica-1990s"), ("arabica-c", "futures-arabica"),
     ("robusta-409", "futures-robusta")],
)  # fmt: skip
def test_an_old_scheme_name_opens_the_same_scheme(old: str, new: str, tmp_path: Path) -> None:
    from drydown.cli import app
    from drydown.quality.scheme import scheme, scheme_names

    assert scheme(old).name == new
    assert old not in scheme_names()
    sheet = tmp_path / "sheet.csv"
    sheet.write_text("sample_g,350\n", encoding="utf-8")
    for name in (old, new):
        found = CliRunner().invoke(app, ["grade", str(sheet), "--scheme", name])
        assert "no such" not in found.output.casefold()
        assert "is not known" not in found.output


@pytest.mark.parametrize(
    ("name", "code", "now", "full"),
    # Equivalents as the trade prints them (ITC Coffee Guide, 4th edition 2021, quality chapter).
    [("us-2018", "fungus", "mouldy", 1), ("us-2018", "full_black", "black", 1),
     ("us-2018", "cherry", "dried_cherry", 1),
     ("us-2018", "severe_insect", "insect_severe", 5), ("us-2018", "floater", "white_light", 5),
     ("us-2018", "part_black", "partly_black", 3), ("us-2018", "broken", "broken", 5)],
)  # fmt: skip
def test_old_defect_codes_are_read_as_the_new(name: str, code: str, now: str, full: int) -> None:
    from fractions import Fraction

    from drydown.quality.grade import grade_sheet
    from drydown.quality.sample import Sheet
    from drydown.quality.scheme import scheme

    rules = scheme(name)
    assert rules.code_now(code) == now
    graded = grade_sheet(Sheet(sample_g=350, species="arabica", counts={now: full}), rules)
    assert graded.total == Fraction(1)


def test_no_wall_chart_s_wording_is_left() -> None:
    for file in (SRC / "quality/schemes").glob("*.toml"):
        text = file.read_text(encoding="utf-8").casefold()
        for words in ("category 1", "category 2", "category one", "specialty grade", "all cups clean"):
            assert words not in text, (file.name, words)


# ---- printed words ----

SMALL = {
    "you",
    "a",
    "le",
    "la",
    "do",
    "à",
    "vous",
    "usted",
    "você",
    "se",
    "ya",
    "wa",
    "anda",
    "from",
    "to",
    "owed",
}
MONEY = ("pays", "payment", "advance", "second", "adjust", "price", "worth", "balance", "forward", "reverse")


def _words() -> dict[str, dict[str, str]]:
    return tomllib.loads((SRC / "desk/prints/words.toml").read_text(encoding="utf-8"))


@pytest.mark.parametrize("language", ["en", "fr", "es", "pt", "sw", "id"])
def test_no_two_money_labels_share_a_word(language: str) -> None:
    rows = _words()[language]
    for one, two in itertools.combinations(MONEY, 2):
        a, b = (set(re.findall(r"\w+", rows[k].casefold())) - SMALL for k in (one, two))
        assert not a & b, (language, rows[one], rows[two])


@pytest.mark.parametrize("language", ["fr", "es", "pt", "sw", "id"])
def test_the_sample_report_is_whole_in_every_language(language: str) -> None:
    rows = _words()
    assert set(rows[language]) == set(rows["en"])
    same = {k for k in rows["en"] if rows[language][k] == rows["en"][k]}
    assert same <= {"lot", "date", "net", "adjust"}, same  # words the languages share


def test_a_slip_is_no_receipt_of_money() -> None:
    for language, rows in _words().items():
        said = rows["slip"].casefold()
        for word in ("receipt", "recibo", "reçu", "stakabadhi", "kwitansi", "tanda terima"):
            assert word not in said, (language, said)
        assert rows["no_money"]


# ---- commands: quick help, ports, version ----


def test_help_loads_neither_the_model_nor_the_desk() -> None:
    code = (
        "import sys\nfrom typer.testing import CliRunner\nfrom drydown.cli import app\n"
        "names = [c.name or c.callback.__name__ for c in app.registered_commands]\n"
        "for name in names:\n    CliRunner().invoke(app, [name.replace('_', '-'), '--help'])\n"
        "heavy = ('scipy', 'numba', 'django', 'pvlib', 'pandas')\n"
        "print(sorted(m for m in heavy if m in sys.modules))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60
    )
    assert done.stdout.strip().splitlines()[-1] == "[]"


def test_the_version_is_told() -> None:
    from importlib.metadata import version

    from drydown.cli import app

    found = CliRunner().invoke(app, ["--version"])
    assert found.exit_code == 0
    assert version("drydown") in found.output


class _Other(BaseHTTPRequestHandler):
    """Another program's page."""

    def do_GET(self) -> None:
        self.send_response(200)
        self.end_headers()
        self.wfile.write(b"something else")

    def log_message(self, *_all: object) -> None: ...


def test_a_port_of_another_program_is_stepped_over(tmp_path: Path, filled_demo: Path) -> None:
    shutil.copytree(filled_demo, tmp_path / "demo")
    server = HTTPServer(("127.0.0.1", 0), _Other)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    port = server.server_address[1]
    drydown = str(Path(sys.executable).parent / "drydown")
    call = [drydown, "demo", "--data", str(tmp_path / "demo"), "--port", str(port)]
    desk = subprocess.Popen(call, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
    said: list[str] = []
    try:
        assert desk.stdout
        for line in desk.stdout:
            said.append(line)
            if "http://" in line:
                break
        text = " ".join(" ".join(said).split())
        assert f"Port {port} is taken by another program" in text
        used = int(re.findall(r"http://[^:]+:(\d+)", text)[-1])
        assert used != port
        _answers(used)
        again = subprocess.run(call, capture_output=True, text=True, timeout=60, check=False)
        assert f":{used}" in again.stdout.replace(
            "\n", ""
        )  # this folder's desk runs already: told, and no second
        assert again.returncode == 0
    finally:
        desk.terminate()
        desk.wait(20)
        server.shutdown()


def _answers(port: int) -> None:
    import time

    end = time.monotonic() + 60
    while time.monotonic() < end:
        try:
            with socket.create_connection(("127.0.0.1", port), timeout=1):
                return
        except OSError:
            time.sleep(0.1)
    pytest.fail("the desk did not answer")
