"""Fits and forecasts: derived from the log and kept. A fit is never updated."""

from __future__ import annotations

from django.core.serializers.json import DjangoJSONEncoder
from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from diestore.access.models import Person
from diestore.register.models import Die, Plant, Position, Press

from .orders import Order


class FleetFit(models.Model):
    """What the whole shop's record says, at a date. Never updated: a new fit is a new row."""

    plant = models.ForeignKey(Plant, on_delete=models.PROTECT, related_name="fits")
    as_of = models.DateTimeField(help_text="Records up to here.")
    known_at = models.DateTimeField(help_text="As they were known then.")
    records_hash = models.CharField(max_length=64)
    code_version = models.CharField(max_length=40)
    parameters = models.JSONField(encoder=DjangoJSONEncoder)
    cycles = models.IntegerField()
    dull_ends = models.IntegerField()
    made_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["-id"]  # not by time: a clock may have been ahead


class DieForecast(models.Model):
    """What is left of a die, in its strokes. Of each die the newest is the one that is shown."""

    fit = models.ForeignKey(FleetFit, null=True, blank=True, on_delete=models.PROTECT, related_name="die_forecasts")
    die = models.ForeignKey(Die, on_delete=models.CASCADE, related_name="forecasts")
    as_of = models.DateTimeField()
    made_at = models.DateTimeField(default=timezone.now)
    is_newest = models.BooleanField(default=True)
    hits_since_sharpening = models.BigIntegerField(default=0)
    limiting = models.ForeignKey(Position, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    half_hits = models.BigIntegerField(null=True, blank=True, help_text="Half last another so many hits.")
    nine_in_ten_hits = models.BigIntegerField(null=True, blank=True, help_text="9 in 10 last another so many hits.")
    usual_hours = models.FloatField(null=True, blank=True, help_text="That a sharpening of the die takes.")
    remaining = models.JSONField(default=dict, help_text="Probability to further strokes.")
    fresh = models.JSONField(default=dict, help_text="The same, once every edge has been sharpened.")
    rests_on = models.JSONField(default=dict)
    refusal = models.CharField(max_length=300, blank=True)
    advice = models.JSONField(default=dict, help_text="Whether sharpening pays, by the hits of a job.")
    damage = models.JSONField(
        default=list, help_text="What is wrong with the die and not put right: maintenance.log.damage."
    )

    class Meta:
        ordering = ["die", "-made_at"]
        constraints = [
            models.UniqueConstraint(fields=["die"], condition=Q(is_newest=True), name="one_newest_forecast_a_die")
        ]


class EdgeForecast(models.Model):
    forecast = models.ForeignKey(DieForecast, on_delete=models.CASCADE, related_name="edges")
    position = models.ForeignKey(Position, on_delete=models.CASCADE, related_name="forecasts")
    hits_since_sharpening = models.BigIntegerField(default=0)
    usual_hits = models.BigIntegerField(null=True, blank=True, help_text="Half of fresh edges here last longer.")
    share_left = models.FloatField(null=True, blank=True, help_text="Of the usual hits to dull, 0 to 1.")
    first_to_go = models.FloatField(null=True, blank=True, help_text="Chance that this edge ends the die's run.")
    half_hits = models.BigIntegerField(null=True, blank=True)
    nine_in_ten_hits = models.BigIntegerField(null=True, blank=True)
    remaining = models.JSONField(default=dict)
    fresh = models.JSONField(
        default=dict, help_text="The same, once it has been ground; nothing of one that lies on the shelf."
    )
    chips_per_million = models.FloatField(null=True, blank=True, help_text="Chips in a million strokes of the die.")
    thickness_mm = models.FloatField(null=True, blank=True, help_text="Of the strip stock that it cuts.")
    rests_on = models.JSONField(default=dict)
    refusal = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["forecast", "half_hits"]
        constraints = [models.UniqueConstraint(fields=["forecast", "position"], name="one_forecast_an_edge")]


class PastForecasts(models.Model):
    """How right the forecasts of the last years were, as looked back on at a date. Never updated."""

    plant = models.ForeignKey(Plant, on_delete=models.PROTECT, related_name="past_forecasts")
    as_of = models.DateTimeField(help_text="What came is known up to here.")
    made_at = models.DateTimeField(default=timezone.now)
    code_version = models.CharField(max_length=40)
    records_hash = models.CharField(max_length=64, blank=True)
    scores = models.JSONField(default=dict)
    by_die = models.JSONField(default=dict, help_text="Die to statements that have come out, and those that held.")
    wrong_calls = models.JSONField(default=list)
    refusal = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["-id"]


class PastDecisions(models.Model):
    """What the advice would have said at the jobs and teardowns of the past, as looked back on at a date. Of those of a
    plant the newest is shown; the cases of older ones are taken away, their sums stay."""

    plant = models.ForeignKey(Plant, on_delete=models.PROTECT, related_name="past_decisions")
    as_of = models.DateTimeField(help_text="What came is known up to here.")
    made_at = models.DateTimeField(default=timezone.now)
    code_version = models.CharField(max_length=40)
    sums = models.JSONField(default=dict, help_text="By kind and die: decisions, those done as advised, what differed.")
    refusal = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["-id"]


class PastDecision(models.Model):
    """A decision of the past in which what was done was not what the advice would have said. Figures are of what was
    done over what was advised: above nought, following it would have saved that. Derived with its look back."""

    class Kind(models.TextChoices):
        JOB = "job", _("run or sharpen")
        TEARDOWN = "teardown", _("what to grind")

    look_back = models.ForeignKey(PastDecisions, on_delete=models.CASCADE, related_name="cases")
    die = models.ForeignKey(Die, on_delete=models.CASCADE, related_name="past_decisions")
    at = models.DateTimeField()
    kind = models.CharField(max_length=10, choices=Kind)
    job = models.CharField(max_length=80, blank=True)
    hits = models.BigIntegerField(help_text="That the job ran, or the die to its next teardown.")
    advised = models.JSONField(default=dict)
    done = models.JSONField(default=dict, help_text="And what came of it.")
    euros_low = models.FloatField()
    euros_expected = models.FloatField()
    euros_high = models.FloatField()
    euros_variance = models.FloatField(default=0)
    stops_low = models.FloatField()
    stops_expected = models.FloatField()
    stops_high = models.FloatField()
    steel_low_mm = models.FloatField()
    steel_expected_mm = models.FloatField()
    steel_high_mm = models.FloatField()

    class Meta:
        ordering = ["-at", "pk"]
        indexes = [models.Index(fields=["look_back", "die"], name="past_decision_by_die")]


class DriftFlag(models.Model):
    """A die that goes dull more often than its record said. Derived: looked for anew with every nightly forecast."""

    die = models.OneToOneField(Die, on_delete=models.CASCADE, related_name="drift_flag")
    since = models.DateTimeField()
    as_of = models.DateTimeField()
    found_at = models.DateTimeField(default=timezone.now)
    dull_ends = models.IntegerField()
    expected = models.FloatField(help_text="Dull ends that its record up to then led to expect.")
    chance = models.FloatField(help_text="Of so many or more by luck.")

    class Meta:
        ordering = ["chance", "die"]


class WearCause(models.Model):
    """What may make edges go dull sooner: a press, a coil or job of a die, a person, set-ups, mishaps.

    Derived: of a plant all are looked for anew with every look back. Figures as of maintenance.life.causes.Cause.
    """

    class Sort(models.TextChoices):
        PRESS = "press", _("press")
        LOT = "lot", _("coil or job")
        PERSON = "person", _("who ground it")
        SET_UP = "set-up", _("a tilted set-up")
        MISHAP = "mishap", _("a mishap")

    plant = models.ForeignKey(Plant, on_delete=models.CASCADE, related_name="wear_causes")
    sort = models.CharField(max_length=8, choices=Sort)
    press = models.ForeignKey(Press, null=True, blank=True, on_delete=models.CASCADE, related_name="+")
    person = models.ForeignKey(Person, null=True, blank=True, on_delete=models.CASCADE, related_name="+")
    die = models.ForeignKey(Die, null=True, blank=True, on_delete=models.CASCADE, related_name="+")
    coil = models.CharField(max_length=80, blank=True, help_text="In small letters, as lots are told apart by it.")
    order = models.ForeignKey(Order, null=True, blank=True, on_delete=models.CASCADE, related_name="+")
    as_of = models.DateTimeField()
    made_at = models.DateTimeField(default=timezone.now)
    cycles = models.FloatField()
    dull = models.FloatField()
    expected = models.FloatField()
    times = models.FloatField(help_text="Life with it over life without.")
    low = models.FloatField()
    high = models.FloatField()
    chance = models.FloatField(help_text="That it shortens life by a tenth or more.")
    slope = models.JSONField(default=dict, help_text="Of a press: how life falls across it.")

    class Meta:
        ordering = ["plant", "sort", "-chance", "id"]
        indexes = [models.Index(fields=["die", "sort"], name="wear_cause_of_die")]
