"""Lots and what happened to them: read off the journal, and made anew from it when asked."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.utils.translation import gettext as _

from drydown.books.models.journal import Entry
from drydown.books.models.people import Grower
from drydown.way.names import lot
from drydown.way.order import stage
from drydown.way.state import Stage

__all__ = ["Delivery", "Descent", "Happening", "Lot", "Reading"]


class Lot(models.Model):
    """Coffee of one species that goes one route together."""

    code = models.CharField(max_length=80, unique=True)
    species = models.CharField(max_length=20)
    route = models.CharField(max_length=20)
    opened_on = models.DateField()
    group = models.CharField(max_length=120, blank=True, help_text="what the station's lot rule keeps apart")
    stage = models.CharField(max_length=12, default=Stage.GATHERING, db_index=True)
    bed = models.CharField(max_length=80, blank=True)
    tank = models.CharField(max_length=80, blank=True)
    store = models.CharField(max_length=80, blank=True)
    load_kg_m2 = models.FloatField(null=True)
    spread_at = models.DateTimeField(null=True)
    known_wb = models.FloatField(null=True, help_text="moisture at the last reading")
    known_at = models.DateTimeField(null=True)
    moved_at = models.DateTimeField(null=True, help_text="time of the last step that shaped the lot")

    class Meta:
        ordering = ["-opened_on", "code"]

    def __str__(self) -> str:
        return self.code

    def route_words(self) -> str:
        """The route as the trade writes it."""
        return self.route.replace("_", " ")

    def stage_words(self) -> str:
        """Where it stands, in words."""
        return _(stage(self.stage).words)

    @property
    def account(self) -> str:
        """Name of its account in the journal."""
        return lot(self.code)


class Record(models.Model):
    """Something read off one journal entry; `undone` once that entry has been reversed."""

    entry = models.OneToOneField(Entry, models.DO_NOTHING, primary_key=True)
    happened_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    undone = models.BooleanField(default=False)

    class Meta:
        abstract = True


class Delivery(Record):
    """One weighing at the gate."""

    grower = models.ForeignKey(Grower, models.PROTECT, related_name="deliveries")
    lot = models.ForeignKey(Lot, models.PROTECT, related_name="deliveries")
    gross_g = models.PositiveBigIntegerField()
    tare_g = models.PositiveBigIntegerField()
    net_g = models.PositiveBigIntegerField()
    ripe_percent = models.PositiveSmallIntegerField(null=True)
    float_percent = models.PositiveSmallIntegerField(null=True)
    fruit_class = models.CharField(max_length=40, blank=True)
    price_per_kg = models.PositiveBigIntegerField(help_text="smallest coin")
    pays = models.BigIntegerField(help_text="smallest coin, after deductions")
    held_back = models.PositiveBigIntegerField(default=0, help_text="deductions, smallest coin")
    currency = models.CharField(max_length=3)
    decimals = models.PositiveSmallIntegerField()

    class Meta:
        ordering = ["-happened_at", "-entry_id"]
        indexes = [
            models.Index(fields=["grower", "happened_at"]),
            models.Index(fields=["happened_at"]),
        ]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(gross_g=models.F("net_g") + models.F("tare_g")),
                name="gross_is_net_plus_tare",
            ),
            models.CheckConstraint(condition=models.Q(net_g__gt=0), name="net_above_zero"),
        ]


class Happening(Record):
    """One step of a lot, with its details as plain data."""

    lot = models.ForeignKey(Lot, models.PROTECT, related_name="happenings")
    kind = models.CharField(max_length=20)
    details = models.JSONField(default=dict)

    class Meta:
        ordering = ["happened_at", "entry_id"]
        indexes = [models.Index(fields=["lot", "happened_at"])]


class Reading(Record):
    """A moisture reading of a lot, with how it was taken."""

    lot = models.ForeignKey(Lot, models.PROTECT, related_name="readings")
    moisture_wb = models.FloatField()
    method = models.CharField(max_length=60)
    bean_temp_c = models.FloatField(null=True)

    class Meta:
        ordering = ["happened_at", "entry_id"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(moisture_wb__gt=0.02, moisture_wb__lt=0.85),
                name="moisture_in_range",
            )
        ]


class Descent(models.Model):
    """Part of one lot that went into another, by a split, a join or a blend."""

    entry = models.ForeignKey(Entry, models.DO_NOTHING)
    parent = models.ForeignKey(Lot, models.PROTECT, related_name="children")
    child = models.ForeignKey(Lot, models.PROTECT, related_name="parents")
    kind = models.CharField(max_length=8)
    dry_g = models.PositiveBigIntegerField()
    water_g = models.PositiveBigIntegerField()
    share = models.FloatField(help_text="of the parent's dry matter")
    undone = models.BooleanField(default=False)

    class Meta:
        ordering = ["id"]
