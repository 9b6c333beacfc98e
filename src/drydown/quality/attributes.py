"""Attribute plans of ISO 2859-1: how many items to look at, how many bad ones are still accepted.

Single sampling, normal and tightened inspection, and the rules for switching between them. Plans
for reduced inspection are left out: their table is not known here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from scipy import stats

from drydown.errors import InputError, RangeError
from drydown.words import say

__all__ = [
    "AQLS",
    "LEVELS",
    "Plan",
    "Severity",
    "attribute_plan",
    "code_letter",
    "plan_curve",
    "severity_after",
]

LETTERS = "ABCDEFGHJKLMNPQR"
SIZES = (2, 3, 5, 8, 13, 20, 32, 50, 80, 125, 200, 315, 500, 800, 1250, 2000)
AQLS = (0.010, 0.015, 0.025, 0.040, 0.065, 0.10, 0.15, 0.25, 0.40, 0.65, 1.0, 1.5, 2.5, 4.0, 6.5, 10.0)
LEVELS = ("S-1", "S-2", "S-3", "S-4", "I", "II", "III")
_UP_TO = (8, 15, 25, 50, 90, 150, 280, 500, 1200, 3200, 10_000, 35_000, 150_000, 500_000)
_LETTERS = {
    "S-1": "AAAABBBBCCCCDDD", "S-2": "AAABBBCCCDDDEEE", "S-3": "AABBCCDDEEFFGGH", "S-4": "AABCCDEEFGGHJJK",
    "I": "AABCCDEFGHJKLMN", "II": "ABCDEFGHJKLMNPQ", "III": "BCDEFGHJKLMNPQR",
}  # fmt: skip
_NORMAL = (1, 2, 3, 5, 7, 10, 14, 21)
_TIGHTENED = (1, 2, 3, 5, 8, 12, 18)


@dataclass(frozen=True, slots=True)
class Plan:
    """A single sampling plan: look at `size` items, accept up to `accept` bad ones."""

    letter: str
    used_letter: str
    """The letter after following an arrow of the table."""
    size: int
    accept: int
    aql_percent: float
    tightened: bool
    whole: bool
    """The sample is as large as the lot: look at every item."""

    @property
    def reject(self) -> int:
        """The number at which the lot is not accepted."""
        return self.accept + 1


def code_letter(lot_size: int, level: str = "II") -> str:
    """Sample size code letter.

    Args: lot_size [items]; level, one of `LEVELS`. Returns: letter A to R. Valid range: 2 items or
    more. Source: ISO 2859-1, table 1 (all seven levels).
    """
    if lot_size < 2:
        raise RangeError(say("a lot has 2 items or more, not {lot_size}.", lot_size=lot_size), "lot")
    if level not in LEVELS:
        raise InputError(
            say("'{level}' is not an inspection level.", level=level),
            fix=say("One of: {levels}.", levels=", ".join(LEVELS)),
        )
    return _LETTERS[level][sum(lot_size > top for top in _UP_TO)]


def _cell(letter: int, aql: int, tightened: bool) -> int | str:
    """A cell of the master table: the acceptance number, or an arrow.

    Along each diagonal the numbers follow one series; between 0 and 1 stand two arrows (up and down
    in the normal table, both down in the tightened one), before 0 arrows down, after the last up.
    """
    zero = len(LETTERS) - 2 - aql + tightened
    step = letter - zero
    series = _TIGHTENED if tightened else _NORMAL
    if step < 0:
        return "down"
    if step == 0:
        return 0 if zero >= 0 else "down"
    if step in (1, 2):
        return "up" if step == 1 and not tightened and zero >= 0 else "down"
    return series[step - 3] if step - 3 < len(series) else "up"


def attribute_plan(lot_size: int, aql_percent: float, level: str = "II", tightened: bool = False) -> Plan:
    """The plan for a lot.

    Args: lot_size [items]; aql_percent, one of `AQLS` [% nonconforming]; level; tightened.
    Returns: `Plan`. Valid range: percent nonconforming, single sampling, letters to R.
    Source: ISO 2859-1 tables 1 and 2-A; 2-B from memory.
    """
    if aql_percent not in AQLS:
        raise InputError(
            say(
                "{aql_percent:g} % is not an acceptance quality limit of the table.", aql_percent=aql_percent
            ),
            fix=say("One of: {a}.", a=", ".join(f"{a:g}" for a in AQLS)),
        )
    if tightened and aql_percent > 6.5:
        raise InputError("the tightened table for 10 % is not known here.", fix="Take 6.5 % or less.")
    letter, aql = code_letter(lot_size, level), AQLS.index(aql_percent)
    at = LETTERS.index(letter)
    cell = _cell(at, aql, tightened)
    while isinstance(cell, str):
        at += 1 if cell == "down" else -1
        if not 0 <= at < len(LETTERS):
            raise InputError(
                say(
                    "the plan for {aql_percent:g} % lies beyond letter R, which is not known here.",
                    aql_percent=aql_percent,
                ),
                fix="Take another limit or level.",
            )
        cell = _cell(at, aql, tightened)
    size = SIZES[at]
    whole = size >= lot_size
    return Plan(letter, LETTERS[at], lot_size if whole else size, cell, aql_percent, tightened, whole)


def plan_curve(size: int, accept: int, shares: Sequence[float], lot: int | None = None) -> list[float]:
    """Chance of acceptance for lots with given shares of bad items.

    Equation: probability of `accept` or fewer in `size`, hypergeometric for a lot of known size,
    binomial else. Args: size, accept; shares [fraction]; lot [items]. Returns: probabilities.
    Valid range: bad items of a lot are the share rounded to whole ones. Source: NIST/SEMATECH
    e-Handbook, 6.2.3.2 (n = 52, c = 3).
    """
    if lot is not None:
        return [float(stats.hypergeom.cdf(accept, lot, round(p * lot), size)) for p in shares]
    return [float(stats.binom.cdf(accept, size, p)) for p in shares]


@dataclass(frozen=True, slots=True)
class Severity:
    """How the next lot is looked at."""

    state: str
    """`normal`, `tightened` or `stopped`."""
    reduced_allowed: bool
    score: int
    words: str


def severity_after(accepted: Sequence[bool], counts: Sequence[tuple[int, bool]] = ()) -> Severity:
    """Normal or tightened inspection for the next lot, from the lots before it in order.

    Rules: normal to tightened when 2 of 5 or fewer lots in a row were not accepted; back when 5 in
    a row are; stopped when 5 on tightened were not. The switching score rises by 2 (plans that
    accept 0 or 1) or 3 (else, if the lot would pass the next tighter limit too) and falls to 0;
    from 30 on, reduced inspection may be used.
    Args: accepted, lot by lot, first inspections only; counts, for the score, (acceptance number of the
    plan, would pass the next tighter limit) of each lot, or empty. Returns: `Severity`.
    Valid range: one product, one station. Source: ISO 2859-1, clause 9 (from memory).
    """
    state, since, failed, score = "normal", 0, 0, 0
    for i, good in enumerate(accepted):
        if state == "stopped":
            break
        window = accepted[since : i + 1][-5:]
        if state == "normal":
            score = _score(score, good, counts[i]) if i < len(counts) else score
            if sum(not g for g in window) >= 2:
                state, since, failed, score = "tightened", i + 1, 0, 0
        else:
            failed += not good
            if failed >= 5:
                state = "stopped"
            elif len(window) == 5 and all(window):
                state, since, score = "normal", i + 1, 0
    words = {
        "normal": "Normal inspection.",
        "tightened": "Tightened inspection: two lots of the last five, or fewer, were not accepted.",
        "stopped": "Stop accepting on samples: five lots were not accepted on tightened inspection.",
    }
    return Severity(state, state == "normal" and score >= 30, score, words[state])


def _score(score: int, good: bool, count: tuple[int, bool]) -> int:
    accept, tighter = count
    if accept <= 1:
        return score + 2 if good else 0
    return score + 3 if good and tighter else 0
