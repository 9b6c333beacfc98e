"""What looks odd about a step: each finding names the rule it goes by and where that comes from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from drydown.books.models import Lot
from drydown.figures import Source, Status
from drydown.matter.species import Range, species
from drydown.station.model import Station

__all__ = ["Finding", "crowded", "judge"]


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


def crowded(details: dict[str, Any], station: Station, need_m2: float, held_kg: float) -> tuple[Finding, ...]:
    """Whether a place is too small for a lot at the load that was said; other lots on it not counted."""
    found, said = [], Source("as the station describes it", Status.STATED)
    bed, load = details["bed"], details["load_kg_m2"]
    area = station.drying_places()[bed][1]
    if need_m2 > 1.02 * area:
        words = f"At {load:g} kg/m2 the lot needs {need_m2:.1f} m2; {bed} has {area:g}: is it spread thicker?"
        found.append(Finding(words, said))
    for dryer in station.equipment.dryers:
        if dryer.name == bed and held_kg > 1.02 * dryer.holds_kg:
            words = f"{held_kg:.0f} kg is more than {bed} holds ({dryer.holds_kg:g} kg)."
            found.append(Finding(words, said))
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
    elif moisture > 0.125:
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
    if lot.known_wb is None or lot.known_wb <= 0.125:
        return []
    return [Finding(f"Last read at {lot.known_wb * 100:.1f} % wb, outside the rule of 12.5 %.", _DRY)]
