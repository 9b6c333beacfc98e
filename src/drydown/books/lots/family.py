"""Lots that split, merge and blend, and the tree of where each came from."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.utils import timezone

from drydown.books.journal.write import Draft, Who, sent_otherwise, write, writing
from drydown.books.lots.reading_off import read_off
from drydown.books.lots.states import lot_matter
from drydown.books.models import Descent, Entry, Holding, Lot, Posting
from drydown.errors import InputError, RangeError
from drydown.way.matter import Matter, share_out
from drydown.way.names import DRY, WATER, Line
from drydown.way.names import lot as lot_account
from drydown.way.state import Stage
from drydown.way.when import not_before
from drydown.words import say

__all__ = ["Kin", "Went", "ancestors", "descendants", "join", "reach", "sources_of", "split", "where_it_went"]

_CARRIED = ("stage", "bed", "tank", "store", "load_kg_m2", "spread_at", "known_wb", "known_at")


def _state(lot: Lot) -> dict[str, Any]:
    """A lot's state as plain data, for a child that begins where its parent stands."""
    found = {name: getattr(lot, name) for name in _CARRIED}
    return {k: v.isoformat() if isinstance(v, datetime) else v for k, v in found.items()}


def _free_code(stem: str) -> str:
    count = 1
    while Lot.objects.filter(code=f"{stem}{count}").exists():
        count += 1
    return f"{stem}{count}"


def _money(lot: Lot) -> list[tuple[str, int]]:
    """Cost a lot carries, by currency."""
    rows = Holding.objects.filter(account__name=lot.account).exclude(commodity__in=(DRY, WATER))
    return list(rows.exclude(amount=0).values_list("commodity", "amount"))


def _shared(amount: int, weights: Sequence[int]) -> list[int]:
    """An amount of money shared by weight, also one below zero."""
    parts = share_out(abs(amount), weights)
    return parts if amount >= 0 else [-p for p in parts]


def _part(parent: Lot, child: str, share: tuple[Matter, dict[str, int]]) -> list[Line]:
    matter, money = share
    to = lot_account(child)
    lines = matter.lines(parent.account, -1) + matter.lines(to)
    for currency, amount in money.items():
        lines += [(parent.account, currency, -amount), (to, currency, amount)]
    return lines


def split(lot: Lot, key: uuid.UUID, masses_kg: Sequence[float], at: datetime | None, who: Who) -> list[Lot]:
    """Split a lot into parts of weighed masses; the last part is what is left.

    The parts share dry matter, water and cost exactly; each begins where the parent stands.
    """
    with writing():
        done = _done(key, "split", [lot.code])
        if done is not None:
            return done
        parent = Lot.objects.get(pk=lot.pk)
        has = lot_matter(parent)
        grams = [round(kg * 1000) for kg in masses_kg]
        _splittable(parent, grams, has)
        weights = [*grams, has.mass - sum(grams)]
        dry, water = share_out(has.dry, weights), share_out(has.water, weights)
        costs = {c: _shared(a, weights) for c, a in _money(parent)}
        lines: list[Line] = []
        children, parts = [], []
        stem = f"{parent.code}."
        first = int(_free_code(stem).removeprefix(stem))
        for i, (d, w) in enumerate(zip(dry, water, strict=True)):
            code = f"{stem}{first + i}"
            lines += _part(parent, code, (Matter(d, w), {c: a[i] for c, a in costs.items()}))
            children.append(_child(parent, code, _state(parent)))
            parts.append(_kin(parent.code, code, Matter(d, w), has))
        body = {"kind": "split", "children": children, "parts": parts, "emptied": [parent.code]}
        moment = _moment([parent], at)
        write(Draft("split", key, body, lines, moment, who), read_off)
        return [Lot.objects.get(code=c["code"]) for c in children]


def _done(key: uuid.UUID, kind: str, parents: list[str]) -> list[Lot] | None:
    """The children of an entry that was sent before; another entry under its key is refused."""
    entry = Entry.objects.filter(key=key).first()
    if entry is None:
        return None
    if entry.kind != kind or {p["parent"] for p in entry.facts["parts"]} != set(parents):
        raise sent_otherwise()
    return [Lot.objects.get(code=c["code"]) for c in entry.facts["children"]]


def _splittable(lot: Lot, grams: list[int], has: Matter) -> None:
    if lot.stage in {Stage.GATHERING, Stage.GONE}:
        raise InputError(
            say("is {stage_words}; it cannot be split.", stage_words=lot.stage_words()), lot.code
        )
    if len(lot.code) > 60:
        raise InputError("has been split too often for its name.", lot.code, "Join it first.")
    if not grams or min(grams) <= 0:
        raise RangeError("each part must weigh more than nothing.", lot.code)
    if sum(grams) >= has.mass:
        raise RangeError(
            say(
                "the parts weigh {sum:g} kg, the lot {mass:g} kg by the books.",
                sum=sum(grams) / 1000,
                mass=has.mass / 1000,
            ),
            lot.code,
            "Name all parts but the last; weigh the lot again if the books are off.",
        )


def _child(like: Lot, code: str, state: dict[str, Any]) -> dict[str, Any]:
    return {
        "code": code, "species": like.species, "route": like.route,
        "opened_on": like.opened_on.isoformat(), "group": like.group, "state": state,
    }  # fmt: skip


def _kin(parent: str, child: str, part: Matter, of: Matter) -> dict[str, Any]:
    return {
        "parent": parent, "child": child, "dry_g": part.dry, "water_g": part.water,
        "share": round(part.dry / of.dry, 6) if of.dry else 0.0,
    }  # fmt: skip


def _moment(parents: Sequence[Lot], at: datetime | None) -> datetime:
    last = max((p.moved_at for p in parents if p.moved_at), default=None)
    return not_before(last, at, timezone.now(), timezone.get_current_timezone(), parents[0].code)


def join(
    parents: Sequence[tuple[Lot, float | None]],
    key: uuid.UUID,
    at: datetime | None,
    who: Who,
    bed: str = "",
) -> Lot:
    """Put lots, or weighed parts of them (kg; None for all), together into a new lot.

    Same species; before hulling also the same route and the same stage. `bed` is where it lies
    now; without it, where its heaviest part lay.
    """
    with writing():
        done = _done(key, "join", [p.code for p, _kg in parents])
        if done is not None:
            return done[0]
        lots = [Lot.objects.get(pk=p.pk) for p, _kg in parents]
        _joinable(lots)
        takes = [_take(p, kg) for p, (_l, kg) in zip(lots, parents, strict=True)]
        code = _free_code(f"{lots[0].species[:1].upper()}J-{max(p.opened_on for p in lots):%m%d}-")
        lines: list[Line] = []
        for p, take in zip(lots, takes, strict=True):
            lines += _part(p, code, (take.part, take.money))
        state = _joined_state(lots, takes) | ({"bed": bed} if bed else {})
        like = lots[0]
        child = _child(like, code, state)
        child["route"] = like.route if len({p.route for p in lots}) == 1 else "blend"
        child["opened_on"] = max(p.opened_on for p in lots).isoformat()
        kin = [_kin(p.code, code, t.part, t.of) for p, t in zip(lots, takes, strict=True)]
        emptied = [p.code for p, t in zip(lots, takes, strict=True) if t.part == t.of]
        body = {"kind": "join", "children": [child], "parts": kin, "emptied": emptied}
        write(Draft("join", key, body, lines, _moment(lots, at), who), read_off)
        return Lot.objects.get(code=code)


@dataclass(frozen=True, slots=True)
class _Take:
    """What is taken of a lot."""

    part: Matter
    of: Matter
    money: dict[str, int]


def _take(lot: Lot, kg: float | None) -> _Take:
    has = lot_matter(lot)
    if kg is None:
        return _Take(has, has, dict(_money(lot)))
    grams = round(kg * 1000)
    if not 0 < grams <= has.mass:
        raise RangeError(
            say("{kg:g} kg is not between 0 and the {mass:g} kg it holds.", kg=kg, mass=has.mass / 1000),
            lot.code,
        )
    dry = share_out(has.dry, [grams, has.mass - grams])[0]
    money = {c: _shared(a, [grams, has.mass - grams])[0] for c, a in _money(lot)}
    return _Take(Matter(dry, grams - dry), has, money)


def _joinable(lots: Sequence[Lot]) -> None:
    if len(lots) < 2 or len({p.pk for p in lots}) < len(lots):
        raise InputError("name two or more lots, each once.", "join")
    stages = {p.stage for p in lots}
    if stages & {Stage.GATHERING, Stage.GONE}:
        raise InputError("lots that still gather, or are gone, cannot be joined.", "join")
    if len(stages) > 1:
        raise InputError("the lots stand at different steps.", "join", "Bring them to the same step first.")
    if len({p.species for p in lots}) > 1:
        raise InputError("the lots are of different species.", "join", "Sell them side by side instead.")
    if len({p.route for p in lots}) > 1 and not stages <= {Stage.HULLED, Stage.SORTED}:
        raise InputError(
            "the lots go different routes; only hulled coffee of several routes is blended.", "join"
        )


def _joined_state(lots: Sequence[Lot], takes: Sequence[_Take]) -> dict[str, Any]:
    """Where the new lot stands: as its heaviest part; moisture as mixed, where all were read."""
    heaviest = max(range(len(lots)), key=lambda i: takes[i].part.dry)
    state = _state(lots[heaviest])
    begun = [p.spread_at for p in lots if p.spread_at]
    state["spread_at"] = min(begun).isoformat() if begun else None
    if all(p.known_wb is not None for p in lots):
        dry = sum(t.part.dry for t in takes)
        water = sum(t.part.water for t in takes)
        oldest = min(p.known_at for p in lots if p.known_at)
        state |= {"known_wb": round(water / (dry + water), 5), "known_at": oldest.isoformat()}
    else:
        state |= {"known_wb": None, "known_at": None}
    return state


@dataclass(frozen=True, slots=True)
class Kin:
    """One edge of the family tree."""

    parent: str
    child: str
    kind: str
    dry_g: int
    share: float


def _walk(lot: Lot, up: bool) -> list[Kin]:
    found: dict[int, Kin] = {}
    todo = [lot.pk]
    seen: set[int] = set()
    while todo:
        here = todo.pop()
        if here in seen:
            continue
        seen.add(here)
        side = {"child_id": here} if up else {"parent_id": here}
        for edge in Descent.objects.filter(undone=False, **side).select_related("parent", "child"):
            found[edge.pk] = Kin(edge.parent.code, edge.child.code, edge.kind, edge.dry_g, edge.share)
            todo.append(edge.parent_id if up else edge.child_id)
    return [found[pk] for pk in sorted(found)]


def ancestors(lot: Lot) -> list[Kin]:
    """Every edge above a lot."""
    return _walk(lot, up=True)


def descendants(lot: Lot) -> list[Kin]:
    """Every edge below a lot."""
    return _walk(lot, up=False)


@dataclass(frozen=True, slots=True)
class Went:
    """Where a lot's coffee went: its own part (sold, or still held), and the part of each child."""

    own: float
    children: dict[int, float]


def where_it_went(lot: Lot) -> Went:
    """Follow a lot's dry matter: at each split, join or sale, the share of what it then held.

    The parts add up to 1. Steps that take matter off (pulp, husk, rejects) change no share.
    """
    parts = {e.entry_id: e for e in Descent.objects.filter(parent=lot, undone=False)}
    sales = set(lot.happenings.filter(kind="sell", undone=False).values_list("entry_id", flat=True))
    left, held_g, children = 1.0, 0, dict[int, float]()
    own = 0.0
    rows = Posting.objects.filter(account__name=lot.account, commodity=DRY).order_by("entry_id")
    for number, amount in rows.values_list("entry_id", "amount"):
        if amount < 0 and held_g > 0 and (number in parts or number in sales):
            gone = left * min(1.0, -amount / held_g)
            left -= gone
            if number in sales:
                own += gone
            else:
                for edge in Descent.objects.filter(entry_id=number, parent=lot, undone=False):
                    children[edge.child_id] = children.get(edge.child_id, 0.0) + gone * (edge.dry_g / -amount)
        held_g += amount
    return Went(own + left, children)


def sources_of(lot: Lot) -> dict[int, float]:
    """Share of the lot's dry matter that came by each lot with deliveries, by lot id."""
    edges = list(Descent.objects.filter(child=lot, undone=False))
    total = sum(e.dry_g for e in edges)
    if not total:
        return {lot.pk: 1.0}
    found: dict[int, float] = {}
    for edge in edges:
        for pk, part in sources_of(edge.parent).items():
            found[pk] = found.get(pk, 0.0) + part * edge.dry_g / total
    return found


def reach(source: Lot, lot: Lot) -> float:
    """Part of a source lot's coffee that came into a lot and stayed its own (sold, or held there)."""
    went = where_it_went(source)
    if source.pk == lot.pk:
        return went.own
    return sum(
        part * reach(Lot.objects.get(pk=child), lot) for child, part in went.children.items()
    )  # fmt: skip
