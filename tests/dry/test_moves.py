"""Moving and joining lots: water is conserved over the move, per kilogram of dry matter."""

from __future__ import annotations

import numpy as np
import pytest

from drydown.steps.dry.begin import Joined
from drydown.steps.dry.data import form, place
from drydown.steps.dry.draws import draw_parameters
from drydown.steps.dry.routine import Routine
from drydown.steps.dry.run import DryStage, dry_stages
from tests.dry.cases import fair_weather

MEMBERS = 8


def wet_outside() -> dict[str, np.ndarray]:
    """Members of washed parchment that all have water outside."""
    return draw_parameters(form("parchment"), MEMBERS, 3) | {
        "x_bean": np.full(MEMBERS, 0.80),
        "x_full": np.full(MEMBERS, 1.13),
    }


def test_sums_go_with_the_lot_to_another_load() -> None:
    # kg of water that left, over kg of dry matter, is the fall of the moisture: conservation of water.
    drawn, weather = wet_outside(), fair_weather(3)
    stages = [
        DryStage(place("raised_bed"), Routine(), 6.0, 0.08, 20),
        DryStage(place("patio"), Routine(), 2.5, 0.08, 20),
        DryStage(place("raised_bed"), Routine(), 9.0, 0.08),
    ]
    run = dry_stages(drawn, stages, weather)
    x, gone, held = (run.column(c) for c in ("moisture_db", "evaporated_kg_m2", "rain_held_kg_m2"))
    # the hour of a move is told per m2 of the new place
    for hour, load in ((19, 6.0), (20, 2.5), (30, 2.5), (40, 9.0), (41, 9.0), (72, 9.0)):
        left = (gone[:, hour] - held[:, hour]) / load
        assert left == pytest.approx(x[:, 0] - x[:, hour], rel=1e-6, abs=1e-9), hour


@pytest.mark.parametrize("share", [0.2, 0.5, 0.8])
def test_a_joined_lot_brings_its_water_and_takes_none_of_the_film(share: float) -> None:
    # Washed parchment straight from the washer has free water on it; what joins is dry outside.
    drawn, weather = wet_outside(), fair_weather(2)
    first = dry_stages(drawn, [DryStage(place("raised_bed"), Routine(), 6.0, 0.08)], fair_weather(1).window(
        weather.start, 2))  # fmt: skip
    assert first.end is not None
    assert (first.column("free_water_kg_m2")[:, -1] > 0.1).all()
    second = DryStage(place("raised_bed"), Routine(), 6.0, 0.08, joined=Joined(share, 0.3))
    run = dry_stages(drawn, [second], weather, begin=first.end)
    before, film = first.column("moisture_db")[:, -1], first.column("free_water_kg_m2")[:, -1]
    assert run.column("moisture_db")[:, 0] == pytest.approx((1.0 - share) * before + share * 0.3, rel=1e-9)
    assert run.column("free_water_kg_m2")[:, 0] == pytest.approx((1.0 - share) * film, rel=1e-9)
    assert np.abs(run.column("water_residual")).max() < 1e-6


@pytest.mark.parametrize("load", [3.0, 9.0])
def test_free_water_goes_with_the_lot_to_another_load(load: float) -> None:
    drawn, weather = wet_outside(), fair_weather(2)
    first = dry_stages(
        drawn, [DryStage(place("patio"), Routine(), 6.0, 0.08)], weather.window(weather.start, 2)
    )
    assert first.end is not None
    film = first.column("free_water_kg_m2")[:, -1]
    assert (film > 0.1).all()
    run = dry_stages(drawn, [DryStage(place("raised_bed"), Routine(), load, 0.08)], weather, begin=first.end)
    assert run.column("free_water_kg_m2")[:, 0] == pytest.approx(film * load / 6.0, rel=1e-9)
    assert run.column("moisture_db")[:, 0] == pytest.approx(first.column("moisture_db")[:, -1], rel=1e-9)
