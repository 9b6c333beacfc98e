"""A lot's steps and readings: each writes its entry, and moves what it moves."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from fractions import Fraction
from typing import Any

from django.utils import timezone

from drydown.books.journal.write import DRY, WATER, Draft, Line, Who, held, sent_otherwise, write, writing
from drydown.books.lots.drying import spread_m2
from drydown.books.lots.flow import PAST, STEPS, TOO_WET, bagged_wet, next_steps
from drydown.books.lots.flows import Matter, hulled, pulped, taken_off, to_moisture, washed, weighed
from drydown.books.lots.gate import cherry_kg
from drydown.books.lots.habits import target_wb
from drydown.books.lots.judge import Finding, crowded, judge, tank_filled
from drydown.books.lots.places import yard_of
from drydown.books.lots.reading_off import read_off
from drydown.books.lots.watch import not_ready, past_window
from drydown.books.models import Descent, Happening, Holding, Lot, Reading
from drydown.books.moments import after, local_text
from drydown.books.numbers import to_minor
from drydown.errors import InputError, RangeError
from drydown.figures import Source, Status
from drydown.numerals import number
from drydown.outlook.cautions import cautions
from drydown.outlook.rules import window_state
from drydown.station.model import Station

__all__ = ["READABLE", "Taken", "lot_matter", "record_reading", "take_step"]


READABLE = {Lot.Stage.DRYING, Lot.Stage.STORED, Lot.Stage.HULLED, Lot.Stage.SORTED}


@dataclass(frozen=True, slots=True)
class Taken:
    """A step that was kept, and what looked odd about it."""

    happening: Happening
    findings: tuple[Finding, ...]


def lot_matter(lot: Lot) -> Matter:
    """Dry matter and water a lot holds by the books."""
    rows = Holding.objects.filter(account__name=lot.account, commodity__in=(DRY, WATER))
    found = dict(rows.values_list("commodity", "amount"))
    return Matter(found.get(DRY, 0), found.get(WATER, 0))


def take_step(
    lot: Lot, kind: str, key: uuid.UUID, at: datetime | None, who: Who, details: dict[str, Any],
    station: Station,
) -> Taken:  # fmt: skip
    """Record a step and move the lot, once for each key; refuse steps that cannot follow.

    Without a stated time the step is now, or, where the clock was put back, at the lot's last step.
    """
    with writing():
        before = Happening.objects.filter(entry__key=key).select_related("entry").first()
        if before:
            return Taken(_same(before, lot, kind, details), ())
        fresh = Lot.objects.get(pk=lot.pk)
        if kind not in [s.kind for s in next_steps(fresh)]:
            raise InputError(
                f"'{kind}' cannot follow: the lot is {fresh.get_stage_display()}.",
                fresh.code,
                "Someone may have recorded the step already; look at its way below.",
            )
        moment = _moment(fresh, kind, at)
        has = lot_matter(fresh)
        _possible(fresh, kind, details, has, station)
        details = _whole_sale(kind, details, has)
        findings = judge(fresh, kind, details, fruit_behind_kg(fresh), has.mass / 1000.0)
        findings += (*_room(fresh, kind, details, has, station), *_state(fresh, kind, moment))
        body = {
            "code": fresh.code, "kind": kind, "details": details,
            "warned": [f.words for f in findings], "assumed": _assumed(fresh, kind, station),
        }  # fmt: skip
        lines = _lines(fresh, kind, details, has, station)
        entry, _new = write(Draft("step", key, body, lines, moment, who), read_off)
        return Taken(Happening.objects.select_related("lot").get(entry=entry), findings)


_TANK = Source("Codex CXC 69-2009, rules 27 and 29d, as quoted by others", Status.SECOND_HAND)


def _state(lot: Lot, kind: str, at: datetime) -> tuple[Finding, ...]:
    """What the lot's own past says against a step, none of which stops it."""
    if kind == "wash":
        why = not_ready(lot, at)
        return (Finding(f"Washed although {why}: is the mucilage gone?", _TANK),) if why else ()
    if kind in {"bag", "hull", "sell"}:
        source = window_state(0.0, 0.0)[1]
        flags = past_window(lot)
        return tuple(Finding(f"{f.words}: {f.todo}." if f.todo else f"{f.words}.", source) for f in flags)
    return ()


def _room(lot: Lot, kind: str, details: dict[str, Any], has: Matter, station: Station) -> tuple[Finding, ...]:
    """Whether the place a lot goes to has room for it, with what stands there already."""
    if kind in {"spread", "move", "respread"} and details["bed"] in station.drying_places():
        need = spread_m2(lot, station, has.dry, details["load_kg_m2"])
        return crowded(details, station, need, has.mass / 1000.0, yard_of(station, without=lot))
    if kind == "ferment" and any(t.name == details["tank"] for t in station.equipment.tanks):
        return tank_filled(details, has, yard_of(station, without=lot))
    return ()


def fruit_behind_kg(lot: Lot) -> float:
    """Ripe fruit behind a lot, kg: its own deliveries, and of its parents the part that came into it.

    For lots that came of others the parts are shares of estimates until something is weighed.
    """
    found = cherry_kg(lot)
    for edge in Descent.objects.filter(child=lot, undone=False).select_related("parent"):
        found += edge.share * fruit_behind_kg(edge.parent)
    return found


def _fruit_of_family_kg(lot: Lot) -> float:
    """All the fruit a lot could have come of, kg: nothing can weigh more than this gives."""
    edges = Descent.objects.filter(child=lot, undone=False).select_related("parent")
    return cherry_kg(lot) + sum(_fruit_of_family_kg(edge.parent) for edge in edges)


def _was_weighed(lot: Lot) -> bool:
    """Whether a scale has spoken of this lot, or of all it came of: its kilograms are no estimate."""
    if lot.happenings.filter(kind__in=("bag", "weigh", "hull"), undone=False).exists():
        return True
    edges = Descent.objects.filter(child=lot, undone=False).select_related("parent")
    return bool(edges) and all(_was_weighed(edge.parent) for edge in edges)


def _most_bagged_kg(lot: Lot, held_kg: float) -> float:
    """The most a lot can weigh as it is bagged.

    The first weighing rules over the estimate: only what the fruit behind the lot cannot give is
    impossible (half of the fruit as dried cherry, 0.35 as parchment: above any published share).
    """
    family = _fruit_of_family_kg(lot)
    share = 0.5 if lot.route == "natural" else 0.35
    if not family:
        return SLACK * held_kg
    wet = 1.0 if lot.known_wb is None else max(1.0, (1.0 - 0.125) / (1.0 - lot.known_wb))
    return share * wet * family


def _wet_is_said(lot: Lot, details: dict[str, Any]) -> None:
    """Refuse to bag wet or unread coffee that nobody says is wet."""
    if not bagged_wet(lot.known_wb) or details.get("wet"):
        return
    known = lot.known_wb
    read = "it was never read" if known is None else f"it was read at {100 * known:.1f} % wb"
    caution = cautions("wet_bag")[0]
    raise InputError(
        f"{read}; the rule is {100 * TOO_WET:g} % or below. {caution.text} [{caution.source.text}]",
        lot.code, "Read or dry it first, or tick 'yes, bag it wet'.",
    )  # fmt: skip


def _same(before: Happening, lot: Lot, kind: str, details: dict[str, Any]) -> Happening:
    kept = {k: v for k, v in before.details.items() if k != "all_gone"}
    sent = {k: v for k, v in details.items() if k != "all_gone"}
    if (before.lot_id, before.kind, kept) != (lot.pk, kind, sent):
        raise sent_otherwise()
    return before


def _moment(lot: Lot, kind: str, at: datetime | None) -> datetime:
    """When it happened; refused before what it must follow."""
    last = lot.moved_at
    if at is None:
        now = timezone.now()
        return max(now, last) if last else now
    first = lot.deliveries.filter(undone=False).order_by("happened_at").first()
    if first and at < first.happened_at:
        raise InputError("is before the lot's first fruit was weighed in.", kind, "Check the time.")
    at = after(at, last) if last else at
    if last and at < last:
        raise InputError(
            f"{local_text(at)} is before the last step ({local_text(last)}).", lot.code, "Check the time."
        )
    note = lot.happenings.filter(undone=False).order_by("-happened_at").first()
    at = after(at, note.happened_at) if note else at
    if note and STEPS[kind].shapes and at < note.happened_at:
        raise InputError(
            f"{local_text(at)} is before the last note ({PAST[note.kind]}, {local_text(note.happened_at)}).",
            lot.code, "Check the time.",
        )  # fmt: skip
    at = after(at, lot.known_at) if lot.known_at else at
    if kind == "bag" and lot.known_at and at < lot.known_at:
        raise InputError("is before the last moisture reading.", kind, "Check the time.")
    return at


SLACK = 1.02
"""Scales differ: a sale may be this much above what the books hold."""


def _possible(lot: Lot, kind: str, details: dict[str, Any], has: Matter, station: Station) -> None:
    """Refuse what cannot be: nothing, more lights or coffee than there was fruit, more than is held."""
    held_kg = has.mass / 1000.0
    fruit = _fruit_of_family_kg(lot) or held_kg
    if kind == "bag":
        _wet_is_said(lot, details)
    most = {
        "float": 0.9 * fruit, "bag": _most_bagged_kg(lot, held_kg) if kind == "bag" else 0.0,
        "hull": held_kg, "sort": held_kg, "sell": SLACK * held_kg,
        "weigh": 1.5 * held_kg if _was_weighed(lot) else max(1.5 * held_kg, 0.5 * fruit),
    }.get(kind)  # fmt: skip
    for name in ("floaters_kg", "mass_kg", "green_kg", "rejects_kg"):
        value = details.get(name)
        if value is None or most is None:
            continue
        if value == 0 and name in {"mass_kg", "green_kg"}:
            raise RangeError("must be more than nothing.", _LABELS.get(name, kind), "Check the weight.")
        if value > most:
            said = f"can come of {_kg(fruit)} of fruit" if kind in {"float", "bag"} else "the lot holds"
            rest = "." if kind in {"float", "bag"} else f" ({_kg(held_kg)})."
            raise RangeError(
                f"{_kg(value)} is more than {said}{rest}", _LABELS.get(name, kind),
                "Check the weight, or weigh the lot again.",
            )  # fmt: skip
    _possible_sample(details)
    _possible_load(details, station)
    husk = details.get("husk_kg") or 0.0
    if kind == "hull" and details["green_kg"] + husk > 1.05 * held_kg:
        raise RangeError(
            f"green and husk weigh {_kg(details['green_kg'] + husk)}, the lot held {_kg(held_kg)}.", "hull"
        )


_LABELS = {
    "floaters_kg": "floaters", "mass_kg": "mass weighed", "green_kg": "green coffee",
    "rejects_kg": "rejects",
}  # fmt: skip


def _kg(value: float) -> str:
    return f"{number(value, 0 if value >= 1000 and value == int(value) else 1)} kg"


def _possible_load(details: dict[str, Any], station: Station) -> None:
    """Refuse a load that only a machine could hold on a bed."""
    load = details.get("load_kg_m2")
    if load is None:
        return
    found = station.drying_places().get(details.get("bed", ""))
    most = 900.0 if found and found[0].machine else 60.0
    if load > most:
        raise RangeError(
            f"{load:g} kg/m2 is more than {most:g} on {details['bed']}.", "load", "Check the load."
        )


def _possible_sample(details: dict[str, Any]) -> None:
    """Refuse a sample from more bags than there are, or with more kept back than was taken."""
    for name in ("bags_in_lot", "bags_opened"):
        if details.get(name, 0) % 1:
            raise RangeError(f"{details[name]:g} is not a whole number of bags.", "sample")
    if details.get("bags_opened", 0) > details.get("bags_in_lot", float("inf")):
        raise RangeError("more bags were opened than the lot has.", "sample", "Check the bags.")
    if details.get("kept_back_g", 0) > details.get("sample_g", float("inf")):
        raise RangeError("more is kept back than was taken.", "sample", "Check the grams.")


def _assumed(lot: Lot, kind: str, station: Station) -> dict[str, float]:
    """Moisture that was not read when the lot was bagged: the target, and said to be so."""
    if kind != "bag" or lot.known_wb is not None:
        return {}
    return {"moisture_wb": target_wb(lot, station)}


def _grams(details: dict[str, Any], name: str) -> int | None:
    value = details.get(name)
    return None if value is None else round(value * 1000)


def _lines(lot: Lot, kind: str, details: dict[str, Any], has: Matter, station: Station) -> list[Line]:
    """What a step moves."""
    account = lot.account
    practice = station.practice().typical()
    if kind == "pulp":
        return pulped(has, account, lot.species, practice, lot.route)
    if kind == "wash":
        return washed(has, account, lot.species, practice)
    if kind in {"bag", "weigh", "hull"}:
        return _scaled(lot, kind, details, has, station)
    if kind == "sell":
        return _sold(lot, details, has, station)
    off = {"float": "floaters_kg", "sort": "rejects_kg"}.get(kind)
    grams = _grams(details, off) if off else details.get("sample_g")
    to = {"float": "by-product/floaters", "sort": "by-product/rejects", "sample": "samples"}.get(kind)
    if to is None or not grams:
        return []
    return taken_off(has, account, round(grams), to)


def _scaled(lot: Lot, kind: str, details: dict[str, Any], has: Matter, station: Station) -> list[Line]:
    """Steps at which the scale speaks."""
    percent = details.get("moisture_percent")
    known = lot.known_wb if percent is None else percent / 100.0
    moisture = known if known is not None else _assumed(lot, "bag", station)["moisture_wb"]
    if kind != "hull":
        return weighed(has, lot.account, _grams(details, "mass_kg") or 0, moisture)
    shell = "by-product/husk" if lot.route == "natural" else "by-product/parchment hull"
    green = _grams(details, "green_kg") or 0
    return hulled(has, lot.account, green, _grams(details, "husk_kg"), moisture, shell)


def _sold(lot: Lot, details: dict[str, Any], has: Matter, station: Station) -> list[Line]:
    """Coffee to the buyer, its price owed by the buyer; what the scale did not find is shown apart."""
    buyer, grams = f"buyer/{details['buyer']}", _grams(details, "mass_kg") or 0
    money = station.money
    value = to_minor(Decimal(grams) / 1000 * Decimal(str(details["price_per_kg"])), money.decimals)
    lines = [(buyer, money.currency, value), (f"sales/{lot.code}", money.currency, -value)]
    lines += _cost_of_sale(lot, grams, has, money.currency, bool(details.get("all_gone")))
    if not details.get("all_gone"):
        return taken_off(has, lot.account, grams, buyer) + lines
    sold_dry = round(grams * has.dry / has.mass) if has.mass else 0
    sold = Matter(sold_dry, grams - sold_dry)
    rest = Matter(has.dry - sold.dry, has.water - sold.water)
    return [
        *sold.lines(buyer), *has.lines(lot.account, -1),
        ("difference", DRY, rest.dry), ("air", WATER, rest.water), *lines,
    ]  # fmt: skip


def _cost_of_sale(lot: Lot, grams: int, has: Matter, currency: str, everything: bool) -> list[Line]:
    """The part of the lot's cost that goes with what was sold, so that it does not move on with the rest."""
    cost = held(lot.account, currency)
    part = cost if everything or not has.mass else round(Fraction(cost * grams, has.mass))
    return [(lot.account, currency, -part), (f"sold/{lot.code}", currency, part)]


def _whole_sale(kind: str, details: dict[str, Any], has: Matter) -> dict[str, Any]:
    """A sale of all that is held empties the lot, whether or not that was ticked."""
    if kind == "sell" and (_grams(details, "mass_kg") or 0) >= has.mass:
        return details | {"all_gone": True}
    return details


def record_reading(
    lot: Lot, key: uuid.UUID, moisture_percent_wb: float, method: str, bean_temp_c: float | None,
    at: datetime | None, who: Who, noted_by: str = "",
) -> Reading:  # fmt: skip
    """Keep a moisture reading, once for each key; the water that is gone goes to the air's account."""
    method = method.strip()[:60]
    _readable(lot, moisture_percent_wb, method, bean_temp_c)
    with writing():
        lot = Lot.objects.get(pk=lot.pk)
        body = {
            "code": lot.code, "moisture_wb": moisture_percent_wb / 100.0, "method": method,
            "bean_temp_c": bean_temp_c,
        }  # fmt: skip
        if noted_by:
            body["noted_by"] = noted_by
        before = Reading.objects.filter(entry__key=key).select_related("entry", "lot").first()
        if before is None:
            _still_readable(lot, at)
        moment = at or max(filter(None, (timezone.now(), lot.spread_at)))
        latest = lot.known_at is None or moment >= lot.known_at
        lines = to_moisture(lot_matter(lot), lot.account, moisture_percent_wb / 100.0) if latest else []
        entry, _new = write(Draft("reading", key, body, lines, moment, who), read_off)
        return Reading.objects.get(entry=entry)


def _readable(lot: Lot, percent: float, method: str, bean_temp_c: float | None) -> None:
    if not 3.0 <= percent <= 80.0:
        raise RangeError(f"moisture must be from 3 to 80 % wet basis, got {percent:g}.", lot.code)
    if bean_temp_c is not None and not 0.0 <= bean_temp_c <= 80.0:
        raise RangeError(f"bean temperature must be 0 to 80 C, got {bean_temp_c:g}.", lot.code)
    if not method:
        raise InputError("is empty.", "method", "Name the meter or oven method.")


def _still_readable(lot: Lot, at: datetime | None) -> None:
    if lot.stage not in READABLE:
        raise InputError(
            f"is {lot.get_stage_display()}; a reading belongs to a drying or stored lot.", lot.code
        )
    if lot.stage == Lot.Stage.DRYING and (lot.spread_at is None or (at and at < lot.spread_at)):
        raise InputError("is not spread yet at that time.", lot.code)
