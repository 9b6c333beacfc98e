"""Wrong or missing judgements of the bench, each mended by class."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from drydown.quality.grade import NO_GRADE, grade_sheet
from drydown.quality.sample import Sheet, parse_sheet
from drydown.quality.scheme import scheme
from drydown.quality.screens import retained_bounds
from drydown.quality.sure import another_sample, grade_probabilities

SIEVED = {"15": 200.0, "12": 70.0, "pan": 30.0}


def robusta(**more: Any) -> Any:
    base: dict[str, Any] = {
        "sample_g": 300,
        "species": "robusta",
        "masses_g": {"defect": 6.0, "foreign": 0.3},
    }
    return grade_sheet(Sheet(**(base | more)), scheme("robusta-409"))


def test_a_screen_that_was_not_in_the_stack_lies_between_its_neighbours() -> None:
    # By hand: 200 of 300 g on 15 (66.7 %), 270 on 12 and above (90 %): on 13 or 14 between the two.
    assert retained_bounds(SIEVED, "15") == pytest.approx((200 / 3, 200 / 3))
    for number in ("14", "13"):
        assert retained_bounds(SIEVED, number) == pytest.approx((200 / 3, 90.0))
    assert retained_bounds(SIEVED, "18") == pytest.approx((0.0, 200 / 3))
    assert retained_bounds(SIEVED, "10") == pytest.approx((90.0, 100.0))
    assert retained_bounds({}, "15") == (0.0, 100.0)


@pytest.mark.parametrize(
    ("screens", "words"),
    [
        # 95 % stay on 15, so at least 95 on 14, 13 and 12: the bound decides class 1's 90 over 14; its
        # 96 over 12 was sieved.
        ({"15": 285.0, "12": 6.0, "pan": 9.0}, "class 1"),
        # 80 % on 15, 97 on 12: over 14 and 13 lies between 80 and 97; 90 stays open for classes 1 to 3.
        ({"15": 240.0, "12": 51.0, "pan": 9.0}, "class 4 or better"),
        # 80 % on 12 in all: nothing on 14 or 13 can reach 90.
        ({"15": 200.0, "12": 40.0, "pan": 60.0}, "not deliverable"),
    ],
)
def test_the_bound_decides_where_it_can_and_never_the_poorer_as_headline(
    screens: dict[str, float], words: str
) -> None:
    assert robusta(screens_g=screens).words == words


def test_price_steps_are_told(tmp_path: Path) -> None:
    # ITC Coffee Guide, answer 042: class 2 is 30 USD a tonne below par.
    screens = {"13": 285.0, "12": 6.0, "pan": 9.0}
    found = robusta(screens_g=screens, masses_g={"defect": 15.0, "foreign": 1.0})
    assert found.headline == "class 2 or better (-30 USD/t)" or "-30 USD/t" in found.headline
    sheet = tmp_path / "s.toml"
    sheet.write_text(
        'sample_g = 300\nspecies = "robusta"\n[masses_percent]\ndefect = 5\nforeign = 0.3\n'
        "[screens_percent]\n15 = 10\n14 = 10\n13 = 75\n12 = 3\npan = 2\n"
    )
    from drydown.cli import app

    answer = CliRunner().invoke(app, ["grade", str(sheet), "--scheme", "robusta-409"])
    assert "class 2 (-30 USD/t)" in answer.output
    assert "mould toxins" in answer.output
    told = json.loads(
        CliRunner().invoke(app, ["grade", str(sheet), "--scheme", "robusta-409", "--json"]).output
    )
    assert told["price_step"] == "-30 USD/t"
    assert told["headline"] == "class 2 (-30 USD/t)"


def test_per_cent_stands_for_grams_and_none_found_for_the_rest() -> None:
    # The same sieving and masses in grams and in per cent of 300 g.
    grams = parse_sheet("sample_g = 300\n[masses_g]\nblack = 9\n[screens_g]\n16 = 150\npan = 150")
    shares = parse_sheet("sample_g = 300\n[masses_percent]\nblack = 3\n[screens_percent]\n16 = 50\npan = 50")
    assert grams == shares
    whole = "sample_g = 300\nrest_none = true\nmoisture_percent = 11\n[masses_percent]\nblack = 4\n"
    rules = scheme("philippines-2012")
    assert grade_sheet(parse_sheet(whole), rules).words == "grade 1"  # black 4 % is its limit, the rest 0
    assert grade_sheet(parse_sheet(whole.replace("rest_none = true", "")), rules).words == NO_GRADE
    from drydown.errors import InputError

    with pytest.raises(InputError, match="in grams and in per cent"):
        parse_sheet("sample_g = 300\n[masses_g]\nblack = 9\n[masses_percent]\nblack = 3")


def test_no_chance_is_invented_where_nothing_was_drawn() -> None:
    sheet = robusta(screens_g={"15": 285.0, "13": 6.0, "12": 3.0, "pan": 6.0})
    prices = {t.grade.name: 1.0 for t in sheet.tried} | {"not deliverable": 0.0}
    advice = another_sample(sheet, prices)
    assert advice.change is None
    assert "cannot be told" in advice.words
    assert "0%" not in advice.words


def test_open_limits_have_a_share_of_their_own() -> None:
    # 5 full secondary defects, no quakers counted: specialty is not ruled out, and not failed.
    found = grade_sheet(
        Sheet(sample_g=350, species="arabica", counts={"broken": 5}, moisture_percent=11.0), scheme("us-2018")
    )
    chances = grade_probabilities(found)
    assert chances[NO_GRADE] > 0.2  # the rest: a trace of a primary defect in the lot
    assert sum(chances.values()) == pytest.approx(1.0)


def test_a_general_condition_is_told_beside_the_grade() -> None:
    # SNI 01-2907-2008: moisture at most 12.5 % whatever the grade.
    wet = grade_sheet(
        Sheet(sample_g=300, species="arabica", counts={"black": 5}, moisture_percent=14.0), scheme("sni-2008")
    )
    assert wet.words == "1"
    assert "outside the scheme's general condition: moisture 14 %" in wet.headline


def test_the_counting_sheet_knows_the_scheme_s_rounding(client: Any, books: Path) -> None:
    from fractions import Fraction

    from drydown.desk.fieldwork import bench_state

    for told in bench_state()["schemes"]:
        rules = scheme(told["name"])
        assert told["rounding"] == rules.rounding
        for row in told["defects"]:
            assert Fraction(*row["counts"]) == rules.weights()[row["code"]]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        # Trejos et al. 1989 (reference table): 12 % wb is 69.0 % at 25 C; 70 % at 25 C is 12.16 % wb.
        (["moisture", "--temp-c", "25", "--percent-wb", "12"], "0.690"),
        (["moisture", "--temp-c", "25", "--rh-percent", "70"], "12.2"),
        # Dew point inside a sealed lot, 30 C and 13 % wb: 25.2 C; 25 C and 12 %: 18.9 C.
        (["moisture", "--temp-c", "30", "--percent-wb", "13"], "25.2"),
        # 1000 kg at 13.5 to 12 %: 982.95 kg.
        (["moisture", "--mass-kg", "1000", "--percent-wb", "13,5", "--to-percent-wb", "12"], "983.0"),
        # Colombian sheet of 21 Aug 2015: 0.76 x 7 937 + 0.05 x 3 400 = 6 202.1.
        (["price", "parchment", "--sound", "7 937", "--defective", "3 400"], "6 202.12"),
        # Standard lot: 92.2 kg of parchment for 70 kg.
        (["price", "yield", "--sample-g", "250", "--exportable-g", "189.8"], "92.20"),
        # European contract: 0.5 % of 19 200 kg is 96 kg; 200 kg lost at 5 is 104 x 5.
        (
            ["price", "weight", "--shipped-kg", "19200", "--landed-kg", "19000", "--price-per-kg", "5"],
            "520.00",
        ),
        # ISO 2859-1: letter H, 50, accept 1 at 1.0 %.
        (["accept", "--lot", "500", "--aql", "1"], "Look at 50 of 500 (letter H), accept up to 1 bad"),
        # A university's test report: 0.75 kg in, 0.400 out, 0.020 unpulped, 2.74 s.
        (
            [
                "pulper-test",
                "--fruit-kg",
                "0.75",
                "--output-kg",
                "0.4",
                "--unpulped-kg",
                "0.02",
                "--seconds",
                "2.74",
            ],
            "53.3",
        ),
    ],
)
def test_what_the_code_knows_is_reachable(words: list[str], said: str) -> None:
    from drydown.cli import app

    answer = CliRunner().invoke(app, words)
    assert answer.exit_code == 0, answer.output
    assert said in " ".join(answer.output.split()), answer.output


def test_the_standard_s_pulper_figures_close() -> None:
    # PNS/PAES 253: recovery and separation loss make efficiency; spilled parchment stands outside it.
    from drydown.quality.pulper import pulper_by_outlet

    found = pulper_by_outlet(100.0, 52.0, 1.5, 2.0, 0.5)
    assert found["recovery"].value + found["separation_loss"].value == pytest.approx(
        found["efficiency"].value
    )
    assert found["scattering_loss"].value == pytest.approx(0.5)


def test_a_panel_s_table_on_the_command_line(tmp_path: Path) -> None:
    # ISO 8587, annex: eight assessors, five samples, rank sums 17, 31, 32, 23, 17 give F = 10.60 and
    # LSRD 12.40; critical F 9.5. The rows are ours, made to have these sums.
    rows = (
        "2,5,1,4,3",
        "1,5,4,2,3",
        "2,1,5,4,3",
        "2,3,5,1,4",
        "2,3,5,4,1",
        "3,5,4,2,1",
        "2,5,3,4,1",
        "3,4,5,2,1",
    )
    file = tmp_path / "panel.csv"
    file.write_text("\n".join(("a,b,c,d,e", *rows)))
    from drydown.cli import app

    told = json.loads(CliRunner().invoke(app, ["panel", str(file), "--json"]).output)["friedman"]
    assert told["rank_sums"] == [17, 31, 32, 23, 17]
    assert round(told["F"], 2) == 10.60
    assert round(told["lsrd"], 2) == 12.40
    assert round(told["critical_5"], 1) == 9.5


def test_help_of_every_command_is_quick() -> None:
    """Nothing heavy is read before it is used: a command's help imports no scientific package but numpy."""
    import subprocess
    import sys

    script = (
        "import sys; from drydown.cli import app; "
        "print([m for m in ('scipy', 'pandas', 'numba', 'django', 'skimage', 'pvlib') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_version_is_told() -> None:
    from drydown import __version__
    from drydown.cli import app

    assert CliRunner().invoke(app, ["--version"]).output.strip() == f"drydown {__version__}"
