"""Tasting sessions: design, sheets, results; statistics held against scipy, statsmodels and by hand."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from scipy import stats

from drydown.errors import DrydownError
from drydown.quality.cup import (
    Tasting,
    attribute_results,
    attributes,
    design,
    drift,
    off_note_results,
    off_notes,
    preparation,
    tasters,
)  # fmt: skip
from drydown.quality.panel import cochran_q, rank_panel

SAMPLES = ("274", "518", "936")


def sheet(name: str, marks: list[float], off: dict[str, dict[int, dict[str, int]]] | None = None) -> Tasting:
    return Tasting(name, {s: {"acidity": m} for s, m in zip(SAMPLES, marks, strict=True)}, off or {})


def test_design_is_balanced_and_coded() -> None:
    """Williams 1949: with as many seats as rows, every sample stands in each place equally often."""
    made = design(4, 8, 5, seed=3)
    assert len(set(made.codes)) == 4
    assert all(len(c) == 3 and "0" not in c for c in made.codes)
    for place in range(4):
        assert sorted(order[place] for order in made.orders) == sorted([*made.codes, *made.codes])
    after = [(a, b) for order in made.orders for a, b in itertools.pairwise(order)]
    assert {after.count(pair) for pair in set(after)} == {2}
    assert design(4, 8, 5, seed=3) == made
    with pytest.raises(DrydownError):
        design(1, 4, 3, 1)
    with pytest.raises(DrydownError):
        design(4, 0, 3, 1)


def test_means_have_intervals_and_a_test() -> None:
    """Student's interval by scipy; Friedman by scipy."""
    sheets = [sheet("a", [3, 5, 8]), sheet("b", [2, 6, 7]), sheet("c", [4, 5, 9]), sheet("d", [3, 4, 6])]
    (found,) = attribute_results(sheets, SAMPLES)
    assert found.means == pytest.approx((3.0, 5.0, 7.5))
    low, high = stats.t.interval(0.95, 3, 5.0, stats.sem([5, 6, 5, 4]))
    assert (found.lows[1], found.highs[1]) == pytest.approx((low, high))
    assert found.ranking is not None
    assert found.ranking.p_value == pytest.approx(
        stats.friedmanchisquare([3, 2, 4, 3], [5, 6, 5, 4], [8, 7, 9, 6]).pvalue
    )
    assert "274 and 936" in found.words
    assert "W = 1.00" in found.words
    flat = attribute_results([sheet("a", [5, 4, 6]), sheet("b", [6, 5, 4])], SAMPLES)
    assert "No difference shown" in flat[0].words


def test_panel_against_statsmodels() -> None:
    """Cochran's Q by statsmodels; Friedman with ties and Kendall's W by scipy, on 60 random tables."""
    from statsmodels.stats.contingency_tables import cochrans_q

    rng = np.random.default_rng(8)
    for _ in range(60):
        ticks = rng.integers(0, 2, (rng.integers(4, 15), rng.integers(2, 6)))
        if len(np.unique(ticks.sum(axis=1))) == 1 and ticks.sum() % ticks.shape[1] == 0:
            continue
        theirs = cochrans_q(ticks)
        if not np.isfinite(theirs.statistic):
            continue
        q, p = cochran_q(ticks.tolist())
        assert (q, p) == pytest.approx((theirs.statistic, theirs.pvalue), abs=1e-9)
        marks = rng.integers(0, 6, (rng.integers(4, 12), 4)).astype(float)
        mine, scipys = rank_panel(marks.tolist()), stats.friedmanchisquare(*marks.T)
        assert (mine.friedman, mine.p_value) == pytest.approx((scipys.statistic, scipys.pvalue), abs=1e-9)
        assert mine.kendall_w == pytest.approx(scipys.statistic / (len(marks) * 3), abs=1e-9)


def test_intervals_of_shares_against_statsmodels() -> None:
    """Clopper-Pearson and the exact Poisson interval by statsmodels."""
    from statsmodels.stats.proportion import proportion_confint
    from statsmodels.stats.rates import confint_poisson

    from drydown.quality.sure import count_interval, share_interval

    for k, n in ((0, 300), (3, 300), (12, 300), (15, 300), (5, 5)):
        assert share_interval(k, n) == pytest.approx(proportion_confint(k, n, method="beta"), abs=1e-9)
    for k in (1, 3, 10, 23, 86):
        assert count_interval(k) == pytest.approx(confint_poisson(k, 1, method="exact-c"), rel=1e-6)


def test_off_notes_by_cup() -> None:
    off = {"518": {2: {"mouldy": 2}}}
    sheets = [sheet("a", [3, 5, 8], off), sheet("b", [2, 6, 7], off), sheet("c", [4, 5, 9])]
    rows, asked = off_note_results(sheets, SAMPLES, 3)
    found = {r.sample: r for r in rows}
    assert (found["518"].tainted, found["518"].even) == (1, "uneven: 1 of 3 cups")
    assert found["518"].notes == {"mouldy": 2}
    assert found["274"].even == "no off-note in any cup"
    assert found["274"].high == pytest.approx(1 - 0.025 ** (1 / 3))  # Clopper-Pearson, none of three
    assert asked is not None
    assert off_note_results(sheets, SAMPLES, 1)[0][0].even == "one cup tells nothing of evenness"


def test_tasters_agreement_and_repeats() -> None:
    sheets = [sheet("a", [3, 5, 8]), sheet("b", [2, 6, 7]), sheet("c", [4, 5, 9]), sheet("d", [9, 5, 2])]
    found = {t.taster: t for t in tasters(sheets, SAMPLES, [("274", "518")])}
    assert found["d"].agreement == pytest.approx(-1.0)
    assert found["a"].agreement is not None
    assert found["a"].agreement > 0.4
    assert found["b"].repeat == pytest.approx(4.0)
    assert tasters(sheets[:2], SAMPLES)[0].agreement is None


def test_drift_of_a_control() -> None:
    """Theil-Sen and Kendall by hand: a straight line has its slope and p = 2/n!."""
    slope, p, words = drift([5.0, 5.2, 5.4, 5.6, 5.8])
    assert slope == pytest.approx(0.2)
    assert p == pytest.approx(2 / 120)
    assert "taste the control together" in words
    assert "no drift" in drift([5, 5, 5, 5, 5])[2]
    with pytest.raises(DrydownError, match="five sessions"):
        drift([5, 5])


@pytest.mark.parametrize(
    ("bad", "says"),
    [
        (Tasting("a", {"111": {"acidity": 5}}, {}), "was not served"),
        (Tasting("a", {"274": {"score": 85}}, {}), "not on the sheet"),
        (Tasting("a", {"274": {"acidity": 11}}, {}), "not from 0 to 10"),
        (Tasting("a", {}, {"274": {9: {"mouldy": 1}}}), "cup 9"),
        (Tasting("a", {}, {"274": {1: {"lovely": 1}}}), "not on the sheet"),
        (Tasting("a", {}, {"274": {1: {"mouldy": 7}}}), "not on the sheet"),
        (Tasting("a", {}, {"999": {1: {"mouldy": 1}}}), "was not served"),
    ],
)  # fmt: skip
def test_bad_sheets_are_answered(bad: Tasting, says: str) -> None:
    with pytest.raises(DrydownError, match=says):
        bad.check(SAMPLES, 5)


def test_the_sheet_has_no_sum() -> None:
    """No bare total: what a panel says is marks with intervals, tests and off-notes."""
    assert not {"total", "score", "overall"} & set(attributes())
    assert "mouldy" in off_notes()
    assert preparation()[1].status == "from memory"
