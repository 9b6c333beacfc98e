"""A lot's own record, in sentences, for those who ask where a loss came from."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

from drydown.books.lots.family import ancestors
from drydown.books.lots.nights import nights_uncovered
from drydown.books.models import Delivery, Happening, Lot, Reading
from drydown.station.model import Station
from drydown.words import say

__all__ = ["record_of"]

RISE = 0.005


class _Record:
    """All that happened to a lot and to those it came from, in order."""

    def __init__(self, lot: Lot, station: Station) -> None:
        codes = {lot.code, *(edge.parent for edge in ancestors(lot))}
        self.lot, self.station = lot, station
        self.steps = list(Happening.objects.filter(lot__code__in=codes, undone=False).order_by("happened_at"))
        self.readings = list(
            Reading.objects.filter(lot__code__in=codes, undone=False).order_by("happened_at")
        )
        self.deliveries = list(
            Delivery.objects.filter(lot__code__in=codes, undone=False).order_by("happened_at")
        )

    def first(self, kind: str) -> Happening | None:
        """The first step of a kind."""
        return next((h for h in self.steps if h.kind == kind), None)

    def last(self, kind: str) -> Happening | None:
        """The last step of a kind."""
        return next((h for h in reversed(self.steps) if h.kind == kind), None)

    def at(self, kind: str) -> datetime | None:
        """When the first step of a kind was."""
        found = self.first(kind)
        return found.happened_at if found else None


def _hours(since: datetime | None, until: datetime | None) -> float | None:
    return (until - since).total_seconds() / 3600.0 if since and until else None


def _wait(r: _Record) -> str:
    first = r.deliveries[0].happened_at if r.deliveries else None
    until = r.at("pulp") or r.at("spread")
    hours = _hours(first, until)
    return (
        say(
            "{hours:.0f} h from the first weighing to {which}",
            hours=hours,
            which="pulping" if r.at("pulp") else "spreading",
        )
        if hours is not None
        else ""
    )


def _tank(r: _Record) -> str:
    hours = _hours(r.at("ferment"), r.at("wash"))
    if hours is None:
        return ""
    tests = [h for h in r.steps if h.kind == "test"]
    ph = [f"pH {h.details['ph']:g}" for h in tests if "ph" in h.details]
    return say("{hours:.0f} h in the tank, {tests} tests", hours=hours, tests=len(tests)) + (
        f" ({', '.join(ph)})" if ph else ""
    )


def _share(r: _Record, name: str, words: str) -> str:
    known = [(getattr(d, name), d.net_g) for d in r.deliveries if getattr(d, name) is not None]
    if not known:
        return ""
    mass = sum(net for _v, net in known)
    of = 100 * mass / sum(d.net_g for d in r.deliveries)
    mean = sum(v * net for v, net in known) / mass
    return say(
        "{words} {mean:.0f} % by weight ({of:.0f} % of the fruit was looked at)",
        words=words,
        mean=mean,
        of=of,
    )


def _floats(r: _Record) -> str:
    off = r.first("float")
    taken = (
        say("{floaters_kg:g} kg of floaters were taken off", floaters_kg=off.details["floaters_kg"])
        if off and "floaters_kg" in off.details
        else ""
    )
    return "; ".join(filter(None, (taken, _share(r, "float_percent", "floaters"))))


def _drying(r: _Record) -> str:
    end = r.last("bag")
    hours = _hours(r.at("spread"), end.happened_at if end else None)
    return say("{hours:.1f} days from spreading to bagging", hours=hours / 24) if hours is not None else ""


def _wet(r: _Record) -> str:
    below = next((x for x in r.readings if x.moisture_wb <= 0.35), None)
    hours = _hours(r.at("spread"), below.happened_at if below else None)
    return (
        say("{hours:.0f} h from spreading to the first reading at 35 % or below", hours=hours)
        if hours is not None
        else ""
    )


def _nights(r: _Record) -> str:
    end = r.last("bag")
    found = nights_uncovered(r.lot, r.station, end.happened_at) if end else None
    return (
        say(
            "{value} of the last {value_2} nights before bagging were uncovered by the log",
            value=found[0],
            value_2=found[1],
        )
        if found
        else ""
    )


def _rises(r: _Record) -> str:
    pairs = zip(r.readings, r.readings[1:], strict=False)
    rises = [b.moisture_wb - a.moisture_wb for a, b in pairs if b.moisture_wb - a.moisture_wb > RISE]
    if len(r.readings) < 2:
        return ""
    most = say(", the largest by {max:.1f} points", max=100 * max(rises)) if rises else ""
    return say(
        "{rises} of {readings} readings were higher than the one before{most}",
        rises=len(rises),
        readings=len(r.readings) - 1,
        most=most,
    )


def _hulled(r: _Record) -> str:
    step = r.last("hull")
    return (
        say("hulled at {moisture_percent:g} % wet basis", moisture_percent=step.details["moisture_percent"])
        if step and "moisture_percent" in step.details
        else ""
    )


def _store(r: _Record) -> str:
    bagged = r.last("bag")
    later = [x.moisture_wb for x in r.readings if bagged and x.happened_at >= bagged.happened_at]
    return (
        say(
            "{max:.1f} % wet basis at most in store, {later} readings", max=100 * max(later), later=len(later)
        )
        if later
        else ""
    )


def _bed(r: _Record) -> str:
    step = r.first("spread")
    return say("dried on {bed}", bed=step.details["bed"]) if step and "bed" in step.details else ""


def _growers(r: _Record) -> str:
    masses: dict[int, int] = {}
    for d in r.deliveries:
        masses[d.grower_id] = masses.get(d.grower_id, 0) + d.net_g
    if not masses:
        return ""
    top = max(masses.values()) / sum(masses.values())
    return say("fruit of {masses} growers, the largest part {top:.0f} %", masses=len(masses), top=100 * top)


_ASKS: dict[str, Callable[[_Record], str]] = {
    "wait": _wait, "tank": _tank, "ripe": lambda r: _share(r, "ripe_percent", "ripe"), "floats": _floats,
    "drying_days": _drying, "wet_days": _wet, "nights": _nights, "rewetting": _rises,
    "moisture_at_hulling": _hulled, "moisture_in_store": _store, "bed": _bed, "growers": _growers,
}  # fmt: skip


def record_of(lot: Lot, station: Station) -> dict[str, str]:
    """What the books say to each question a cause of loss asks; empty where they say nothing.

    Keys are those of `looks_at` in quality/causes.toml.
    """
    record = _Record(lot, station)
    return {name: ask(record) for name, ask in _ASKS.items()}
