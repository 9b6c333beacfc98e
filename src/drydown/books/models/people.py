"""Registers: growers, people, devices. Plain tables with a trail of changes, not journal entries.

Names stay out of the journal on purpose: an entry cannot be erased, a name may have to be.
"""

from __future__ import annotations

import uuid

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.db.models.functions import Lower
from django.utils.translation import gettext_lazy as _

__all__ = ["Change", "Device", "Grower", "Outgoing", "OwnerLink", "Person"]


class Grower(models.Model):
    """Someone who brings fruit."""

    number = models.PositiveIntegerField(unique=True)
    name = models.CharField(max_length=80)
    village = models.CharField(max_length=80, blank=True)
    language = models.CharField(max_length=8, blank=True)
    plots = models.JSONField(default=list, blank=True)
    merged_into = models.ForeignKey("self", models.PROTECT, null=True, related_name="once")

    class Meta:
        ordering = ["number"]
        constraints = [models.UniqueConstraint(Lower("name"), Lower("village"), name="one_grower_of_a_name")]

    def __str__(self) -> str:
        return f"{self.number} {self.name}" + (f", {self.village}" if self.village else "")

    @property
    def final(self) -> Grower:
        """The grower this one was merged into, or itself."""
        found = self
        while found.merged_into is not None:
            found = found.merged_into
        return found


class Person(models.Model):
    """What someone who enters may do here."""

    class Role(models.TextChoices):
        """Roles, from most to least."""

        OWNER = "owner", _("owner")
        MANAGER = "manager", _("manager")
        WEIGHER = "weigher", _("weigher")
        YARD = "yard", _("yard hand")
        QUALITY = "quality", _("quality")
        READER = "reader", _("reader")

    user = models.OneToOneField(settings.AUTH_USER_MODEL, models.CASCADE, related_name="person")
    role = models.CharField(max_length=8, choices=Role.choices)
    pin = models.CharField(max_length=128, blank=True, help_text="hash; only to switch on an enrolled device")
    pin_fails = models.PositiveSmallIntegerField(default=0)


class Device(models.Model):
    """A phone or scale that has been enrolled by someone."""

    key = models.UUIDField(unique=True, default=uuid.uuid4)
    name = models.CharField(max_length=60)
    enrolled_at = models.DateTimeField(auto_now_add=True)
    enrolled_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True)
    closed_at = models.DateTimeField(null=True)
    last_seq = models.PositiveBigIntegerField(default=0)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                Lower("name"), condition=Q(closed_at=None), name="one_open_device_of_a_name"
            )
        ]

    def __str__(self) -> str:
        return self.name


class Outgoing(models.Model):
    """What was answered to a phone's item, so that the same item gets the same answer."""

    key = models.UUIDField(primary_key=True)
    device = models.ForeignKey(Device, models.PROTECT, related_name="items")
    seq = models.PositiveBigIntegerField()
    digest = models.CharField(max_length=64, help_text="of the item's content")
    phone_time = models.DateTimeField()
    received_at = models.DateTimeField(auto_now_add=True)
    outcome = models.CharField(max_length=8, help_text="kept or refused")
    words = models.TextField(blank=True)
    entry = models.ForeignKey("books.Entry", models.PROTECT, null=True)


class OwnerLink(models.Model):
    """A one-time link to choose a password: the owner's, or that of `user`; only its hash is kept."""

    user = models.ForeignKey(settings.AUTH_USER_MODEL, models.CASCADE, null=True)
    digest = models.CharField(max_length=64, unique=True)
    made_at = models.DateTimeField(auto_now_add=True)
    used_at = models.DateTimeField(null=True)


class Change(models.Model):
    """A change of a register or of access: who, when, what."""

    at = models.DateTimeField(auto_now_add=True)
    by_name = models.CharField(max_length=150, blank=True)
    what = models.CharField(max_length=40)
    about = models.CharField(max_length=120, blank=True)
    details = models.JSONField(default=dict)

    class Meta:
        ordering = ["-id"]
