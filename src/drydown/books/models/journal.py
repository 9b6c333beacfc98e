"""The journal: entries, postings, seals. The database itself holds it balanced and append-only.

An entry cannot be committed without its seal (a deferred foreign key), a seal is refused
while the entry's postings do not sum to zero in every commodity or the chain does not join,
and nothing that is sealed can be changed or taken away (triggers in `books/triggers.py`).
"""

from __future__ import annotations

import json
from typing import Any

from django.conf import settings
from django.db import models
from django.db.models.functions import Length
from django.db.models.lookups import Exact

from drydown.books.models.bodies import facts_of
from drydown.words import say

__all__ = ["Account", "Entry", "Head", "Holding", "Posting", "Seal"]

DIGEST = 64


class Account(models.Model):
    """Where dry matter, water and money are: a lot, a grower, the air, cash, a buyer."""

    name = models.CharField(max_length=96, unique=True)

    def __str__(self) -> str:
        return self.name


class Seal(models.Model):
    """The hash of an entry, and of the one before it."""

    number = models.PositiveBigIntegerField(primary_key=True)
    previous = models.CharField(max_length=DIGEST)
    digest = models.CharField(max_length=DIGEST, unique=True)


class Entry(models.Model):
    """One thing that happened. Numbers rise by one; they give the order, whatever clocks say."""

    number = models.PositiveBigIntegerField(primary_key=True)
    key = models.UUIDField(unique=True)
    kind = models.CharField(max_length=16)
    body = models.TextField(help_text="facts as canonical JSON")
    happened_at = models.DateTimeField(db_index=True)
    received_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="entries")
    by_name = models.CharField(max_length=150, blank=True)
    device = models.ForeignKey("books.Device", models.PROTECT, null=True, related_name="entries")
    device_seq = models.PositiveBigIntegerField(null=True)
    reason = models.CharField(max_length=200, blank=True)
    reverses = models.OneToOneField("self", models.PROTECT, null=True, related_name="reversed_by")
    seal = models.OneToOneField(Seal, models.DO_NOTHING, related_name="entry")

    class Meta:
        constraints = [
            models.CheckConstraint(condition=models.Q(seal=models.F("number")), name="sealed_by_its_own"),
            models.UniqueConstraint(fields=["device", "device_seq"], name="one_entry_per_device_number"),
            models.CheckConstraint(
                condition=models.Q(reverses__isnull=True) | ~models.Q(reason=""), name="reversal_has_reason"
            ),
        ]

    @property
    def facts(self) -> dict[str, Any]:
        """The body as plain data, in today's shape whatever version wrote it."""
        return facts_of(self.kind, json.loads(self.body))

    @property
    def summary(self) -> str:
        """The entry in a few words: what, and of whom or which lot."""
        told = self.facts
        what = str(told.get("kind", "")) if self.kind == "step" else self.kind
        if self.kind == "reverse":
            return say(
                "taken back: {kind} {reverses} ({reason})",
                kind=told["kind"],
                reverses=told["reverses"],
                reason=self.reason,
            )
        if self.kind == "bench":
            what = f"bench, {told['kind']}" + (
                say(" of sample {sample}", sample=told["sample"]) if told.get("sample") else ""
            )
        of: Any = told.get("code") or told.get("buyer") or told.get("what") or ""
        if self.kind == "by-product":
            of = f"{told['what']} to {told['buyer'] or 'own use'}"
        if "grower" in told:
            of = f"grower {told['grower']}"
        if "children" in told:
            of = ", ".join(child["code"] for child in told["children"])
        return f"{what}: {of}" if of else what


class Posting(models.Model):
    """An amount of one commodity that comes to an account (above zero) or leaves it (below)."""

    entry = models.ForeignKey(Entry, models.PROTECT, related_name="postings")
    account = models.ForeignKey(Account, models.PROTECT, related_name="postings")
    commodity = models.CharField(max_length=5, help_text="dry, water, or a currency code")
    amount = models.BigIntegerField(help_text="grams or smallest coins")

    class Meta:
        constraints = [
            models.CheckConstraint(condition=~models.Q(amount=0), name="amount_is_not_zero"),
            models.CheckConstraint(
                condition=models.Q(commodity__in=["dry", "water"]) | models.Q(Exact(Length("commodity"), 3)),
                name="commodity_is_known",
            ),
        ]


class Holding(models.Model):
    """What an account holds now: the sum of its postings, kept beside them and checked."""

    account = models.ForeignKey(Account, models.PROTECT, related_name="holdings")
    commodity = models.CharField(max_length=5)
    amount = models.BigIntegerField()
    matter_only = models.BooleanField(help_text="a lot's matter, never below zero")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["account", "commodity"], name="one_holding_per_commodity"),
            models.CheckConstraint(
                condition=models.Q(matter_only=False) | models.Q(amount__gte=0), name="no_lot_below_zero"
            ),
        ]


class Head(models.Model):
    """The end of the chain; whoever writes locks this row."""

    number = models.PositiveBigIntegerField(default=0)
    digest = models.CharField(max_length=DIGEST, default="0" * DIGEST)
