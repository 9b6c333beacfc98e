"""Which steps a lot can take next, by route and stage."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.translation import gettext_lazy as _
from django.utils.translation import gettext_noop

from drydown.books.models import Lot

__all__ = ["STEPS", "Step", "next_steps"]

Stage = Lot.Stage


@dataclass(frozen=True, slots=True)
class Step:
    """A step: its kind, the words on its button, the stage it leads to, what it asks."""

    kind: str
    words: str
    leads_to: str
    asks: tuple[str, ...] = ()
    caution: str = ""


STEPS = {
    "float": Step("float", gettext_noop("Floated: lights taken off"), Stage.FLOATED, ("floaters_kg",)),
    "pulp": Step("pulp", gettext_noop("Pulped"), Stage.PULPED, (), "machine"),
    "ferment": Step("ferment", gettext_noop("Into the tank"), Stage.FERMENTING, ("tank",), "tank"),
    "wash": Step("wash", gettext_noop("Washed and drained"), Stage.WASHED, (), "effluent"),
    "spread": Step("spread", gettext_noop("Spread to dry"), Stage.DRYING, ("bed", "load_kg_m2")),
    "bag": Step("bag", gettext_noop("Bagged and stored"), Stage.STORED, ("mass_kg",), "dust"),
}
_WAYS: dict[str, dict[str, str]] = {
    "washed": {
        Stage.GATHERING: "float",
        Stage.FLOATED: "pulp",
        Stage.PULPED: "ferment",
        Stage.FERMENTING: "wash",
        Stage.WASHED: "spread",
        Stage.DRYING: "bag",
    },
    "pulped_natural": {
        Stage.GATHERING: "float",
        Stage.FLOATED: "pulp",
        Stage.PULPED: "spread",
        Stage.DRYING: "bag",
    },
    "natural": {Stage.GATHERING: "float", Stage.FLOATED: "spread", Stage.DRYING: "bag"},
}
PAST = {
    "float": _("floated"),
    "pulp": _("pulped"),
    "ferment": _("into the tank"),
    "wash": _("washed and drained"),
    "spread": _("spread to dry"),
    "bag": _("bagged and stored"),
}


def next_steps(lot: Lot) -> list[Step]:
    """Steps a lot can take from where it stands; empty when its way ends here."""
    kind = _WAYS[lot.route].get(lot.stage)
    return [STEPS[kind]] if kind else []
