"""Spreadsheets that were brought and wait to be looked at, and what the shop said of its headings."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.utils import timezone

from diestore.register.models import Plant


class Workbook(models.Model):
    """A spreadsheet as cells, packed, with what was chosen for it. Once it is brought in, only its outcome is kept.

    choices: "sheets": number -> sort, heading, columns, answers; "answers": of the book; "register", "bad": what is
    done with what differs, and with cells that cannot be read.
    """

    plant = models.ForeignKey(Plant, on_delete=models.CASCADE, related_name="workbooks")
    name = models.CharField(max_length=200)
    uploaded_at = models.DateTimeField(default=timezone.now)
    uploaded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    cells = models.BinaryField()
    notes = models.JSONField(default=list, blank=True)
    choices = models.JSONField(default=dict, blank=True)
    brought_at = models.DateTimeField(null=True, blank=True)
    outcome = models.JSONField(default=dict, blank=True)

    class Meta:
        ordering = ["-uploaded_at", "-pk"]

    def __str__(self) -> str:
        return self.name


class KnownHeading(models.Model):
    """What a column of that heading holds in lists of that sort, as somebody of the plant chose. field '': nothing
    that is taken. For words in cells, such as a kind of component, sort is "answer" and heading the key answered. What
    was chosen for its unit, decimal sign or order of dates stands under "sharpenings:unit", "sharpenings:order"."""

    plant = models.ForeignKey(Plant, on_delete=models.CASCADE, related_name="known_headings")
    sort = models.CharField(max_length=20)
    heading = models.CharField(max_length=100)
    field = models.CharField(max_length=40, blank=True)

    class Meta:
        ordering = ["plant", "sort", "heading"]
        constraints = [
            models.UniqueConstraint(fields=["plant", "sort", "heading"], name="heading_known_once"),
        ]

    def __str__(self) -> str:
        return self.heading
