"""What was changed, in the order of writing: by it kept rows know that they are behind."""

from __future__ import annotations

from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from diestore.register.models import Die, Item


class Change(models.Model):
    """Of this die or spare more is known than before. Written by the write itself, forgotten after some days.

    It outlasts what it names: keys that stand for nothing any more do no harm.
    """

    class What(models.TextChoices):
        RECORDS = "records", _("its record, or its entry in the register")
        PRICE = "price", _("a price or a rate that its cost rests on")
        FORECAST = "forecast", _("its forecast")

    die = models.ForeignKey(Die, null=True, db_constraint=False, on_delete=models.DO_NOTHING, related_name="+")
    item = models.ForeignKey(Item, null=True, db_constraint=False, on_delete=models.DO_NOTHING, related_name="+")
    what = models.CharField(max_length=8, choices=What, default=What.RECORDS)
    at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["pk"]
        indexes = [models.Index(fields=["at"], name="change_by_time")]
        constraints = [
            models.CheckConstraint(
                condition=Q(die__isnull=False, item__isnull=True) | Q(die__isnull=True, item__isnull=False),
                name="change_of_one_thing",
            )
        ]

    def __str__(self) -> str:
        return f"{self.what} of die {self.die_id}" if self.die_id else f"{self.what} of spare {self.item_id}"
