"""Money: payments, advances, costs, buyers' payments, second payments, statements.

Signs: an account's balance is what came to it. A grower below zero is owed that much; above
zero the grower owes it. A lot's money is its cost; `sales/<lot>` below zero is what it fetched.
"""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Sum
from django.utils import timezone

from drydown.books.journal.write import Draft, Who, held, write, writing
from drydown.books.lots.family import reach, sources_of
from drydown.books.lots.gate import owed
from drydown.books.models import Delivery, Entry, Grower, Lot, Posting
from drydown.errors import InputError, RangeError
from drydown.trade.coins import coin_text
from drydown.way.matter import share_out
from drydown.way.names import CASH, Line, cost
from drydown.way.names import buyer as buyer_account
from drydown.way.names import grower as grower_account
from drydown.words import say

__all__ = [
    "SHARE_RULES",
    "StatementLine",
    "add_cost",
    "adjust",
    "buyer_pays",
    "earlier_second_payments",
    "pay_grower",
    "second_payment",
    "second_payment_shares",
    "statement",
]

PAY_KINDS = ("payment", "advance")
SHARE_RULES = {
    "fruit": "by kilograms of fruit delivered",
    "ripe": "by kilograms of ripe fruit (weight times counted ripeness; not counted is taken as 100 %)",
    "value": "by what the fruit was worth at the gate",
}


def _amount(amount: int, what: str) -> None:
    if amount <= 0:
        raise RangeError("must be more than nothing.", what)


def pay_grower(
    grower: Grower, amount: int, currency: str, kind: str, note: str, key: uuid.UUID,
    at: datetime | None, who: Who, decimals: int = 0,
) -> Entry:  # fmt: skip
    """Pay a grower from cash: a payment of what is owed, or an advance on fruit to come."""
    _amount(amount, "payment")
    if kind not in PAY_KINDS:
        raise InputError(say("'{kind}' is neither payment nor advance.", kind=kind), "payment")
    with writing():
        grower = Grower.objects.get(pk=grower.pk).final  # merged since the form was opened
        if not Entry.objects.filter(key=key).exists():
            due = owed(grower, currency)
            if kind == "payment" and amount > due:
                raise RangeError(
                    say(
                        "{coin_text} is more than the {coin_text_2} {currency} that is owed.",
                        coin_text=coin_text(amount, decimals),
                        coin_text_2=coin_text(due, decimals),
                        currency=currency,
                    ),
                    str(grower.number),
                    "Record the rest as an advance.",
                )
        name = grower_account(grower.number)
        lines: list[Line] = [(CASH, currency, -amount), (name, currency, amount)]
        body = {"grower": grower.number, "amount": amount, "currency": currency, "note": note}
        return write(Draft(kind, key, body, lines, at or timezone.now(), who))[0]


def add_cost(
    what: str, amount: int, currency: str, lots: Sequence[Lot], key: uuid.UUID, at: datetime | None, who: Who
) -> Entry:
    """A cost from cash, shared over lots by the dry matter they hold; without lots, the station's own."""
    _amount(amount, "cost")
    what = " ".join(what.split())[:40]
    if not what:
        raise InputError("is empty.", "cost", "Say what was paid for.")
    body = {"what": what, "amount": amount, "currency": currency, "lots": [lot.code for lot in lots]}
    with writing():
        lines = _cost_lines(what, amount, currency, lots, Entry.objects.filter(key=key).exists())
        return write(Draft("cost", key, body, lines, at or timezone.now(), who))[0]


def _cost_lines(what: str, amount: int, currency: str, lots: Sequence[Lot], again: bool) -> list[Line]:
    """Where a cost goes; a form sent again needs no shares."""
    lines: list[Line] = [(CASH, currency, -amount)]
    if again:
        return [(CASH, currency, -amount), (cost(what), currency, amount)]
    if lots:
        weights = [held(lot.account, "dry") for lot in lots]
        if not any(weights):
            weights = [1] * len(lots)  # late costs of lots that are sold: in equal parts
        for lot, part in zip(lots, share_out(amount, weights), strict=True):
            lines.append((lot.account, currency, part))
    else:
        lines.append((cost(what), currency, amount))
    return lines


def buyer_pays(
    buyer: str, amount: int, currency: str, note: str, key: uuid.UUID, at: datetime | None, who: Who,
    decimals: int = 0,
) -> Entry:  # fmt: skip
    """Money from a buyer into cash, up to what the buyer owes."""
    _amount(amount, "receipt")
    with writing():
        if not held(buyer_account(buyer), "dry") and not held(buyer_account(buyer), currency):
            raise InputError(
                say("nothing was sold to '{buyer}'.", buyer=buyer), "buyer", "Choose one of the buyers shown."
            )
        due = held(buyer_account(buyer), currency)
        if amount > due and not Entry.objects.filter(key=key).exists():
            raise RangeError(
                say(
                    "{coin_text} is more than the {coin_text_2} {currency} owed.",
                    coin_text=coin_text(amount, decimals),
                    coin_text_2=coin_text(due, decimals),
                    currency=currency,
                ),
                buyer,
                "Record the sale first.",
            )
        lines: list[Line] = [(buyer_account(buyer), currency, -amount), (CASH, currency, amount)]
        body = {"buyer": buyer, "amount": amount, "currency": currency, "note": note}
        return write(Draft("receipt", key, body, lines, at or timezone.now(), who))[0]


def adjust(
    delivery: Delivery, amount: int, reason: str, key: uuid.UUID, at: datetime | None, who: Who
) -> Entry:
    """More (or less, below zero) for one delivery, to its grower and to the cost of its lot."""
    if not amount:
        raise RangeError("must not be zero.", "amount")
    if not reason.strip():
        raise InputError("is empty.", "reason", "Say why.")
    grower = grower_account(delivery.grower.number)
    currency = delivery.currency
    lines: list[Line] = [(delivery.lot.account, currency, amount), (grower, currency, -amount)]
    body = {"delivery": delivery.pk, "grower": delivery.grower.number, "amount": amount, "currency": currency}
    return write(Draft("adjust", key, body, lines, at or timezone.now(), who, reason.strip()[:200]))[0]


def _weight(delivery: Delivery, rule: str) -> int:
    if rule == "fruit":
        return delivery.net_g
    if rule == "value":
        return int(delivery.pays + delivery.held_back)
    ripe = delivery.ripe_percent
    return delivery.net_g * (100 if ripe is None else ripe) // 100


def second_payment_shares(lots: Sequence[Lot], rule: str) -> dict[tuple[int, int], float]:
    """Weight of each (grower number, lot id) under a rule, over all deliveries in the lots' families."""
    if rule not in SHARE_RULES:
        raise InputError(
            say("'{rule}' is not a rule.", rule=rule),
            "second payment",
            say("Choose {share_rules}.", share_rules=", ".join(SHARE_RULES)),
        )
    found: dict[tuple[int, int], float] = {}
    for lot in lots:
        for source, _share in sources_of(lot).items():
            part = reach(Lot.objects.get(pk=source), lot)
            if not part:
                continue
            rows = Delivery.objects.filter(lot_id=source, undone=False).select_related("grower")
            for d in rows:
                spot = (d.grower.number, lot.pk)
                found[spot] = found.get(spot, 0.0) + part * _weight(d, rule)
    return found


def second_payment(
    lots: Sequence[Lot], total: int, rule: str, currency: str, key: uuid.UUID, at: datetime | None, who: Who
) -> Entry:
    """Share a sum among all growers of some lots by a rule, to the last coin."""
    _amount(total, "second payment")
    with writing():
        weights = second_payment_shares(lots, rule)
        if not weights or not sum(weights.values()):
            raise InputError(
                "nothing of the coffee of these lots was sold or is held there.", "second payment",
                "If it went on into other lots, name those.",
            )  # fmt: skip
        spots = sorted(weights)
        parts = share_out(total, [weights[s] for s in spots])
        codes: Mapping[int, str] = {lot.pk: lot.account for lot in lots}
        lines: list[Line] = []
        for (number, pk), part in zip(spots, parts, strict=True):
            lines += [(grower_account(number), currency, -part), (codes[pk], currency, part)]
        body: dict[str, Any] = {
            "lots": sorted(lot.code for lot in lots), "total": total, "rule": rule, "currency": currency,
        }  # fmt: skip
        return write(Draft("second", key, body, lines, at or timezone.now(), who))[0]


def earlier_second_payments(lots: Sequence[Lot]) -> list[Entry]:
    """Second payments that named one of these lots before and still stand."""
    codes = {lot.code for lot in lots}
    rows = Entry.objects.filter(kind="second", reversed_by=None)
    return [e for e in rows if codes & set(e.facts["lots"])]


@dataclass(frozen=True, slots=True)
class StatementLine:
    """One line of a grower's statement; amounts in the smallest coin, owed to the grower above zero."""

    at: datetime
    kind: str
    words: str
    net_g: int
    amount: int
    balance: int
    entry: int


def statement(grower: Grower, currency: str, since: datetime, until: datetime) -> list[StatementLine]:
    """A grower's account between two moments, with the balance brought forward as its first line."""
    mine = Posting.objects.filter(account__name=grower_account(grower.number), commodity=currency)
    before = mine.filter(entry__happened_at__lt=since).aggregate(total=Sum("amount"))["total"] or 0
    balance = -before
    found = [StatementLine(since, "forward", "", 0, 0, balance, 0)]
    rows = mine.filter(entry__happened_at__gte=since, entry__happened_at__lt=until).select_related("entry")
    sums: dict[int, tuple[Entry, int]] = {}
    for row in rows.order_by("entry__happened_at", "entry_id"):
        sums[row.entry_id] = (row.entry, sums.get(row.entry_id, (row.entry, 0))[1] - row.amount)
    gone = {e.reverses_id for e, _a in sums.values() if e.kind == "reverse"} & set(sums)
    for entry, amount in sums.values():
        if entry.number in gone or entry.reverses_id in gone:
            continue  # taken back within the period: the pair sums to nothing and is left out
        balance += amount
        net, words = _words(entry)
        found.append(StatementLine(entry.happened_at, entry.kind, words, net, amount, balance, entry.number))
    return found


def _words(entry: Entry) -> tuple[int, str]:
    facts = entry.facts
    if entry.kind == "delivery":
        return facts["net_g"], f"{facts['lot']['species']}, {facts['lot']['code']}"
    if entry.kind == "reverse":
        return 0, f"{facts['kind']} {facts['reverses']}: {entry.reason}"
    return 0, str(facts.get("note") or entry.reason or facts.get("rule", ""))
