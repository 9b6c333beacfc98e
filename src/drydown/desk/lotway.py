"""A lot's way in words: steps and readings, the latest first, and what may be mended of them."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest
from django.utils.translation import gettext as _

from drydown.books.lots.mend import own_last
from drydown.books.lots.story import Story
from drydown.books.models import Happening, Reading
from drydown.desk.people import may_here
from drydown.numerals import number
from drydown.station.model import Station
from drydown.way.order import step as find_step

__all__ = ["way_rows"]


def _visible(h: Happening, sales: bool) -> dict[str, Any]:
    """A step's details without buyer and price, for roles that do not see sales."""
    if h.kind != "sell" or sales:
        return dict(h.details)
    return {k: v for k, v in h.details.items() if k == "mass_kg"}


def way_rows(request: HttpRequest, story: Story, station: Station) -> list[dict[str, Any]]:
    """Steps and readings, the latest first, with what whoever asks may mend of them."""
    sales, all_mine = may_here(request, "lots.sales"), may_here(request, "journal.undo", write=True)
    last, zone = own_last(request.user), station.place.site().zone
    rows: list[dict[str, Any]] = [
        {
            "row": row, "read": isinstance(row, Reading), "what": _what(row), "details": _told(row, sales),
            "at": row.happened_at.astimezone(zone),
            "mendable": all_mine or (last is not None and last.pk == row.entry_id),
        }
        for row in story.way
    ]  # fmt: skip
    rows.sort(key=lambda row: (row["at"], row["row"].entry_id), reverse=True)
    for before, row in zip([None, *rows], rows, strict=False):
        row["new_day"] = before is None or before["at"].date() != row["at"].date()
    return rows


def _what(row: Happening | Reading) -> str:
    return _("moisture read") if isinstance(row, Reading) else _(find_step(row.kind).past)


def _told(row: Happening | Reading, sales: bool) -> str:
    """What was told of a step or a reading, with the units its step's file gives."""
    if isinstance(row, Reading):
        temp = f", {row.bean_temp_c:g} C" if row.bean_temp_c is not None else ""
        return f"{row.moisture_wb * 100:.1f} % wb ({row.method}{temp})"
    units = {ask.name: ask.shown for ask in find_step(row.kind).asks if ask.kind in {"kilograms", "number"}}
    parts = [
        f"{number(v, 0 if v == int(v) else 1 if k != 'ph' else 2)} {units[k]}" if k in units else str(v)
        for k, v in _visible(row, sales).items() if v is not True
    ]  # fmt: skip
    if row.details.get("wet"):
        parts.append(_("said to be wet"))
    return ", ".join(parts)
