"""Tables. Masses in whole grams, money in the smallest coin, times aware.

Deliveries and happenings are only ever added; each carries the key of the form that sent it,
so that a form sent twice is kept once.
"""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _

__all__ = ["Delivery", "Grower", "Happening", "Lot", "OwnerLink", "Reading"]


class Grower(models.Model):
    """Someone who brings fruit."""

    number = models.PositiveIntegerField(unique=True)
    name = models.CharField(max_length=80)
    village = models.CharField(max_length=80, blank=True)

    class Meta:
        ordering = ["number"]

    def __str__(self) -> str:
        return f"{self.number} {self.name}"


class Lot(models.Model):
    """Fruit of one species that goes one route together."""

    class Stage(models.TextChoices):
        """Where a lot stands; the next steps follow from it."""

        GATHERING = "gathering", _("gathering at the gate")
        FLOATED = "floated", _("floated")
        PULPED = "pulped", _("pulped")
        FERMENTING = "fermenting", _("in the tank")
        WASHED = "washed", _("washed")
        DRYING = "drying", _("drying")
        STORED = "stored", _("bagged and stored")

    code = models.CharField(max_length=24, unique=True)
    species = models.CharField(max_length=20)
    route = models.CharField(max_length=20)
    opened_on = models.DateField()
    stage = models.CharField(max_length=12, choices=Stage.choices, default=Stage.GATHERING)
    bed = models.CharField(max_length=80, blank=True)
    load_kg_m2 = models.FloatField(null=True)
    spread_at = models.DateTimeField(null=True)

    class Meta:
        ordering = ["-opened_on", "code"]

    def __str__(self) -> str:
        return self.code

    def route_words(self) -> str:
        """The route as the trade writes it."""
        return self.route.replace("_", " ")


class Delivery(models.Model):
    """One weighing at the gate."""

    key = models.UUIDField(unique=True)
    grower = models.ForeignKey(Grower, models.PROTECT, related_name="deliveries")
    lot = models.ForeignKey(Lot, models.PROTECT, related_name="deliveries")
    gross_g = models.PositiveBigIntegerField()
    tare_g = models.PositiveBigIntegerField()
    net_g = models.PositiveBigIntegerField()
    ripe_percent = models.PositiveSmallIntegerField(null=True)
    price_per_kg = models.PositiveBigIntegerField(help_text="smallest coin")
    pays = models.PositiveBigIntegerField(help_text="smallest coin")
    currency = models.CharField(max_length=3)
    decimals = models.PositiveSmallIntegerField()
    happened_at = models.DateTimeField()
    received_at = models.DateTimeField(auto_now_add=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True)

    class Meta:
        ordering = ["-happened_at", "-id"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(gross_g=models.F("net_g") + models.F("tare_g")),
                name="gross_is_net_plus_tare",
            ),
            models.CheckConstraint(condition=models.Q(net_g__gt=0), name="net_above_zero"),
        ]


class Happening(models.Model):
    """One step of a lot, with its details as plain data."""

    key = models.UUIDField(unique=True)
    lot = models.ForeignKey(Lot, models.PROTECT, related_name="happenings")
    kind = models.CharField(max_length=20)
    details = models.JSONField(default=dict)
    happened_at = models.DateTimeField()
    received_at = models.DateTimeField(auto_now_add=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True)

    class Meta:
        ordering = ["happened_at", "id"]


class Reading(models.Model):
    """A moisture reading of a lot, with how it was taken."""

    key = models.UUIDField(unique=True)
    lot = models.ForeignKey(Lot, models.PROTECT, related_name="readings")
    moisture_wb = models.FloatField()
    method = models.CharField(max_length=60)
    bean_temp_c = models.FloatField(null=True)
    happened_at = models.DateTimeField()
    received_at = models.DateTimeField(auto_now_add=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True)

    class Meta:
        ordering = ["happened_at", "id"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(moisture_wb__gt=0.02, moisture_wb__lt=0.85),
                name="moisture_in_range",
            )
        ]


class OwnerLink(models.Model):
    """A one-time link by which the owner enters the first time; only its hash is kept."""

    digest = models.CharField(max_length=64, unique=True)
    made_at = models.DateTimeField(auto_now_add=True)
    used_at = models.DateTimeField(null=True)
