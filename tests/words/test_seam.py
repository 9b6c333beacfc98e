"""The seam for languages: every sentence goes through the translator, and none slips past.

The pseudo-language marks each template it is asked for. What a page shows outside the marks, and is
neither data nor a figure, has slipped past.
"""

from __future__ import annotations

import ast
import html
import pickle
import re
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

import drydown
from drydown.errors import InputError
from drydown.words import Said, say, speak
from tests.desk.forms import step, weigh

if TYPE_CHECKING:
    from django.test import Client

PACKAGE = Path(drydown.__file__).parent
SENTENCE = re.compile(r"[A-Za-z]{2,}[,;:]? [A-Za-z]+")
CALLS = ("Error", "Flag", "Finding", "RuleCheck", "Question", "append")


# ---- the sentence itself ----


@pytest.fixture
def pseudo() -> Iterator[None]:
    """A language in which every template stands in brackets."""
    speak(lambda text: f"[{text}]" if text else "")
    yield
    speak(None)
    from django.apps import apps

    if apps.ready:
        apps.get_app_config("desk").ready()


def test_a_sentence_is_plain_english_and_its_template(pseudo: None) -> None:
    said = say("{kg:.1f} kg of {what} is too much.", kg=2.25, what="fruit")
    assert said == "2.2 kg of fruit is too much."
    assert (said.template, said.values["kg"]) == ("{kg:.1f} kg of {what} is too much.", 2.25)
    assert str(said) == f"{said}" == "[2.2 kg of fruit is too much.]"
    assert "fruit is" in said
    again = pickle.loads(pickle.dumps(said))
    assert (again, again.template, str(again)) == (said, said.template, str(said))


def test_a_sentence_inside_another_is_said_in_the_same_language(pseudo: None) -> None:
    outer = say("No forecast: {why}", why=say("the lot holds {kg:g} kg", kg=3))
    assert outer == "No forecast: the lot holds 3 kg"
    assert str(outer) == "[No forecast: [the lot holds 3 kg]]"


def test_without_values_braces_are_plain() -> None:
    assert say("a {brace} stays") == "a {brace} stays"
    with pytest.raises(KeyError):
        say("{gap} without a value", other=1)


def test_an_error_says_each_of_its_parts(pseudo: None) -> None:
    error = InputError(say("{n} is too many.", n=7), "bags", "Take fewer.")
    assert str(error) == "[bags]: [7 is too many.] [Take fewer.]"
    assert error.args == ("bags: 7 is too many. Take fewer.",)  # what is logged stays English
    assert str(InputError("is empty.")) == "[is empty.]"


def test_a_language_may_order_its_gaps_otherwise() -> None:
    speak(lambda text: {"{a} before {b}": "erst {b}, dann {a}"}.get(text, text))
    try:
        assert str(say("{a} before {b}", a="eins", b="zwei")) == "erst zwei, dann eins"
    finally:
        speak(None)


# ---- no sentence is put together from pieces in the code ----


def _pieced(path: Path) -> Iterator[str]:
    """f-strings that are sentences, handed to an error, a finding, a flag or a list of notes."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    for call in (n for n in ast.walk(tree) if isinstance(n, ast.Call)):
        name = getattr(call.func, "attr", getattr(call.func, "id", ""))
        if not name.endswith(CALLS):
            continue
        for arg in (*call.args, *(k.value for k in call.keywords)):
            if isinstance(arg, ast.JoinedStr):
                text = "".join(str(c.value) for c in arg.values if isinstance(c, ast.Constant))
                if SENTENCE.search(text):
                    yield f"{path.relative_to(PACKAGE)}:{arg.lineno}: {ast.unparse(arg)[:90]}"


def test_no_sentence_is_pieced_together() -> None:
    files = [p for p in PACKAGE.rglob("*.py") if "migrations" not in p.parts]
    found = [line for path in files for line in _pieced(path)]
    assert not found, "\n".join(found)


def test_such_a_sentence_would_be_found(tmp_path: Path) -> None:
    file = PACKAGE / "way" / "float.py"
    code = 'raise InputError(f"{x} is far too much.")'
    tree = ast.parse(code)
    assert any(isinstance(n, ast.JoinedStr) for n in ast.walk(tree))
    copy = PACKAGE / "way" / "_trial_of_a_test.py"
    try:
        copy.write_text(code, encoding="utf-8")
        assert list(_pieced(copy))
    finally:
        copy.unlink()
    assert not list(_pieced(file))


# ---- pages in the pseudo-language ----

UNITS = "kg|g|L|C|h|m2|% wb|days?|EUR|XTS|USD|PDF|CSV|XLSX|JSON|pH|P10|P50|P90|Drydown|EPW|TOML|QR"
DATA = re.compile(rf"\d|^[\W_]*$|^(?:{UNITS})$")
# What is data of the station, its people and its crop in these tests, or a name of the trade's own.
NAMES = re.compile(
    r"Ama Tessaro|Kell Ridge|Film house|Upper|Lower|Old|arabica|robusta|liberica|washed|natural|"
    r"pulped natural|Tank|[Bb]eds?|store|"
    r"Owner|owner|patio|tin|crate|Codex|CXC|ITC|FAO|ICO|ISO|NIOSH|CFR|Invented|Station|station|pulper|Puls|"
    r"Members fund|Huller|Main|common practice|published|second-hand|from memory|own estimate|derived|stated"
)


@pytest.fixture
def marked(monkeypatch: pytest.MonkeyPatch, pseudo: None) -> None:
    """Django's translations marked the same way, in pages, forms and lazy labels."""
    from django.utils.translation import trans_real

    def mark(text: str) -> str:
        return f"[{text}]" if text and not text.startswith("[") else text

    monkeypatch.setattr(trans_real, "gettext", mark)
    monkeypatch.setattr(trans_real, "pgettext", lambda _context, text: mark(text))
    monkeypatch.setattr(trans_real, "ngettext", lambda one, many, number: mark(one if number == 1 else many))
    from django.utils import translation

    bound: Any = translation
    for name in ("gettext", "pgettext", "ngettext"):
        monkeypatch.setattr(bound._trans, name, getattr(trans_real, name), raising=False)
    speak(mark)


def shown(page: str) -> list[str]:
    """Texts between the tags of a page."""
    body = re.sub(r"<(script|style|svg|datalist)\b.*?</\1>", " ", page, flags=re.S)
    body = re.sub(r'<ul class="sources">.*?</ul>', " ", body, flags=re.S)  # citations are data
    body = re.sub(r"<small>\[.*?</small>", " ", body, flags=re.S)
    body = re.sub(r"</?(small|strong|em|a|code|time|span|b)\b[^>]*>", "", body)
    return [html.unescape(t).strip() for t in re.split(r"<[^>]+>", body) if t.strip()]


def slipped(text: str) -> str:
    """What of a text is neither marked, nor data, nor a figure."""
    before = None
    while before != text:
        before, text = text, re.sub(r"\[[^\[\]]*\]", " ", text)
    left = NAMES.sub(" ", CITED.sub(" ", text))
    words = [w for w in re.findall(r"[A-Za-z][A-Za-z'-]{2,}", left) if not DATA.search(w)]
    return " ".join(words) if len(words) >= 3 else ""


# A citation behind a sentence, and the lists of columns of a file, are data.
CITED = re.compile(r"\([^()]*(?:\([^()]*\)[^()]*)*\)\s*$|^\w+: (?:\w+\?? ?)+$")
PAGES = (
    "/gate/",
    "/yard/",
    "/growers/",
    "/journal/",
    "/people/",
    "/devices/",
    "/carry/",
    "/more/",
    "/money/",
)


def test_a_sentence_that_slips_past_would_be_found() -> None:
    assert slipped("Write the weight of the lot here") != ""
    assert slipped("[Write the weight] 12.5 kg of [the lot]") == ""


@pytest.mark.parametrize("path", PAGES)
def test_no_sentence_of_a_page_slips_past(client: Client, marked: None, path: str) -> None:
    weigh(client)
    found = [(slipped(t), t) for t in shown(client.get(path).content.decode())]
    assert not [t for left, t in found if left], [t for left, t in found if left][:12]


def test_a_lot_s_refusals_findings_and_flags_are_marked(client: Client, marked: None) -> None:
    from drydown.books.models import Lot

    weigh(client)
    code = Lot.objects.get().code
    refused = client.post(f"/lot/{code}/step/", {"kind": "wash", "key": "x", "at": ""}, follow=True)
    assert "[" in refused.content.decode()
    answer = step(client, code, "float", floaters_kg="95")
    texts = shown(answer.content.decode())
    refusal = next(t for t in texts if "can come of" in t)
    assert refusal.startswith("[")
    step(client, code, "float", floaters_kg="30")
    page = client.get(f"/lot/{code}/").content.decode()
    finding = next(t for t in shown(page) if "floated, more than 20" in t)
    assert "[" in finding
    left: list[Any] = [t for t in shown(page) if slipped(t)]
    assert not left, left[:12]


def test_said_is_a_str_for_whoever_does_not_care() -> None:
    said = say("{a} and {b}", a=1, b=2)
    assert isinstance(said, str)
    assert isinstance(said, Said)
    assert said.upper() == "1 AND 2"
    assert f"{said:>9}" == "  1 and 2"
