"""What a huller breaks, as a term of the grade: broken beans by kind of huller, and what they count."""

from __future__ import annotations

from dataclasses import dataclass

from drydown.errors import InputError
from drydown.figures import Band, Figure
from drydown.matter.species import Range, range_from_row
from drydown.quality.scheme import Scheme
from drydown.tables import table
from drydown.words import say

__all__ = ["DRIEST_WB", "Huller", "broken_in_sample", "huller"]

DRIEST_WB = 0.095
"""Parchment drier than this breaks much more (9 to 10 %; Brando 2004, second-hand)."""
BEAN_G = (0.13, 0.155, 0.20)
"""A green bean: small, usual, large [g]; half of it is taken for a broken piece (own estimate)."""


@dataclass(frozen=True, slots=True)
class Huller:
    """A kind of huller and the share of the mass it breaks."""

    name: str
    label: str
    broken: Range


def huller(said: str) -> Huller:
    """The kind that somebody names; refuses with the known ones.

    >>> huller("Cross-beater").name
    'cross_beater'
    """
    rows = table("drydown.quality", "hullers.toml")
    text = said.strip().lower()
    for name, row in rows.items():
        if text == name or any(word in text for word in row["said"]):
            return Huller(name, say(str(row["label"])), range_from_row(row["broken"]))
    raise InputError(
        say("huller '{said}' is not known.", said=said), fix=say("Choose: {names}.", names=", ".join(rows))
    )


def broken_in_sample(kind: Huller, scheme: Scheme) -> Figure | None:
    """Full defects that the huller's broken beans alone make in a sample; None where the scheme counts none.

    Equation: share x sample / (half a bean) x what one broken piece counts. Args: kind; scheme.
    Returns: `Figure` in full defects, low and high by the band of the share.
    Valid range: parchment of 9.5 % wb and more. Source: `hullers.toml`; the scheme.
    """
    counts = next((float(d.counts) for d in scheme.defects if d.code == "broken"), 0.0)
    if counts <= 0.0 or not scheme.sample_g:
        return None
    small, usual, large = BEAN_G
    low, middle, high = (
        share * scheme.sample_g / (0.5 * bean) * counts
        for share, bean in ((kind.broken.low, large), (kind.broken.typical, usual), (kind.broken.high, small))
    )
    rule = say("share broken x sample over half a bean x {counts:g} a piece", counts=counts)
    inputs = {"huller": kind.label, "sample": f"{scheme.sample_g:g} g", "scheme": scheme.words}
    return Figure(middle, "full defects", low, high, Band.STATED, rule, inputs, (kind.broken.source,))
