"""A figure that explains itself: value, unit, band, working, sources.

Everything a user reads as a number is a `Figure`. The desk shows its working behind
"show the working", `--json` carries it, the printed sheet has it in small type.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from math import log
from typing import Any

from drydown.numerals import number
from drydown.words import say, sentence

__all__ = ["TO_P95", "Band", "Figure", "Source", "Status", "ln_sd", "weakest"]

TO_P95 = 1.645
"""Standard deviations of a normal from its middle to P95, and to P5."""


def ln_sd(low: float, high: float) -> float:
    """Spread of the logarithm of a number whose P5 and P95 are low and high.

    Equation: ln(high/low)/(2 x 1.645). Args: low, high, of one unit. Returns: [-]. Valid range: 0 < low <=
    high, or both alike. Source: the normal distribution.

    >>> round(ln_sd(1.0, 2.0), 3)
    0.211
    """
    return log(high / low) / (2.0 * TO_P95) if high > low else 0.0


class Status(StrEnum):
    """How a number is known, from strongest to weakest."""

    STATED = "stated by the user"
    PUBLISHED = "published"
    SECOND_HAND = "second-hand"
    DERIVED = "derived"
    COMMON_PRACTICE = "common practice"
    FROM_MEMORY = "from memory"
    OWN_ESTIMATE = "own estimate"


_ORDER = list(Status)


@dataclass(frozen=True, slots=True)
class Source:
    """Where a number comes from, and how well it is known."""

    text: str
    status: Status

    def as_dict(self) -> dict[str, str]:
        """Plain data for `--json`."""
        return {"text": self.text, "status": str(self.status)}


class Band(StrEnum):
    """What the low and high of a figure mean."""

    P10_P90 = "P10 to P90"
    STATED = "stated bound"
    INTERVAL_90 = "90 % interval"
    INTERVAL_95 = "95 % interval"
    EXACT = "exact"
    UNKNOWN = "spread not known"


@dataclass(frozen=True, slots=True)
class Figure:
    """One number with all it takes to check it.

    `low` and `high` are the band of kind `band`; `rule` is the equation or rule in words;
    `inputs` maps names (with units) to what went in.
    """

    value: float
    unit: str
    low: float
    high: float
    band: Band
    rule: str
    inputs: Mapping[str, str] = field(default_factory=dict)
    sources: tuple[Source, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "rule", sentence(self.rule))
        object.__setattr__(self, "inputs", {sentence(k): v for k, v in self.inputs.items()})

    @classmethod
    def exact(cls, value: float, unit: str, rule: str, **inputs: str) -> Figure:
        """A figure without a band: a count, a sum, what someone weighed."""
        return cls(value, unit, value, value, Band.EXACT, rule, inputs)

    def times(self, factor: float, unit: str, rule: str, **inputs: str) -> Figure:
        """This figure times a known number, with its own working and what was added to it."""
        return Figure(
            self.value * factor, unit, self.low * factor, self.high * factor, self.band,
            say("{rule}; {rest}", rule=sentence(rule), rest=self.rule), {**self.inputs, **inputs},
            self.sources,
        )  # fmt: skip

    def text(self, digits: int = 1) -> str:
        """The figure in one breath: value, band, unit."""
        if self.low == self.high:
            return f"{number(self.value, digits)} {self.unit}"
        span = f"{number(self.low, digits)} to {number(self.high, digits)}"
        return f"{number(self.value, digits)} {self.unit} ({span})"

    def as_dict(self) -> dict[str, Any]:
        """Plain data for `--json`; the shape is in docs/json.md."""
        return {
            "value": self.value,
            "unit": self.unit,
            "low": self.low,
            "high": self.high,
            "band": str(self.band),
            "rule": self.rule,
            "inputs": dict(self.inputs),
            "sources": [s.as_dict() for s in self.sources],
        }


def weakest(sources: tuple[Source, ...]) -> Status:
    """The weakest status among sources: what a reader should trust the figure by."""
    if not sources:
        return Status.STATED
    return max((s.status for s in sources), key=_ORDER.index)
