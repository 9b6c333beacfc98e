"""The grade of each lot by the last count of it, under the scheme it was counted by."""

from __future__ import annotations

from collections.abc import Sequence

from drydown.books.bench.contracts import known_scheme
from drydown.books.bench.sheets import sheet_for
from drydown.books.models import BenchSheet
from drydown.errors import DrydownError
from drydown.quality.grade import grade_sheet

__all__ = ["last_grades"]


def last_grades(lots: Sequence[int]) -> dict[int, str]:
    """Scheme and grade in words, by the number of the lot; lots that were not counted are left out."""
    rows = BenchSheet.objects.filter(lot__in=lots, kind="count", undone=False, sample_no__isnull=False)
    last = {row.lot_id: row for row in rows.order_by("happened_at", "entry_id")}
    found = {}
    for pk, row in last.items():
        try:
            scheme = known_scheme(row.told["scheme"])
            sheet = sheet_for(row.sample_no or 0, scheme.name)
            if sheet is not None and pk is not None:
                found[pk] = f"{scheme.name}: {grade_sheet(sheet, scheme).words}"
        except DrydownError:
            continue  # a scheme that is no longer here, or another species: its bench page says why
    return found
