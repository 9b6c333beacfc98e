"""Take a step: checked, settled, its postings, its next state, what looks odd. Nothing is written here."""

from __future__ import annotations

from dataclasses import dataclass, replace

from drydown.errors import InputError
from drydown.way.ask import check
from drydown.way.matter import Matter
from drydown.way.names import DRY, WATER, Line
from drydown.way.order import may_follow, stage, step
from drydown.way.state import LotState
from drydown.way.step import Doing, Finding
from drydown.words import say

__all__ = ["Done", "moved_matter", "refuse_out_of_order", "take"]


@dataclass(frozen=True, slots=True)
class Done:
    """A step that can be written: what was typed (completed), postings, findings, what was assumed."""

    kind: str
    details: dict[str, object]
    lines: tuple[Line, ...]
    findings: tuple[Finding, ...]
    assumed: dict[str, float]
    state: LotState


def take(kind: str, doing: Doing) -> Done:
    """Take a step of a lot.

    Args: kind; doing, all it is told. Returns: `Done`, with the lot's next state.
    Raises `InputError` where it cannot follow, or cannot be.
    """
    state = doing.state
    refuse_out_of_order(state, kind)
    found = step(kind)
    check(found.asks, doing.details, kind)
    found.refuse(doing)
    settled = replace(doing, details=found.settle(doing))
    lines, details = tuple(found.moves(settled)), dict(settled.details)
    after = found.after(state, details, doing.at)
    after = replace(after, matter=moved_matter(state.matter, state.account, lines))
    return Done(kind, details, lines, tuple(found.odd(settled)), found.assumes(settled), after)


def refuse_out_of_order(state: LotState, kind: str) -> None:
    """Refuse a step that cannot follow where the lot stands."""
    if kind not in may_follow(state.route, state.stage):
        words = say(stage(state.stage).words)
        raise InputError(
            say("'{kind}' cannot follow: the lot is {stage}.", kind=kind, stage=words), state.code,
            "Someone may have recorded the step already; look at its way below.",
        )  # fmt: skip


def moved_matter(has: Matter, account: str, lines: tuple[Line, ...]) -> Matter:
    """What a lot holds once some postings are made."""
    dry = sum(amount for name, what, amount in lines if (name, what) == (account, DRY))
    water = sum(amount for name, what, amount in lines if (name, what) == (account, WATER))
    return Matter(has.dry + dry, has.water + water)
