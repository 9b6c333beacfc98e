"""Published sizing rules of a station, computed by hand for one case, each with its source and its band."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import ceil, pi, sqrt

from drydown.errors import RangeError
from drydown.figures import Band, Figure, Source, Status
from drydown.words import say

__all__ = [
    "Case",
    "anaerobic_load",
    "drying_area",
    "facultative_load",
    "hand_rules",
    "peak_share",
    "pulper_kg_h",
    "store_m3",
    "tank_litres",
    "tanks_needed",
]

PEAK = Source("derived: a bell-shaped season; common practice is 1 to 5 % of a crop on its largest day",
              Status.DERIVED)  # fmt: skip
SPON = Source("Spon's Encyclopaedia, 19th century: one cubic foot of cistern per bushel on the largest day",
              Status.PUBLISHED)  # fmt: skip
TANK = Source("derived: 0.568 kg pulped per kg fruit at 850 kg/m3, a quarter of freeboard", Status.DERIVED)
AREA_CHERRY = Source(
    "Wintgens 2004 as quoted by others (40 kg/m2, that is 25 m2/t) and FAO/ICO (25 to 30 kg/m2)",
    Status.SECOND_HAND,
)
AREA_PARCHMENT = Source(
    "Wintgens 2004 as quoted by others (10 to 12 kg wet per m2, 14 days) and Cenicafe AT 345 (23.7 kg/m2): a "
    "factor of two apart", Status.SECOND_HAND,
)  # fmt: skip
PULPER = Source("an extension text (Kona): the largest pick within 2 h; common practice 6 to 8 h at 0.8",
                Status.COMMON_PRACTICE)  # fmt: skip
MARA = Source("Mara's design loads of waste ponds", Status.FROM_MEMORY)
STORE = Source("dry parchment of 365 to 400 kg/m3 and two fifths more for aisles", Status.FROM_MEMORY)


@dataclass(frozen=True, slots=True)
class Case:
    """A station to size. fruit_kg of a season; spread_days, standard deviation of its harvest curve; days of
    delivery a week; route; dwell_days on beds, early, middle, late; coldest_c, mean of the coldest month."""

    fruit_kg: float
    spread_days: float
    days_a_week: int
    washed: bool
    dwell_days: tuple[float, float, float]
    coldest_c: float

    def __post_init__(self) -> None:
        if not 10.0 <= self.fruit_kg <= 1e8:
            raise RangeError(say("must be from 10 kg to 100 000 t, got {k:g} kg.", k=self.fruit_kg), "fruit")
        if not 3.0 <= self.spread_days <= 120.0 or not 1 <= self.days_a_week <= 7:
            raise RangeError(say("must be 3 to 120 days, and 1 to 7 days a week."), "the harvest curve")


def peak_share(spread_days: float, days_a_week: int) -> float:
    """Share of a season's fruit that comes on its largest day.

    Equation: (7/w) / (sigma sqrt(2 pi)). Args: spread_days, sigma [day]; days_a_week. Returns: [fraction].
    Valid range: sigma of 3 to 120 days, 1 to 7 days a week. Source: derived, a bell-shaped season.

    >>> round(100 * peak_share(20.0, 6), 2)
    2.33
    """
    return 7.0 / days_a_week / (spread_days * sqrt(2.0 * pi))


def pulper_kg_h(peak_kg: float, hours: float = 7.0, working: float = 0.8) -> float:
    """Capacity that pulps the largest day.

    Equation: fruit / (hours x share of them that it works). Args: peak_kg [kg]; hours [h]; working
    [fraction].
    Returns: [kg/h]. Valid range: hours above 0. Source: common practice, 6 to 8 h at 0.8.

    >>> round(pulper_kg_h(5600.0))
    1000
    """
    return peak_kg / (hours * working)


def tank_litres(peak_kg: float) -> tuple[float, float]:
    """Tank volume for the fruit of the largest day: by mass and freeboard, and by the rule of the 19th
    century.

    Equation: 0.84 and 1.26 L per kg of fruit. Args: peak_kg [kg]. Returns: [L], [L]. Valid range: above 0.
    Source: derived from masses and densities; Spon's Encyclopaedia.

    >>> tank_litres(1000.0)
    (840.0, 1260.0)
    """
    return 0.84 * peak_kg, 1.26 * peak_kg


def tanks_needed(ferment_h: float, turn_round_h: float) -> int:
    """How many tanks of a day's fruit each: ceil((t + turn-round)/24) + 1, derived."""
    return ceil((ferment_h + turn_round_h) / 24.0) + 1


def drying_area(peak_kg: float, dwell_days: float, washed: bool) -> tuple[float, float]:
    """Area that a run of largest days takes, at the thickest and the thinnest published load.

    Equation: fruit a day x (kg as spread per kg of fruit) x days / load. Args: peak_kg [kg/day]; dwell_days
    [day]; washed. Returns: [m2], [m2]. Valid range: above 0. Source: loads of 10 to 23.7 kg/m2 (wet
    parchment) and 25 to 40 (cherry); 0.416 kg of wet parchment per kg of fruit.

    >>> [round(a) for a in drying_area(1000.0, 21.0, washed=False)]
    [525, 840]
    """
    spread = 0.416 if washed else 1.0
    loads = (23.7, 10.0) if washed else (40.0, 25.0)
    thick, thin = (peak_kg * spread * dwell_days / load for load in loads)
    return thick, thin


def store_m3(dry_parchment_kg: float) -> float:
    """Store volume for dry parchment, aisles in it.

    Equation: mass / 382 kg/m3 x 1.4. Args: dry_parchment_kg [kg]. Returns: [m3]. Valid range: above 0.
    Source: from memory, 365 to 400 kg/m3.

    >>> round(store_m3(1000.0), 1)
    3.7
    """
    return dry_parchment_kg / 382.0 * 1.4


def anaerobic_load(temp_c: float) -> tuple[float, float]:
    """Design load of an anaerobic pond and the share of BOD it takes off.

    Equation: 100 below 10 C; 20 T - 100 to 20; 10 T + 100 to 25; 350 above; removal 2 T + 20 % to 25 C, 40 %
    below 10, 70 % above. Args: temp_c, of the coldest month [C]. Returns: [g BOD/m3 day], [fraction].
    Valid range: 0 to 40 C. Source: Mara, from memory.

    >>> anaerobic_load(20.0)
    (300.0, 0.6)
    """
    if temp_c < 10.0:
        load = 100.0
    elif temp_c <= 20.0:
        load = 20.0 * temp_c - 100.0
    else:
        load = min(10.0 * temp_c + 100.0, 350.0)
    return load, min(max(2.0 * temp_c + 20.0, 40.0), 70.0) / 100.0


def facultative_load(temp_c: float) -> float:
    """Design load of a facultative pond.

    Equation: 350 (1.107 - 0.002 T)^(T - 25). Args: temp_c [C]. Returns: [kg BOD/ha day]. Valid range: 10 to
    35 C. Source: Mara, from memory.

    >>> round(facultative_load(20.0), 1)
    253.1
    """
    return float(350.0 * (1.107 - 0.002 * temp_c) ** (temp_c - 25.0))


def hand_rules(case: Case) -> dict[str, Figure]:
    """All rules for a case. Args: case. Returns: figures by name, low and high where sources differ."""
    share = peak_share(case.spread_days, case.days_a_week)
    peak = share * case.fruit_kg
    low, middle, high = case.dwell_days
    told = {"fruit of a season": f"{case.fruit_kg:.0f} kg", "largest day": f"{peak:.0f} kg"}
    area = [drying_area(peak, days, case.washed) for days in (low, middle, high)]
    source = AREA_PARCHMENT if case.washed else AREA_CHERRY
    load, removed = anaerobic_load(case.coldest_c)
    found = {
        "peak_day": _figure(
            peak, "kg", 0.01 * case.fruit_kg, 0.05 * case.fruit_kg,
            "crop times its share of the largest day", told, PEAK,
        ),
        "pulper": _figure(
            pulper_kg_h(peak), "kg/h", pulper_kg_h(peak, 8.0), peak / 2.0, "largest day over its hours", told,
            PULPER,
        ),
        "area": _figure(
            sqrt(area[1][0] * area[1][1]), "m2", area[0][0], area[2][1],
            "fruit a day as spread, times days, over the load", told | {"days": f"{low:g} to {high:g}"},
            source,
        ),
        "pond_load": _figure(
            load, "g BOD/m3 day", load, load, "by the coldest month's mean",
            {"coldest month": f"{case.coldest_c:g} C", "taken off": f"{100 * removed:.0f} %"}, MARA,
        ),
    }  # fmt: skip
    if case.washed:
        derived, old = tank_litres(peak)
        rule = "litres a kilogram of the largest day; three tanks and more, so that two can receive"
        found["tanks"] = _figure(derived, "L", derived, old, rule, told, TANK)
        few, usual, many = (store_m3(share * case.fruit_kg) for share in (0.18, 0.20, 0.22))
        found["store"] = _figure(usual, "m3", few, many, "a whole season's parchment at once", told, STORE)
    return found


def _figure(
    value: float, unit: str, low: float, high: float, rule: str, told: Mapping[str, str], source: Source
) -> Figure:
    return Figure(value, unit, min(low, value), max(high, value), Band.STATED, rule, dict(told), (source,))
