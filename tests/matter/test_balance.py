"""Route balances: conservation by property, published ratios and effluent as outside checks."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from drydown.errors import BalanceError, InputError, RangeError
from drydown.matter.balance import Balance, Stream, route_balance
from drydown.matter.practice import practice
from drydown.matter.report import report_balance
from drydown.matter.routes import route_names
from drydown.matter.species import Composition, species, species_names


@given(
    st.sampled_from(["arabica", "robusta", "liberica"]),
    st.sampled_from(route_names()),
    st.floats(0.1, 1e6),
    st.floats(0.06, 0.19),
    st.floats(0.0, 1.0),
    st.integers(0, 1000),
)
def test_dry_matter_and_water_are_conserved(
    name: str, route: str, cherry: float, target: float, kept: float, seed: int
) -> None:
    rng = np.random.default_rng(seed)
    made = route_balance(species(name).draw(rng, 5), practice().draw(rng, 5), route, cherry, target, kept)
    assert max(made.closure()) <= 1e-9
    for stage in made.stages:
        assert max(stage.residuals()) <= 1e-9


@pytest.mark.parametrize("name", ["arabica", "robusta", "liberica"])
@pytest.mark.parametrize("route", route_names())
def test_outturn_is_inside_the_published_range(name: str, route: str) -> None:
    # Belitz 2009; ITC Coffee Guide QA 108; measured ratios (species.toml). Independent for
    # arabica; robusta and liberica compositions were set from the same ratios and say so.
    report = report_balance(species(name), practice(), route, 1000.0, 0.11)
    published = species(name).outturn_published
    assert published.low <= report.figures["outturn"].value <= published.high


def test_measured_chain_of_the_washed_route() -> None:
    # A teaching table (primary not traced): cherry to dry parchment 0.1974, to green 0.1590.
    figures = report_balance(species("arabica"), practice(), "washed", 1000.0, 0.11).figures
    assert figures["dry_parchment_kg"].value / 1000.0 == pytest.approx(0.1974, rel=0.04)
    assert figures["outturn"].value == pytest.approx(0.1590, rel=0.06)


def test_measured_chain_of_the_natural_route() -> None:
    # Same table: cherry to dry cherry 0.3397, to green 0.1624.
    figures = report_balance(species("arabica"), practice(), "natural", 1000.0, 0.12).figures
    assert figures["dry_cherry_kg"].value / 1000.0 == pytest.approx(0.3397, rel=0.02)
    assert figures["outturn"].value == pytest.approx(0.1624, rel=0.08)


def test_loss_free_bound_of_incap() -> None:
    # INCAP 1978 (Bressani): pulp 43.2, mucilage 11.8, parchment 6.1, bean 38.9 % fresh at
    # 76.8, 88.3, 32 and 51 % m.c. give 262.7 g dry parchment and 215.6 g green at 12 %.
    fruit = Composition(
        pulp_dm=0.432 * 0.232, pulp_water=0.432 * 0.768,
        mucilage_dm=0.118 * 0.117, mucilage_water=0.118 * 0.883,
        hull_dm=0.061 * 0.68, bean_dm=0.389 * 0.49,
        rest_water=0.061 * 0.32 + 0.389 * 0.51, mucilage_sugar=0.118 * 0.068,
    )  # fmt: skip
    no_loss = practice().stated(float_share=0, pulper_loss_share=0, huller_loss_share=0, husking_loss_share=0)
    made = route_balance(fruit, no_loss.typical(), "washed", 1000.0, 0.12)
    dried = next(s for s in made.stages if s.name == "dry").outputs["dry"]
    assert float(np.asarray(dried.mass)) == pytest.approx(262.7, rel=0.004)
    assert float(np.asarray(made.ends["green"].mass)) == pytest.approx(215.6, rel=0.006)


@pytest.mark.parametrize(("water", "effluent"), [(0.3, 208.0), (0.5, 248.0), (4.17, 982.0)])
def test_washing_effluent(water: float, effluent: float) -> None:
    # Cenicafe Avance Tecnico 486: L per t cherry at 5:1 cherry to dry parchment. Our fruit
    # gives 219.6 kg parchment, so the water term is taken on their 200 kg.
    stated = practice().stated(
        float_share=0, pulper_loss_share=0, pulp_water_l_kg_cherry=0, wash_water_l_kg_parchment=water
    )
    made = route_balance(species("arabica").typical(), stated.typical(), "washed", 1000.0, 0.11)
    parchment = float(np.asarray(made.stages[-2].outputs["dry"].dm)) / 0.89
    on_theirs = float(np.asarray(made.effluent_l)) - water * (parchment - 200.0)
    assert on_theirs == pytest.approx(effluent, abs=2.5)


def test_effluent_strength() -> None:
    # Same source: 25,946 mg/L x 982 L = 25.5 kg COD per t cherry.
    stated = practice().stated(float_share=0, pulper_loss_share=0)
    made = route_balance(species("arabica").typical(), stated.typical(), "washed", 1000.0, 0.11)
    assert float(np.asarray(made.cod_kg)) == pytest.approx(25.5, rel=0.005)


def test_water_of_three_orders_too_much_is_refused() -> None:
    # A trade article prints 10,000 m3 per ton: it must not pass.
    with pytest.raises(RangeError, match="pulp_water"):
        practice().stated(pulp_water_l_kg_cherry=10_000.0)


@pytest.mark.parametrize(
    ("route", "cherry", "target", "kept"),
    [("wet", 1.0, 0.11, 1.0), ("washed", 0.0, 0.11, 1.0), ("washed", -5.0, 0.11, 1.0),
     ("washed", float("nan"), 0.11, 1.0), ("washed", 1.0, 11.0, 1.0), ("washed", 1.0, 0.11, 1.5)],
)  # fmt: skip
def test_refusals(route: str, cherry: float, target: float, kept: float) -> None:
    with pytest.raises(InputError):
        route_balance(species("arabica").typical(), practice().typical(), route, cherry, target, kept)


def test_a_stage_that_leaks_is_caught() -> None:
    leaky = Balance(1.0, "washed")
    with pytest.raises(BalanceError, match="leaves"):
        leaky.add("leak", {"in": Stream(1.0, 2.0)}, {"out": Stream(1.0, 1.999)})


def test_every_band_holds_its_value_and_names_its_sources() -> None:
    for name in species_names():
        for route in route_names():
            for figure in report_balance(species(name), practice(), route, 500.0, 0.11).figures.values():
                assert figure.low <= figure.value <= figure.high
                assert figure.sources
                assert figure.rule


def test_unknown_species() -> None:
    with pytest.raises(InputError, match="arabica, robusta, liberica"):
        species("racemosa")
