"""What a lot's page shows of its drying: words, curve and figures, from its story."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext as _

from drydown.books.lots.drying import earlier_forecasts
from drydown.books.lots.story import DryingStory, Story, or_none
from drydown.books.models import Reading
from drydown.desk.chart import curve_rows, curve_words
from drydown.desk.curve import Curve, curves_of
from drydown.figures import Figure
from drydown.station.model import Station

__all__ = ["drying_context"]


def drying_context(story: Story, station: Station) -> dict[str, Any]:
    """Forecast, curve and rules, where the lot is drying; rules at its last reading else."""
    drying = story.drying
    found: dict[str, Any] = {
        "last": story.lot.known_wb, "rules": story.rules, "window": drying.window,
        "window_words": drying.window_words, "window_source": drying.window_source,
    }  # fmt: skip
    if drying.trouble:
        found["trouble"] = drying.trouble
    if drying.forecast is None:
        return found
    return found | {
        "forecast": drying.forecast,
        "dry_on": drying.forecast.dry_on(),
        "passed": drying.passed,
        "at_target": drying.at_target,
        "curve_words": curve_words(drying.forecast),
        "curve_rows": curve_rows(drying.forecast),
        "curves": or_none(lambda: _curves(story, station)),
        "reasons": drying.reasons,
        "quoted_cap_c": drying.forecast.form.cap_c,
        "machine_figures": _machine_figures(drying),
        "nights": drying.nights,
    }


def _curves(story: Story, station: Station) -> tuple[Curve, Curve] | None:
    """The curve for narrow and broad screens, with what was forecast before."""
    found, lot = story.drying.forecast, story.lot
    if found is None or lot.spread_at is None:
        return None
    zone = found.case.start.tzinfo
    reads = [r for r in story.way if isinstance(r, Reading) and not r.undone]
    dots = sorted((r.happened_at.astimezone(zone), r.moisture_wb) for r in reads)
    earlier = or_none(lambda: earlier_forecasts(lot, station)) or []
    begin = lot.spread_at.astimezone(zone)
    return curves_of(found, earlier, [d for d in dots if d[0] >= begin], begin, story.now.astimezone(zone))


def _machine_figures(drying: DryingStory) -> list[tuple[str, Figure]]:
    """What a machine takes, with its label: heat, fuel for this lot, pressure of the air."""
    found: list[tuple[str, Figure]] = []
    if drying.fuel is not None:
        found.append((_("Fuel for this lot"), drying.fuel))
    figures = drying.forecast.figures if drying.forecast else {}
    for key, label in (
        ("heat_mj_kg", _("Heat for a kg of water")),
        ("pressure_pa", _("Pressure of the air")),
    ):
        if key in figures:
            found.append((label, figures[key]))
    return found
