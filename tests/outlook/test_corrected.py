"""What a corrected lot says of readings that no run follows."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest

from drydown.outlook.case import DryingCase
from drydown.outlook.corrected import MOST_MISFIT, Corrected, corrected
from drydown.outlook.skies import Skies
from drydown.outlook.told import Told
from drydown.station.load import example_text, parse_station

STATION = parse_station(example_text())
ZONE = STATION.place.site().zone
START = datetime(2026, 11, 7, 4, tzinfo=ZONE)


def told_of(readings: tuple[tuple[float, float], ...], seed: int = 2) -> Corrected:
    """A natural lot on the patio, read by oven so many days after spreading, few futures."""
    spot, habits = STATION.drying_places()["Old patio"][0], STATION.drying["cherry"]
    case = DryingCase(
        "arabica", "cherry", spot.name, 10.0, habits.target_wb, START, habits.routine(), spot=spot
    )
    months = STATION.normals()
    assert months is not None
    told = [Told(24.0 * day, "oven", percent / 100.0) for day, percent in readings]
    return corrected(case, told, Skies(STATION.place.site(), months), 40, seed=seed)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_runs_that_do_not_follow_the_readings_say_so(seed: int) -> None:
    """Twelve days from 20 to 17.5 %, then 10.9 % in two: no run does that, and hours are counted by
    readings."""
    odd = told_of(((6, 20), (9, 19), (12, 18.5), (15, 18), (18, 17.5), (19.9, 10.9)), seed)
    assert not odd.follows
    assert odd.asked or odd.misfit > MOST_MISFIT


def test_runs_that_follow_say_so_and_narrow_the_band() -> None:
    plain, read = told_of(()), told_of(((3, 55), (6, 45)))
    assert read.follows
    assert 0.0 < read.misfit <= MOST_MISFIT
    assert read.spread_at == START
    assert read.forecast.case.start == START + timedelta(days=6)
    widths = [f.forecast.figures["dry_days"].high - f.forecast.figures["dry_days"].low for f in (plain, read)]
    assert widths[1] < widths[0]
