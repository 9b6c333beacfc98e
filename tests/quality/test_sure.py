"""Counting statistics and panels against printed tables, textbook cases and scipy."""

from __future__ import annotations

import itertools

import pytest
from scipy import stats

from drydown.errors import InputError, RangeError
from drydown.quality.grade import grade_sheet
from drydown.quality.panel import cochran_q, page_trend, rank_panel, serving_order, triangle
from drydown.quality.sample import Sheet
from drydown.quality.scheme import scheme
from drydown.quality.screens import hole_mm, retained_percent, share_above
from drydown.quality.sure import (
    another_sample,
    count_interval,
    grade_probabilities,
    operating_characteristic,
    over_dispersion,
    share_interval,
    total_figure,
)


@pytest.mark.parametrize(
    ("k", "low", "high"),
    # Garwood's intervals as printed for k = 0 and 10; the others computed by the same formula elsewhere.
    [(0, 0.0, 3.689), (10, 4.795, 18.39), (3, 0.619, 8.767), (5, 1.623, 11.668), (23, 14.58, 34.51),
     (86, 68.79, 106.21)],
)  # fmt: skip
def test_poisson_intervals(k: int, low: float, high: float) -> None:
    found = count_interval(k)
    assert found[0] == pytest.approx(low, abs=0.006)
    assert found[1] == pytest.approx(high, abs=0.006)


@pytest.mark.parametrize(
    ("k", "low", "high"), [(0, 0.0, 1.22), (3, 0.21, 2.89), (12, 2.08, 6.88), (15, 2.83, 8.11)]
)
def test_binomial_intervals(k: int, low: float, high: float) -> None:
    # Clopper-Pearson for k of 300, %; held against scipy's own as well.
    found = share_interval(k, 300)
    assert [round(100 * f, 2) for f in found] == [low, high]
    exact = stats.binomtest(k, 300).proportion_ci(method="exact")
    assert found == pytest.approx((exact.low, exact.high))


def test_operating_characteristics() -> None:
    # c = 5 full defects: passes with 95, 50 and 10 % at true means of 2.61, 5.67 and 9.27.
    for limit, means in ((3, (1.37, 3.67, 6.68)), (5, (2.61, 5.67, 9.27)), (23, (16.55, 23.67, 30.45))):
        assert operating_characteristic(limit, means) == pytest.approx([0.95, 0.50, 0.10], abs=0.003)


def test_a_lot_just_above_the_limit_passes_half_the_time() -> None:
    assert operating_characteristic(5, [5.67])[0] == pytest.approx(0.5, abs=0.01)


def test_weighted_totals_carry_their_error() -> None:
    # Ten broken at 1/5 make 2 with standard error 0.63; two blacks make 2 with 1.41.
    rules = scheme("brazil-in8")
    broken = total_figure(grade_sheet(Sheet(sample_g=300, counts={"broken": 10}), rules))
    black = total_figure(grade_sheet(Sheet(sample_g=300, counts={"black": 2}), rules))
    assert (broken.value, broken.inputs["standard error"]) == (2.0, "0.63")
    assert (black.value, black.inputs["standard error"]) == (2.0, "1.41")


def test_probability_of_a_grade_by_hand() -> None:
    # One class of weight 1, five found, limit 5: the true mean is Gamma(5.5), P(mean <= 5) by scipy.
    found = grade_sheet(
        Sheet(sample_g=350, counts={"broken": 25}, moisture_percent=11, quakers=0), scheme("us-2018")
    )
    assert found.words == "specialty"
    own = grade_sheet(Sheet(sample_g=300, counts={"defect": 12}, species="arabica"), scheme("ethiopia"))
    chances = grade_probabilities(own)
    assert sum(chances.values()) == pytest.approx(1.0)
    below = float(stats.gamma.cdf(12, 12.5) - stats.gamma.cdf(3, 12.5))
    assert chances["grade 2"] == pytest.approx(below, abs=0.025)
    assert grade_probabilities(own) == chances
    wide = grade_probabilities(own, dispersion=3.0)
    assert wide["grade 2"] != chances["grade 2"]


def test_another_sample_is_worth_more_near_a_limit() -> None:
    prices = {"grade 1": 6.0, "grade 2": 5.0, "grade 3": 4.0, "grade 4": 3.0, "grade 5": 2.0}
    rules = scheme("ethiopia")
    near = another_sample(
        grade_sheet(Sheet(sample_g=300, counts={"defect": 12}, species="arabica"), rules), prices
    )
    far = another_sample(
        grade_sheet(Sheet(sample_g=300, counts={"defect": 18}, species="arabica"), rules), prices
    )
    assert near.change is not None
    assert near.worth is not None
    assert far.change is not None
    assert far.worth is not None
    assert near.change > 2 * far.change
    assert near.worth > far.worth
    assert "compare that with what counting costs" in near.words
    assert "not worth" in another_sample(
        grade_sheet(Sheet(sample_g=300, counts={"defect": 12}, species="arabica"), rules), prices, 10.0
    ).words  # fmt: skip


def test_bags_that_vary_more_than_chance() -> None:
    rules = scheme("brazil-in8").weights()
    alike = [{"black": n} for n in (5, 4, 6, 5, 5, 5)]
    assert over_dispersion(alike, rules) == 1.0
    # by hand: totals 0, 10, 0, 10: mean 5, sample variance 33.33, over 5 = 6.67
    assert over_dispersion([{"black": n} for n in (0, 10, 0, 10)], rules) == pytest.approx(6.667, abs=0.001)
    with pytest.raises(RangeError, match="three bags"):
        over_dispersion(alike[:2], rules)


def _ranks(sums: tuple[int, ...], rows: int) -> list[list[float]]:
    """Some ranks with given sums: greedy, then mended by swaps."""
    import random

    rng = random.Random(4)
    table = [rng.sample(range(1, len(sums) + 1), len(sums)) for _ in range(rows)]

    def off() -> int:
        return sum(abs(sum(r[i] for r in table) - s) for i, s in enumerate(sums))

    while off():
        row, (i, j) = rng.choice(table), rng.sample(range(len(sums)), 2)
        before = off()
        row[i], row[j] = row[j], row[i]
        if off() > before and rng.random() > 0.1:
            row[i], row[j] = row[j], row[i]
    return [[float(v) for v in r] for r in table]


def test_friedman_example_of_iso_8587() -> None:
    # ISO 8587, annex example: 8 assessors, 5 samples, rank sums 17, 31, 32, 23, 17: F = 10.60, LSRD
    # 12.40; p = .0314 and W = .331 computed from it.
    found = rank_panel(_ranks((17, 31, 32, 23, 17), 8))
    assert found.rank_sums == (17, 31, 32, 23, 17)
    assert round(found.friedman, 2) == 10.60
    assert round(found.lsrd, 2) == 12.40
    assert round(found.p_value, 4) == 0.0314
    assert round(found.kendall_w, 3) == 0.331
    assert found.differ(0, 2)
    assert not found.differ(0, 3)


def test_kendall_w_of_the_open_mathematics_reference() -> None:
    # 4 judges, 3 objects, sums 7, 9, 8: S = 2, W = 1/16. And a page that prints W = 0.73 for sums
    # 9, 7, 8, 18, 18 of 4 judges x 5 is wrong: 0.7625.
    assert rank_panel(_ranks((7, 9, 8), 4)).kendall_w == pytest.approx(1 / 16)
    assert rank_panel(_ranks((9, 7, 8, 18, 18), 4)).kendall_w == pytest.approx(0.7625)


def test_friedman_with_ties_as_scipy_has_it() -> None:
    scores = [[5, 7, 7, 3], [6, 6, 8, 2], [4, 7, 9, 4], [5, 5, 8, 3], [7, 6, 9, 1]]
    found = rank_panel(scores)
    theirs = stats.friedmanchisquare(*[[row[i] for row in scores] for i in range(4)])
    assert found.friedman == pytest.approx(theirs.statistic)
    assert found.p_value == pytest.approx(theirs.pvalue)


def test_lsrd_of_seven_and_six() -> None:
    # A published 15.06 uses another root; the correct figure is 13.72.
    found = rank_panel([[1, 2, 3, 4, 5, 6]] * 7)
    assert found.lsrd == pytest.approx(13.72, abs=0.005)


def test_page_trend_is_scipy_s() -> None:
    scores = [[1, 2, 3, 4], [2, 1, 3, 4], [1, 3, 2, 4], [1, 2, 4, 3]]
    theirs = stats.page_trend_test(scores)
    assert page_trend(scores) == pytest.approx((theirs.statistic, theirs.pvalue))


def test_cochran_s_q_reduces_to_mc_nemar_s() -> None:
    # With two samples Q is McNemar's (b - c)2 / (b + c): 7 and 2 gives 25/9.
    ticks = [[1, 0]] * 7 + [[0, 1]] * 2 + [[1, 1]] * 3 + [[0, 0]] * 4
    assert cochran_q(ticks)[0] == pytest.approx(25 / 9)
    assert cochran_q([[1, 1], [0, 0]]) == (0.0, 1.0)
    with pytest.raises(RangeError, match="0 or 1"):
        cochran_q([[2, 1], [0, 0]])


def test_triangle_numbers() -> None:
    # ISO 4120's table of this binomial at 5 %: 12 tasters need 8, 24 need 13 (from memory), 6 need 5.
    assert triangle(8, 12).needed == 8
    assert triangle(8, 12).p_value == pytest.approx(stats.binomtest(8, 12, 1 / 3, "greater").pvalue)
    with pytest.raises(RangeError):
        triangle(5, 4)


@pytest.mark.parametrize("n", range(2, 9))
def test_serving_orders_are_balanced(n: int) -> None:
    rows = serving_order(n)
    for place in range(n):
        assert sorted(row[place] for row in rows) == sorted(list(range(n)) * (len(rows) // n))
    after = [pair for row in rows for pair in itertools.pairwise(row)]
    counts = {pair: after.count(pair) for pair in set(after)}
    assert len(set(counts.values())) == 1
    assert len(counts) == n * (n - 1)


def test_zeros_that_are_written_change_no_chance() -> None:
    """A class that was looked for and not found says nearly nothing: written or left out is the same."""
    rules = scheme("brazil-in8")
    bare = grade_sheet(Sheet(sample_g=300, counts={"black": 2}, species="arabica"), rules)
    zeros = {d.code: 0 for d in rules.defects} | {"black": 2}
    full = grade_sheet(Sheet(sample_g=300, counts=zeros, species="arabica"), rules)
    assert grade_probabilities(bare) == grade_probabilities(full)
    assert max(grade_probabilities(full).values()) > 0.5


def test_prices_must_fit_the_grades() -> None:
    rules = scheme("ethiopia")
    verdict = grade_sheet(Sheet(sample_g=300, counts={"defect": 12}, species="arabica"), rules)
    for prices, says in (
        ({"grade 9": 1.0}, "is not a grade here"), ({"grade 1": 6.0}, "has no price"),
        ({"grade 1": float("nan")}, "zero or more"), ({"grade 1": -1.0}, "zero or more"),
    ):  # fmt: skip
        with pytest.raises(InputError, match=says):
            another_sample(verdict, prices)


def test_panels_with_holes_are_refused() -> None:
    for bad in ([[1.0, 2.0]], [[1.0], [2.0]], [[1.0, float("nan")], [1.0, 2.0]]):
        with pytest.raises(RangeError):
            rank_panel(bad)


def test_screens_are_a_table() -> None:
    # ISO 4150:2011 table A.1; one origin's 16 is 6.5 mm, and 5.00 mm is 12½ in one table, 13 in another.
    assert [hole_mm(n) for n in ("20", "18", "16", "12½", "12")] == [8.0, 7.1, 6.3, 5.0, 4.75]
    assert (hole_mm("16", "sni"), hole_mm("13", "india")) == (6.5, 5.0)
    with pytest.raises(Exception, match="'13' is not a screen of the iso table"):
        hole_mm("13")
    assert retained_percent({"18": 60.0, "16": 30.0, "pan": 10.0}, "16") == 90.0
    with pytest.raises(Exception, match="was not in the stack"):
        retained_percent({"18": 60.0, "pan": 10.0}, "16")


def test_share_on_a_screen_has_the_published_error() -> None:
    # 90 % retained: about 2.3 points either side on 667 beans (100 g), 1.3 on 2,000 (300 g).
    for grams, half in ((100.0, 2.3), (300.0, 1.3)):
        found = share_above(90.0, grams, 0.15)
        assert 100 * (found.high - found.low) / 2 == pytest.approx(half, abs=0.15)


def test_small_panels_are_counted_out() -> None:
    """Six tasters, three samples, rank sums 7, 14, 15: p = 0.052 by all orders; printed limit 7.00.

    Friedman 1937 and the tables after it: J = 6, P = 3: 7.000; J = 5, P = 3: 6.400.
    """
    rows = [[1, 2, 3], [1, 3, 2], [1, 2, 3], [1, 3, 2], [1, 2, 3], [2, 1, 3]]
    found = rank_panel([[1, 2, 3]] * 5)
    assert found.exact is not None
    assert found.exact[1] == pytest.approx(6.4)
    six = rank_panel(rows)
    assert six.exact is not None
    assert six.exact[1] == pytest.approx(7.0)
    sums = six.rank_sums
    import itertools

    orders = list(itertools.permutations((1, 2, 3)))
    limit, hits = sum(s * s for s in sums), 0
    for choice in itertools.product(orders, repeat=6):
        hits += sum(sum(r[i] for r in choice) ** 2 for i in range(3)) >= limit
    assert six.exact[0] == pytest.approx(hits / 6**6)


@pytest.mark.parametrize(
    ("tasters", "samples", "five", "one"),
    [(5, 4, 137, 141), (4, 3, 54, 55), (6, 3, 79, 81), (3, 4, 84, 87)],
)
def test_page_s_limits_are_the_printed_ones(tasters: int, samples: int, five: int, one: int) -> None:
    """Page 1963, table of L for small panels (also ISO 8587, table of Page's test)."""
    from drydown.quality.panel import page_limits

    assert page_limits(tasters, samples) == (five, one)


def test_page_with_ties_counts_half_ranks() -> None:
    """By hand for one taster and three samples: ranks 1.5, 1.5, 3 give L = 13.5, the most of three orders."""
    statistic, p = page_trend([[1, 1, 2], [1, 1, 2]])
    assert statistic == 27.0
    assert p == pytest.approx(1 / 9)


def test_the_interval_is_brought_to_the_scheme_s_mass() -> None:
    """2 black and 20 broken in 300 g, scheme of 350 g: error sqrt(2 + 20/25) x 350/300 = 1.95."""
    rules = scheme("washed-arabica-2018")
    sheet = Sheet(sample_g=300, counts={"black": 2, "broken": 20}, species="arabica")
    figure = total_figure(grade_sheet(sheet, rules))
    assert figure.value == pytest.approx(7.0)
    assert figure.high - figure.value == pytest.approx(1.96 * 1.952, abs=0.01)
    assert "300 g" in grade_sheet(sheet, rules).scaled


def test_a_clean_sample_is_not_likely_outside() -> None:
    sheet = Sheet(sample_g=350, counts={"black": 0}, species="arabica", quakers=0, moisture_percent=11)
    chances = grade_probabilities(grade_sheet(sheet, scheme("washed-arabica-2018")))
    assert max(chances, key=lambda name: chances[name]).startswith("specialty")


def test_an_open_general_condition_is_in_the_headline() -> None:
    sheet = Sheet(sample_g=300, counts={"black": 10}, species="arabica")
    assert "open" in grade_sheet(sheet, scheme("sni-2008")).headline
    assert (
        "open"
        not in grade_sheet(sheet.model_copy(update={"moisture_percent": 12.0}), scheme("sni-2008")).headline
    )
