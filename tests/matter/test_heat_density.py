"""Heat and density against printed values (see the docstrings for the papers)."""

from __future__ import annotations

import numpy as np
import pytest

from drydown.errors import InputError, RangeError
from drydown.matter.bases import db_from_wb
from drydown.matter.density import bulk_density_parchment_kg_m3, dry_matter_density_kg_m3, layer_depth_m
from drydown.matter.heat import heat_capacity_j_kg_k, latent_heat_j_kg, latent_heat_water_j_kg


@pytest.mark.parametrize(("percent", "kj"), [(10.0, 2761.5), (15.0, 2519.6), (20.0, 2457.6)])
def test_latent_heat_in_parchment(percent: float, kj: float) -> None:
    # Trejos et al. 1989 eq. 6 at 25 C (second-hand), to its printed digit.
    assert float(latent_heat_j_kg(25.0, db_from_wb(percent / 100))) / 1e3 == pytest.approx(kj, abs=0.06)


def test_latent_heat_against_an_independent_paper() -> None:
    # Santos et al. 2020, green arabica: 2395 kJ/kg at 0.2534 db; 0.5 % apart at 45 C.
    assert float(latent_heat_j_kg(45.0, 0.2534)) / 1e3 == pytest.approx(2395.0, rel=0.01)


def test_free_water_against_coolprop() -> None:
    # CoolProp, saturated water: linear form within 0.3 % from 10 to 50 C.
    import CoolProp.CoolProp as cp

    for t in (10.0, 25.0, 40.0, 50.0):
        vapour = cp.PropsSI("H", "T", t + 273.15, "Q", 1, "Water")
        liquid = cp.PropsSI("H", "T", t + 273.15, "Q", 0, "Water")
        assert float(latent_heat_water_j_kg(t)) == pytest.approx(vapour - liquid, rel=0.003)


@pytest.mark.parametrize(
    ("percent", "density"), [(11.0, 399.3), (11.7, 401.7), (12.0, 402.8), (20.0, 433.6), (53.0, 671.1)]
)
def test_bulk_density_of_parchment(percent: float, density: float) -> None:
    # Montoya 1989 via Parra-Coronado et al. 2008; Oliveros and Roa measured 401 at 11.7 %.
    found = float(bulk_density_parchment_kg_m3(db_from_wb(percent / 100)))
    assert found == pytest.approx(density, abs=0.06)


def test_heat_capacity_near_the_measured_line() -> None:
    # Montoya 1989 (second-hand): 2.071 kJ/(kg dry matter K) at 11 % wb; ours is 5 % above.
    assert float(heat_capacity_j_kg_k(db_from_wb(0.11))) == pytest.approx(2071.0, rel=0.06)


def test_layer_depth_of_a_known_load() -> None:
    # Cenicafe Avance Tecnico 345: 12.5 kg dry parchment per m2 lies about 3 cm deep.
    wet = 12.5 * 0.89 * (1.0 + db_from_wb(0.53))
    assert layer_depth_m("parchment", wet, db_from_wb(0.53)) == pytest.approx(0.035, abs=0.006)


def test_cherry_layer_shrinks() -> None:
    # Derived from bulk densities: a cherry layer loses about 40 % of its depth.
    wet, dry = dry_matter_density_kg_m3("cherry", 1.9), dry_matter_density_kg_m3("cherry", 0.136)
    assert 1.0 - wet / dry == pytest.approx(0.40, abs=0.02)


def test_refusals() -> None:
    with pytest.raises(InputError, match="Choose one of"):
        dry_matter_density_kg_m3("paste", 0.5)
    with pytest.raises(RangeError):
        layer_depth_m("cherry", 0.0, 1.0)
    with pytest.raises(RangeError):
        bulk_density_parchment_kg_m3(np.array([0.1, -0.1]))
    with pytest.raises(RangeError):
        heat_capacity_j_kg_k(-0.1)
    with pytest.raises(RangeError):
        latent_heat_j_kg(25.0, -0.1)
