"""Water and pulp of the wet side, by the postings."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.db.models import Q, Sum

from drydown.books.lots.byproducts import piles
from drydown.books.models import Posting
from drydown.day.now import WetNow
from drydown.way.names import DRAIN, SUPPLY, WATER

__all__ = ["wet_now"]


def wet_now(now: datetime) -> WetNow:
    """Water drawn and let out since midnight, let out on a day of the last seven, pulp that lies.

    Args: now, local. Returns: [L], [L], [L/day], [kg]; a litre of water is a kilogram.
    """
    begin = now.replace(hour=0, minute=0, second=0, microsecond=0)
    today, week = Q(entry__happened_at__gte=begin), Q(entry__happened_at__gte=now - timedelta(days=7))
    rows = Posting.objects.filter(week, commodity=WATER, entry__happened_at__lte=now)
    sums = rows.filter(account__name__in=(SUPPLY, DRAIN)).aggregate(
        drawn=Sum("amount", filter=today & Q(account__name=SUPPLY)),
        out=Sum("amount", filter=today & Q(account__name=DRAIN)),
        week=Sum("amount", filter=Q(account__name=DRAIN)),
    )
    drawn, out, whole = (float(sums[name] or 0) / 1000.0 for name in ("drawn", "out", "week"))
    pulp = sum(p.matter.mass for p in piles() if p.name == "pulp") / 1000.0
    return WetNow(-drawn, out, whole / 7.0, pulp)
