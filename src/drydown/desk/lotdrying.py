"""What a lot's page shows of its drying: words, curve and figures, from its story."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from django.utils.translation import gettext as _

from drydown.books.bench.pulper import broken_figures
from drydown.books.lots.outlook import earlier_outlooks, learnt_prior
from drydown.books.lots.story import DryingStory, Story, or_none
from drydown.books.models import Reading
from drydown.desk.chart import curve_rows, curve_words
from drydown.desk.curve import Curve, curves_of
from drydown.figures import Figure
from drydown.outlook.corrected import Corrected
from drydown.outlook.keeping import months_words
from drydown.outlook.whys import whys
from drydown.station.model import Station
from drydown.way.habits import lot_form
from drydown.way.order import stage
from drydown.way.state import Stage

__all__ = ["drying_context"]


def drying_context(story: Story, station: Station) -> dict[str, Any]:
    """Forecast, curve and rules, where the lot is drying; rules at its last reading else."""
    drying = story.drying
    found: dict[str, Any] = {
        "last": story.lot.known_wb, "rules": story.rules,
        "window": drying.clock.figure if drying.clock else None,
        "window_words": drying.window_words, "window_source": drying.window_source,
    }  # fmt: skip
    found["broken"] = [
        (_("Broken beans to come, %s") % f.inputs["scheme"], f)
        for f in or_none(lambda: broken_figures(story.lot)) or []
    ]
    if stage(story.lot.stage).dry:
        green = story.lot.stage in {Stage.HULLED, Stage.SORTED}
        found["kept"] = story.kept
        found["months"] = months_words("green" if green else lot_form(story.lot))
    if drying.trouble:
        found["trouble"] = drying.trouble
    if drying.forecast is None:
        return found
    earlier = or_none(lambda: earlier_outlooks(story.lot, station, story.now)) or []
    prior = learnt_prior(station)
    return found | {
        "whys": _whys(drying, earlier, prior.lots if prior else 0),
        "asked": _asked(drying),
        "forecast": drying.forecast,
        "dry_on": drying.forecast.dry_on(),
        "passed": drying.passed,
        "at_target": drying.at_target,
        "curve_words": curve_words(drying.forecast),
        "curve_rows": curve_rows(drying.forecast),
        "curves": or_none(lambda: _curves(story, earlier)),
        "reasons": drying.reasons,
        "quoted_cap_c": drying.forecast.form.cap_c,
        "machine_figures": _machine_figures(drying),
        "nights": drying.nights,
    }


def _curves(story: Story, earlier: list[Corrected]) -> tuple[Curve, Curve] | None:
    """The curve for narrow and broad screens, with what was forecast before."""
    found, lot = story.drying.forecast, story.lot
    if found is None or lot.spread_at is None:
        return None
    zone = found.case.start.tzinfo
    reads = [r for r in story.way if isinstance(r, Reading) and not r.undone]
    dots = sorted((r.happened_at.astimezone(zone), r.moisture_wb) for r in reads)
    begin = lot.spread_at.astimezone(zone)
    return curves_of(
        found,
        [e.forecast for e in earlier],
        [d for d in dots if d[0] >= begin],
        begin,
        story.now.astimezone(zone),
    )


def _whys(drying: DryingStory, earlier: list[Corrected], lots: int) -> tuple[str, ...]:
    """Why the date is what it is; nothing where there is no outlook."""
    if drying.outlook is None:
        return ()
    first = next((e for e in earlier if not e.told), None)
    return whys(drying.outlook, first, lots)


def _asked(drying: DryingStory) -> list[tuple[datetime, str]]:
    """Readings that contradict all else: when, and what was read."""
    out = drying.outlook
    if out is None:
        return []
    return [
        (out.spread_at + timedelta(hours=t.hour),
        f"{100 * t.value:.1f} %" if t.kind != "bed_c" else f"{t.value:.0f} C")
        for t in out.asked
    ]  # fmt: skip


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
