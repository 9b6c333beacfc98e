"""What a lot's page shows of its drying: words, curve and figures, from its story."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext as _

from drydown.books.lots.story import DryingStory, Story
from drydown.desk.chart import curve_rows, curve_words
from drydown.figures import Figure

__all__ = ["drying_context"]


def drying_context(story: Story) -> dict[str, Any]:
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
        "curve_key": drying.key[-12:],
        "wet_h": drying.window_h,
        "reasons": drying.reasons,
        "quoted_cap_c": drying.forecast.form.cap_c,
        "machine_figures": _machine_figures(drying),
        "nights": drying.nights,
    }


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
