"""Inspections: what is to be looked at how often, and each look at it."""

from __future__ import annotations

from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _

from diestore.handbook.kinds import plural_of
from diestore.register.models import Die, Plant, Press, kind_choices

from .bench import Grinder
from .keys import fresh_key
from .log import Event

HITS_AT_MOST = 1_000_000_000
DAYS_AT_MOST = 3_650


class InspectionPlan(models.Model):
    """What is looked at, on which die, press or grinder (none: in the plant), every so many hits, days, or both."""

    plant = models.ForeignKey(Plant, on_delete=models.PROTECT, related_name="inspection_plans")
    key = models.CharField(max_length=160, unique=True, default=fresh_key)
    die = models.ForeignKey(Die, null=True, blank=True, on_delete=models.PROTECT, related_name="inspection_plans")
    press = models.ForeignKey(Press, null=True, blank=True, on_delete=models.PROTECT, related_name="inspection_plans")
    grinder = models.ForeignKey(
        Grinder, null=True, blank=True, on_delete=models.PROTECT, related_name="inspection_plans"
    )
    kind = models.CharField(
        max_length=30, blank=True, choices=kind_choices, help_text="All places of this kind in the die. Empty: the die."
    )
    what = models.CharField(max_length=200)
    every_hits = models.BigIntegerField(null=True, blank=True)
    every_days = models.PositiveIntegerField(null=True, blank=True)
    why = models.CharField(max_length=300, blank=True, help_text="The rule or the habit that it rests on.")
    proposal = models.CharField(max_length=40, blank=True, help_text="Of the handbook's proposals, which one.")
    since = models.DateTimeField(default=timezone.now, help_text="From when on it counts, until it is looked at once.")
    retired_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["since", "key"]
        constraints = [
            models.CheckConstraint(condition=~Q(what=""), name="inspection_says_what"),
            models.CheckConstraint(
                condition=Q(every_hits__isnull=False) | Q(every_days__isnull=False), name="inspection_has_an_interval"
            ),
            models.CheckConstraint(
                condition=(Q(every_hits__isnull=True) | Q(every_hits__gte=1, every_hits__lte=HITS_AT_MOST))
                & (Q(every_days__isnull=True) | Q(every_days__gte=1, every_days__lte=DAYS_AT_MOST)),
                name="inspection_interval_possible",
            ),
            models.CheckConstraint(
                condition=Q(die__isnull=True, press__isnull=True)
                | Q(die__isnull=True, grinder__isnull=True)
                | Q(press__isnull=True, grinder__isnull=True),
                name="inspection_of_one_thing",
            ),
            models.CheckConstraint(
                condition=Q(every_hits__isnull=True) | Q(die__isnull=False) | Q(press__isnull=False),
                name="inspection_by_hits_of_what_makes_them",
            ),
            models.CheckConstraint(condition=Q(kind="") | Q(die__isnull=False), name="inspection_kind_of_a_die"),
        ]

    def __str__(self) -> str:
        return f"{self.thing}: {self.what}"

    @property
    def thing(self) -> str:
        """What is looked at, in a word."""
        if self.die_id:
            return f"{self.die}, {_(plural_of(self.kind))}" if self.kind else str(self.die)
        if self.press_id:
            return _("press {press}").format(press=self.press)
        return str(self.grinder) if self.grinder_id else _("the plant")


class Inspection(Event):
    """Somebody looked, and found nothing or something. What was found stands in the note."""

    plan = models.ForeignKey(InspectionPlan, on_delete=models.PROTECT, related_name="inspections")
    plant = models.ForeignKey(Plant, on_delete=models.PROTECT, related_name="inspections")
    die = models.ForeignKey(Die, null=True, blank=True, on_delete=models.PROTECT, related_name="inspections")
    is_finding = models.BooleanField(default=False)
    parts_scrapped = models.BigIntegerField(default=0, help_text="Of the die, thrown away for what was found.")

    class Meta(Event.Meta):
        indexes = [
            *Event.Meta.indexes,
            models.Index(fields=["plan", "at"], name="inspection_by_plan"),
            models.Index(fields=["die", "at"], name="inspection_by_die"),
        ]
        constraints = [
            *Event.Meta.constraints,
            models.CheckConstraint(condition=Q(is_finding=False) | ~Q(note=""), name="finding_says_what"),
            models.CheckConstraint(
                condition=Q(parts_scrapped=0) | Q(parts_scrapped__gt=0, is_finding=True, die__isnull=False),
                name="inspection_scrap_of_a_die",
            ),
        ]
