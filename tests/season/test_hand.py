"""Sizing rules against the figures they were taken from."""

from __future__ import annotations

import json

import pytest
from typer.testing import CliRunner

from drydown.errors import RangeError
from drydown.season.hand import (
    Case,
    anaerobic_load,
    drying_area,
    facultative_load,
    hand_rules,
    peak_share,
    pulper_kg_h,
    store_m3,
    tank_litres,
    tanks_needed,
)


@pytest.mark.parametrize(("sigma", "days", "percent"), [(20, 7, 1.99), (20, 6, 2.33), (13, 6, 3.58)])
def test_the_largest_day_of_a_bell(sigma: float, days: int, percent: float) -> None:
    """Derived, f = (7/w) / (sigma sqrt(2 pi)): worked by hand in the references."""
    assert 100 * peak_share(sigma, days) == pytest.approx(percent, abs=0.005)


@pytest.mark.parametrize(
    ("temp_c", "load", "removed", "facultative"), [(20, 300, 60, 253.1), (25, 350, 70, 350.0)]
)
def test_ponds_by_temperature(temp_c: float, load: float, removed: float, facultative: float) -> None:
    """Mara's worked values, from memory."""
    found, share = anaerobic_load(temp_c)
    assert found == load
    assert 100 * share == pytest.approx(removed)
    assert facultative_load(temp_c) == pytest.approx(facultative, abs=0.05)
    assert anaerobic_load(5.0) == (100.0, 0.4)
    assert anaerobic_load(32.0) == (350.0, 0.7)


def test_areas_tanks_store_by_hand() -> None:
    """Natural at 25 to 40 kg/m2 is 25 to 40 m2 a tonne a day's layer; 21 days of 25 m2/t are 525 m2 days a
    tonne (derived in the references); 0.84 and 1.26 L/kg; 2.5 to 2.7 m3/t net and 1.4 for aisles."""
    assert drying_area(1000.0, 1.0, washed=False) == (25.0, 40.0)
    assert drying_area(1000.0, 21.0, washed=False)[0] == pytest.approx(525.0)
    assert tank_litres(1000.0) == (840.0, 1260.0)
    assert 2.5 * 1.4 <= store_m3(1000.0) <= 2.74 * 1.4
    assert tanks_needed(18.0, 3.0) == 2
    assert tanks_needed(36.0, 3.0) == 3
    assert pulper_kg_h(4800.0, 6.0, 0.8) == pytest.approx(1000.0)


def test_all_rules_of_a_case_scale_and_have_sources() -> None:
    one = hand_rules(Case(100_000.0, 20.0, 6, True, (6.0, 8.0, 12.0), 18.0))
    two = hand_rules(Case(200_000.0, 20.0, 6, True, (6.0, 8.0, 12.0), 18.0))
    for name, figure in one.items():
        assert figure.sources
        assert figure.low <= figure.value <= figure.high
        if name != "pond_load":
            assert two[name].value == pytest.approx(2 * figure.value)
    assert one["peak_day"].value == pytest.approx(2330, rel=0.005)
    with pytest.raises(RangeError):
        Case(1.0, 20.0, 6, True, (6.0, 8.0, 12.0), 18.0)


def test_from_the_command_line() -> None:
    from drydown.cli import app

    call = ["sizing", "--fruit-kg", "100000", "--spread-days", "20", "--coldest-c", "18"]
    plain = CliRunner().invoke(app, call)
    assert plain.exit_code == 0, plain.output
    assert "no design" in plain.output
    assert "Caution" in plain.output
    told = json.loads(CliRunner().invoke(app, [*call, "--json"]).output)
    assert told["shape"] == "drydown.sizing/1"
    for bad in (["--route", "boiled"], ["--dwell-days", "a-b-c"], ["--dwell-days", "9-4-2"]):
        assert CliRunner().invoke(app, [*call, *bad]).exit_code == 2
