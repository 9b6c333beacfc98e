"""What keys and choices of the station file are called on its page: words, never identifiers."""

from __future__ import annotations

import re
from functools import cache

from django.utils.translation import gettext_noop as _

from drydown.matter.routes import route as route_row
from drydown.matter.routes import route_names
from drydown.station.model import bed_names
from drydown.steps.dry.data import form, form_names, place, place_names
from drydown.steps.dry.fuel import fuel, fuel_names
from drydown.words import say

__all__ = ["FORMS", "HEADS", "MONTHS", "YES_NO", "choices_of", "form_titles", "in_words", "route_words"]

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
FORMS = {
    "parchment": _("Washed parchment"),
    "mucilage": _("Pulped, mucilage on"),
    "cherry": _("Whole cherry"),
    "green": _("Green, hulled early"),
}


def form_titles() -> dict[str, str]:
    """Every form that can be dried, with its words; one that was added has its own label."""
    return {name: FORMS.get(name, form(name).label) for name in form_names()}


YES_NO = (("true", _("yes")), ("false", _("no")))
HEADS = {
    "capacity_kg_h": _("kg an hour"),
    "volume_l": _("volume, L"),
    "area_m2": _("area, m2"),
    "holds_kg": _("holds, kg"),
    "film_age_years": _("film's age, years"),
    "air_changes_h": _("vents, air changes an hour"),
    "height_m": _("tunnel height, m"),
    "temperature_c": _("mean air, C"),
    "air_c": _("air, C"),
    "air_m3_min_m2": _("air, m3/min per m2"),
    "bean_cap_c": _("hottest beans, C"),
    "recirculated_percent": _("air taken again, %"),
    "burner_percent": _("burner efficiency, %"),
    "ripe_from_percent": _("ripe from, %"),
    "price_percent": _("price, %"),
    "per_kg": _("per kg"),
    "tare_kg": _("tare, kg"),
}
APART = (("class", _("price class")), ("village", _("village")))


def route_words(route: str) -> str:
    """A route as the trade writes it."""
    return route_row(route).words if route in route_names() else route.replace("_", " ")


@cache
def choices_of(key: str) -> tuple[tuple[str, str], ...]:
    """Value and words of each choice of a column."""
    if key == "place":
        return tuple((n, place(n).label) for n in bed_names())
    if key == "kind":
        return tuple((n, place(n).label) for n in place_names() if place(n).machine)
    return tuple((n, fuel(n).label) for n in fuel_names())


def _title(name: str) -> str:
    return form_titles().get(name, name)


_WORDS = (
    (r"\[\[equipment\.tanks\]\]", "a tank"),
    (r"\[\[weather\.months\]\]", "months"),
    (
        r"a table \[drying\.(\w+)\]",
        lambda m: say("'Drying: {title}' below to be filled in", title=_title(m[1])),
    ),
    (r"money\.cherry_price_per_kg has", "the list of prices has"),
    (r"money\.decimals", "'digits after the point'"),
    (r"equipment\.dryers", "'Dryers with a fan'"),
    (r" ?\((air_changes_h|height_m)\)", ""),
    (r"per_kg\b", "an amount per kg"),
    (r"tmax_c", "highest"),
    (r"tmin_c", "lowest"),
    (r"rain_mm", "rain"),
    (r"rain_days", "rain days"),
    (r"pulped_natural", "pulped natural"),
    (r"\b(\w+)_percent\b", r"\1, per cent,"),
)


def in_words(sentence: str) -> str:
    """A sentence about the station file with words of the page in place of keys."""
    for pattern, words in _WORDS:
        sentence = re.sub(pattern, words, sentence)
    return sentence
