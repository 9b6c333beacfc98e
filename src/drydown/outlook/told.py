"""What was measured of a lot while it dried, as plain values, and how far each kind can be off."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from drydown.errors import InputError, RangeError
from drydown.figures import Source, Status
from drydown.words import say

__all__ = ["KINDS", "Kind", "Told", "bias_of", "checked", "predicted", "spread_of"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Kind:
    """How far one kind of measurement lies from the truth: sd of one reading, sd that all readings share.

    low, high: what can be meant at all; unit of all four.
    """

    sd: float
    bias_sd: float
    low: float
    high: float
    source: Source


KINDS = {
    "meter": Kind(
        0.006, 0.006, 0.03, 0.80,
        Source("0.59 to 0.77 point against the oven, Oliveros et al. 2010, Cenicafe 61(2); own estimate that "
               "half of its variance is the meter's own, alike in every lot", Status.OWN_ESTIMATE),
    ),
    "oven": Kind(
        0.003, 0.0, 0.03, 0.80,
        Source("0.3 point between laboratories, ISO 6673 class of methods; from memory", Status.FROM_MEMORY),
    ),
    "tray": Kind(
        0.006, 0.0, 0.15, 1.30,
        Source("a sample tray weighed to 5 g in 1 kg, its load not quite that of the bed",
        Status.OWN_ESTIMATE),
    ),
    "bed_c": Kind(2.5, 0.0, 0.0, 80.0, Source("a probe in one spot of the layer", Status.OWN_ESTIMATE)),
}  # fmt: skip
"""Kinds by name: moisture by meter or oven [fraction wb]; mass of a sample tray over its mass when it was
first weighed [-]; temperature in the layer [C]."""


@dataclass(frozen=True, slots=True)
class Told:
    """One measurement: hour [h since the lot was spread], kind, value in the kind's unit, by which
    instrument.

    Readings of one `by` share what that instrument reads off; since [h], when a tray was weighed first.
    """

    hour: float
    kind: str
    value: float
    by: str = ""
    since: float = 0.0


def checked(told: Sequence[Told]) -> tuple[Told, ...]:
    """Measurements in their order; refuses an unknown kind, a value that cannot be, and one before hour 0.

    Args: told. Returns: sorted by hour. Raises `InputError`, `RangeError`.
    """
    for one in told:
        kind = KINDS.get(one.kind)
        if kind is None:
            raise InputError(
                say("'{kind}' is no kind of reading.", kind=one.kind),
                fix=say("Choose: {kinds}.", kinds=", ".join(KINDS)),
            )
        if not kind.low <= one.value <= kind.high:
            raise RangeError(
                say(
                    "a reading must be from {low:g} to {high:g}, got {value:g}.",
                    low=kind.low, high=kind.high, value=one.value,
                ),
                one.kind,
            )  # fmt: skip
        if not one.hour >= 0.0:
            raise RangeError(
                say("a reading lies {h:.1f} h before the lot was spread.", h=-one.hour), one.kind
            )
    return tuple(sorted(told, key=lambda t: (t.hour, t.kind, t.by)))


def spread_of(told: Sequence[Told]) -> Array:
    """Sd of each measurement about the truth and its instrument's bias, (reading,)."""
    return np.array([KINDS[t.kind].sd for t in told])


def bias_of(told: Sequence[Told]) -> dict[str, float]:
    """Instruments whose bias is unknown, with its sd."""
    return {t.by: KINDS[t.kind].bias_sd for t in told if KINDS[t.kind].bias_sd > 0.0}


def predicted(told: Sequence[Told], moisture_db: Array, bean_c: Array) -> Array:
    """What each member says every instrument should show, without bias, (member, reading).

    Equation: moisture x/(1+x); tray (1+x)/(1+x0); temperature as it is; linear between whole hours.
    Args: told; moisture_db [kg/kg] and bean_c [C], each (member, hour) from spreading on.
    """
    out = np.empty((moisture_db.shape[0], len(told)))
    for k, one in enumerate(told):
        x = _at(moisture_db, one.hour)
        if one.kind == "bed_c":
            out[:, k] = _at(bean_c, one.hour)
        elif one.kind == "tray":
            out[:, k] = (1.0 + x) / (1.0 + _at(moisture_db, one.since))
        else:
            out[:, k] = x / (1.0 + x)
    return out


def _at(series: Array, hour: float) -> Array:
    """Every member at an hour, on a line between whole hours."""
    low = min(int(hour), series.shape[1] - 1)
    high = min(low + 1, series.shape[1] - 1)
    part = hour - low if high > low else 0.0
    return np.asarray(series[:, low] * (1.0 - part) + series[:, high] * part)
