"""What the quality bench wrote down: counts, sieves, moisture, photos, tastings; read off the journal."""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _

from drydown.books.models.crop import Lot, Record

__all__ = ["BenchSheet"]


class BenchSheet(Record):
    """One sheet of the bench, of a sample (the number of its entry), a lot, or a tasting session."""

    class Kind(models.TextChoices):
        """What was done."""

        COUNT = "count", _("defects counted")
        SCREENS = "screens", _("sieved")
        MOISTURE = "moisture", _("moisture")
        DENSITY = "density", _("density, hundred beans")
        PHOTO = "photo", _("sized by photo")
        HANDED = "handed", _("handed on")
        SESSION = "session", _("tasting session opened")
        TASTING = "tasting", _("tasted")
        ROAST = "roast", _("roasted")
        GRIND = "grind", _("ground, sieved")
        BREW = "brew", _("brewed")

    lot = models.ForeignKey(Lot, models.PROTECT, null=True, related_name="sheets")
    sample_no = models.PositiveBigIntegerField(null=True, db_index=True)
    session_no = models.PositiveBigIntegerField(null=True, db_index=True)
    kind = models.CharField(max_length=8, choices=Kind.choices)
    told = models.JSONField(default=dict)

    class Meta:
        ordering = ["happened_at", "entry_id"]
