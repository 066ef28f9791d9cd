"""Who works the queue, and which hosts serve this database."""

from __future__ import annotations

import datetime as dt

from django.db import models
from django.utils import timezone


class TaskWorker(models.Model):
    """A process that works the queue, and when the database last heard of it."""

    name = models.CharField(max_length=64, unique=True)
    host = models.CharField(max_length=80, blank=True)
    started_at = models.DateTimeField(default=timezone.now)
    seen_at = models.DateTimeField()

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class Host(models.Model):
    """A machine that serves this database. key_hash: of its secret key, salted. clock_off_s: ahead of the database."""

    name = models.CharField(max_length=80, unique=True)
    key_hash = models.CharField(max_length=200)
    clock_off_s = models.FloatField(default=0.0)
    seen_at = models.DateTimeField()

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class DemoShop(models.Model):
    """The wish for a demo shop beside this one, and how far the web process is that shows it: one row, or none."""

    LEFT_AFTER = dt.timedelta(seconds=20)  # so long nobody was heard of: it is shown by nobody

    asked_at = models.DateTimeField(default=timezone.now)
    asked_by = models.CharField(max_length=150, blank=True)
    owner = models.CharField(max_length=20, blank=True, help_text="The web process that took it on.")
    seen_at = models.DateTimeField(null=True, blank=True, help_text="When that was last heard of.")
    port = models.PositiveIntegerField(null=True, blank=True)
    step = models.CharField(max_length=200, blank=True, help_text="How far it is.")
    ready = models.BooleanField(default=False)
    problem = models.CharField(max_length=400, blank=True)

    class Meta:
        verbose_name = verbose_name_plural = "the demo shop"
        constraints = [models.CheckConstraint(condition=models.Q(pk=1), name="one_demo_shop")]

    def __str__(self) -> str:
        return "the demo shop"

    @property
    def is_left(self) -> bool:
        """Whether nobody has taken it on, or who did is gone."""
        return timezone.now() - (self.seen_at or self.asked_at) > self.LEFT_AFTER
