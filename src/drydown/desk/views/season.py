"""The season so far: fruit against the season before and what was expected; what is in stock."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.html import escape
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from drydown.books.daybook.season import fruit_by_day, stock
from drydown.desk.chart import charting, drawn
from drydown.desk.colours import AHEAD, HUE, MID, PAPER
from drydown.desk.context import need_station
from drydown.desk.people import guarded
from drydown.desk.views.problem import answered
from drydown.errors import DrydownError
from drydown.station.harvest import (
    CROP_SOURCE,
    DAYS_SOURCE,
    Expected,
    Season,
    crop_until,
    expected_days,
    seasons,
)
from drydown.station.trade import Crop

__all__ = ["season"]

AHEAD_DAYS = 7


@dataclass(frozen=True, slots=True)
class Week:
    """A week of the season: its last day, fruit until then [t], that of the season before on the same day of
    it, and what was expected, early, middle, late."""

    on: date
    tonnes: float | None
    before: float | None
    expected: tuple[float, float, float] | None


@require_safe
@answered
@guarded("deliveries.weights")
def season(request: HttpRequest) -> HttpResponse:
    """Fruit so far, the days to come, and stock."""
    station = need_station()
    zone = station.place.site().zone
    today = timezone.now().astimezone(zone).date()
    species = request.GET.get("species", "")
    found = seasons(fruit_by_day(zone, species if species in station.species else ""))
    now = found[-1] if found and (today - found[-1].last).days <= 60 else None
    crop = station.crop if not species else None  # what was expected was said of all fruit
    weeks = _weeks(now, found[-2] if now is not None and len(found) > 1 else None, crop, today)
    coming, trouble = _coming(now, today)
    context = {
        "weeks": weeks, "svg": _svg(weeks) if weeks else "", "now": now, "coming": coming, "trouble": trouble,
        "stock": stock(), "crop": crop, "crop_source": CROP_SOURCE, "days_source": DAYS_SOURCE,
        "species": station.species, "chosen": species, "total_kg": float(now.kg.sum()) if now else 0.0,
    }  # fmt: skip
    return render(request, "desk/season.html", context)


def _coming(now: Season | None, today: date) -> tuple[list[Expected], str]:
    """The days to come, or why they cannot be told."""
    if now is None:
        return [], ""
    try:
        return expected_days(now, today - timedelta(days=1), AHEAD_DAYS + 1), ""
    except DrydownError as error:
        return [], str(error)


def _weeks(now: Season | None, before: Season | None, crop: Crop | None, today: date) -> list[Week]:
    begin = now.first if now else crop.begins if crop else None
    if begin is None:
        return []
    ends = [today, now.last if now else today, crop.ends if crop else today]
    if before is not None:
        ends.append(begin + timedelta(days=before.kg.size - 1))
    count = (max(ends) - begin).days // 7 + 1
    rows = []
    for week in range(count):
        on = begin + timedelta(days=7 * week + 6)
        told = crop_until(crop, on) if crop else None
        old = _until(before, before.first + (on - begin), None) if before else None
        rows.append(
            Week(
                on, _until(now, on, today), old,
                (told[0] / 1000.0, told[1] / 1000.0, told[2] / 1000.0) if told else None,
            )
        )  # fmt: skip
    return rows


def _until(season: Season | None, on: date, today: date | None) -> float | None:
    """Tonnes until the end of a day; None for weeks that have not begun."""
    if season is None or (today is not None and on - timedelta(days=6) > today):
        return None
    days = min((on - season.first).days + 1, season.kg.size)
    return float(season.kg[: max(days, 0)].sum()) / 1000.0


def _svg(weeks: list[Week]) -> str:
    """The season as a picture: so far, the season before, what was expected with its band."""
    alt = charting()
    layers: list[Any] = []
    y = alt.Y("low:Q", title="fruit, t")
    x = alt.X("on:T", title=None, axis=alt.Axis(format="%d %b", labelAngle=0, tickCount=6))
    told = [{"on": w.on.isoformat(), "low": w.expected[0], "mid": w.expected[1], "high": w.expected[2]}
            for w in weeks if w.expected]  # fmt: skip
    if told:
        base = alt.Chart(alt.Data(values=told))
        layers += [
            base.mark_area(color=AHEAD, opacity=0.6).encode(x=x, y=y, y2="high:Q"),
            base.mark_line(color=MID, strokeDash=[6, 4]).encode(x=x, y="mid:Q"),
        ]  # fmt: skip
    for name, colour, dash in (("before", MID, [2, 3]), ("tonnes", HUE, [1, 0])):
        rows = [{"on": w.on.isoformat(), "t": v} for w in weeks if (v := getattr(w, name)) is not None]
        if rows:
            line = alt.Chart(alt.Data(values=rows)).mark_line(color=colour, strokeDash=dash, strokeWidth=2)
            layers.append(line.encode(x=x, y=alt.Y("t:Q", title="fruit, t")))
    chart = alt.layer(*layers).properties(width=420, height=220, background=PAPER)
    svg = drawn(chart.configure_axis(labelFontSize=13, titleFontSize=13, gridColor="#e4dfcf"))
    so_far = max((w.tonnes for w in weeks if w.tonnes is not None), default=0.0)
    words = escape(
        _("Fruit received until each week, %.1f t so far; the table below says the same.") % so_far
    )
    return svg.replace('<svg role="img"', f'<svg role="img" aria-label="{words}"', 1)
