"""Which steps a lot can take next, by route and stage, and what each step asks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.translation import gettext_lazy as _
from django.utils.translation import gettext_noop

from drydown.books.models import Lot

__all__ = ["PAST", "STEPS", "TOO_WET", "Step", "bagged_wet", "next_steps"]

Stage = Lot.Stage
TOO_WET = 0.125
"""Codex Alimentarius CXC 69-2009: 12.5 % wb or below in store."""


@dataclass(frozen=True, slots=True)
class Step:
    """A step: its kind, the words on its button, the stage it leads to, what it asks.

    `leads_to` None leaves the stage as it is; `shapes` is False for notes that move nothing.
    A field that ends in "?" may stay empty.
    """

    kind: str
    words: str
    leads_to: str | None = None
    asks: tuple[str, ...] = ()
    shapes: bool = True


_ALL = (
    Step("float", gettext_noop("Float: take the floaters off"), Stage.FLOATED, ("floaters_kg?",)),
    Step("pulp", gettext_noop("Pulp"), Stage.PULPED, ("pulper?",)),
    Step("ferment", gettext_noop("Put into a tank"), Stage.FERMENTING, ("tank",)),
    Step("test", gettext_noop("Test the fermentation"), None, ("felt", "ph?", "tank_c?"), shapes=False),
    Step("wash", gettext_noop("Wash and drain"), Stage.WASHED, ()),
    Step("spread", gettext_noop("Spread to dry"), Stage.DRYING, ("bed", "load_kg_m2")),
    Step("rake", gettext_noop("Rake"), None, (), shapes=False),
    Step("cover", gettext_noop("Cover"), None, (), shapes=False),
    Step("uncover", gettext_noop("Uncover"), None, (), shapes=False),
    Step("air", gettext_noop("Read the air"), None, ("air_c", "rh_percent"), shapes=False),
    Step("move", gettext_noop("Move to another place"), None, ("bed", "load_kg_m2")),
    Step("bag", gettext_noop("Bag and store"), Stage.STORED, ("mass_kg", "store?")),
    Step("shift", gettext_noop("Shift to another store"), None, ("store",)),
    Step("weigh", gettext_noop("Weigh again"), None, ("mass_kg", "moisture_percent")),
    Step("respread", gettext_noop("Spread again"), Stage.DRYING, ("bed", "load_kg_m2")),
    Step("hull", gettext_noop("Hull"), Stage.HULLED, ("green_kg", "husk_kg?", "moisture_percent", "huller?")),
    Step("sort", gettext_noop("Sort"), Stage.SORTED, ("rejects_kg",)),
    Step(
        "sample",
        gettext_noop("Take a sample"),
        None,
        ("sample_g", "bags_in_lot?", "bags_opened?", "kept_back_g?", "tool?", "drawn_by?", "purpose?"),
    ),
    Step("sell", gettext_noop("Sell"), None, ("buyer", "mass_kg", "price_per_kg", "all_gone?")),
)
STEPS = {step.kind: step for step in _ALL}
_BED = ("rake", "cover", "uncover", "air", "move")
_DRY = ("weigh", "sample", "sell", "air")
_WAYS: dict[str, dict[str, tuple[str, ...]]] = {
    "washed": {
        Stage.GATHERING: ("float",),
        Stage.FLOATED: ("pulp",),
        Stage.PULPED: ("ferment",),
        Stage.FERMENTING: ("wash", "test"),
        Stage.WASHED: ("spread",),
    },
    "pulped_natural": {
        Stage.GATHERING: ("float",),
        Stage.FLOATED: ("pulp",),
        Stage.PULPED: ("spread",),
    },
    "natural": {Stage.GATHERING: ("float",), Stage.FLOATED: ("spread",)},
}
_LATER: dict[str, tuple[str, ...]] = {
    Stage.DRYING: (*_BED, "bag"),
    Stage.STORED: ("hull", "shift", "respread", *_DRY),
    Stage.HULLED: ("sort", "shift", *_DRY),
    Stage.SORTED: ("sell", "shift", "weigh", "sample", "air"),
}
PAST = {
    "float": _("floated"),
    "pulp": _("pulped"),
    "ferment": _("into the tank"),
    "test": _("fermentation tested"),
    "wash": _("washed and drained"),
    "spread": _("spread to dry"),
    "rake": _("raked"),
    "cover": _("covered"),
    "uncover": _("uncovered"),
    "air": _("air read"),
    "move": _("moved"),
    "bag": _("bagged and stored"),
    "shift": _("shifted"),
    "weigh": _("weighed again"),
    "respread": _("back on a bed"),
    "hull": _("hulled"),
    "sort": _("sorted"),
    "sample": _("sample taken"),
    "sell": _("sold"),
}


def bagged_wet(known_wb: float | None) -> bool:
    """Whether bagging a lot needs an explicit yes: read above the rule, or never read at all."""
    return known_wb is None or known_wb > TOO_WET


def next_steps(lot: Lot, target_wb: float | None = None) -> list[Step]:
    """Steps a lot can take from where it stands, the usual one first; empty when its way ends here.

    A drying lot is bagged first only when it was read at or below `target_wb` (fraction wet basis);
    a stored one that is above the rule goes back on a bed first.
    """
    kinds: Sequence[str] = _WAYS.get(lot.route, {}).get(lot.stage) or _LATER.get(lot.stage, ())
    known = lot.known_wb
    if lot.stage == Stage.DRYING and known is not None and target_wb is not None and known <= target_wb:
        kinds = _first("bag", kinds)
    if lot.stage == Stage.STORED and known is not None and known > TOO_WET:
        kinds = _first("respread", kinds)  # it can grow mould in the bag
    return [STEPS[kind] for kind in kinds]


def _first(kind: str, kinds: Sequence[str]) -> tuple[str, ...]:
    return (kind, *(k for k in kinds if k != kind))
