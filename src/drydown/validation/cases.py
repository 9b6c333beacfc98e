"""Published drying results, from `cases.toml`: what was dried, where, in what air, and how long it took."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from drydown.air.normals import MonthNormals
from drydown.air.series import Site
from drydown.errors import InputError
from drydown.steps.dry.data import Place, place
from drydown.tables import table
from drydown.words import say

__all__ = ["GROUPS", "Case", "CaseSite", "all_cases"]

GROUPS = ("beds and floors in the sun", "tunnels", "warm moving air")
HALF_OF_WATER = 0.35
"""A target from here up [fraction wb], of a lot that was fresh, is about half of its water."""
UNCAPPED_C = 99.0


@dataclass(frozen=True, slots=True)
class CaseSite:
    """Where a case dried: the place on the map, and one set of monthly normals for its season."""

    site: Site
    month: int
    normals: MonthNormals


@dataclass(frozen=True, slots=True)
class Case:
    """One published result.

    load_kg_m2 [kg as spread/m2]; start_wb, target_wb [fraction], start None for fresh; published [h], with
    the range printed [h]; `ratio` where it is a time over the time at `air_m_s_other`; grade A, B or C, how
    much of the air is in the source; `origin` names the source, shared by its cases; outside_c [C] and
    outside_rh [fraction] the air before a heater; collector_c [C] the warmest air of a collector by day.
    """

    name: str
    form: str
    species: str
    where: Place
    load_kg_m2: float
    target_wb: float
    published: float
    origin: str
    grade: str
    conditions: str
    source: str
    status: str
    unit: str
    start_wb: float | None = None
    published_range: tuple[float, float] | None = None
    site: CaseSite | None = None
    part_dried: bool = False
    outside: Mapping[str, float] = field(default_factory=dict)
    collector_c: float | None = None
    air_m_s_other: float | None = None

    @property
    def group(self) -> str:
        """Which of `GROUPS` it belongs to."""
        if self.where.machine:
            return GROUPS[2]
        return GROUPS[1] if self.where.name == "tunnel" else GROUPS[0]

    @property
    def ratio(self) -> bool:
        """True where the published number is a ratio of two times."""
        return self.air_m_s_other is not None

    @property
    def halfway(self) -> bool:
        """True where a fresh lot is timed to about half of its water."""
        return not self.part_dried and self.target_wb >= HALF_OF_WATER


def all_cases() -> dict[str, Case]:
    """Every case by name, in the order of the file."""
    rows = table("drydown.validation", "cases.toml")
    sites = {name: _site(row) for name, row in rows["site"].items()}
    return {name: _case(name, row, sites) for name, row in rows["case"].items()}


def _site(row: Mapping[str, Any]) -> CaseSite:
    n = dict(row["normals"])
    n["ghi_kwh_m2"] = n.pop("ghi_kwh_m2_day")
    place_on_map = Site(
        row["latitude_deg"], row["longitude_deg"], row["elevation_m"], row["utc_offset_h"], row["name"]
    )
    return CaseSite(place_on_map, row["month"], MonthNormals(**n))


def _case(name: str, row: Mapping[str, Any], sites: Mapping[str, CaseSite]) -> Case:
    hours = {"d": 24.0, "h": 1.0, "sun_h": 1.0, "ratio": 1.0}
    if row["unit"] not in hours:
        raise InputError(say("unit '{unit}' is not known.", unit=row["unit"]), name)
    scale, span = hours[row["unit"]], row.get("published_range")
    spot = place(row["place"])
    if "air_set_c" in row:
        spot = spot.set_to(row["air_m_s"], row["air_set_c"], UNCAPPED_C)
    outside = {k: row[k] for k in ("outside_c", "outside_rh", "elevation_m") if k in row}
    return Case(
        name, row["form"], row["species"], spot, row["load_kg_m2"], row["target_wb"],
        row["published"] * scale, row["from"], row["class"], row["conditions"], row["source"], row["status"],
        row["unit"], row.get("start_wb"), (span[0] * scale, span[1] * scale) if span else None,
        sites[row["site"]] if "site" in row else None, row.get("part_dried", False), outside,
        row.get("collector_c"), row.get("air_m_s_other"),
    )  # fmt: skip
