"""Which steps a lot can take next, by route and stage, and what each step asks."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.translation import gettext_lazy as _
from django.utils.translation import gettext_noop

from drydown.books.models import Lot

__all__ = ["PAST", "STEPS", "Step", "next_steps"]

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
    caution: str = ""
    shapes: bool = True


_ALL = (
    Step("float", gettext_noop("Floated: lights taken off"), Stage.FLOATED, ("floaters_kg?",)),
    Step("pulp", gettext_noop("Pulped"), Stage.PULPED, (), "machine"),
    Step("ferment", gettext_noop("Into the tank"), Stage.FERMENTING, ("tank",), "tank"),
    Step("test", gettext_noop("Fermentation tested"), None, ("felt", "ph?", "tank_c?"), "tank", shapes=False),
    Step("wash", gettext_noop("Washed and drained"), Stage.WASHED, (), "effluent"),
    Step("spread", gettext_noop("Spread to dry"), Stage.DRYING, ("bed", "load_kg_m2")),
    Step("rake", gettext_noop("Raked"), None, (), shapes=False),
    Step("cover", gettext_noop("Covered"), None, (), shapes=False),
    Step("uncover", gettext_noop("Uncovered"), None, (), shapes=False),
    Step("air", gettext_noop("Air read"), None, ("air_c", "rh_percent"), shapes=False),
    Step("move", gettext_noop("Moved to another place"), None, ("bed", "load_kg_m2")),
    Step("bag", gettext_noop("Bagged and stored"), Stage.STORED, ("mass_kg", "store?"), "dust"),
    Step("shift", gettext_noop("Shifted to another store"), None, ("store",)),
    Step("weigh", gettext_noop("Weighed again"), None, ("mass_kg", "moisture_percent"), "dust"),
    Step("respread", gettext_noop("Back on a bed"), Stage.DRYING, ("bed", "load_kg_m2"), "mould"),
    Step(
        "hull", gettext_noop("Hulled"), Stage.HULLED, ("green_kg", "husk_kg?", "moisture_percent"), "machine"
    ),
    Step("sort", gettext_noop("Sorted"), Stage.SORTED, ("rejects_kg",), "dust"),
    Step(
        "sample",
        gettext_noop("Sample taken"),
        None,
        ("sample_g", "bags_in_lot?", "bags_opened?", "kept_back_g?", "tool?", "drawn_by?", "purpose?"),
    ),
    Step("sell", gettext_noop("Sold"), None, ("buyer", "mass_kg", "price_per_kg", "all_gone?")),
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
    Stage.DRYING: ("bag", *_BED),
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


def next_steps(lot: Lot) -> list[Step]:
    """Steps a lot can take from where it stands, the usual one first; empty when its way ends here."""
    kinds = _WAYS.get(lot.route, {}).get(lot.stage) or _LATER.get(lot.stage, ())
    if lot.stage == Stage.STORED and lot.known_wb is not None and lot.known_wb > TOO_WET:
        kinds = ("respread", *(k for k in kinds if k != "respread"))  # it can grow mould in the bag
    return [STEPS[kind] for kind in kinds]
