"""Sampling rules, attribute plans, moisture and density at the bench, causes: against printed values."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from scipy import stats

from drydown.errors import DrydownError, InputError, RangeError
from drydown.quality.attributes import AQLS, attribute_plan, code_letter, plan_curve, severity_after
from drydown.quality.causes import causes, likely_causes
from drydown.quality.meter import (
    bulk_density,
    calibrate,
    mass_of_hundred,
    moisture_figure,
    moisture_methods,
    oven_percent,
)  # fmt: skip
from drydown.quality.sampling import draw_plan, rule_words, sampling_rules, trier
from drydown.quality.scheme import scheme, scheme_names
from drydown.quality.screens import known_screens, renumbered


@pytest.mark.parametrize(
    ("lot", "letter"),
    [(91, "F"), (150, "F"), (151, "G"), (280, "G"), (281, "H"), (500, "H"), (501, "J"),
     (1200, "J"), (1201, "K"), (3200, "K")],
)  # fmt: skip
def test_code_letters_at_level_two(lot: int, letter: str) -> None:
    """ISO 2859-1 table 1, printed."""
    assert code_letter(lot) == letter


def test_code_letters_of_the_special_levels() -> None:
    """ISO 2859-1 table 1 as printed in a national standard and in a chart of the same tables."""
    rows = {120: "BBCDDFG", 400: "BCDEFHJ", 800: "CCEFGJK", 20_000: "CDFHKMN", 600_000: "DEHKNQR"}
    for lot, letters in rows.items():
        assert (
            "".join(code_letter(lot, level) for level in ("S-1", "S-2", "S-3", "S-4", "I", "II", "III"))
            == letters
        )


@pytest.mark.parametrize(
    ("lot", "aql", "size", "accept"),
    [
        (400, 1.0, 50, 1), (1000, 1.0, 80, 2), (1000, 2.5, 80, 5),  # from memory, sure
        (400, 2.5, 50, 3), (200, 2.5, 32, 2), (120, 2.5, 20, 1), (1000, 4.0, 80, 7), (1000, 0.65, 80, 1),
        (120, 6.5, 20, 3), (60, 6.5, 13, 2),  # ISO 2859-1 table 2-A
    ],
)  # fmt: skip
def test_normal_plans(lot: int, aql: float, size: int, accept: int) -> None:
    plan = attribute_plan(lot, aql)
    assert (plan.size, plan.accept, plan.reject) == (size, accept, accept + 1)


def test_arrows_lead_to_the_next_plan_of_the_table() -> None:
    """Table 2-A: for 1.0 %, letter F points up to E (13, 0), G down to H (50, 1), D down to E."""
    assert (attribute_plan(120, 1.0).used_letter, attribute_plan(120, 1.0).size) == ("E", 13)
    assert (attribute_plan(200, 1.0).used_letter, attribute_plan(200, 1.0).size) == ("H", 50)
    assert attribute_plan(40, 1.0).used_letter == "E"
    assert attribute_plan(20, 0.010).whole  # n = 1250 is more than the lot: every item
    assert attribute_plan(20, 0.010).size == 20


def test_tightened_plans_are_one_letter_harder() -> None:
    """Table 2-B (from memory): 1.0 % at J is 80, 1; at K 125, 2; 2.5 % at H is 50, 2."""
    assert attribute_plan(1000, 1.0, tightened=True).accept == 1
    assert attribute_plan(2000, 1.0, tightened=True).accept == 2
    assert attribute_plan(400, 2.5, tightened=True).accept == 2


@pytest.mark.parametrize("tightened", [False, True])
def test_every_plan_of_the_table_keeps_its_promise(tightened: bool) -> None:
    """A lot at the limit passes a normal plan nearly always (87 % is the least of ISO 2859-1's curves for
    zero-acceptance plans); plans with more items never accept a worse share."""
    for aql in AQLS[:-1]:
        seen = {}
        for lot in (8, 15, 25, 50, 90, 150, 280, 500, 1200, 3200, 10_000, 35_000, 150_000, 500_000, 900_000):
            try:
                plan = attribute_plan(lot, aql, tightened=tightened)
            except InputError:
                continue
            if not plan.whole:
                seen[plan.size] = plan.accept
                if not tightened:
                    assert plan_curve(plan.size, plan.accept, [aql / 100])[0] > 0.86
        sizes = sorted(seen)
        assert all(seen[a] <= seen[b] for a, b in pairwise(sizes))


def test_operating_curve_of_the_handbook_plan() -> None:
    """NIST e-Handbook table of n = 52, c = 3 (from memory, sure); its .845 and .739 are .846 and .738."""
    shares = [0.01, 0.02, 0.03, 0.04, 0.05, 0.06, 0.08, 0.10, 0.12]
    printed = [0.998, 0.980, 0.930, 0.846, 0.738, 0.620, 0.394, 0.223, 0.115]
    assert plan_curve(52, 3, shares) == pytest.approx(printed, abs=0.0006)
    assert plan_curve(89, 2, [0.01, 0.02, 0.05]) == pytest.approx([0.9397, 0.7366, 0.1721], abs=5e-5)


def test_switching() -> None:
    """ISO 2859-1 clause 9 (from memory): 2 of 5 to tightened, 5 good ones back, 5 bad ones stop."""
    good, bad = True, False
    assert severity_after([good] * 9).state == "normal"
    assert severity_after([bad, good, good, good, good, bad]).state == "normal"  # 2 of 6
    assert severity_after([bad, good, good, good, bad]).state == "tightened"
    tight = [bad, bad]
    assert severity_after([*tight, *[good] * 4]).state == "tightened"
    assert severity_after([*tight, *[good] * 5]).state == "normal"
    assert severity_after([*tight, good, good, bad, good, good]).state == "tightened"
    assert severity_after([*tight, bad, good, bad, bad, good, bad, bad]).state == "stopped"
    assert severity_after([*tight, *[good] * 5, bad]).state == "normal"  # counted anew after switching
    assert severity_after([good] * 15, [(0, True)] * 15).reduced_allowed
    assert not severity_after([good] * 14, [(0, True)] * 14).reduced_allowed
    assert severity_after([good] * 10, [(3, True)] * 10).reduced_allowed
    assert severity_after([good] * 10, [*[(3, True)] * 9, (3, False)]).score == 0


@pytest.mark.parametrize(
    "call",
    [
        lambda: code_letter(1), lambda: code_letter(5, "IV"), lambda: attribute_plan(100, 3.0),
        lambda: attribute_plan(500, 10.0, tightened=True), lambda: draw_plan(0, "iso-4072"),
        lambda: draw_plan(5, "mine"), lambda: trier("cherry"),
    ],
)  # fmt: skip
def test_what_the_tables_do_not_have_is_refused(call) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(DrydownError):
        call()


def test_bags_by_rule() -> None:
    """ISO 4072 (amounts from memory): 10 %, at least 10; scope of 10 bags and 1000 a lot as printed."""
    plan = draw_plan(320, "iso-4072")
    assert (plan.bags, plan.increments, plan.increment_g) == (32, 42, 36)  # 32 x 36 g would be under 1500
    assert plan.bulk_g >= 1500
    assert draw_plan(40, "iso-4072").bags == 10
    few = draw_plan(6, "iso-4072")
    assert few.bags == 6
    assert any("10 bags or more" in r for r in few.remarks)
    assert few.increment_g <= 36
    assert few.bulk_g >= 1500
    assert any("part it into 3 lots" in r for r in draw_plan(2500, "iso-4072").remarks)
    assert draw_plan(57, "every-bag").bags == 57  # Brazil IN 8/2003: every bag
    assert dict(draw_plan(57, "every-bag").portions) == {"test sample": 300, "counter-test sample": 300}
    assert [draw_plan(n, "small-lots").bags for n in (3, 10, 11, 400)] == [3, 10, 10, 10]
    assert draw_plan(3, "small-lots").increments == 5
    assert draw_plan(300, "toxin").increments == 100  # Reg. (EC) 401/2006: 100 increments, 10 kg
    assert draw_plan(300, "toxin").bulk_g == 10_000
    assert draw_plan(300, "tcvn-5702").bulk_g >= 3000
    assert all(rule_words(rule) for rule in sampling_rules())


def test_triers() -> None:
    """ISO 6666:2011 as printed in TCVN 4809:2013."""
    assert trier("green").sizes["inner diameter"] == "23 to 32 mm"
    assert trier("green").sizes["length"] == "450 mm or more"
    assert trier("parchment").sizes["groove"] == "240 to 260 mm"


def test_oven_moisture() -> None:
    """Definition: 10.000 g of coffee that loses 1.150 g holds 11.5 %."""
    assert oven_percent(20.0, 30.0, 28.85) == pytest.approx(11.5)
    with pytest.raises(RangeError):
        oven_percent(20.0, 28.0, 29.0)


def test_moisture_of_replicates() -> None:
    """t interval by hand: 11.2, 11.4, 11.6: mean 11.4, s 0.2, half 4.303 x 0.2 / sqrt 3 = 0.497."""
    found = moisture_figure([11.2, 11.4, 11.6], "iso-6673-2003")
    assert found.value == pytest.approx(11.4)
    assert found.high - found.value == pytest.approx(0.497, abs=0.001)
    assert found.inputs["against ISO 1446"] == "about 12.4 %"  # ISO 6673:2003, abstract: 1.0 lower
    assert "against ISO 1446" not in moisture_figure([11.2], "iso-6673-2025").inputs
    assert set(moisture_methods()) >= {"meter", "iso-1446-2001"}
    assert "lie apart" in " ".join(moisture_figure([10.5, 11.9], "meter").inputs)


def test_a_meter_is_corrected_by_its_own_pairs() -> None:
    """Ordinary least squares against scipy: exact pairs give the exact line back."""
    pairs = [(9.0, 9.7), (10.0, 10.6), (11.0, 11.5), (12.0, 12.4), (13.0, 13.3)]
    line = calibrate(pairs)
    assert (line.slope, line.offset) == pytest.approx((0.9, 1.6))
    found = moisture_figure([11.0, 11.0], "meter", line)
    assert found.value == pytest.approx(11.5)
    assert calibrate([(10, 10.5), (10.4, 10.9), (10.2, 10.7)]).offset == pytest.approx(0.5)
    assert "outside the calibration" in moisture_figure([20.0], "meter", line).inputs
    with pytest.raises(RangeError, match="three pairs"):
        calibrate([(10, 11)])
    with pytest.raises(RangeError, match="slope"):
        calibrate([(9, 9), (10, 15), (11, 21), (12, 27), (13, 33)])


@pytest.mark.parametrize(("pairs", "readings"), [(3, 1), (4, 3), (5, 1), (10, 1), (10, 3)])
def test_the_corrected_moisture_s_interval_covers(pairs: int, readings: int) -> None:
    """Simulated meters (offset, slope, noise): 95 % intervals hold the oven about 95 times in 100."""
    rng, held = np.random.default_rng(pairs * 10 + readings), 0
    for _ in range(1500):
        oven = rng.uniform(8, 18, pairs)
        slope = 0.9 if pairs >= 5 else 1.0
        meter = (oven - 0.6) / slope + rng.normal(0, 0.25, pairs) / slope
        line = calibrate(list(zip(meter.tolist(), oven.tolist(), strict=True)))
        truth = float(rng.uniform(10, 16))
        seen = (truth - 0.6) / slope + rng.normal(0, 0.25, readings) / slope
        found = moisture_figure(seen.tolist(), "meter", line)
        held += found.low <= truth <= found.high
    assert 0.92 < held / 1500 < 0.98


def test_one_reading_alone_has_no_interval_and_says_so() -> None:
    assert moisture_figure([11.2], "meter").band == "spread not known"
    equal = moisture_figure([11.2, 11.2, 11.2], "meter")
    assert equal.high - equal.low == pytest.approx(0.1)  # half of the last digit each way, not nothing


def test_a_whole_lot_looked_at_has_no_chance() -> None:
    """Hypergeometric: a sample of every item accepts exactly the lots that are good enough."""
    assert plan_curve(5, 0, [0.0, 0.2], lot=5) == [1.0, 0.0]
    assert plan_curve(20, 1, [0.05], lot=100)[0] == pytest.approx(stats.hypergeom.cdf(1, 100, 5, 20))


def test_sieves_are_matched_by_their_holes() -> None:
    """ISO 4150 and n/64 inch: 16 and 12 are one sieve under both; 12½ (5.00) is not 13 (5.16)."""
    found = renumbered({"16": 50.0, "12.5": 30.0, "12": 15.0, "pan": 5.0}, "iso", "inch64")
    assert found == {"16": 50.0, "12": 45.0, "pan": 5.0}
    assert renumbered({"16": 95.0, "pan": 5.0}, "sni", "inch64") == {"pan": 100.0}  # 6.5 mm is no 16/64 inch
    with pytest.raises(InputError, match="stands twice"):
        known_screens({"12.5": 10.0, "12½": 10.0, "pan": 0.0}, "iso")


def test_density_and_hundred_beans() -> None:
    assert bulk_density(0.5, [345.0, 350.0, 355.0]).value == pytest.approx(700.0)
    assert mass_of_hundred([15.0, 16.0]).value == pytest.approx(15.5)
    for fillings in ([900.0], []):
        with pytest.raises(RangeError):
            bulk_density(0.5, fillings)
    with pytest.raises(RangeError):
        mass_of_hundred([90.0])


def test_every_cause_is_of_defects_that_schemes_have() -> None:
    codes = {d.code for name in scheme_names() for d in scheme(name).defects}
    told = [c for cause in causes() for c in cause.codes]
    old = {c for name in scheme_names() for d in scheme(name).defects for c in d.formerly}
    assert set(told) <= codes | old  # a station's own contract may still use the old codes
    assert len(told) == len(set(told))
    vague = {"defect", "other", "full", "imperfection", "undesirable", "triage", "flats"}
    assert codes - set(told) <= vague


def test_causes_come_by_what_they_cost() -> None:
    rules = scheme("washed-arabica-2018")
    weights = {k: float(v) for k, v in rules.weights().items()}
    found = likely_causes(rules, {"broken": 10, "sour": 1, "insect_slight": 4}, weights)
    assert [f.full for f in found] == [2.0, 1.0, 0.4]
    assert "huller" in found[0].cause.words
    assert "washed too late" in found[1].cause.words
    assert likely_causes(rules, {}, weights) == []
