"""The customer's orders."""

from __future__ import annotations

from django.db import models
from django.db.models import Q
from django.utils import timezone

from diestore.register.models import Die, Part, Plant


class Order(models.Model):
    plant = models.ForeignKey(Plant, on_delete=models.PROTECT, related_name="orders")
    number = models.CharField(max_length=80)
    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="orders")
    die = models.ForeignKey(Die, null=True, blank=True, on_delete=models.PROTECT, related_name="orders")
    parts = models.BigIntegerField()
    due = models.DateField()
    placed_at = models.DateTimeField(default=timezone.now)
    closed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["due", "number"]
        constraints = [
            models.UniqueConstraint(fields=["plant", "number", "part"], name="order_once_a_part"),
            models.CheckConstraint(condition=Q(parts__gte=1), name="order_at_least_one_part"),
        ]

    def __str__(self) -> str:
        return self.number
