"""The key of an entry: one that comes twice is known by it."""

import uuid

from django.core.validators import RegexValidator
from django.db import models
from django.utils import timezone

FILE_KEY = r"[A-Za-z0-9_-]{1,64}"  # of a row whose file beside a history folder is named by it


def fresh_key() -> str:
    return uuid.uuid4().hex


def file_key() -> models.CharField:
    """The column of a key that names a file too."""
    return models.CharField(
        max_length=64, unique=True, default=fresh_key, validators=[RegexValidator(rf"\A{FILE_KEY}\Z")]
    )


class SentForm(models.Model):
    """A form that was sent: its key, and a digest of what was typed, so that other values under its key are noticed
    whoever sends them, and whenever."""

    key = models.CharField(max_length=64, unique=True)
    digest = models.CharField(max_length=32)
    at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["-id"]
        indexes = [models.Index(fields=["at"], name="sent_forms_by_age")]
