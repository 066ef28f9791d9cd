"""What takes long to work out for a whole shop and is kept from night to night. Derived: may be thrown away."""

from __future__ import annotations

from django.db import models
from django.utils import timezone

from diestore.models import Plant


class KeptSheets(models.Model):
    """The cost sheets of a plant's dies. mark: where the log stood when they were made."""

    plant = models.OneToOneField(Plant, on_delete=models.CASCADE, related_name="kept_sheets")
    made_at = models.DateTimeField(default=timezone.now)
    mark = models.JSONField()
    sheets = models.JSONField()

    class Meta:
        verbose_name_plural = "kept sheets"

    def __str__(self) -> str:
        return f"cost sheets of {self.plant}"
