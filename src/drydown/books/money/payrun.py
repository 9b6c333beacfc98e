"""A pay-run: whom to pay first when the money does not reach everyone, and paying them together.

What is owed since when is reckoned backwards: the latest deliveries of a grower are those not paid yet.
"""

from __future__ import annotations

import hashlib
import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.utils.translation import gettext_noop

from drydown.books.journal.write import Who, writing
from drydown.books.models import Delivery, Entry, Grower, Holding
from drydown.books.money.payments import pay_grower
from drydown.errors import InputError, RangeError
from drydown.way.matter import share_out
from drydown.way.names import grower as grower_account

__all__ = ["RUN_RULES", "Due", "Run", "dues", "pay_run", "plan_run", "was_paid"]

RUN_RULES = {
    "oldest": gettext_noop("oldest first"),
    "smallest": gettext_noop("smallest first"),
    "part": gettext_noop("to everyone the same part"),
}
"""Whom a pay-run pays first, in words."""


@dataclass(frozen=True, slots=True)
class Due:
    """What is owed to a grower (smallest coin), for how much fruit (g), since when."""

    grower: Grower
    owed: int
    fruit_g: int
    since: datetime | None


@dataclass(frozen=True, slots=True)
class Run:
    """A pay-run as it would be paid: amounts by grower, who is paid in full, what stays owed."""

    rule: str
    pays: tuple[tuple[Due, int], ...]
    in_full: int
    in_part: int
    waiting: int
    total: int
    left: int

    @property
    def token(self) -> str:
        """A hash of whom it pays what, so that a yes is for these sums and no others."""
        said = [self.rule, *((due.grower.number, amount) for due, amount in self.pays)]
        return hashlib.sha256(repr(said).encode()).hexdigest()[:16]


def dues(currency: str) -> list[Due]:
    """Growers that are owed something, the oldest debt first."""
    rows = Holding.objects.filter(commodity=currency, amount__lt=0, account__name__startswith="grower/")
    owed = {int(name.split("/")[1]): -amount for name, amount in rows.values_list("account__name", "amount")}
    growers = {g.number: g for g in Grower.objects.filter(number__in=owed)}
    unpaid = _unpaid(owed, currency)
    found = [Due(growers[n], owed[n], *unpaid.get(n, (0, None))) for n in owed if n in growers]
    return sorted(found, key=lambda d: (d.since.timestamp() if d.since else float("inf"), d.grower.number))


def _unpaid(owed: dict[int, int], currency: str) -> dict[int, tuple[int, datetime | None]]:
    """Fruit of the latest deliveries that make up what is owed, and the day of the first of them."""
    left, found = dict(owed), dict[int, tuple[int, Any]]()
    rows = Delivery.objects.filter(grower__number__in=owed, undone=False, currency=currency)
    told = rows.order_by("-happened_at", "-entry_id").values_list(
        "grower__number", "pays", "net_g", "happened_at"
    )
    for number, pays, net_g, at in told:
        if left[number] > 0:
            fruit, _since = found.get(number, (0, None))
            found[number] = (fruit + net_g, at)
            left[number] -= pays
    return found


def plan_run(found: Sequence[Due], rule: str, budget: int | None) -> Run:
    """Whom a sum of money pays.

    Args: found, what is owed; rule, one of `RUN_RULES`; budget, smallest coin, None for all of it.
    Returns: `Run`; nobody is paid more than is owed and nobody is passed over; the oldest first rule pays
    the one it stops at in part, smallest first lets that one wait. Raises `InputError` for another rule or
    less than nothing.
    """
    if rule not in RUN_RULES:
        raise InputError("is none of the rules of a pay-run.", rule)
    total = sum(due.owed for due in found)
    money = total if budget is None else budget
    if money <= 0 and found:
        raise RangeError("must be more than nothing.", "pay-run")
    if rule == "part":
        parts = share_out(min(money, total), [due.owed for due in found]) if found else []
        pays = [(due, part) for due, part in zip(found, parts, strict=True) if part > 0]
    else:
        order = sorted(found, key=lambda d: d.owed) if rule == "smallest" else list(found)
        pays, left = [], money
        for due in order:
            part = due.owed if due.owed <= left else left if rule == "oldest" else 0
            if part <= 0:
                break  # nobody is passed over
            pays.append((due, part))
            left -= part
    paid = sum(amount for _due, amount in pays)
    in_full = sum(amount == due.owed for due, amount in pays)
    return Run(rule, tuple(pays), in_full, len(pays) - in_full, len(found) - len(pays), paid, total - paid)


def pay_run(run: Run, currency: str, decimals: int, note: str, key: uuid.UUID, by: Who) -> list[Entry]:
    """Pay everyone of a run, or nobody: each payment is an entry of its own, sent twice kept once."""
    if not run.pays:
        raise InputError("pays nobody: the sum is below the smallest debt.", "pay-run")
    with writing():
        return [
            pay_grower(
                due.grower, amount, currency, "payment", note,
                uuid.uuid5(key, grower_account(due.grower.number)), None, by, decimals,
            )
            for due, amount in run.pays
        ]  # fmt: skip


def was_paid(key: uuid.UUID) -> bool:
    """Whether a pay-run of this key was paid before."""
    numbers = Grower.objects.values_list("number", flat=True)
    return Entry.objects.filter(key__in=[uuid.uuid5(key, grower_account(n)) for n in numbers]).exists()
