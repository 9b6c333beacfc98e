"""Moisture bases. Worked cases: Oliveros et al. 2010, Cenicafe 61(2); exact arithmetic."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drydown.errors import RangeError
from drydown.matter.bases import db_from_wb, dry_matter_kg, mass_at_moisture_kg, wb_from_db


@given(st.floats(0.0, 0.95))
def test_there_and_back(wb: float) -> None:
    assert wb_from_db(db_from_wb(wb)) == pytest.approx(wb, abs=1e-12)


@given(st.floats(0.01, 1e6), st.floats(0.0, 0.9), st.floats(0.0, 0.9))
def test_dry_matter_is_kept(mass: float, one: float, other: float) -> None:
    moved = mass_at_moisture_kg(mass, one, other)
    assert dry_matter_kg(moved, other) == pytest.approx(dry_matter_kg(mass, one), rel=1e-12)


def test_published_loss_of_mass() -> None:
    # Oliveros et al. 2010: done when 47.3 % of the mass is lost, 53 to 11 % wb; exactly 47.19 %.
    assert 1.0 - mass_at_moisture_kg(1.0, 0.53, 0.11) == pytest.approx(0.473, abs=0.0015)
    assert 100.0 * mass_at_moisture_kg(1.0, 0.53, 0.11) == pytest.approx(52.81, abs=0.005)


@pytest.mark.parametrize(
    ("start", "end", "factor"),
    [(0.12, 0.11, 0.98876), (0.12, 0.10, 0.97778), (0.11, 0.09, 0.97802), (0.125, 0.11, 0.98315)],
)
def test_weight_factors(start: float, end: float, factor: float) -> None:
    # Exact arithmetic (derived).
    assert mass_at_moisture_kg(1.0, start, end) == pytest.approx(factor, abs=5e-6)


@pytest.mark.parametrize("wrong", [-0.01, 1.0, 11.0])
def test_refuses_nonsense(wrong: float) -> None:
    with pytest.raises(RangeError, match="moisture_wb"):
        db_from_wb(wrong)
