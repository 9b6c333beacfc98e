"""Grind, brew, water, colour: printed worked values and kept libraries."""

from __future__ import annotations

import colour
import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from drydown.errors import InputError, RangeError
from drydown.quality.colour import Anchor, by_anchors, lab_of_linear, lab_of_xyz
from drydown.quality.grind import (
    BANDS,
    fit_grind,
    passing,
    percentile_um,
    setting_for,
    sieve_tolerance_um,
    span,
)
from drydown.steps.brew.balance import immersion, percolation, recipe, tds_of_brix
from drydown.steps.brew.bath import Bed, roots, through_bed, unextracted
from drydown.steps.brew.water import alkalinity, hardness, inside_bounds, salts_mg_l


@pytest.mark.parametrize(("dose", "water", "told"), [(8.25, 150.0, 1.1418), (7.0, 100.0, 1.4487)])
def test_immersion(dose: float, water: float, told: float) -> None:
    """T2: extraction of 21 % whatever the ratio (Liang, Chan and Ristenpart 2021); to the last printed
    digit."""
    made = immersion(dose, water, extraction=21.0)
    assert round(made.strength, 4) == told
    assert immersion(dose, water, strength=made.strength).extraction == pytest.approx(21.0, abs=1e-9)


def test_percolation() -> None:
    """T3: 1000 g over 60 g at 1.35 %, 2.0 g/g held: 880 g, 19.80 %."""
    made = percolation(60.0, 1000.0, 1.35)
    assert (made.beverage_g, round(made.extraction, 2)) == (880.0, 19.80)
    assert made.inside() == {"strength": True, "extraction": True}
    assert (
        immersion(60.0, 1000.0, strength=1.35).extraction - made.extraction > 2.0
    )  # so the tool must ask which


@given(st.floats(5.0, 60.0), st.floats(0.2, 6.0), st.floats(1.0, 500.0))
def test_solids_close(ratio: float, strength: float, dose: float) -> None:
    """What is in the liquid came from the grounds, both ways of counting."""
    assume(strength * ratio / (1.0 - strength / 100.0) < 40.0)
    made = immersion(dose, ratio * dose, strength=strength)
    assert made.beverage_g * strength / 100.0 == pytest.approx(dose * made.extraction / 100.0, rel=1e-9)
    ran = percolation(dose, ratio * dose, strength)
    assert ran.beverage_g * strength / 100.0 == pytest.approx(dose * ran.extraction / 100.0, rel=1e-9)


def test_a_recipe_gives_what_was_asked() -> None:
    dose, water = recipe(1.8, 16.5, 2.0)
    assert water - 2.0 * dose == pytest.approx(1800.0)
    assert recipe(1.0, 16.0, 0.0)[1] == pytest.approx(1000.0)
    with pytest.raises(RangeError):
        recipe(1.0, 1.5, 2.0)


def test_brix() -> None:
    low, usual, high = tds_of_brix(10.0)
    assert (low, usual, high) == pytest.approx((8.32, 8.5, 9.07))
    assert tds_of_brix(10.0, 0.8491) == pytest.approx((8.491,) * 3)


def test_a_sphere_in_a_finite_bath() -> None:
    """T5: derived with 400 roots from Moroney 2015's and Rodrigues 2003's parameters."""
    ratio = 0.0005 / (0.0225 / 314.0) / (118.95 / 212.4)
    assert ratio == pytest.approx(12.459689, abs=1e-5)
    left = unextracted(np.array([60.0, 120.0, 240.0, 480.0]), 2.2e-10, 569.45e-6, ratio)
    assert left == pytest.approx([0.416167, 0.257631, 0.108639, 0.020150], abs=1e-5)


def test_roots_to_1e_8() -> None:
    """Put back into the equation, scaled by its slope."""
    for a in (0.1, 1.0, 12.459689, 1000.0):
        x = roots(a, 200)
        gap = (3.0 + a * x * x) * np.sin(x) - 3.0 * x * np.cos(x)
        slope = (
            2.0 * a * x * np.sin(x) + (3.0 + a * x * x) * np.cos(x) - 3.0 * np.cos(x) + 3.0 * x * np.sin(x)
        )
        assert np.abs(gap / slope).max() < 1e-8
        assert (np.floor(x / np.pi) == np.arange(1, 201)).all()


def test_an_endless_bath_is_the_plain_sphere() -> None:
    """Crank 1975, eq. 6.20: 6/pi2 sum exp(-n2 pi2 D t/r2)/n2."""
    t, d, r = np.array([100.0, 400.0]), 2e-10, 5e-4
    n = np.arange(1, 400)
    plain = 6.0 / np.pi**2 * (np.exp(-np.outer(t, (n * np.pi) ** 2 * d / r**2)) / n**2).sum(axis=1)
    assert unextracted(t, d, r, 1e7) == pytest.approx(plain, abs=1e-5)


def test_a_bed_closes_and_has_its_signs() -> None:
    plain = through_bed(Bed(), 30.0)
    assert plain.balance < 1e-9
    assert 12.0 < plain.extraction[-1] < 28.0
    assert (np.diff(plain.extraction) >= -1e-12).all()
    slower = through_bed(Bed(flow_g_s=0.75), 30.0)
    assert slower.strength[-1] > plain.strength[-1]  # half the water in the same time
    assert slower.extraction[-1] < plain.extraction[-1]
    coarse = through_bed(Bed(slow_s=180.0, fast=0.3), 30.0)
    assert coarse.extraction[-1] < plain.extraction[-1]
    assert plain.extraction[-1] < 28.0  # never above what can dissolve


def test_a_bed_with_all_at_the_surface_is_the_tank_in_series_sum() -> None:
    """Long enough, everything that can leave has left: 28 % of the dose."""
    done = through_bed(Bed(fast=1.0, fast_s=1.0), 400.0)
    assert done.extraction[-1] == pytest.approx(28.0, rel=1e-3)


def test_water() -> None:
    """T19: 1.68 g/L baking soda and 2.45 g/L Epsom salt make concentrates of 1000 (1001 and 995) mg/L."""
    assert [round(v) for v in salts_mg_l(1.68, 2.45)] == [1001, 995]
    assert hardness(40.078, 24.305) == pytest.approx(200.17, abs=0.01)
    assert alkalinity(61.017) == pytest.approx(50.04, abs=0.01)
    said = inside_bounds(70.0, 50.0)
    assert said[0].endswith("inside 50 to 175")
    assert "outside 40 to 40" in said[3]


def test_rosin_rammler() -> None:
    """T15: x' 1000, n 2: d10 324.59, d50 832.55, d90 1517.43, span 1.4327."""
    found = [percentile_um(p, 1000.0, 2.0) for p in (0.1, 0.5, 0.9)]
    assert found == pytest.approx([324.59, 832.55, 1517.43], abs=0.01)
    assert span(1000.0, 2.0) == pytest.approx(1.4327, abs=1e-4)
    assert float(passing(1000.0, 1000.0, 3.0)) == pytest.approx(1.0 - np.exp(-1.0))


@pytest.mark.parametrize(("aperture", "told"), [(500.0, 18.0), (850.0, 29.0)])
def test_sieve_tolerance(aperture: float, told: float) -> None:
    """T18: ISO 3310-1, from memory."""
    assert sieve_tolerance_um(aperture) == pytest.approx(told, abs=0.5)


@settings(max_examples=25, deadline=None)
@given(st.floats(300.0, 1200.0), st.floats(1.2, 3.5))
def test_a_law_is_found_again_from_its_sieves(scale: float, n: float) -> None:
    sizes = [250.0, 500.0, 710.0, 1000.0, 1400.0]
    coarser = [1.0 - float(passing(s, scale, n)) for s in sizes]
    held = {s: 100.0 * (a - b) for s, a, b in zip(sizes, coarser, [*coarser[1:], 0.0], strict=True)}
    made = fit_grind(held, 100.0 - sum(held.values()), 100.0)
    assert made.d50[1] == pytest.approx(percentile_um(0.5, scale, n), rel=0.03)
    assert made.d50[0] <= made.d50[1] <= made.d50[2] * (1 + 1e-9)
    assert made.worst < 0.02


def test_one_sieve_tells_a_wide_median_and_says_so() -> None:
    made = fit_grind({850.0: 30.0}, 70.0, 100.0)
    assert made.d50[2] - made.d50[0] > 50.0
    assert any("One sieve" in n for n in made.notes)
    with pytest.raises(InputError, match="add up"):
        fit_grind({850.0: 30.0}, 60.0, 100.0)


def test_a_setting_between_two_that_were_sieved() -> None:
    found, words = setting_for({2.0: 400.0, 6.0: 900.0, 9.0: 1300.0}, 600.0)
    assert found == pytest.approx(4.0)
    assert words == ""
    assert setting_for({2.0: 400.0, 6.0: 900.0}, 2000.0)[1]
    with pytest.raises(InputError, match="one way"):
        setting_for({1.0: 500.0, 2.0: 700.0, 3.0: 600.0}, 650.0)
    assert set(BANDS) >= {"espresso", "French press"}


def test_lab_of_the_standard() -> None:
    """T7: ISO/CIE 11664-4's example, D65."""
    found = lab_of_xyz(np.array([0.20654008, 0.12197225, 0.05136952]))
    assert found == pytest.approx([41.5278752, 52.6385830, 26.9231792], abs=1e-5)


def test_lab_against_a_kept_library() -> None:
    """colour-science, XYZ to Lab at D65 and linear sRGB to Lab, on 500 colours: 1e-6, and 0.01 by its
    matrix."""
    rng = np.random.default_rng(1)
    xyz = rng.random((500, 3))
    white = np.array([0.3127, 0.3290])
    assert lab_of_xyz(xyz) == pytest.approx(colour.XYZ_to_Lab(xyz, white), abs=1e-6)
    rgb = rng.random((500, 3))
    theirs = colour.XYZ_to_Lab(colour.RGB_to_XYZ(rgb, "sRGB", apply_cctf_decoding=False), white)
    assert lab_of_linear(rgb) == pytest.approx(theirs, abs=0.05)


def test_roasts_by_the_stations_own_anchors() -> None:
    anchors = [Anchor("for tasting", 31.0), Anchor("as we sell it", 24.0)]
    assert by_anchors(31.4, 1.0, anchors) == "for tasting"
    assert by_anchors(20.0, 1.0, anchors) == "darker than as we sell it"
    assert by_anchors(40.0, 1.0, anchors) == "lighter than for tasting"
    with pytest.raises(InputError, match="two reference"):
        by_anchors(30.0, 1.0, anchors[:1])
