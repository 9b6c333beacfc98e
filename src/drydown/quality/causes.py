"""Where defects usually come from, so that a lot's own record can be looked at beside them."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from drydown.figures import Source, Status
from drydown.quality.scheme import Scheme

__all__ = ["Cause", "causes", "likely_causes"]


@dataclass(frozen=True, slots=True)
class Cause:
    """A usual cause of some defects, and the parts of a record that speak to it."""

    codes: tuple[str, ...]
    words: str
    looks_at: tuple[str, ...]
    source: Source


@dataclass(frozen=True, slots=True)
class Found:
    """A cause with the defects of a sheet that point to it, and the full defects they make."""

    cause: Cause
    defects: tuple[str, ...]
    full: float


@cache
def causes() -> tuple[Cause, ...]:
    """All causes that are known, each with its source."""
    text = (files("drydown.quality") / "causes.toml").read_text(encoding="utf-8")
    return tuple(
        Cause(tuple(c["codes"]), c["words"], tuple(c["looks_at"]), Source(c["source"], Status(c["status"])))
        for c in tomllib.loads(text)["causes"]
    )


def likely_causes(scheme: Scheme, counts: Mapping[str, int], weights: Mapping[str, float]) -> list[Found]:
    """Usual causes of what was counted, the one that costs most full defects first.

    Args: scheme; counts by defect [pieces]; weights, full defects a piece. Returns: causes with
    their defects. Valid range: a likely cause is not a proof; look at the record. Source: each its own.
    """
    found = []
    for cause in causes():
        here = [c for c in cause.codes if counts.get(c, 0) > 0]
        if here:
            full = sum(float(weights.get(c, 0.0)) * counts[c] for c in here)
            found.append(Found(cause, tuple(scheme.defect(c).words for c in here), full))
    return sorted(found, key=lambda f: (-f.full, f.cause.words))
