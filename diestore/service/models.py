"""Who works the queue, and which hosts serve this database."""

from __future__ import annotations

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
