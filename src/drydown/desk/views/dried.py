"""Did the forecasts hold? Lots that were dried, beside what was forecast from their spreading."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from drydown.books.lots.dried import Dried, dried_lots
from drydown.desk.context import need_station
from drydown.desk.people import guarded
from drydown.desk.views.problem import answered

__all__ = ["dried"]

UNITS = 1000.0


@require_safe
@answered
@guarded("lots.way")
def dried(request: HttpRequest) -> HttpResponse:
    """Days dry against forecast, lot by lot, and how many lay inside their band."""
    found, waiting = dried_lots(need_station())
    longest = max([1.0, *(d.days for d in found), *(d.late or d.early for d in found)]) * 1.04
    rows = [(d, *_paths(d, longest)) for d in found]
    context = {
        "rows": rows, "waiting": waiting, "inside": sum(d.inside for d in found), "longest": longest,
        "sooner": sum(d.days < d.early - 0.5 for d in found),
        "later": sum(d.late is not None and d.days > d.late + 0.5 for d in found),
    }  # fmt: skip
    return render(request, "desk/dried.html", context)


def _paths(row: Dried, longest: float) -> tuple[str, str, str]:
    """The band as a bar, the middle as a stroke, the day it was read dry as a block."""

    def x(days: float) -> int:
        return round(UNITS * min(days / longest, 1.0))

    late = UNITS if row.late is None else x(row.late)
    band = f"M{x(row.early)} 4H{max(late, x(row.early) + 3):.0f}V10H{x(row.early)}Z"
    middle = "" if row.middle is None else f"M{x(row.middle)} 1V13"
    return band, middle, f"M{x(row.days) - 5} 2h10v10h-10Z"
