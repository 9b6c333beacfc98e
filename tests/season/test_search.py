"""The search against every combination of a small case, and the choice on harvests it was not chosen by."""

from __future__ import annotations

import json
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from drydown.errors import InputError
from drydown.season.kinds import kind_of, kinds, with_bought
from drydown.season.report import proposal, report
from drydown.season.search import Found, choices_of, mixed, run, search, thinned
from drydown.season.study import harvest_of, levels
from drydown.station.building import Option
from tests.season.scene import MONTH, SMALL, months, small

SEASONS = 12


@pytest.fixture(scope="module")
def whole() -> Found:
    """Every one of 24 designs."""
    here = small()
    return search(here, months(), replace(harvest_of(here), fruit_kg=5500.0), seasons=SEASONS, grid=True)


def test_a_search_of_half_the_tries_comes_within_three_per_cent_of_the_best(whole: Found) -> None:
    here = small()
    assert len(whole.tried) == 24
    found = search(
        here, months(), replace(harvest_of(here), fruit_kg=5500.0), tries=14, seasons=SEASONS, seed=2
    )
    assert found.holds == whole.holds
    assert found.best.yearly <= 1.03 * whole.best.yearly
    short = [search(here, months(), harvest_of(here), tries=4, seasons=5, seed=2) for _again in range(2)]
    assert short[0] == short[1]  # seeded


def test_the_best_of_all_is_the_cheapest_that_holds(whole: Found) -> None:
    holding = [t for t in whole.tried if t.short <= 0.0]
    if whole.holds:
        assert whole.best.yearly == min(t.yearly for t in holding)
    else:
        assert not holding
        assert whole.best.short == min(t.short for t in whole.tried)
    front = whole.front()
    assert all(a.yearly <= b.yearly and a.short > b.short for a, b in pairwise(front))


def test_a_choice_holds_on_harvests_it_was_not_chosen_by() -> None:
    """Chosen on 20, held against 40 others: its mean service within three standard errors of what was
    said."""
    here = small()
    weather, harvest = months(), replace(harvest_of(here), fruit_kg=5000.0)
    made = proposal(here, weather, harvest, tries=8, seasons=25, held_out=50)
    assert made.unseen is not None
    assert made.unseen.units[0].first == 25
    for key in ("fresh_days", "mould_lots"):
        seen, other = made.best.outcome.each[key], made.unseen.outcome.each[key]
        error = np.hypot(seen.std(ddof=1) / np.sqrt(seen.size), other.std(ddof=1) / np.sqrt(other.size))
        assert abs(seen.mean() - other.mean()) <= 3.0 * error + 1e-9
    told = report(made)
    assert told["headline"] == made.headline()
    assert json.loads(json.dumps(told))
    assert set(made.hand) >= {"peak_day", "pulper", "area", "tanks"}
    fresh, _mould = levels(here.build)  # type: ignore[arg-type]
    assert f"asked {100 * fresh:g})" in made.lines()[1]


def test_the_money_of_a_design_by_hand() -> None:
    """Two beds of 20 000: 40 000 once; over 5 years at 10 % 0.2638 of it a year (annuity table), 5 %
    upkeep."""
    here = small()
    found = run(here, months(), replace(harvest_of(here), days=10), {"raised_bed": 2.0}, 5, 1)
    assert found.costs.once == 40_000.0
    assert found.costs.capital == pytest.approx(40_000.0 * (0.26380 + 0.05), abs=1.0)
    beds = found.design.station.equipment.beds
    assert [b.area_m2 for b in beds] == [60.0, 20.0, 20.0]


def test_choices_and_what_they_change() -> None:
    here = small()
    assert choices_of(here) == {
        "raised_bed": (0.0, 1.0, 2.0, 3.0),
        "barrel": (0.0, 1.0, 2.0),
        "thin": (0.7, 1.0),
    }
    assert thinned(here, 0.5).drying["parchment"].load_kg_m2 == 6.0
    two = {"arabica": {"washed": 60.0, "natural": 40.0}}
    season = here.season.model_copy(update={"route_percent": two})  # type: ignore[union-attr]
    both = here.model_copy(update={"season": season})
    quarter = dict(mixed(both, {"route:arabica": 0.25})["arabica"])
    assert quarter == pytest.approx({"washed": 0.25, "natural": 0.75})
    assert mixed(both, {"route:arabica": 1.0})["arabica"] == (("washed", 1.0),)
    with pytest.raises(InputError, match="build"):
        choices_of(here.model_copy(update={"build": None}))


def test_every_kind_can_be_bought_and_names_a_source() -> None:
    here = small()
    for name, row in kinds().items():
        more = with_bought(here, {name: Option(kind=name, price=1.0, most=1)}, {name: 1})
        groups = ("pulpers", "hullers", "tanks", "beds", "dryers", "stores")
        before, after = (sum(len(getattr(s.equipment, k)) for k in groups) for s in (here, more))
        assert after == before + 1
        assert row.source.text
        assert row.life_years > 0
    with pytest.raises(InputError, match="not a kind"):
        kind_of("rocket")


def test_a_search_without_prices_says_which() -> None:
    here = small()
    bare = here.model_copy(update={"work": here.work.model_copy(update={"green_prices": ()})})
    with pytest.raises(InputError, match="green price of arabica"):
        search(bare, months(), harvest_of(bare), tries=4, seasons=5)


def test_from_the_command_line(tmp_path: Path) -> None:
    from drydown.cli import app

    path = tmp_path / "s.toml"
    path.write_text((SMALL + 12 * MONTH).replace("fruit_kg = 4000", "fruit_kg = 1000"), encoding="utf-8")
    call = [
        "build",
        str(path),
        "--tries",
        "4",
        "--seasons",
        "10",
        "--held-out",
        "10",
        "--pdf",
        str(tmp_path / "b.pdf"),
    ]
    found = CliRunner().invoke(app, [*call, "--json"])
    assert found.exit_code == 0, found.output
    told = json.loads(found.output)
    assert told["shape"] == "drydown.build/1"
    assert (tmp_path / "b.pdf").read_bytes().startswith(b"%PDF")
    said = CliRunner().invoke(
        app, ["season", str(path), "--seasons", "10", "--buy", "barrel=1", "--rain", "1.5"]
    )
    assert said.exit_code == 0, said.output
    assert "Worst day" in said.output
    for wrong in (["--buy", "rocket=2"], ["--buy", "barrel"], ["--warmer-c", "9"]):
        refused = CliRunner().invoke(app, ["season", str(path), *wrong])
        assert refused.exit_code == 2
        assert "Traceback" not in refused.output
