"""How sure a grade is: intervals of counts, operating characteristics, probability of each grade."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from scipy import stats

from drydown.errors import InputError, RangeError
from drydown.figures import Band, Figure, Source, Status
from drydown.quality.grade import NO_GRADE, OR_BETTER, Verdict, named, tried
from drydown.quality.intervals import count_interval, share_interval
from drydown.quality.sample import Sheet
from drydown.words import say

__all__ = [
    "Advice",
    "another_sample",
    "count_interval",
    "grade_probabilities",
    "operating_characteristic",
    "over_dispersion",
    "share_interval",
    "total_figure",
]

DRAWS = 4000
HALF = Fraction(1, 2)


def operating_characteristic(limit: int, means: Sequence[float]) -> list[float]:
    """Probability that a sample passes "at most `limit`", for lots of given true means.

    Equation: Poisson probability of `limit` or fewer. Args: limit; means [full defects per
    sample]. Returns: probabilities. Valid range: independent full defects of weight 1.
    Source: Poisson; ISO 2859-1 curves are of the same kind.
    """
    return [float(stats.poisson.cdf(limit, m)) for m in means]


def over_dispersion(bags: Sequence[Mapping[str, int]], weights: Mapping[str, Fraction]) -> float:
    """How much more totals vary between bags than chance alone; never below 1.

    Equation: variance over mean of the weighted totals, over the same ratio expected of
    independent counts. Args: bags, counts by defect of three bags or more; weights.
    Returns: factor. Valid range: 3 bags or more, alike in mass; 1 when nothing was found.
    Source: index of dispersion.
    """
    if len(bags) < 3:
        raise RangeError(say("three bags or more tell the spread; there are {bags}.", bags=len(bags)), "bags")
    totals = np.array([sum(float(weights[c]) * n for c, n in bag.items()) for bag in bags])
    expected = np.array([sum(float(weights[c]) ** 2 * n for c, n in bag.items()) for bag in bags])
    if expected.mean() == 0:
        return 1.0
    return max(1.0, float(totals.var(ddof=1) / expected.mean()))


def total_figure(verdict: Verdict, dispersion: float = 1.0) -> Figure:
    """The total with its standard error, as a figure with a 95 % band.

    Equation: T = sum w n; variance = dispersion x sum w2 n. Args: verdict; dispersion factor.
    Returns: figure [full defects]. Valid range: independent counts; the band is normal, cut at 0.
    Source: variance of a weighted sum of Poisson counts.
    """
    weights = verdict.scheme.weights(dict(verdict.options))
    counts = verdict.sheet.counts
    total = float(verdict.total)
    scale = float(verdict.factor)
    error = scale * (dispersion * sum(float(weights[c]) ** 2 * n for c, n in counts.items())) ** 0.5
    inputs = {verdict.scheme.defect(c).words: f"{n} x {weights[c]}" for c, n in counts.items() if n}
    inputs["standard error"] = f"{error:.2f}"
    if verdict.scaled:
        inputs["brought to the scheme's mass"] = verdict.scaled
    if dispersion > 1.0:
        inputs["bags vary more than chance"] = f"{dispersion:.2f} times"
    mass = verdict.scheme.sample_g or verdict.sheet.sample_g
    rule: str = say("pieces times what each counts, per {mass:g} g", mass=mass)
    high = total + 1.96 * error
    if counts and not any(counts.values()):
        high = scale * count_interval(0)[1]
        rule += "; nothing found: up to 3.69 pieces of one full defect each may be missed (Garwood 1936)"
    own = Source("95 % by the variance of weighted counts", Status.DERIVED)
    return Figure(
        total, "full defects", max(0.0, total - 1.96 * error), high, Band.INTERVAL_95, rule,
        inputs, (*verdict.sources(), own),
    )  # fmt: skip


def _draw(counts: Mapping[str, int], rng: np.random.Generator, phi: float, n: int) -> dict[str, np.ndarray]:
    """True means of each class that would give these counts, over-dispersed.

    Gamma with half a piece of prior over all classes together (Jeffreys for one class): a class
    that was looked for and not found adds next to nothing, as it should.
    """
    prior = 0.5 / max(len(counts), 1)
    return {c: rng.gamma((k + prior) / phi, phi, n) for c, k in counts.items()}


def grade_probabilities(verdict: Verdict, dispersion: float = 1.0, seed: int = 1) -> dict[str, float]:
    """Probability of each grade for the lot behind the sample, by its counts alone.

    Equation: true mean of each class ~ Gamma(n + 1/(2 K)), K classes, brought to the scheme's mass and
    graded as a sheet would be; a class that was not found and is below half a piece counts as none.
    Args: verdict; dispersion factor; seed. Returns: probability by grade ("or better" where a better
    one is not ruled out), the share that stays open for want of answers, and the rest under what the
    scheme calls it. Valid range: counts; masses, screens and moisture are taken as exact.
    Source: Poisson-gamma; own method, 4000 draws.
    """
    rng = np.random.default_rng(seed)
    counts = {d.code: verdict.sheet.counts.get(d.code, 0) for d in verdict.scheme.defects if d.counts}
    if not verdict.sheet.counts:
        return {verdict.words: 1.0}
    weights = verdict.scheme.weights(dict(verdict.options))
    drawn = _draw(counts, rng, dispersion, DRAWS)
    found: dict[str, int] = {}
    for i in range(DRAWS):
        means = {c: Fraction(float(v[i])).limit_denominator(1000) for c, v in drawn.items()}
        means = {c: m if counts[c] or m >= HALF else Fraction(0) for c, m in means.items()}
        full = {c: m * weights[c] * verdict.factor for c, m in means.items()}
        name = _graded(verdict, full, means)
        found[name] = found.get(name, 0) + 1
    names = [named(t.grade, better) for t in verdict.tried for better in (False, True)]
    names += [NO_GRADE, verdict.scheme.below]
    return {n: found[n] / DRAWS for n in dict.fromkeys(names) if n in found}


def _graded(verdict: Verdict, full: dict[str, Fraction], means: dict[str, Fraction]) -> str:
    """The grade of a lot whose true means are known."""
    total = sum(full.values(), Fraction(0))
    plain: Sheet = verdict.sheet.model_copy(update={"counts": means})
    open_above = False
    for one in verdict.tried:
        found = tried(verdict.scheme, one.grade, plain, full, total)
        if found.passed:
            return named(one.grade, open_above)
        open_above = open_above or not found.failed
    return NO_GRADE if open_above else verdict.scheme.below


@dataclass(frozen=True, slots=True)
class Advice:
    """Whether counting another sample is worth it."""

    change: float | None
    """Probability that two samples together give another grade; None where it cannot be told."""
    worth: float | None
    """Expected price put right, per kg, in the money of the price table; None where it cannot be told."""
    words: str


def _known_prices(verdict: Verdict, prices: Mapping[str, float]) -> None:
    """Refuse prices of grades that the scheme does not have."""
    names = list(dict.fromkeys([*(t.grade.name.strip() for t in verdict.tried), verdict.scheme.below]))
    odd = [name for name in prices if name not in names]
    if odd:
        raise InputError(
            say("'{value}' is not a grade here.", value=odd[0]),
            "prices",
            say("There are: {names}.", names=", ".join(names)),
        )
    if not all(0.0 <= price < 1e12 for price in prices.values()):
        raise InputError("a price is not a number of zero or more.", "prices")


def _price(prices: Mapping[str, float], named_grade: str) -> float:
    name = named_grade.removesuffix(OR_BETTER)
    if name not in prices:
        raise InputError(
            say("'{name}' can come out and has no price.", name=name),
            "prices",
            "Write a price for it, 0 if none.",
        )
    return prices[name]


def _cannot_be_told(why: str) -> Advice:
    return Advice(None, None, say("Whether a second sample is worth it cannot be told: {why}.", why=why))


def another_sample(
    verdict: Verdict,
    prices: Mapping[str, float],
    cost_per_kg: float = 0.0,
    dispersion: float = 1.0,
    seed: int = 1,
) -> Advice:
    """Whether a second sample of the same size would change the grade, and what that is worth.

    Equation: second counts ~ Poisson(true mean); the mean of both is graded. Worth = expected
    absolute change of price. Args: verdict; prices per kg by grade [money]; cost of counting per
    kg of the lot; dispersion; seed. Returns: `Advice`.
    Valid range: prices for every grade that can come out. Source: own method, 1000 draws.
    """
    _known_prices(verdict, prices)
    if not verdict.sheet.counts or not any(d.counts for d in verdict.scheme.defects):
        return _cannot_be_told("nothing was counted in pieces, and masses do not say how they would vary")
    if verdict.words == NO_GRADE:
        return _cannot_be_told("the sheet lacks answers")
    rng = np.random.default_rng(seed)
    seen = verdict.sheet.counts
    counts = {d.code: seen.get(d.code, 0) for d in verdict.scheme.defects if d.counts}
    weights = verdict.scheme.weights(dict(verdict.options))
    drawn, now = _draw(counts, rng, dispersion, 1000), verdict.words
    changes, worth = 0, 0.0
    for i in range(1000):
        second = {c: int(rng.poisson(float(v[i]))) for c, v in drawn.items()}
        means = {c: Fraction(counts[c] + second[c], 2) for c in counts}
        full = {c: m * weights[c] * verdict.factor for c, m in means.items()}
        name = _graded(verdict, full, means)
        if name == NO_GRADE:
            return _cannot_be_told("some outcomes stay open, as the sheet lacks answers")
        if name != now:
            changes += 1
            worth += abs(_price(prices, name) - _price(prices, now))
    change, worth = changes / 1000, worth / 1000
    good = worth > cost_per_kg and change >= 0.01
    end = "count it." if good else "not worth its cost."
    if cost_per_kg <= 0.0:
        end = "compare that with what counting costs, per kg of the lot."
    words = say(
        "A second sample would change the grade, up or down, with probability {change:.0%}; "
        "the price it would put right is {worth:.3g} per kg on average: {end}",
        change=change,
        worth=worth,
        end=end,
    )
    return Advice(change, worth, words)
