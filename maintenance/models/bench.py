"""The bench: what has to be done on a die, what was done about it step by step, who has how many hours, and dies held.

A work on the bench is one piece of work on one die. What a customer ordered is a job; what was done to a piece is an
entry of the log, which a work names once it is made.
"""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext, pgettext_lazy
from django.utils.translation import gettext_lazy as _

from diestore.access.models import Person
from diestore.money import MoneyField
from diestore.register.models import Die, Item, Party, Piece, Plant, Position

from .keys import fresh_key
from .log import Incident, Stop, Work

HOURS_AT_MOST = 2_000  # of one work: a year of one person
DAYS_AWAY_AT_MOST = 365
PIECES_AT_MOST = 999
WHY_AT_MOST = 200  # letters


class BenchWork(models.Model):
    """One piece of work on one die, from when somebody reports it until somebody releases the die or drops it."""

    class State(models.TextChoices):
        REPORTED = "reported", pgettext_lazy("of bench work", "reported")
        PLANNED = "planned", pgettext_lazy("of bench work", "planned")
        BENCH = "on the bench", pgettext_lazy("of bench work", "on the bench")
        AWAY = "away", pgettext_lazy("of bench work", "away at a supplier")
        TRY_OUT = "try-out", pgettext_lazy("of bench work", "try-out")
        RELEASED = "released", pgettext_lazy("of bench work", "released")
        DROPPED = "dropped", pgettext_lazy("of bench work", "dropped")

    class Source(models.TextChoices):
        DUE = "due", _("due for sharpening")
        STOP = "stop", _("a stop")
        MISHAP = "mishap", _("a mishap")
        COMPLAINT = "complaint", _("a complaint from the press")
        INSPECTION = "inspection", _("an inspection")
        SPARE = "spare", _("a spare that came")
        OTHER = "other", _("by hand")

    OPEN = (State.REPORTED, State.PLANNED, State.BENCH, State.AWAY, State.TRY_OUT)
    ENDED = (State.RELEASED, State.DROPPED)

    die = models.ForeignKey(Die, on_delete=models.PROTECT, related_name="bench_works")
    key = models.CharField(max_length=160, unique=True, default=fresh_key)
    what = models.CharField(max_length=200)
    source = models.CharField(max_length=10, choices=Source, default=Source.OTHER)
    position = models.ForeignKey(
        Position, null=True, blank=True, on_delete=models.PROTECT, related_name="+", help_text="Where in the die."
    )
    stop = models.ForeignKey(Stop, null=True, blank=True, on_delete=models.PROTECT, related_name="bench_works")
    incident = models.ForeignKey(Incident, null=True, blank=True, on_delete=models.PROTECT, related_name="bench_works")
    inspection = models.ForeignKey(
        "Inspection", null=True, blank=True, on_delete=models.PROTECT, related_name="bench_works"
    )
    item = models.ForeignKey(
        Item, null=True, blank=True, on_delete=models.PROTECT, related_name="+", help_text="The spare that came."
    )
    state = models.CharField(max_length=12, choices=State, default=State.REPORTED)
    opened_at = models.DateTimeField(default=timezone.now)
    hours_foreseen = models.FloatField(null=True, blank=True)
    hours_used = models.FloatField(null=True, blank=True)
    needed_on = models.DateField(null=True, blank=True, help_text="Empty: when the die's next job has to start.")
    not_before = models.DateField(null=True, blank=True)
    person = models.ForeignKey(
        Person, null=True, blank=True, on_delete=models.PROTECT, related_name="bench_works", help_text="Set by hand."
    )
    day = models.DateField(null=True, blank=True, help_text="Set by hand: the plan leaves it there.")
    supplier = models.ForeignKey(Party, null=True, blank=True, on_delete=models.PROTECT, related_name="bench_works")
    away_days = models.PositiveIntegerField(null=True, blank=True, help_text="At the supplier, once it goes there.")
    back_on = models.DateField(null=True, blank=True, help_text="While it is away: when it is said to be back.")
    late_cost = MoneyField(null=True, blank=True, help_text="What a day late costs.")
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    ended_reason = models.CharField(max_length=300, blank=True)
    entries = models.ManyToManyField(Work, blank=True, related_name="bench_works")

    class Meta:
        ordering = ["opened_at", "key"]
        indexes = [
            models.Index(fields=["die", "opened_at"], name="bench_by_die"),
            models.Index(
                fields=["opened_at"],
                name="bench_open",
                condition=Q(state__in=("reported", "planned", "on the bench", "away", "try-out")),
            ),
        ]
        constraints = [
            models.CheckConstraint(condition=~Q(what=""), name="bench_says_what"),
            models.CheckConstraint(
                condition=(Q(hours_foreseen__isnull=True) | Q(hours_foreseen__gt=0, hours_foreseen__lte=HOURS_AT_MOST))
                & (Q(hours_used__isnull=True) | Q(hours_used__gte=0, hours_used__lte=10_000)),
                name="bench_hours_possible",
            ),
            models.CheckConstraint(
                condition=Q(state__in=("released", "dropped"), ended_at__isnull=False)
                | (~Q(state__in=("released", "dropped")) & Q(ended_at__isnull=True, ended_reason="")),
                name="bench_ended_whole",
            ),
            models.CheckConstraint(
                condition=~Q(state="dropped") | ~Q(ended_reason=""), name="bench_dropped_with_a_reason"
            ),
            models.CheckConstraint(
                condition=Q(day__isnull=True) | Q(person__isnull=False), name="bench_day_of_a_person"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.die}: {self.what}"

    @property
    def is_open(self) -> bool:
        return self.state not in self.ENDED


class BenchStep(models.Model):
    """What somebody did about a work, in words: appended, never edited."""

    work = models.ForeignKey(BenchWork, on_delete=models.CASCADE, related_name="steps")
    key = models.CharField(max_length=160, unique=True, default=fresh_key)
    at = models.DateTimeField(default=timezone.now)
    words = models.CharField(max_length=1_000)
    state = models.CharField(max_length=12, choices=BenchWork.State, help_text="How it stood afterwards.")
    person = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    user = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )

    class Meta:
        ordering = ["at", "pk"]
        indexes = [models.Index(fields=["work", "at"], name="bench_step_by_work")]

    def __str__(self) -> str:
        return self.words


class BenchEdge(models.Model):
    """A piece to be ground in a work: what was advised when it was opened, what is to come off, what came off."""

    work = models.ForeignKey(BenchWork, on_delete=models.CASCADE, related_name="edges")
    position = models.ForeignKey(Position, on_delete=models.PROTECT, related_name="+")
    advised_mm = models.FloatField(null=True, blank=True)
    grind_mm = models.FloatField(null=True, blank=True, help_text="Empty: as much as it takes.")
    done_mm = models.FloatField(null=True, blank=True)
    left_out = models.BooleanField(default=False, help_text="Advised, and somebody decided not to grind it.")
    why = models.CharField(max_length=WHY_AT_MOST, blank=True, help_text="Why otherwise than advised.")

    class Meta:
        ordering = ["work", "position"]
        constraints = [
            models.UniqueConstraint(fields=["work", "position"], name="bench_edge_once"),
            models.CheckConstraint(
                condition=(Q(advised_mm__isnull=True) | Q(advised_mm__gte=0, advised_mm__lte=100))
                & (Q(grind_mm__isnull=True) | Q(grind_mm__gt=0, grind_mm__lte=100))
                & (Q(done_mm__isnull=True) | Q(done_mm__gte=0, done_mm__lte=100)),
                name="bench_edge_possible",
            ),
            models.CheckConstraint(
                condition=Q(left_out=False) | Q(grind_mm__isnull=True, done_mm__isnull=True),
                name="bench_edge_left_out_whole",
            ),
        ]

    def __str__(self) -> str:
        return gettext("{position} in {work}").format(position=self.position, work=self.work)


class BenchPiece(models.Model):
    """What a work has set aside on the shelf: so many of a spare, or one marked piece that other dies may want too."""

    work = models.ForeignKey(BenchWork, on_delete=models.CASCADE, related_name="pieces")
    item = models.ForeignKey(Item, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    piece = models.ForeignKey(Piece, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    quantity = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["work", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["work", "item"], name="bench_spare_once"),
            models.UniqueConstraint(fields=["work", "piece"], name="bench_piece_once"),
            models.CheckConstraint(
                condition=Q(item__isnull=False, piece__isnull=True)
                | Q(item__isnull=True, piece__isnull=False, quantity=1),
                name="bench_piece_of_one_thing",
            ),
            models.CheckConstraint(
                condition=Q(quantity__gte=1, quantity__lte=PIECES_AT_MOST), name="bench_pieces_possible"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.quantity} × {self.item}" if self.item_id else str(self.piece)


class DieHold(models.Model):
    """The die makes no parts until a first piece was approved."""

    die = models.ForeignKey(Die, on_delete=models.PROTECT, related_name="holds")
    key = models.CharField(max_length=160, unique=True, default=fresh_key)
    at = models.DateTimeField(default=timezone.now)
    reason = models.CharField(max_length=300)
    held_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    held_user = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    released_at = models.DateTimeField(null=True, blank=True)
    released_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    released_user = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    measured = models.CharField(max_length=500, blank=True, help_text="What was measured on the first piece.")

    class Meta:
        ordering = ["at", "key"]
        constraints = [
            models.UniqueConstraint(fields=["die"], condition=Q(released_at__isnull=True), name="one_hold_of_a_die"),
            models.CheckConstraint(condition=~Q(reason=""), name="hold_has_a_reason"),
            models.CheckConstraint(
                condition=Q(released_at__isnull=True, released_by__isnull=True, measured="")
                | (Q(released_at__isnull=False, released_by__isnull=False) & ~Q(measured="")),
                name="hold_released_whole",
            ),
        ]

    def __str__(self) -> str:
        return self.reason


class BenchHours(models.Model):
    """How many hours a day somebody has for the bench, and on which days."""

    class Days(models.TextChoices):
        FIVE = "mon-fri", _("Monday to Friday")
        SIX = "mon-sat", _("Monday to Saturday")
        FOUR = "mon-thu", _("Monday to Thursday")
        ALL = "all", _("every day")

    person = models.OneToOneField(Person, on_delete=models.PROTECT, related_name="bench_hours")
    hours_a_day = models.FloatField()
    days = models.CharField(max_length=7, choices=Days, default=Days.FIVE)
    retired_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["person__name"]
        verbose_name = verbose_name_plural = _("hours for the bench")
        constraints = [
            models.CheckConstraint(
                condition=Q(hours_a_day__gt=0, hours_a_day__lte=24),
                name="bench_hours_of_a_day",
                violation_error_message=_(
                    "A day has more than nought and at most 24 hours. Who has none is taken out of use here."
                ),
            )
        ]

    def __str__(self) -> str:
        return str(self.person)

    @property
    def last_weekday(self) -> int:
        """The last day of the week on which there are hours: Monday is 0."""
        return {"mon-thu": 3, "mon-fri": 4, "mon-sat": 5}.get(self.days, 6)


class Absence(models.Model):
    """Days on which somebody is away, first and last included."""

    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="absences")
    first = models.DateField()
    last = models.DateField()
    note = models.CharField(max_length=120, blank=True)
    retired_at = models.DateTimeField(null=True, blank=True, help_text="Since when it no longer holds.")

    class Meta:
        ordering = ["first", "person__name", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(first__lte=F("last")),
                name="absence_ends_after_it_begins",
                violation_error_message=_("The last day lies before the first."),
            ),
            models.UniqueConstraint(
                fields=["person", "first"],
                condition=Q(retired_at__isnull=True),
                name="absence_once",
                violation_error_message=_("An absence of this person begins on that day already."),
            ),
        ]

    def __str__(self) -> str:
        first, last = (date_format(day, "d M Y") for day in (self.first, self.last))
        return gettext("{person}, {first} to {last}").format(person=self.person, first=first, last=last)


class Grinder(models.Model):
    """A grinding machine of the toolroom: two people cannot grind on it at once."""

    plant = models.ForeignKey(Plant, on_delete=models.PROTECT, related_name="grinders")
    code = models.CharField(max_length=40)
    hours_a_day = models.FloatField(default=8.0)
    retired_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["code"]
        constraints = [
            models.UniqueConstraint(fields=["plant", "code"], name="grinder_once_a_plant"),
            models.CheckConstraint(
                condition=Q(hours_a_day__gt=0, hours_a_day__lte=24),
                name="grinder_hours_of_a_day",
                violation_error_message=_("A day has more than nought and at most 24 hours."),
            ),
        ]

    def __str__(self) -> str:
        return self.code


class KeptBenchPlan(models.Model):
    """The plan that a search found for one state of the records; a page shows it while the records are the same."""

    plant = models.OneToOneField(Plant, on_delete=models.CASCADE, related_name="+")
    digest = models.CharField(max_length=64)
    places = models.JSONField(default=dict)
    made_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"bench plan of {self.plant}"
