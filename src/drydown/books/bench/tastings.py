"""Tasting sessions in the books: opened with codes and orders, one sheet a seat, read together after."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from drydown.books.bench.sheets import record_sheet, sample_of, session_of
from drydown.books.journal.write import Who, writing
from drydown.books.models import BenchSheet
from drydown.errors import InputError
from drydown.quality.cup import (
    AttributeResult,
    OffNotes,
    Taster,
    Tasting,
    attribute_results,
    attributes,
    design,
    drift,
    off_note_results,
    tasters,
)
from drydown.words import say

__all__ = ["Results", "keep_tasting", "open_session", "results", "taken_seats"]


def open_session(
    name: str, samples: Sequence[int], seats: int, cups: int, twice: int | None, roast: str, key: uuid.UUID,
    at: datetime | None, who: Who,
) -> BenchSheet:  # fmt: skip
    """Open a session on samples by their numbers; `twice` is served under two codes, to see who repeats.

    Codes and orders follow from the key, so that a form sent twice opens one session.
    """
    served = [*samples, *([twice] if twice is not None else [])]
    if len(set(samples)) < len(samples) or (twice is not None and twice not in samples):
        raise InputError("a sample stands twice, or the repeated one is not among them.", "tasting")
    made = design(len(served), seats, cups, seed=key.int % 2**32)
    same = [(made.codes[samples.index(twice)], made.codes[-1])] if twice is not None else []
    told = {
        "name": name.strip()[:60] or "tasting", "samples": served, "codes": list(made.codes),
        "orders": [list(o) for o in made.orders], "cups": cups, "roast": roast, "same": same,
    }  # fmt: skip
    with writing():
        for number in samples:
            sample_of(number)
        return record_sheet("session", told, key, at, who)


def _sheets(number: int) -> list[BenchSheet]:
    return list(
        BenchSheet.objects.filter(session_no=number, kind="tasting", undone=False).order_by("entry_id")
    )


def taken_seats(number: int) -> dict[int, str]:
    """Seats that have answered, and who sat there."""
    return {s.told["seat"]: s.told["taster"] for s in _sheets(number)}


def _as_tasting(told: dict[str, Any]) -> Tasting:
    off = {code: {int(cup): notes for cup, notes in cups.items()} for code, cups in told["off"].items()}
    return Tasting(told["taster"], told["marks"], off)


def keep_tasting(
    number: int, told: dict[str, Any], key: uuid.UUID, at: datetime | None, who: Who
) -> BenchSheet:
    """Keep one seat's sheet; a seat answers once, until its sheet is taken back."""
    with writing():
        session = session_of(number)
        if not 1 <= told["seat"] <= len(session.told["orders"]):
            raise InputError(say("there is no seat {seat}.", seat=told["seat"]), "tasting")
        _as_tasting(told).check(session.told["codes"], session.told["cups"])
        if not any(told["marks"].values()) and not any(told["off"].values()):
            raise InputError("nothing is marked on the sheet.", "tasting")
        others = [s for s in _sheets(number) if s.entry.key != key]
        if any(s.told["seat"] == told["seat"] for s in others):
            raise InputError(
                say("seat {seat} has answered already.", seat=told["seat"]),
                "tasting",
                "Take that sheet back first.",
            )
        if any(s.told["taster"] == told["taster"] for s in others):
            raise InputError(say("{taster} sits at another seat already.", taster=told["taster"]), "tasting")
        return record_sheet("tasting", told, key, at, who, session=number)


@dataclass(frozen=True, slots=True)
class Results:
    """A session read together."""

    names: dict[str, int]
    """Code and sample number."""
    attributes: list[AttributeResult]
    off: list[OffNotes]
    alike: tuple[float, float] | None
    tasters: list[Taster]
    words: dict[str, list[str]]
    drift: list[tuple[int, str, str]]
    """Control sample, attribute, what its marks say over the sessions."""


def results(number: int) -> Results:
    """Everything that the sheets of a session allow to say, never one number alone."""
    session = session_of(number)
    told, kept = session.told, _sheets(number)
    sheets = [_as_tasting(s.told) for s in kept]
    codes = told["codes"]
    off, alike = off_note_results(sheets, codes, told["cups"]) if sheets else ([], None)
    words: dict[str, list[str]] = {}
    for s in kept:
        for code, text in s.told["words"].items():
            if text:
                words.setdefault(code, []).append(text)
    return Results(
        dict(zip(codes, told["samples"], strict=True)), attribute_results(sheets, codes), off, alike,
        tasters(sheets, codes, [(a, b) for a, b in told["same"]]), words, _drifts(told["samples"]),
    )  # fmt: skip


def _drifts(samples: Sequence[int]) -> list[tuple[int, str, str]]:
    """For samples served in five sessions or more: how the panel's mean marks wander."""
    sessions = list(BenchSheet.objects.filter(kind="session", undone=False).order_by("entry_id"))
    found = []
    for sample in dict.fromkeys(samples):
        with_it = [s for s in sessions if sample in s.told["samples"]]
        if len(with_it) < 5:
            continue
        for name, words in attributes().items():
            means = [m for m in (_mean_mark(s, sample, name) for s in with_it) if m is not None]
            if len(means) >= 5:
                found.append((sample, words, drift(means)[2]))
    return found


def _mean_mark(session: BenchSheet, sample: int, name: str) -> float | None:
    codes = [c for c, s in zip(session.told["codes"], session.told["samples"], strict=True) if s == sample]
    marks = [
        s.told["marks"][c][name] for s in _sheets(session.entry_id) for c in codes
        if name in s.told["marks"].get(c, {})
    ]  # fmt: skip
    return sum(marks) / len(marks) if marks else None
