"""Schemes against their published tables: both sides of every limit, and the traps."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from drydown.errors import InputError
from drydown.quality.grade import NO_GRADE, Verdict, grade_sheet
from drydown.quality.sample import Sheet, parse_sheet
from drydown.quality.scheme import read_scheme, scheme, scheme_names


def graded(name: str, counts: dict[str, int] | None = None, options: dict[str, str] | None = None,
           **more: Any) -> Verdict:  # fmt: skip
    """A sheet of the scheme's own sample mass, graded."""
    rules = scheme(name)
    sheet = Sheet(**({"sample_g": rules.sample_g or 300.0, "counts": counts or {}} | more))
    return grade_sheet(sheet, rules, options)


def test_sni_worked_case() -> None:
    # SNI 01-2907-2008: 5 black + 8 part black + 20 broken + 1 large stone = 5 + 4 + 4 + 5 = 18: grade 2.
    found = graded(
        "sni-2008", {"black": 5, "part_black": 8, "broken": 20, "stone_large": 1}, species="robusta"
    )
    assert found.total == 18
    assert found.words == "2"


@pytest.mark.parametrize(
    ("total", "robusta", "arabica"),
    # Class limits as printed: 1 to 11, 2 to 25, 3 to 44, 4a 60, 4b 80 (arabica: 4), 5 150, 6 225.
    [(11, "1", "1"), (12, "2", "2"), (25, "2", "2"), (26, "3", "3"), (44, "3", "3"), (45, "4a", "4"),
     (60, "4a", "4"), (61, "4b", "4"), (80, "4b", "4"), (81, "5", "5"), (150, "5", "5"), (151, "6", "6"),
     (225, "6", "6"), (226, "off grade", "off grade")],
)  # fmt: skip
def test_sni_limits(total: int, robusta: str, arabica: str) -> None:
    assert graded("sni-2008", {"black": total}, species="robusta").words == robusta
    assert graded("sni-2008", {"black": total}, species="arabica").words == arabica


def test_sni_fractions_fall_into_the_next_class_and_say_so() -> None:
    found = graded("sni-2008", {"black": 11, "part_black": 1}, species="robusta")
    assert found.total == Fraction(23, 2)
    assert found.words == "2"
    assert "The rule is ours" in found.scheme.rounding_note
    with pytest.raises(InputError, match="differs by species"):
        graded("sni-2008", {"black": 1})


@pytest.mark.parametrize(
    ("counts", "words"),
    # Order of 8 Sept 1966: total 120; black 5, cherries 5, broken 15, bored 15, all in full defects after
    # the equivalents (5 broken make one, 10 bored make one): 15 of broken are 75 pieces, of bored 150.
    [({"black": 5, "dry_damaged": 57}, "admitted"), ({"black": 5, "dry_damaged": 57, "immature": 5},
     "admitted"),
     ({"black": 5, "dry_damaged": 57, "immature": 10}, "not admitted"),
     ({"black": 5}, "admitted"), ({"black": 6}, "not admitted"), ({"black": 9}, "not admitted"),
     ({"broken": 75}, "admitted"), ({"broken": 80}, "not admitted"), ({"bored": 150}, "admitted"),
     ({"bored": 160}, "not admitted"), ({"broken": 16}, "admitted"), ({"bored": 31}, "admitted"),
     ({"cherry": 5}, "admitted"), ({"cherry": 6}, "not admitted"), ({"sour": 181}, "not admitted")],
)  # fmt: skip
def test_france(counts: dict[str, int], words: str) -> None:
    assert graded("france-1966", counts).words == words


def test_france_s_transition_is_an_edition_and_no_live_grade() -> None:
    # Transitional limits of the same order: total 180, black 8, bored 30 (full defects).
    then = {"edition": "transitional"}
    for counts, words in (
        ({"black": 8}, "admitted"), ({"black": 9}, "not admitted"), ({"bored": 300}, "admitted"),
        ({"bored": 310}, "not admitted"), ({"dry_damaged": 90}, "admitted"),
        ({"dry_damaged": 91}, "not admitted"),
    ):  # fmt: skip
        assert graded("france-1966", counts, then).words == words, counts
    assert {t.grade.name for t in graded("france-1966", {"black": 1}).tried} == {"admitted"}
    assert len(graded("france-1966", {"black": 1}).tried) == 1


def test_france_values() -> None:
    # As printed: 2 parchment beans, 5 immature, 10 bored and 3 small skins make one; a stick of 3 cm two.
    found = graded("france-1966", {"in_parchment": 2, "immature": 5, "bored": 10, "small_skin": 3,
                                   "large_stick": 1, "dry_damaged": 1})  # fmt: skip
    assert found.total == 1 + 1 + 1 + 1 + 2 + 2


@pytest.mark.parametrize(
    ("total", "kind", "points"),
    # Rows of the official table that were read: 86 is type 6 (-100), 12 type 3 (+50), 4 type 2 (+100).
    [(4, "type 2", "+100"), (5, "type 2-10", "+90"), (11, "type 2-45", "+55"), (12, "type 3", "+50"),
     (13, "type 3-5", "+45"), (14, "type 3-10", "+40"), (17, "type 3-15", "+35"), (49, "type 5-5", "-55"),
     (50, "type 5-10", "-60"), (85, "type 6", "-100"), (86, "type 6", "-100"), (87, "type 6-5", "-105"),
     (108, "type 6-15", "-115")],
)  # fmt: skip
def test_brazil_types(total: int, kind: str, points: str) -> None:
    found = graded("brazil-in8", {"black": total})
    assert found.words == kind
    assert found.best is not None
    assert points in found.best.grade.price_note


def test_brazil_equivalents_and_options() -> None:
    # Read: 3 shells make 1; a large stone 5. Sources differ on sour: 1 to 1, or 2 to 1.
    assert graded("brazil-in8", {"shell": 3}).total == 1
    assert graded("brazil-in8", {"shell": 2}).total == 0  # whole totals only
    assert graded("brazil-in8", {"stone_large": 1}).total == 5
    assert graded("brazil-in8", {"sour": 4}).total == 2
    assert graded("brazil-in8", {"sour": 4}, {"sour": "one is one"}).total == 4
    with pytest.raises(InputError, match="is not a choice of sour"):
        graded("brazil-in8", {"sour": 4}, {"sour": "maybe"})
    with pytest.raises(InputError, match="has no option"):
        graded("brazil-in8", {"sour": 4}, {"shells": "x"})


def test_two_standards_meet_at_86() -> None:
    # ICO Resolution 420's 86 defects of arabica are the Brazilian type 6.
    assert graded("brazil-in8", {"black": 86}).words == "type 6"
    inside = graded("ico-420", {"defect": 86}, species="arabica", moisture_percent=11.0)
    assert inside.words == "inside the targets"
    for more in ({"counts": {"defect": 87}}, {"moisture_percent": 12.6}, {"moisture_percent": 7.9}):
        base: dict[str, Any] = {"sample_g": 300, "counts": {"defect": 86}, "species": "arabica",
                                "moisture_percent": 12.5}  # fmt: skip
        assert grade_sheet(Sheet(**(base | more)), scheme("ico-420")).words == "outside the targets"
    robusta = graded("ico-420", {"defect": 150}, species="robusta", moisture_percent=12.5)
    assert robusta.words == "inside the targets"
    assert graded("ico-420", {"defect": 151}, species="robusta", moisture_percent=12.5).best is None


DRY: dict[str, Any] = {"moisture_percent": 11.0, "quakers": 0}


def test_editions_of_the_us_classification_disagree() -> None:
    # 2018: 350 g, no primary, five secondary. Older: 300 g, five in all, no primary.
    five = {"broken": 25}
    assert graded("us-2018", five, **DRY).words == "specialty"
    assert graded("us-2018", {"broken": 30}, **DRY).words == "not specialty"
    assert graded("us-2018", {"full_black": 1}, **DRY).words == "not specialty"
    assert graded("us-2018", {"severe_insect": 4}, **DRY).words == "specialty"  # only whole ones count
    assert graded("us-2018", {"severe_insect": 5}, **DRY).words == "not specialty"
    assert graded("us-2018", {"broken": 29, "shell": 4}, **DRY).total == 5  # 5.8 and 0.8, cut each
    assert graded("us-2018", five, moisture_percent=12.1, quakers=0).words == "not specialty"
    assert graded("us-2018", five, moisture_percent=11.0, quakers=1).words == "not specialty"
    assert graded("us-2018").scheme.sample_g == 350
    assert graded("us-older").scheme.sample_g == 300


@pytest.mark.parametrize(
    ("full", "words"),
    # Older edition: 9 to 23 exchange (if screens pass), 24 to 86 below standard, above off grade.
    [(5, "specialty"), (8, "premium"), (9, "exchange"), (23, "exchange"), (24, "below standard"),
     (86, "below standard"), (87, "off grade")],
)  # fmt: skip
def test_us_older_limits(full: int, words: str) -> None:
    screens = {"15": 200.0, "14": 90.0, "pan": 10.0}
    assert graded("us-older", {"broken": 5 * full}, screens_g=screens, **DRY).words == words


def test_exchange_fails_on_screens_alone() -> None:
    found = graded("us-older", {"broken": 50}, screens_g={"15": 140.0, "14": 150.0, "pan": 10.0}, **DRY)
    assert found.words == "below standard"
    exchange = next(t for t in found.tried if t.grade.name == "exchange")
    assert [m.words for m in exchange.failed] == ["on screen 15 and above, % m/m"]


def test_hawaii_counts_above_and_mass_below() -> None:
    # HAR 4-143-6: Extra Fancy 8, Fancy 12, No. 1 18 full imperfections; Select 5 %, Prime 15 %, No. 3 35 %.
    screens = {"19": 280.0, "18": 12.0, "16": 8.0}
    for n, words in ((8, "Extra Fancy"), (9, "Fancy"), (12, "Fancy"), (13, "No. 1"), (18, "No. 1")):
        assert graded("hawaii-4-143", {"full": n}, screens_g=screens, moisture_percent=11.0).words == words
    for grams, words in ((15.0, "Select"), (15.1, "Prime"), (45.0, "Prime"), (45.1, "No. 3"), (105.0,
     "No. 3"),
                         (105.1, "off grade")):  # fmt: skip
        found = graded("hawaii-4-143", {"full": 60}, masses_g={"defective": grams}, screens_g=screens,
                       moisture_percent=11.0)  # fmt: skip
        assert found.words == words, grams
    older = graded("hawaii-4-143", {"pinholes": 80}, {"edition": "until June 2017"})
    assert older.total == 8
    assert graded("hawaii-4-143", {"pinholes": 80}).total == 16


@pytest.mark.parametrize(
    ("masses", "words"),
    # PNS/BAFPS 01:2012: black 4/6/9/15 %, broken 3/5/7/10 %, foreign matter 1/1/1/2 %.
    [({"black": 12.0}, "grade 1"), ({"black": 12.1}, "grade 2"), ({"black": 18.0}, "grade 2"),
     ({"black": 27.0}, "grade 3"), ({"black": 45.0}, "grade 4"), ({"black": 45.1}, "below grade 4"),
     ({"foreign": 3.1}, "grade 4"), ({"foreign": 6.1}, "below grade 4"), ({"broken": 9.1}, "grade 2")],
)  # fmt: skip
def test_philippines(masses: dict[str, float], words: str) -> None:
    names = ("foreign", "fruit_parts", "broken", "insect", "black", "immature", "withered", "stinker")
    sheet = dict.fromkeys(names, 0.0) | masses
    assert graded("philippines-2012", masses_g=sheet, moisture_percent=11.0).words == words


@pytest.mark.parametrize(
    ("defects", "foreign", "on15", "on13", "words"),
    # Contract 409: premium 0.5/0.2, 90 over 15, 96 over 13; class 1 3.0/0.5 over 14 and 12; class 2
    # 5.0/1.0; class 3 7.5/1.0 over 13 and 12.
    [(1.5, 0.6, 270.0, 18.0, "premium"), (1.6, 0.6, 270.0, 18.0, "class 1"),
     (1.5, 0.7, 270.0, 18.0, "class 1"), (9.0, 1.5, 270.0, 18.0, "class 1"), (9.1, 1.5, 270.0, 18.0,
     "class 2"),
     (15.1, 3.0, 270.0, 18.0, "class 3"), (22.6, 3.0, 270.0, 18.0, "class 4"),
     (24.1, 3.0, 270.0, 18.0, "not deliverable"), (1.0, 0.3, 269.0, 19.0, "class 1")],
)  # fmt: skip
def test_exchange_robusta(defects: float, foreign: float, on15: float, on13: float, words: str) -> None:
    screens = {"15": on15, "14": 2.0, "13": on13 - 2.0, "12": 6.0, "pan": 300.0 - on15 - on13 - 6.0}
    found = graded("robusta-409", masses_g={"defect": defects, "foreign": foreign}, screens_g=screens)
    assert found.words == words


@pytest.mark.parametrize(
    ("name", "unit", "rows"),
    [("ethiopia", "defect", [(3, "grade 1"), (4, "grade 2"), (12, "grade 2"), (13, "grade 3"), (25,
     "grade 3"),
                             (26, "grade 4"), (45, "grade 4"), (46, "grade 5"), (90, "grade 5"), (91,
     "below grade 5")]),
     ("png", "defect", [(3, "AX"), (4, "A or X"), (6, "A or X"), (7, "PSC"), (12, "PSC"), (13, "Y1"),
     (21, "Y1"),
                        (22, "Y2"), (45, "Y2"), (46, "Y3 or T, by mass")])],
)  # fmt: skip
def test_ethiopia_and_papua(name: str, unit: str, rows: list[tuple[int, str]]) -> None:
    # Trade pages: Ethiopia 3/12/25/45/90 per 300 g; Papua New Guinea 10/20/40/70/150 per kg, so
    # 3/6/12/21/45 in 300 g.
    for n, words in rows:
        assert graded(name, {unit: n}).words == words, n


@pytest.mark.parametrize(
    ("screen", "share", "defects", "words"),
    [("18", 92.0, 7.0, "screen 18"), ("18", 91.9, 7.0, "screen 17"), ("18", 92.0, 7.1, "screen 15"),
     ("12", 85.0, 15.0, "screen 12"), ("12", 85.0, 15.1, "below screen 12"), ("15", 90.0, 12.0, "screen 15")],
)  # fmt: skip
def test_uganda(screen: str, share: float, defects: float, words: str) -> None:
    found = graded("uganda-robusta", masses_g={"defect": 3 * defects}, moisture_percent=12.5,
                   screens_g={screen: 3 * share, "pan": 300 - 3 * share})  # fmt: skip
    assert found.words == words


def test_arabica_c_and_india() -> None:
    screens = {"15": 150.0, "14": 135.0, "pan": 15.0}
    for n, words in ((15, "deliverable"), (16, "not deliverable")):
        assert graded("arabica-c", {"imperfection": n}, screens_g=screens).words == words
    coarse = {"15": 149.0, "14": 136.0, "pan": 15.0}
    assert graded("arabica-c", {"imperfection": 1}, screens_g=coarse).words == "not deliverable"
    sieves = {"17": 270.0, "15": 25.5, "pan": 4.5}
    assert graded("india-plantation", screens_g=sieves, moisture_percent=10.5).words == "Plantation A"
    flat = graded("india-plantation", masses_g={"flats": 6.0, "triage": 9.0}, moisture_percent=10.5)
    assert flat.words == "Plantation PB"


def test_what_the_sheet_lacks_stays_open_and_is_named() -> None:
    found = graded("us-2018", {"broken": 5}, moisture_percent=11.0)
    assert found.best is None
    assert [m.words for m in found.possible[0].open] == ["quakers"]


@pytest.mark.parametrize("name", scheme_names())
def test_more_defects_never_make_a_better_grade(name: str) -> None:
    # A property of every published system here.
    rules = scheme(name)
    sheet: dict[str, Any] = {"sample_g": rules.sample_g or 300.0, "moisture_percent": 11.0, "quakers": 0,
                             "species": (rules.species or ("arabica",))[0]}  # fmt: skip
    for defect in [d for d in rules.defects if d.counts]:
        last = -1
        for n in (0, 1, 4, 9, 40, 200, 900):
            found = grade_sheet(Sheet(**sheet, counts={defect.code: n}), rules)
            rank = next((i for i, t in enumerate(found.tried) if not t.failed), len(found.tried))
            assert rank >= last, (defect.code, n)
            last = rank


@pytest.mark.parametrize("name", scheme_names())
def test_every_scheme_names_its_sources_and_order(name: str) -> None:
    rules = scheme(name)
    assert rules.source
    if len(rules.defects) > 4 and rules.kind == "equivalents":
        assert set(rules.gravest_first) == {d.code for d in rules.defects}
    assert all(r.source for r in (*rules.defects, *rules.grades, *rules.options) if r.status == "from memory")


BAD = [
    ("sample_g = 300\n[counts]\nblack = -1", "greater than or equal to 0"),
    ("sample_g = 300\n[counts]\nblack = 1.5", "valid integer"),
    ("sample_g = 0", "greater than 0"),
    ("sample_g = 300\n[masses_g]\nblack = 400", "defects weigh 400 g in a sample of 300 g"),
    ("sample_g = 300\n[screens_g]\n16 = 200\npan = 50", "more than 2 % off"),
    ("sample_g = 300\n[screens_g]\nhuge = 300", ""),
    ("sample_g = 300\nbeans = 5", "Extra inputs"),
    ("sample_g = ", "is not valid TOML"),
    ("sample_g = 300\nmoisture_percent = 0.11", "greater than or equal to 3"),
]


@pytest.mark.parametrize(("text", "words"), BAD, ids=[w or "unknown sieve" for _t, w in BAD])
def test_bad_sheets_are_answered(text: str, words: str) -> None:
    if not words:
        with pytest.raises(InputError, match="is not a screen number"):
            grade_sheet(parse_sheet(text + "\n15 = 0"), scheme("arabica-c"))
        return
    with pytest.raises(InputError, match=words):
        parse_sheet(text)


def test_codes_of_another_scheme_are_refused() -> None:
    with pytest.raises(InputError, match="'part_black' is not a defect of brazil-in8"):
        graded("brazil-in8", {"part_black": 1})
    with pytest.raises(InputError, match="is for robusta"):
        graded("robusta-409", species="arabica")
    with pytest.raises(InputError, match="Count a sample of that mass"):
        grade_sheet(Sheet(sample_g=100, counts={"black": 1}), scheme("france-1966"))


def test_a_contract_of_one_s_own(tmp_path: Path) -> None:
    text = """
name = "own"
words = "Invented Buyer One contract"
kind = "equivalents"
sample_g = 300
source = "contract of 4 May"
defects = [
  { code = "black", words = "black", counts = 1 },
  { code = "broken", words = "broken", counts = "1/5" },
]
[[grades]]
name = "first"
total = 10
counts = { black = 2 }
"""
    file = tmp_path / "own.toml"
    file.write_text(text, encoding="utf-8")
    found = grade_sheet(Sheet(sample_g=300, counts={"black": 2, "broken": 40}), scheme(str(file)))
    assert found.words == "first"
    for damage, words in (
        (text.replace("black = 2", "brown = 2"), "limits 'brown'"), (text.replace('"1/5"', '"1/0"'),
     "not a number"),
        (text + "colour = 3", "Extra inputs"), ("name = ", "not valid TOML"),
    ):  # fmt: skip
        with pytest.raises(InputError, match=words):
            read_scheme(damage, "own.toml")


def test_a_heavier_sample_never_hides_a_bean_that_was_found() -> None:
    """US 2018: one full black is a primary defect; counted in 360 g it is one still, and not specialty."""
    for grams in (350, 360, 390):
        found = graded(
            "us-2018", sample_g=grams, moisture_percent=11.2, quakers=0, counts={"full_black": 1, "broken": 5}
        )
        assert found.words == "not specialty"


def test_a_sheet_that_answers_nothing_gets_no_grade() -> None:
    """Counted by one scheme only: the others give no grade, and not their worst."""
    for name in ("sni-2008", "us-2018", "france-1966", "philippines-2012", "ethiopia"):
        assert graded(name, moisture_percent=11.0, species="arabica").words == NO_GRADE
