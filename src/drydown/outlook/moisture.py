"""Moisture in words of figures: balance with air, water activity, mass at another moisture, sweating."""

from __future__ import annotations

from collections.abc import Callable

from drydown.air.moist import dew_point_c
from drydown.errors import RangeError
from drydown.figures import Band, Figure, Source, Status
from drydown.matter.bases import db_from_wb
from drydown.matter.sorption import emc_wb, erh, fit_note
from drydown.steps.dry.data import isotherm_of
from drydown.trade.prices import adjusted_mass

__all__ = ["balance_moisture", "mass_at", "sealed_dew_point", "water_activity"]

POINTS = 0.005
"""Stated band of the isotherm, fraction wb: half a point either side (species, form, hysteresis unknown)."""
ISOTHERM = Source(
    "Trejos, Roa and Oliveros 1989, Cenicafe 40(1):5-15, constants as quoted by others", Status.SECOND_HAND
)
DRY_MATTER = Source("conservation of dry matter", Status.DERIVED)


def _inputs(species: str, form: str, **told: str) -> dict[str, str]:
    note = fit_note(species, isotherm_of(form))
    return told | ({"note": note} if note else {})


def balance_moisture(
    temp_c: float, rh: float, species: str = "arabica", form: str = "parchment"
) -> Figure:  # fmt: skip
    """Moisture that coffee comes to in air, if it stands in it long enough.

    Equation: `emc_wb`, half a point either side. Args: temp_c [C]; rh [fraction]; species; form.
    Returns: figure [% wb]. Valid range: 5 to 55 C, rh 0.05 to 0.99. Source: Trejos et al. 1989.
    """
    middle = 100.0 * float(emc_wb(temp_c, rh))
    half = 100.0 * POINTS
    inputs = _inputs(species, form, air=f"{temp_c:g} C, {100 * rh:g} %")
    rule = "isotherm of washed parchment, drying branch, at this air; half a point either side"
    return Figure(middle, "% wb", middle - half, middle + half, Band.STATED, rule, inputs, (ISOTHERM,))


def _clamped(read: Callable[[float], float], wb: float) -> float | None:
    try:
        return read(wb)
    except RangeError:
        return None


def water_activity(
    moisture_wb: float, temp_c: float, species: str = "arabica", form: str = "parchment"
) -> Figure:  # fmt: skip
    """Water activity of coffee at a moisture: the air humidity it is in balance with, over 100.

    Equation: inverse isotherm, at the moisture and half a point either side. Args: moisture_wb
    [fraction]; temp_c [C]; species; form. Returns: figure [-]. Valid range: 5 to 55 C, moistures the
    isotherm reaches (about 7 to 20 % wb); refused outside. Source: Trejos et al. 1989.
    """

    def read(wb: float) -> float:
        return float(erh(temp_c, db_from_wb(wb)))

    middle = read(moisture_wb)
    low, high = _clamped(read, moisture_wb - POINTS), _clamped(read, moisture_wb + POINTS)
    inputs = _inputs(species, form, moisture=f"{100 * moisture_wb:g} % wb", temperature=f"{temp_c:g} C")
    rule = "air humidity in balance by the isotherm, at the moisture and half a point either side"
    return Figure(
        middle, "(0 to 1)", middle if low is None else low, middle if high is None else high, Band.STATED,
        rule, inputs, (ISOTHERM,),
    )  # fmt: skip


def mass_at(mass_kg: float, from_wb: float, to_wb: float) -> Figure:
    """Mass that the same dry matter has at another moisture.

    Equation: W2 = W1 (1 - m1)/(1 - m2). Args: mass_kg [kg]; from_wb, to_wb [fraction].
    Returns: figure [kg], exact. Valid range: 0 to 0.8. Source: conservation of dry matter.
    """
    made = adjusted_mass(mass_kg, from_wb, to_wb)
    told = {"mass": f"{mass_kg:g} kg", "from": f"{100 * from_wb:g} % wb", "to": f"{100 * to_wb:g} % wb"}
    rule = "mass times (1 - moisture before) over (1 - moisture after): dry matter stays"
    return Figure(made, "kg", made, made, Band.EXACT, rule, told, (DRY_MATTER,))


def sealed_dew_point(moisture_wb: float, temp_c: float) -> Figure:
    """Dew point of the air inside a sealed lot: a wall, liner or roof colder than this sweats.

    Equation: dew point at the lot's temperature and its balance humidity. Args: moisture_wb
    [fraction]; temp_c [C]. Returns: figure [C]. Valid range: as `water_activity`.
    Source: Trejos et al. 1989; dew point as `air.moist`.
    """
    found = water_activity(moisture_wb, temp_c)
    middle, low, high = (float(dew_point_c(temp_c, v)) for v in (found.value, found.low, found.high))
    rule = "dew point of air at the lot's temperature and its balance humidity"
    source = (ISOTHERM, Source("Hyland and Wexler 1983, saturation pressure", Status.PUBLISHED))
    return Figure(middle, "C, dew point", low, high, Band.STATED, rule, found.inputs, source)
