"""What a pulper's test sheet says of a lot's grade to come."""

from __future__ import annotations

from drydown.books.bench.contracts import known_schemes
from drydown.books.models import Lot
from drydown.figures import Figure
from drydown.quality.pulper import broken_to_come

__all__ = ["broken_figures"]

CODE = "broken"


def broken_figures(lot: Lot) -> list[Figure]:
    """Full defects of nipped beans to come, by each scheme that counts broken ones; none without a test."""
    noted = lot.happenings.filter(kind="pulp", undone=False).order_by("-happened_at").first()
    nipped = noted.details.get("nipped_percent") if noted else None
    if nipped is None:
        return []
    found = []
    for one in known_schemes():
        weight = one.weights().get(CODE)
        if weight and one.sample_g:
            found.append(broken_to_come(float(nipped), float(one.sample_g), weight, one.words))
    return found
