"""What is not known of a lot, as one row of numbers a member, and back to what the engine is handed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from drydown.air.series import RANGES, HourlyWeather
from drydown.steps.dry.data import Form

__all__ = ["INSTRUMENT_SD", "Unknowns", "unknowns_of"]

Array = NDArray[np.float64]
INSTRUMENT_SD = {"sun": 0.06, "dryness": 0.08}
"""Ln spread of what a station's own instruments read off in sun and vapour deficit (own estimate: a cheap sun
sensor within 10 %, humidity within 3 points)."""
WETTEST_DB = 3.9
"""Just below the wettest start that the engine takes, kg/kg."""
MOST_LN = 1.2
"""No day's sun or dryness is moved by more than this, ln."""


@dataclass(frozen=True, slots=True)
class Unknowns:
    """z (member, unknown) by names: ln of a parameter, "bias:..." of an instrument, "sun:d", "dry:d" of a
    day."""

    names: tuple[str, ...]
    z: Array
    form: Form
    drawn: Mapping[str, Array]
    first: Array
    """z as it was drawn."""
    measured: NDArray[np.bool_]
    """Hours of the way so far whose weather was measured, (hour,)."""

    def column(self, name: str) -> Array:
        """One unknown of every member."""
        return np.asarray(self.z[:, self.names.index(name)])

    def moved(self, z: Array) -> Unknowns:
        """The same with other numbers."""
        return replace(self, z=z)

    def biases(self, by: str) -> Array | float:
        """What an instrument reads off, by member; nothing where that is not asked."""
        name = f"bias:{by}"
        return self.column(name) if name in self.names else 0.0

    def parameters(self) -> dict[str, Array]:
        """Parameters of every member, kept where draws are: half of the lowest to 1.5 times the highest.

        What was estimated together may go to 0.4 and 2.5 times; nothing begins wetter than the engine takes.
        """
        out = {key: values.copy() for key, values in self.drawn.items()}
        together = {key for key, _column in self.form.joint}
        for key, r in self.form.ranges.items():
            if key in self.names:
                low, high = (0.4, 2.5) if key in together else (0.5, 1.5)
                out[key] = np.clip(np.exp(self.column(key)), low * r.low, high * r.high)
        if "x_bean" not in self.names:
            out["x_bean"] = out["x_full"].copy()
        out["x_full"] = np.minimum(out["x_full"], WETTEST_DB)
        out["x_bean"] = np.minimum(out["x_bean"], out["x_full"])
        out["porosity"] = np.clip(out["porosity"], 0.25, 0.6)
        out["absorptance"] = np.minimum(out["absorptance"], 0.97)
        return out

    def start_db(self) -> Array | None:
        """Moisture that every member begins with, dry basis; None where it begins fresh."""
        if "start_wb" not in self.names:
            return None
        start = np.clip(self.column("start_wb"), 0.04, 0.80)
        return np.asarray(start / (1.0 - start))

    def weather(self, air: HourlyWeather) -> HourlyWeather:
        """The air with each member's days moved as its unknowns are."""
        moved = self.z - self.first
        found = {key: (kind, int(day)) for key in self.names for kind, _, day in [key.partition(":")]
                 if kind in INSTRUMENT_SD and day.lstrip("-").isdigit()}  # fmt: skip
        if not found or not np.any(moved[:, [self.names.index(k) for k in found]]):
            return air
        members = self.z.shape[0]
        ghi, rh = (np.broadcast_to(v, (members, air.hours)).copy() for v in (air.ghi_wm2, air.rh))
        days, known = _days(air), np.zeros(air.hours, bool)
        known[: self.measured.size] = self.measured[: air.hours]
        for key, (kind, day) in found.items():
            hours = known if day < 0 else (days == day) & ~known
            factor = np.exp(np.clip(moved[:, self.names.index(key)], -MOST_LN, MOST_LN))[:, None]
            if kind == "sun":
                ghi[:, hours] = np.minimum(ghi[:, hours] * factor, 1450.0)
            else:
                rh[:, hours] = np.clip(1.0 - (1.0 - rh[:, hours]) * factor, 0.03, 1.0)
        columns = {k: np.broadcast_to(getattr(air, k), (members, air.hours)).copy() for k in RANGES}
        return HourlyWeather.of(air.site, air.start, columns | {"ghi_wm2": ghi, "rh": rh}, air.notes)


def _days(air: HourlyWeather) -> NDArray[np.int64]:
    """Number of the local day of each hour, 0 for the day the air begins on."""
    local = air.start.astimezone(air.site.zone)
    return np.asarray((local.hour + np.arange(air.hours)) // 24)


def unknowns_of(
    form: Form, drawn: Mapping[str, Array], biases: Mapping[str, float], past: HourlyWeather,
    measured: NDArray[np.bool_], seed: int, start_wb: Array | None = None,
) -> Unknowns:  # fmt: skip
    """What is unknown of a lot before anything was read.

    Args: form; drawn parameters; biases, sd by instrument; past, the air from spreading to the last reading;
    measured, which hours of it were measured (hour,); seed; start_wb (member,), where the lot did not begin
    fresh.
    Returns: `Unknowns`: parameters that have a spread, a bias for each instrument, and the weather: day by
    day where it was not measured, what the instruments read off where it was.
    """
    members = len(next(iter(drawn.values())))
    rng = np.random.default_rng([seed, 61])
    columns: dict[str, Array] = {}
    tied = np.array_equal(drawn["x_bean"], drawn["x_full"])
    for key in form.ranges:
        if np.ptp(drawn[key]) > 0.0 and not (key == "x_bean" and tied):
            columns[key] = np.log(drawn[key])
    for by, sd in biases.items():
        stream = np.random.default_rng([seed, 67, *by.encode()])  # the same in every lot that it reads
        columns[f"bias:{by}"] = sd * stream.standard_normal(members)
    if start_wb is not None:
        columns["start_wb"] = start_wb
    columns |= _of_weather(past, measured, members, rng)
    z = np.stack(list(columns.values()), axis=1)
    return Unknowns(tuple(columns), z, form, drawn, z.copy(), measured)


def _of_weather(
    past: HourlyWeather, measured: NDArray[np.bool_], members: int, rng: np.random.Generator
) -> dict[str, Array]:
    found: dict[str, Array] = {}
    if measured.any():
        found |= {f"{k}:-1": sd * rng.standard_normal(members) for k, sd in INSTRUMENT_SD.items()}
    if past.members == 1:
        return found
    days = _days(past)
    for day in range(int(days[-1]) + 1):
        hours = (days == day) & ~measured
        if not hours.any():
            continue
        sun = past.ghi_wm2[:, hours].sum(axis=1)
        dry = (1.0 - past.rh[:, hours]).sum(axis=1)
        if sun.min() > 0.0:
            found[f"sun:{day}"] = np.log(sun)
        if dry.min() > 0.0:
            found[f"dryness:{day}"] = np.log(dry)
    return found
