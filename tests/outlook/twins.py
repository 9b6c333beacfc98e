"""Two hundred invented lots of 25 stations, with everything hidden that a station does not know.

Each has parameters, weather and readings of its own. The truth is dried by the plain equations under another
solver (`plainrun.py`), kept in `twins.npz`; `python -m tests.outlook.twins` makes the file anew (an hour).
"""

from __future__ import annotations

import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from drydown.air.generator import generate
from drydown.air.normals import MonthNormals
from drydown.air.series import RANGES, HourlyWeather, Site
from drydown.outlook.case import DryingCase
from drydown.steps.dry.begin import start as start_of
from drydown.steps.dry.data import form, place
from drydown.steps.dry.draws import draw_parameters
from drydown.steps.dry.inputs import hourly_air, parameter_table
from drydown.steps.dry.routine import Routine
from tests.outlook.plainrun import plain_moisture

__all__ = [
    "BIAS_SD",
    "LOTS",
    "NOISE_SD",
    "PER_STATION",
    "Twin",
    "kept_curve",
    "seen_air",
    "true_hours",
    "twin",
]

Array = NDArray[np.float64]
LOTS, PER_STATION = 200, 8
FILE = Path(__file__).with_name("twins.npz")
BIAS_SD, NOISE_SD = 0.006, 0.006
INSTRUMENTS = {"sun": 0.06, "dryness": 0.08}
OF_LOT = {"pace": 0.5, "d40_m2_s": 0.5, "hull_kg_m2_s_pa": 0.5, "absorptance": 0.3, "h_scale": 0.05,
          "wind_draw": 0.05}  # fmt: skip
HILL = MonthNormals(24.0, 13.0, 0.75, 100.0, 12.0, 1.5)
CLIMATES = (
    HILL,
    MonthNormals(27.0, 16.5, 0.68, 45.0, 6.0, 2.0),
    MonthNormals(29.5, 20.0, 0.78, 150.0, 13.0, 1.8),
    MonthNormals(22.0, 11.0, 0.80, 70.0, 9.0, 1.2),
)
WAYS = (
    ("parchment", "raised_bed", 12.0), ("parchment", "raised_bed", 16.0), ("mucilage", "raised_bed", 10.0),
    ("cherry", "raised_bed", 12.0), ("parchment", "patio", 10.0),
)  # fmt: skip
DAYS = 45


@dataclass(frozen=True, slots=True)
class Twin:
    """One lot: its case as the station knows it, true parameters, true air, the meter's bias."""

    number: int
    case: DryingCase
    normals: tuple[MonthNormals, ...]
    parameters: dict[str, Array]
    air: HourlyWeather
    bias: float

    @property
    def station(self) -> int:
        """Number of its station."""
        return self.number // PER_STATION


def twin(number: int) -> Twin:
    """Lot by number."""
    station, nth = divmod(number, PER_STATION)
    rng = np.random.default_rng([77, station])
    site = Site(-3.4 + 0.2 * station, 45.0, 1200.0 + 30.0 * station, 3.0)
    normals = (CLIMATES[station % len(CLIMATES)],) * 12
    name, where, load = WAYS[(station + nth) % len(WAYS)]
    start = datetime(2026, 5, 4, 10, tzinfo=site.zone) + timedelta(days=3 * nth)
    case = DryingCase("arabica", name, where, load, 0.11, start, Routine())
    whole = generate(
        site, normals, datetime(2026, 5, 4, 10, tzinfo=site.zone), 24 * (DAYS + 24), 2, 9000 + station
    )
    air = whole.draw(np.array([1])).window(start, 24 * DAYS)
    return Twin(
        number, case, normals, _hidden(name, station, nth), air, float(BIAS_SD * rng.standard_normal())
    )


def _hidden(name: str, station: int, nth: int) -> dict[str, Array]:
    """True parameters: what is of the station from one draw, what is of the lot from another."""
    kind = form(name)
    mine = draw_parameters(kind, 12, 5000 + station * 31 + nth)
    its = draw_parameters(kind, 400, 7000)
    row = 1 + np.random.default_rng([78, station]).integers(0, 399)
    found = {}
    for key in mine:
        share, low = OF_LOT.get(key, 1.0), np.log(its[key]).mean()
        own, place_ = np.log(mine[key][5]) - low, np.log(its[key][row]) - low
        found[key] = np.array([np.exp(low + np.sqrt(share) * own + np.sqrt(1.0 - share) * place_)])
    found["x_bean"] = np.minimum(found["x_bean"], found["x_full"])
    if kind.ranges["x_bean"].typical == kind.ranges["x_full"].typical:
        found["x_bean"] = found["x_full"].copy()
    found["absorptance"] = np.minimum(found["absorptance"], 0.97)
    return found


def seen_air(lot: Twin, hours: int) -> HourlyWeather:
    """What the station's instruments said of the hours so far."""
    rng = np.random.default_rng([79, lot.station])
    sun, dryness = (np.exp(sd * rng.standard_normal()) for sd in INSTRUMENTS.values())
    past = lot.air.window(lot.air.start, hours)
    columns = {key: getattr(past, key).copy() for key in RANGES}
    columns["ghi_wm2"] = np.minimum(columns["ghi_wm2"] * sun, 1450.0)
    columns["rh"] = np.clip(1.0 - (1.0 - columns["rh"]) * dryness, 0.03, 1.0)
    return HourlyWeather.of(past.site, past.start, columns)


def plain_inputs(lot: Twin) -> tuple[Array, Array, Array, Array]:
    """What the plain equations are handed: parameters, air, rakes, start."""
    kind, spot = form(lot.case.form, lot.case.species), place(lot.case.place)
    load = kind.dry_load(lot.case.load_kg_m2)
    table = parameter_table(lot.parameters, spot, load, lot.air.window(lot.air.start, 24 * 20), 1)[0]
    hourly, raked = hourly_air(spot, lot.air, lot.case.routine)
    air_c = lot.air.temp_c[0, 0]
    start = np.append(start_of(lot.parameters, load / lot.parameters["pace"], None, 1)[0], [air_c, air_c])
    return table, hourly[0], raked, start


def dried(number: int) -> tuple[int, Array]:
    """The true curve of a lot, by the plain equations."""
    lot = twin(number)
    return number, plain_moisture(*plain_inputs(lot), _stop(lot))


def _stop(lot: Twin) -> float:
    return lot.case.target_wb / (1.0 - lot.case.target_wb)


def kept_curve(number: int) -> Array:
    """Moisture [kg/kg] by the hour from spreading until the target, from the file."""
    with np.load(FILE) as kept:
        return np.asarray(kept[f"lot{number}"], dtype=float)


def true_hours(curve: Array, target_wb: float) -> float:
    """Hour the target was met, between hours on a straight line."""
    wb = curve / (1.0 + curve)
    at = int(np.argmax(wb <= target_wb))
    return float(at - (target_wb - wb[at]) / (wb[at - 1] - wb[at]))


def main(first: int = 0, last: int = LOTS) -> None:
    """Dry all lots and keep their curves."""
    with ProcessPoolExecutor(2) as pool:
        found = {}
        for number, curve in pool.map(dried, range(first, last)):
            found[f"lot{number}"] = curve.astype(np.float32)
            print(number, len(curve), flush=True)  # noqa: T201
    np.savez_compressed(FILE, allow_pickle=False, **found)


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
