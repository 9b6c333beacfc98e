"""Site, month, handling and layer as one types them on the command line, without a station file."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from drydown.errors import InputError, RangeError
from drydown.words import say

if TYPE_CHECKING:
    from drydown.air.normals import MonthNormals
    from drydown.air.series import Site
    from drydown.steps.dry.routine import Routine

__all__ = ["MONTH", "layer_kg_m2", "normals_of", "routine_of", "site_of"]

MONTH = "tmax_c,tmin_c,rh_percent,rain_mm,rain_days,wind_ms,ghi_kwh_m2"


def _numbers(text: str, option: str, count: int, example: str) -> list[float]:
    cells = [c.strip() for c in text.replace(";", ",").split(",")]
    try:
        found = [float(c) for c in cells]
    except ValueError as error:
        raise InputError(say("'{text}' is not a row of numbers.", text=text), option, example) from error
    if len(found) != count:
        raise InputError(
            say("has {found} numbers, {count} are needed.", found=len(found), count=count), option, example
        )
    return found


def site_of(text: str) -> Site | None:
    """The place on the map from latitude,longitude,metres,hours from UTC; None where nothing was typed."""
    from drydown.air.series import Site  # noqa: PLC0415

    if not text:
        return None
    latitude, longitude, metres, zone = _numbers(text, "--site", 4, "Write -3.4,45.0,1690,3.")
    return Site(latitude, longitude, metres, zone)


def normals_of(text: str) -> tuple[MonthNormals, ...] | None:
    """Twelve equal months from the one typed (`MONTH`); None where nothing was typed."""
    from drydown.air.normals import MonthNormals  # noqa: PLC0415

    if not text:
        return None
    high, low, rh, rain, days, wind, sun = _numbers(text, "--month", 7, say("Write {month}.", month=MONTH))
    if not 5.0 <= rh <= 99.0:
        raise RangeError(say("humidity must be from 5 to 99 per cent, got {rh:g}.", rh=rh), "--month")
    return (MonthNormals(high, low, rh / 100.0, rain, days, wind, sun),) * 12


def routine_of(rake: str, cover: str, shade: str, rain_cover: bool | None, base: Routine) -> Routine:
    """The handling: what was typed replaces that of the station, or the usual one.

    rake "8,10,12"; cover and shade "17.5-7.5", or "no"; rain_cover None where nothing was said.
    """
    from dataclasses import replace  # noqa: PLC0415

    changes: dict[str, object] = {}
    if rake:
        hours = [] if rake == "no" else _numbers(rake, "--rake", rake.count(",") + 1, "Write 8,10,12 or no.")
        changes["rake_hours"] = tuple(int(h) for h in hours)
    for option, text in (("cover", cover), ("shade", shade)):
        if text:
            first, last = (None, 0.0) if text == "no" else _span(text, f"--{option}")
            changes |= {f"{option}_from": first, f"{option}_until": last}
    if rain_cover is not None:
        changes["rain_cover_mm"] = 0.1 if rain_cover else None
    return replace(base, **changes)  # type: ignore[arg-type]


def _span(text: str, option: str) -> tuple[float, float]:
    match = re.fullmatch(r"\s*([0-9.]+)\s*-\s*([0-9.]+)\s*", text)
    if match is None:
        raise InputError(say("'{text}' is not hours from-until.", text=text), option, "Write 17.5-7.5 or no.")
    first, last = float(match[1]), float(match[2])
    if not (0.0 <= first <= 24.0 and 0.0 <= last <= 24.0):
        raise RangeError(say("hours must be from 0 to 24, got {text}.", text=text), option)
    return first, last


def layer_kg_m2(layer_cm: float | None, form: str, species: str) -> float | None:
    """Kilograms as spread per m2 of a layer of that depth, fresh; None where nothing was typed."""
    from drydown.steps.dry.data import form as form_of  # noqa: PLC0415

    if layer_cm is None:
        return None
    if not 0.5 <= layer_cm <= 60.0:
        raise RangeError(say("must be from 0.5 to 60 cm, got {layer_cm:g}.", layer_cm=layer_cm), "--layer-cm")
    return form_of(form, species).load_of_layer(layer_cm / 100.0)
