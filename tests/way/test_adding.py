"""Adding a step is one file and its line; a species, form, place, route, scheme, caution is a row each.

All of it from a temporary folder, driven through the gate, the books and the forecast. Everything
invented; nothing of it comes with Drydown.
"""

from __future__ import annotations

import re
import tomllib
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from tests.desk.forms import step, weigh

if TYPE_CHECKING:
    from django.test import Client

STEP = '''
"""Soak: under clean water, which goes from the supply to the drain."""

from drydown.way.ask import number_of
from drydown.way.names import DRAIN, SUPPLY, WATER
from drydown.way.needs import Takes
from drydown.way.step import Finding, Standing, Step
from drydown.figures import Source, Status


def moves(doing):
    litres = round(1000 * doing.typed("water_l"))
    return [(SUPPLY, WATER, -litres), (DRAIN, WATER, litres)]


def odd(doing):
    if doing.typed("water_l") < 2 * doing.state.held_kg:
        return []
    return [Finding("More water than twice the coffee.", Source("trial rule", Status.OWN_ESTIMATE))]


STEPS = (
    Step(
        "soak", "Soak in clean water", "soaked", Standing("soaked", "soaked", waits=True),
        (number_of("water_l", "clean water, L", 1, 100000, "L", "L of water"),),
        moves=moves, odd=odd, takes=lambda state, setting: Takes(water_l=2 * state.held_kg),
        hurts=("tank", "trial_cold"),
    ),
)
'''
ORDER = """
[route.trial_way]
gathering = ["float"]
floated = ["pulp"]
pulped = ["soak"]
soaked = ["spread"]
"""
CAUTIONS = """
[hazard.trial_cold]
about = "cold water"
text = "Cold water numbs hands: work in turns."
source = "invented for a test"
status = "own estimate"

[place]
trial_frame = ["trial_cold"]
"""
SCHEME = """
name = "trial-scheme"
words = "Trial scheme"
kind = "per_kg"
source = "invented for a test"
status = "own estimate"
below = "below"
defects = [ { code = "defect", words = "any defect", counts = 1 } ]
[[grades]]
name = "First"
per_kg = 10
"""
STATION = """
[drying.trialform]
load_kg_m2 = 11.0
target_moisture_percent_wb = 11.0
rake_hours = [8, 12]
cover_for_rain = true
"""


def toml_of(rows: dict[str, Any]) -> str:
    """Tables of plain values and inline rows as TOML."""
    import tomlkit

    return tomlkit.dumps(rows)


@pytest.fixture
def added(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with one of each."""
    species = tomllib.loads((files("drydown.matter") / "species.toml").read_text(encoding="utf-8"))
    dry = files("drydown.steps.dry")
    forms = tomllib.loads((dry / "forms.toml").read_text(encoding="utf-8"))
    places = tomllib.loads((dry / "places.toml").read_text(encoding="utf-8"))
    kind = forms["parchment"] | {"label": "trial parchment", "rules_as": "parchment"}
    row = forms["species"]["arabica"] | {"widen": 1.5, "note": "trial species"}
    (tmp_path / "species.toml").write_text(toml_of({"trialis": species["arabica"]}))
    (tmp_path / "forms.toml").write_text(toml_of({"trialform": kind, "species": {"trialis": row}}))
    (tmp_path / "places.toml").write_text(
        toml_of({"trial_frame": places["raised_bed"] | {"label": "trial frame"}})
    )
    way = {"words": "trial way", "letter": "T", "form": "trialform", "balance": "pulped_natural"}
    (tmp_path / "routes.toml").write_text(toml_of({"trial_way": way}))
    (tmp_path / "order.toml").write_text(ORDER)
    (tmp_path / "cautions.toml").write_text(CAUTIONS)
    for name in ("steps", "schemes"):
        (tmp_path / name).mkdir()
    (tmp_path / "steps" / "soak.py").write_text(STEP)
    (tmp_path / "schemes" / "trial.toml").write_text(SCHEME)
    monkeypatch.setenv("DRYDOWN_ADDED", str(tmp_path))
    return tmp_path


def station_with(text: str) -> str:
    """The example station that takes the trial species on the trial route."""
    text = re.sub(r"(?m)^species = \[", 'species = ["trialis", ', text)
    text = re.sub(r"(?m)^routes = \[", 'routes = ["trial_way", ', text)
    text = text.replace("[money.cherry_price_per_kg]\n", "[money.cherry_price_per_kg]\ntrialis = 900\n")
    text = re.sub(
        r"(\[\[equipment\.beds\]\]\n)",
        r'\1name = "Trial bed"\nplace = "trial_frame"\narea_m2 = 200\n\n\1',
        text,
        count=1,
    )
    return text + STATION


def test_one_file_and_a_row_each_go_through_gate_books_and_forecast(
    added: Path, client: Client, books: Path
) -> None:
    from drydown.books.copies.verify import verify
    from drydown.books.journal.write import held
    from drydown.books.models import Lot

    file = books / "station.toml"
    file.write_text(station_with(file.read_text(encoding="utf-8")), encoding="utf-8")
    assert weigh(client, species="trialis", route="trial_way", gross="200").status_code == 302
    lot = Lot.objects.get()
    assert (lot.species, lot.route, lot.code[:2]) == ("trialis", "trial_way", "TT")
    code = lot.code
    step(client, code, "float", floaters_kg="5")
    step(client, code, "pulp")
    page = client.get(f"/lot/{code}/").content.decode()
    assert "Next step: Soak in clean water" in page
    assert "Cold water numbs hands" in page
    drained = held("drain", "water")
    assert step(client, code, "soak").status_code == 400  # the litres are asked for
    answer = step(client, code, "soak", water_l="300")
    assert answer.status_code == 302
    assert held("drain", "water") - drained == 300_000
    page = client.get(f"/lot/{code}/").content.decode()
    assert "300 L of water" in page
    assert "More water than twice the coffee." in page
    assert step(client, code, "spread", bed="Trial bed", load_kg_m2="11").status_code == 302
    page = client.get(f"/lot/{code}/").content.decode()
    assert "Dry on" in page
    assert "trial species" in page
    yard = client.get("/yard/").content.decode()
    assert code in yard
    found = verify(anew=True)
    assert found.good, found.problems


def test_the_trial_step_answers_the_same_questions_everywhere(added: Path) -> None:
    from datetime import UTC, datetime

    from drydown.quality.scheme import scheme_names
    from drydown.station.load import example_text, parse_station
    from drydown.way.hurts import at_step
    from drydown.way.matter import Matter
    from drydown.way.needs import Setting
    from drydown.way.order import may_follow, next_steps, stages, steps
    from drydown.way.state import LotState, Past
    from drydown.way.step import Doing
    from drydown.way.taking import take
    from drydown.way.yard import yard_of

    station = parse_station(station_with(example_text()))
    state = LotState("TT-1", "trialis", "trial_way", "pulped", Matter(30_000, 50_000))
    assert [s.kind for s in next_steps(state)] == ["soak"]
    assert may_follow("washed", "pulped") == ("ferment",)
    assert "soaked" in stages()
    assert [c.about for c in at_step("soak", "trial_frame")] == ["tanks and pits", "cold water"]
    now = datetime(2026, 5, 4, 12, tzinfo=UTC)
    done = take("soak", Doing(state, {"water_l": 200.0}, now, station, yard_of(station, []), Past()))
    assert done.state.stage == "soaked"
    assert done.state.matter == state.matter
    assert len(done.findings) == 1
    assert steps()["soak"].takes(state, Setting(station, now)).water_l == 160.0
    assert "trial-scheme" in scheme_names()


def test_without_the_folder_nothing_of_it_is_there() -> None:
    from drydown.errors import InputError
    from drydown.matter.species import species, species_names
    from drydown.quality.scheme import scheme_names
    from drydown.station.load import example_text, parse_station
    from drydown.way.order import steps

    assert "soak" not in steps()
    assert "trialis" not in species_names()
    assert "trial-scheme" not in scheme_names()
    with pytest.raises(InputError):
        species("trialis")
    with pytest.raises(InputError, match="trialis"):
        parse_station(station_with(example_text()))


def test_a_table_that_cannot_be_read_is_one_sentence(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from drydown.errors import InputError
    from drydown.matter.species import species_names

    (tmp_path / "species.toml").write_text("[arabica\n")
    monkeypatch.setenv("DRYDOWN_ADDED", str(tmp_path))
    with pytest.raises(InputError, match=r"species\.toml: cannot be read"):
        species_names()
