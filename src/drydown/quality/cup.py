"""A tasting: coded cups in balanced order, and what the panel's sheets say, with their doubt."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np
from scipy import stats

from drydown.errors import InputError, RangeError
from drydown.figures import Source, Status
from drydown.quality.intervals import share_interval
from drydown.quality.panel import Ranking, cochran_q, rank_panel, serving_order
from drydown.words import say

__all__ = [
    "AttributeResult", "Design", "OffNotes", "Taster", "Tasting", "attribute_results", "attributes", "design",
    "drift", "off_note_results", "off_notes", "preparation", "tasters",
]  # fmt: skip
SCALE = 10.0


@cache
def _data() -> dict[str, Any]:
    text = (files("drydown.quality") / "cup.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def attributes() -> dict[str, str]:
    """Attributes of the sheet: name and words."""
    return dict(_data()["attributes"])


def off_notes() -> dict[str, str]:
    """Off-notes that can be ticked: name and words."""
    return dict(_data()["off_notes"])


def preparation() -> tuple[tuple[str, ...], Source]:
    """How cups are prepared, with the source."""
    return tuple(_data()["preparation"]), Source(_data()["source"], Status(_data()["status"]))


@dataclass(frozen=True, slots=True)
class Design:
    """A session: codes of samples, the order of each seat, cups per sample."""

    codes: tuple[str, ...]
    orders: tuple[tuple[str, ...], ...]
    cups: int


def design(samples: int, seats: int, cups: int, seed: int) -> Design:
    """Three-digit codes and a serving order for each seat.

    Equation: codes drawn without repetition from 111 to 999, none with a zero; orders are rows of a
    Williams design, taken in turn. Args: samples, seats, cups [-]; seed. Returns: `Design`.
    Valid range: 2 to 12 samples, 1 to 40 seats, 1 to 10 cups; three cups or more tell of evenness.
    Source: ISO 8587 and ISO 6658 for codes and balance (from memory); Williams 1949.
    """
    if not 1 <= seats <= 40 or not 1 <= cups <= 10:
        raise RangeError("a session has 1 to 40 tasters and 1 to 10 cups of each sample.", "session")
    rows = serving_order(samples)
    rng = np.random.default_rng(seed)
    pool = [str(n) for n in range(111, 1000) if "0" not in str(n)]
    codes = tuple(str(c) for c in rng.choice(pool, samples, replace=False))
    start = int(rng.integers(len(rows)))
    orders = tuple(tuple(codes[i] for i in rows[(start + seat) % len(rows)]) for seat in range(seats))
    return Design(codes, orders, cups)


@dataclass(frozen=True, slots=True)
class Tasting:
    """One taster's sheet: marks by sample and attribute [0 to 10], off-notes by sample and cup."""

    taster: str
    marks: Mapping[str, Mapping[str, float]]
    off: Mapping[str, Mapping[int, Mapping[str, int]]]
    """Sample, cup (from 1), note: strength 1 to 3."""

    def check(self, samples: Sequence[str], cups: int) -> None:
        """Refuse marks off the line, unknown words, samples and cups that were not served."""
        for sample in (*self.marks, *self.off):
            if sample not in samples:
                raise InputError(say("sample {sample} was not served.", sample=sample), self.taster)
        for marks in self.marks.values():
            for name, mark in marks.items():
                self._mark(name, mark)
        for sample, by_cup in self.off.items():
            for cup, notes in by_cup.items():
                if not 1 <= cup <= cups:
                    raise RangeError(
                        say("cup {cup} of {sample} was not served.", cup=cup, sample=sample), self.taster
                    )
                for note, strength in notes.items():
                    self._note(note, strength)

    def _mark(self, name: str, mark: float) -> None:
        if name not in attributes():
            raise InputError(say("'{name}' is not on the sheet.", name=name), self.taster)
        if not 0.0 <= mark <= SCALE:
            raise RangeError(
                say("{value}: {mark:g} is not from 0 to 10.", value=attributes()[name], mark=mark),
                self.taster,
            )

    def _note(self, note: str, strength: int) -> None:
        if note not in off_notes() or strength not in {1, 2, 3}:
            raise InputError(
                say(
                    "off-note '{note}' of strength {strength} is not on the sheet.",
                    note=note,
                    strength=strength,
                ),
                self.taster,
            )


@dataclass(frozen=True, slots=True)
class AttributeResult:
    """One attribute over the panel: mean and 95 % interval by sample, and whether samples differ."""

    name: str
    samples: tuple[str, ...]
    means: tuple[float, ...]
    lows: tuple[float, ...]
    highs: tuple[float, ...]
    ranking: Ranking | None
    p_of_all: float
    """The p of the test with all attributes of the sheet counted in (Holm)."""
    words: str


def _holm(chances: Sequence[float]) -> list[float]:
    """Each p with all tests counted in, so that one in twenty sheets, not one in three, shows a false one."""
    order = np.argsort(chances)
    found, least = np.empty(len(chances)), 0.0
    for rank, i in enumerate(order):
        least = max(least, min(1.0, (len(chances) - rank) * chances[i]))
        found[i] = least
    return [float(p) for p in found]


def _complete(sheets: Sequence[Tasting], samples: Sequence[str], name: str) -> list[list[float]]:
    """Rows of tasters who marked every sample for an attribute."""
    rows = [[sheet.marks.get(s, {}).get(name) for s in samples] for sheet in sheets]
    return [[v for v in row if v is not None] for row in rows if None not in row]


def attribute_results(sheets: Sequence[Tasting], samples: Sequence[str]) -> list[AttributeResult]:
    """Every attribute that was marked: means with t intervals over tasters, Friedman's test, agreement.

    Args: sheets; samples in order. Returns: results in the order of the sheet; attributes that
    fewer than two tasters marked for every sample are left out. Valid range: tasters who worked
    apart. Source: Student 1908 for intervals; ISO 8587 for the test; Holm 1979 for many at once.
    """
    whole = {name: _complete(sheets, samples, name) for name in attributes()}
    asked = {name: rows for name, rows in whole.items() if len(rows) >= 2 and len(samples) >= 2}
    rankings = [rank_panel(rows) for rows in asked.values()]
    chances = _holm([r.p_value for r in rankings])
    found = []
    for (name, rows), ranking, chance in zip(asked.items(), rankings, chances, strict=True):
        table = np.array(rows)
        mean = table.mean(axis=0)
        half = stats.t.ppf(0.975, len(rows) - 1) * table.std(axis=0, ddof=1) / len(rows) ** 0.5
        found.append(AttributeResult(
            name, tuple(samples), tuple(map(float, mean)), tuple(map(float, np.maximum(mean - half, 0.0))),
            tuple(map(float, np.minimum(mean + half, SCALE))), ranking, chance,
            _words(ranking, chance, samples),
        ))  # fmt: skip
    return found


def _words(ranking: Ranking, chance: float, samples: Sequence[str]) -> str:
    """What the ranks allow to say."""
    agree = say(
        "agreement W = {kendall_w:.2f}, {assessors} tasters",
        kendall_w=ranking.kendall_w,
        assessors=ranking.assessors,
    )
    if chance >= 0.05:
        return say(
            "No difference shown (p = {chance:.2f} with all attributes counted in; {agree}).",
            chance=chance,
            agree=agree,
        )
    pairs = [
        f"{samples[i]} and {samples[j]}"
        for i in range(len(samples)) for j in range(i + 1, len(samples)) if ranking.differ(i, j)
    ]  # fmt: skip
    said = "; ".join(pairs) if pairs else "no pair by itself"
    return say(
        "Samples differ (p = {chance:.3f} with all attributes counted in; {agree}): {said}.",
        chance=chance,
        agree=agree,
        said=said,
    )


@dataclass(frozen=True, slots=True)
class OffNotes:
    """Off-notes of one sample over all cups and tasters."""

    sample: str
    cups: int
    tainted: int
    low: float
    high: float
    """95 % interval of the share of cups with an off-note."""
    notes: Mapping[str, int]
    even: str
    """What the cups say of evenness."""


def off_note_results(
    sheets: Sequence[Tasting], samples: Sequence[str], cups: int
) -> tuple[list[OffNotes], tuple[float, float] | None]:
    """Off-notes by sample with intervals, and Cochran's test whether samples get them alike often.

    A cup counts as tainted when half of the tasters or more ticked something in it. Args: sheets;
    samples; cups. Returns: (rows, (Q, p) or None where it cannot be asked). Valid range: all tasters
    tasted all cups. Source: Clopper and Pearson 1934; Cochran 1950.
    """
    rows = []
    for sample in samples:
        votes = {cup: sum(bool(s.off.get(sample, {}).get(cup)) for s in sheets) for cup in range(1, cups + 1)}
        tainted = sum(2 * v >= max(1, len(sheets)) and v > 0 for v in votes.values())
        low, high = share_interval(tainted, cups)
        notes: dict[str, int] = {}
        for sheet in sheets:
            for by_note in sheet.off.get(sample, {}).values():
                for note in by_note:
                    notes[note] = notes.get(note, 0) + 1
        even = "one cup tells nothing of evenness" if cups < 3 else (
            "no off-note in any cup" if not tainted else "all cups tainted" if tainted == cups
            else f"uneven: {tainted} of {cups} cups"
        )  # fmt: skip
        rows.append(OffNotes(sample, cups, tainted, low, high, notes, even))
    ticks = [[float(any(s.off.get(sample, {}).values())) for sample in samples] for s in sheets]
    asked = len(sheets) >= 2 and len(samples) >= 2
    return rows, cochran_q(ticks) if asked else None


@dataclass(frozen=True, slots=True)
class Taster:
    """How one taster stands to the others, over all attributes."""

    taster: str
    agreement: float | None
    """Mean rank correlation with the mean of the others; None where it cannot be told."""
    repeat: float | None
    """Mean absolute difference between two cups of the same sample under two codes, points."""


def tasters(
    sheets: Sequence[Tasting], samples: Sequence[str], same: Sequence[tuple[str, str]] = ()
) -> list[Taster]:
    """Agreement and repeatability of each taster.

    Equation: Spearman's correlation with the others' mean, averaged over attributes; mean absolute
    difference over the hidden pairs. Args: sheets; samples; same, pairs of codes that were one
    sample. Returns: one row a taster. Valid range: three samples and three tasters or more for
    agreement. Source: Spearman 1904; own choice of summary.
    """
    found = []
    for sheet in sheets:
        others = [s for s in sheets if s is not sheet]
        ways = []
        for name in attributes():
            rest, mine = _complete(others, samples, name), _complete([sheet], samples, name)
            if len(rest) < 2 or not mine or len(samples) < 3:
                continue
            mean = np.mean(rest, axis=0)
            if np.ptp(mean) > 0 and np.ptp(mine[0]) > 0:
                ways.append(float(stats.spearmanr(mine[0], mean).statistic))
        gaps = [
            abs(sheet.marks[a][n] - sheet.marks[b][n])
            for a, b in same for n in attributes()
            if n in sheet.marks.get(a, {}) and n in sheet.marks.get(b, {})
        ]  # fmt: skip
        found.append(Taster(
            sheet.taster, float(np.mean(ways)) if ways else None, float(np.mean(gaps)) if gaps else None
        ))  # fmt: skip
    return found


def drift(marks: Sequence[float]) -> tuple[float, float, str]:
    """Whether marks of one control sample wander from session to session.

    Equation: Theil-Sen slope with Kendall's test. Args: marks of the control, oldest first.
    Returns: (points a session, p, words). Valid range: 5 sessions or more. Source: Sen 1968; Kendall 1938.
    """
    if len(marks) < 5:
        raise RangeError(
            say("five sessions or more tell of drift; there are {marks}.", marks=len(marks)), "drift"
        )
    at = np.arange(len(marks), dtype=float)
    values = np.array(marks, dtype=float)
    slope = float(stats.theilslopes(values, at).slope)
    p = 1.0 if np.ptp(values) == 0 else float(stats.kendalltau(at, values).pvalue)
    said = (
        say("wanders by {slope:+.2f} points a session (p = {p:.3f}): taste the control together "
"again", slope=slope, p=p)
        if p < 0.05 else say("no drift shown (p = {p:.2f})", p=p)
    )  # fmt: skip
    return slope, p, said
