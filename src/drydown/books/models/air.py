"""Measured and forecast air by the hour, and what loggers sent. Not part of the journal: it moves no
coffee."""

from __future__ import annotations

from django.db import models

__all__ = ["AirHour", "Channel", "Gap", "Measure"]


class AirHour(models.Model):
    """One hour of outdoor air, ending at `at`: seen, or ahead as a forecast said it.

    C, fraction, W/m2, m/s at 10 m, mm, W/m2; a forecast keeps when it was issued.
    """

    kind = models.CharField(max_length=5, choices=[("seen", "seen"), ("ahead", "ahead")])
    at = models.DateTimeField()
    issued_at = models.DateTimeField(null=True)
    taken_at = models.DateTimeField()
    temp_c = models.FloatField()
    rh = models.FloatField()
    ghi_wm2 = models.FloatField()
    wind_ms = models.FloatField()
    rain_mm = models.FloatField()
    sky_wm2 = models.FloatField()
    source = models.CharField(max_length=120)

    class Meta:
        ordering = ["at"]
        constraints = [models.UniqueConstraint(fields=["kind", "at"], name="one_air_an_hour")]


class Channel(models.Model):
    """A quantity that a logger sends, and the place it stands at (empty: not said yet)."""

    topic = models.CharField(max_length=200, unique=True)
    device = models.CharField(max_length=80)
    quantity = models.CharField(max_length=10, blank=True)
    place = models.CharField(max_length=80, blank=True)
    epoch = models.PositiveIntegerField(
        default=0, help_text="rises when a device counts from the start again"
    )
    last_seq = models.BigIntegerField(null=True)
    last_at = models.DateTimeField(null=True)

    class Meta:
        ordering = ["device", "topic"]


class Measure(models.Model):
    """One value of a channel; a device's number makes it once only."""

    channel = models.ForeignKey(Channel, models.CASCADE, related_name="measures")
    epoch = models.PositiveIntegerField(default=0)
    seq = models.BigIntegerField()
    at = models.DateTimeField()
    value = models.FloatField()
    received_at = models.DateTimeField()

    class Meta:
        ordering = ["at", "seq"]
        constraints = [models.UniqueConstraint(fields=["channel", "epoch", "seq"], name="one_value_a_number")]
        indexes = [models.Index(fields=["channel", "at"])]


class Gap(models.Model):
    """Numbers of a channel that never came: from one to another, and when that was seen."""

    channel = models.ForeignKey(Channel, models.CASCADE, related_name="gaps")
    epoch = models.PositiveIntegerField(default=0)
    first = models.BigIntegerField()
    last = models.BigIntegerField()
    seen_at = models.DateTimeField()

    class Meta:
        ordering = ["seen_at"]
