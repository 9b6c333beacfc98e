"""What looks odd about a step: each finding names the rule it goes by and where that comes from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from drydown.books.lots.flow import TOO_WET
from drydown.books.lots.flows import Matter
from drydown.books.lots.places import SLACK, VOLUME_SOURCE, Yard, litres
from drydown.books.models import Lot
from drydown.figures import Source, Status
from drydown.matter.species import Range, species
from drydown.numerals import number
from drydown.station.model import Station

__all__ = ["Finding", "crowded", "judge", "tank_filled"]


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing to look at again."""

    words: str
    source: Source


_FLOAT = Source("typical float 3-10 % of cherry, up to 20 % in a late crop", Status.FROM_MEMORY)
_DRY = Source("Codex Alimentarius CXC 69-2009: moisture 12.5 % wb or below", Status.PUBLISHED)
_HUSK = Source(
    "ICO factor 0.5 dried cherry to green (ITC Coffee Guide); 15 % either side is our own estimate",
    Status.PUBLISHED,
)


def judge(
    lot: Lot, kind: str, details: dict[str, Any], fruit_kg: float, held_kg: float
) -> tuple[Finding, ...]:
    """Findings about a step, none of which stops it.

    `fruit_kg` is the ripe fruit the lot received, 0 for a lot that came of others; `held_kg`
    is what it holds before the step.
    """
    found = {"float": _floated, "bag": _bagged, "hull": _hulled, "sell": _sold}.get(kind)
    return tuple(found(lot, details, fruit_kg, held_kg)) if found else ()


def crowded(
    details: dict[str, Any], station: Station, need_m2: float, held_kg: float, yard: Yard
) -> tuple[Finding, ...]:
    """Whether a drying place is too small for a lot at the load that was said, with what lies on it."""
    found, said = [], Source("as the station describes it", Status.STATED)
    bed, load = details["bed"], details["load_kg_m2"]
    spot = yard.beds[bed]
    whole = spot.used + need_m2
    if need_m2 > SLACK * spot.size:
        words = (
            f"At {load:g} kg/m2 the lot needs {need_m2:.1f} m2; {bed} has {spot.size:g}: "
            "is it spread thicker?"
        )
        found.append(Finding(words, said))
    elif whole > SLACK * spot.size:
        words = (
            f"{bed} is over-full: {100 * whole / spot.size:.0f} % of {spot.size:g} m2 with "
            f"{', '.join(spot.lots)}. Spread elsewhere too, or the layers are thicker than was said."
        )
        found.append(Finding(words, said))
    for dryer in station.equipment.dryers:
        if dryer.name == bed and held_kg > SLACK * dryer.holds_kg:
            words = f"{number(held_kg)} kg is more than {bed} holds ({number(dryer.holds_kg)} kg)."
            found.append(Finding(words, said))
    return tuple(found)


def tank_filled(details: dict[str, Any], has: Matter, yard: Yard) -> tuple[Finding, ...]:
    """Whether a tank holds another lot already, or is too small for what is in it."""
    spot, found = yard.tanks[details["tank"]], []
    if spot.lots:
        words = f"{spot.name} holds {', '.join(spot.lots)} already: the two can no longer be told apart."
        found.append(Finding(words, Source("by the books", Status.STATED)))
    whole = spot.used + litres(has)
    if whole > SLACK * spot.size:
        words = (
            f"{spot.name} holds {number(spot.size)} L; this makes about {number(whole)} L: it runs over, or "
            "not all of it is in."
        )
        found.append(Finding(words, VOLUME_SOURCE))
    return tuple(found)


def _floated(_lot: Lot, details: dict[str, Any], fruit_kg: float, _held: float) -> list[Finding]:
    share = (details.get("floaters_kg") or 0.0) / fruit_kg if fruit_kg else 0.0
    if share <= 0.20:
        return []
    return [Finding(f"{share * 100:.0f} % floated, more than 20 %: scale, sorting or a sick crop?", _FLOAT)]


def _bagged(lot: Lot, details: dict[str, Any], fruit_kg: float, _held: float) -> list[Finding]:
    found = []
    moisture = lot.known_wb
    if moisture is None:
        words = "No moisture was read: the books take the target as reached."
        found.append(Finding(words, Source("assumption of the books", Status.OWN_ESTIMATE)))
    elif moisture > TOO_WET:
        words = (
            f"Bagged at {moisture * 100:.1f} % wb, outside the rule of 12.5 %: it can grow mould in the bag."
        )
        found.append(Finding(words, _DRY))
    if fruit_kg:
        found += _outturn(lot, details["mass_kg"], moisture or 0.11, fruit_kg)
    return found


def _outturn(lot: Lot, mass_kg: float, moisture: float, fruit_kg: float) -> list[Finding]:
    """Green that will come of it, per kg fruit, beside the published range."""
    kind = species(lot.species)
    c = kind.typical()
    shell = c.hull_dm if lot.route == "washed" else c.hull_dm + c.mucilage_dm
    if lot.route == "natural":
        shell = shell + c.pulp_dm
    bean = float(c.bean_dm / (c.bean_dm + shell))
    outturn = mass_kg * (1.0 - moisture) * bean / 0.89 / fruit_kg
    return _outside(outturn, kind.outturn_published, "kg green at 11 % wb per kg fruit")


def _outside(value: float, span: Range, unit: str) -> list[Finding]:
    if span.low <= value <= span.high:
        return []
    words = f"{value:.3f} {unit}: outside the published {span.low:g} to {span.high:g}. Check the weight."
    return [Finding(words, span.source)]


def _hulled(lot: Lot, details: dict[str, Any], _fruit: float, held_kg: float) -> list[Finding]:
    if not held_kg:
        return []
    share = details["green_kg"] / held_kg
    if lot.route == "natural":
        return _outside(share, Range(0.5, 0.425, 0.575, _HUSK), "kg green per kg dry cherry")
    hull = species(lot.species).hull_share
    span = Range(1 - hull.typical, 1 - hull.high - 0.03, 1 - hull.low, hull.source)
    return _outside(share, span, "kg green per kg dry parchment (huller loss up to 3 % allowed)")


def _sold(lot: Lot, _details: dict[str, Any], _fruit: float, _held: float) -> list[Finding]:
    if lot.known_wb is None or lot.known_wb <= TOO_WET:
        return []
    return [Finding(f"Last read at {lot.known_wb * 100:.1f} % wb, outside the rule of 12.5 %.", _DRY)]
