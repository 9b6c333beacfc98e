"""Sample: some grams leave the lot for the bench."""

from __future__ import annotations

from drydown.errors import RangeError
from drydown.way.ask import number_of, text_of
from drydown.way.keep import in_store
from drydown.way.matter import taken_off
from drydown.way.names import SAMPLES, Line
from drydown.way.step import Doing, Step
from drydown.words import say

__all__ = ["STEPS"]


def _refuse(doing: Doing) -> None:
    """Refuse a sample from more bags than there are, or with more kept back than was taken."""
    told = doing.details
    for name in ("bags_in_lot", "bags_opened"):
        if told.get(name, 0) % 1:
            raise RangeError(say("{count:g} is not a whole number of bags.", count=told[name]), "sample")
    if told.get("bags_opened", 0) > told.get("bags_in_lot", float("inf")):
        raise RangeError(say("more bags were opened than the lot has."), "sample", "Check the bags.")
    if told.get("kept_back_g", 0) > told.get("sample_g", float("inf")):
        raise RangeError(say("more is kept back than was taken."), "sample", "Check the grams.")


def _moves(doing: Doing) -> list[Line]:
    taken = doing.typed("sample_g")
    return taken_off(doing.has, doing.state.account, round(taken), SAMPLES) if taken else []


STEPS = (
    Step(
        "sample", "Take a sample", "sample taken", None,
        (
            number_of("sample_g", "sample taken, g", 1, 50_000, "g"),
            number_of("bags_in_lot", "bags in the lot", 1, 100_000, "", "bags in the lot").optional(),
            number_of("bags_opened", "bags opened", 1, 100_000, "", "bags opened").optional(),
            number_of("kept_back_g", "of it kept back, g", 0, 50_000, "g", "g kept back").optional(),
            text_of("tool", "drawn with (trier, scoop)").optional(),
            text_of("drawn_by", "drawn by").optional(), text_of("purpose", "what for").optional(),
        ),
        refuse=_refuse, moves=_moves, at=in_store, hurts=("trier", "fumigant", "toxin"),
        area="samples.taken",
    ),
)  # fmt: skip
