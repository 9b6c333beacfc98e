"""The published cases, the calibration and what ships of it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import multivariate_t

from drydown.steps.dry.data import form, form_names
from drydown.steps.dry.draws import draw_parameters, joint_draws
from drydown.validation.calibrate import DEGREES, FOLDS, _ln_t, folds
from drydown.validation.cases import GROUPS, all_cases
from drydown.validation.left_out import kept
from drydown.validation.report import groups
from drydown.validation.runs import hours_of
from drydown.validation.score import Held, group_of, held

CASES = all_cases()


def test_every_case_says_where_it_is_from() -> None:
    assert len({c.origin for c in CASES.values()}) >= 30
    for case in CASES.values():
        assert case.grade in "ABC"
        assert case.source
        assert case.conditions
        assert case.status in {"published", "second-hand", "derived", "common practice"}
        assert case.group in GROUPS
        assert 0.04 < case.target_wb < (case.start_wb or 0.75)
        assert case.site is not None or case.where.machine or case.collector_c is not None, case.name
        if case.published_range is not None:
            assert case.published_range[0] <= case.published <= case.published_range[1]


def test_folds_are_by_source_and_by_seed() -> None:
    drawn = folds(list(CASES.values()))
    assert drawn == folds(list(reversed(list(CASES.values()))))
    assert set(drawn.values()) == set(range(FOLDS))


def test_each_source_weighs_the_same() -> None:
    # By hand: one source with three cases forecast 2 times too late, one with one case exact. Geometric mean
    # of the two sources: sqrt(2); weighted median of errors 1, 1, 1 (1/3 each) and 0 (1): 0, at its edge.
    a, b = CASES["R01"], CASES["H01"]
    rows = [Held(replace(a, name=str(i)), 90.0, 2.0 * a.published, 300.0) for i in range(3)]
    rows.append(Held(b, 1.5, b.published, 3.0))
    found = group_of("two", rows)
    assert found.bias == pytest.approx(2.0**0.5)
    assert (found.cases, found.sources, found.inside) == (4, 2, 1)
    assert found.error == pytest.approx(0.0)


def test_the_likelihood_is_a_multivariate_t() -> None:
    # scipy's multivariate t, up to a constant that does not depend on the spreads' arguments.
    gaps, power, own = np.array([[0.3, -0.2, 0.1]]), np.array([1.0, 1.4, 0.7]), np.array([[0.04, 0.09, 0.01]])
    apart = []
    for shared in (0.02, 0.3):
        cov = np.diag(own[0]) + shared * np.outer(power, power)
        exact = multivariate_t(np.zeros(3), cov, df=DEGREES).logpdf(gaps[0])
        apart.append(exact - _ln_t(gaps, np.array([shared]), own, power)[0])
    assert apart[0] == pytest.approx(apart[1], abs=1e-10)


def test_half_and_whole_of_the_published_law() -> None:
    # Parra-Coronado et al. 2008 (second-hand): 40 C, 30 %: 9.88 h to half, 21.81 to a fifth, 39.04 to 12 %.
    # FITTED together with all other cases; predicted without them in docs/validation.md. Gate 25 %. A sphere
    # without a hull gave half in 2.3 h and the end in 55.
    for name in ("R05", "R06", "R02"):
        middle = np.median(hours_of(CASES[name], 40))
        assert middle == pytest.approx(CASES[name].published, rel=0.25)


@pytest.mark.parametrize("name", ["S17", "S07", "M13", "G02", "SU24", "SU20", "S21"])
def test_cases_of_every_kind_run(name: str) -> None:
    found = held(CASES[name], hours_of(CASES[name], 16))
    assert 0.0 < found.p10 <= found.p50 <= found.p90


def test_what_was_left_out_is_kept_and_meets_what_the_page_says() -> None:
    rows = kept(CASES)
    assert set(rows) == {name for name, case in CASES.items() if not case.ratio}
    for group in groups(list(rows.values())):
        if group.cases >= 10:
            assert 0.70 <= group.inside / group.cases <= 0.92, group
    half = groups(list(rows.values()))[-1]
    assert 0.75 <= half.bias <= 1.33


@pytest.mark.parametrize("name", form_names())
def test_ranges_of_the_forms_are_those_of_the_draws(name: str) -> None:
    # A change alarm: forms.toml is written by hand from what the calibration printed.
    kind, rows = form(name), joint_draws()
    drawn = draw_parameters(kind, 400, 1)
    for key in {key for key, _column in kind.joint}:
        r = kind.ranges[key]
        low, middle, high = np.percentile(drawn[key], (5, 50, 95))
        assert middle == pytest.approx(r.typical, rel=0.06), key
        assert low == pytest.approx(r.low, rel=0.08), key
        assert min(high, 0.95 if key == "absorptance" else high) == pytest.approx(r.high, rel=0.08), key
    assert len(rows["h_scale"]) == 400


def test_draws_are_drawn_together() -> None:
    # Diffusivity and hull of parchment hold each other up in the published times: they are not independent.
    rows = joint_draws()
    together = np.corrcoef(np.log(rows["d40_parchment"]), np.log(rows["hull_parchment"]))[0, 1]
    drawn = draw_parameters(form("parchment"), 400, 3)
    found = np.corrcoef(np.log(drawn["d40_m2_s"]), np.log(drawn["hull_kg_m2_s_pa"]))[0, 1]
    assert abs(together) > 0.2
    assert found == pytest.approx(together, abs=0.05)
