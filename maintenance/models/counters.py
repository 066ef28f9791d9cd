"""What press counters send, which die was in which press, and what people answered.

Readings are appended and never changed. What they tell is derived: runs in the log, the count that is still going on
(`OpenCount`) and the questions that nobody has settled yet are made anew from them whenever more is known.
"""

from __future__ import annotations

from django.apps import apps
from django.conf import settings
from django.db import models
from django.db.models import Exists, F, OuterRef, Q, Value
from django.db.models.functions import Coalesce, Least
from django.utils import timezone
from django.utils.translation import gettext, gettext_noop
from django.utils.translation import gettext_lazy as _

from diestore.access.models import Person
from diestore.register.models import Die, Plant, Press, Variant

from .keys import fresh_key

TOTAL_AT_MOST = 10**15


class Scope(models.TextChoices):
    """What a device's token lets it do: told to programs in English, translated where a page shows it."""

    COUNTS = "counts", gettext_noop("send counts")
    RUNS = "runs", gettext_noop("send runs")
    READ = "read", gettext_noop("read dies, forecasts and what is due")
    SPARES = "spares", gettext_noop("read the spares to order")
    PURCHASING = "purchasing", gettext_noop("read the advice on every spare, and orders to suppliers with their prices")
    REGISTER = "register", gettext_noop("read the register: dies and their places")
    FORECASTS = "forecasts", gettext_noop("read forecasts, and jobs with their chance of finishing")
    COST = "cost", gettext_noop("read what a thousand parts cost")
    JOBS = "jobs", gettext_noop("send jobs: enter, change and close orders")
    CALENDAR = "calendar", gettext_noop("be the address of a calendar of what is due")


class CounterDevice(models.Model):
    """A counter, or a program that speaks for some. Its token is shown once; only its hash is kept."""

    plant = models.ForeignKey(Plant, on_delete=models.PROTECT, related_name="counter_devices")
    name = models.CharField(max_length=80)
    token_hash = models.CharField(max_length=64, null=True, blank=True, unique=True)
    scopes = models.JSONField(default=list)
    presses = models.ManyToManyField(Press, blank=True, related_name="+", help_text="None named: all of the plant.")
    dies = models.ManyToManyField(Die, blank=True, related_name="+", help_text="None named: all of the plant.")
    figures = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="How many figures the counter shows before it rolls over."
    )
    made_at = models.DateTimeField(default=timezone.now)
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    revoked_at = models.DateTimeField(null=True, blank=True)
    revoked_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    last_used_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["plant", "name"]
        constraints = [
            models.UniqueConstraint(fields=["plant", "name"], name="counter_device_once_a_plant"),
            models.CheckConstraint(
                condition=Q(figures__isnull=True) | Q(figures__gte=3, figures__lte=12), name="counter_figures_possible"
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def may(self) -> list[str]:
        return [gettext(str(Scope(scope).label)) for scope in self.scopes]


class CounterQuerySet(models.QuerySet):
    def have_wait(self, since) -> None:
        """Have counters counted again from a time on.

        Written even where they wait already: so a message waits for a count that has begun without it, and is seen by
        the next one.
        """
        since = Value(since, output_field=models.DateTimeField())
        self.update(waiting_since=Least(Coalesce(F("waiting_since"), since), since))


class Counter(models.Model):
    """One total that a device sends: of a press, or of a die that carries its own counter.

    anchor: counting begins there when more comes. waiting_since: the earliest time of what is not counted yet.
    """

    device = models.ForeignKey(CounterDevice, on_delete=models.PROTECT, related_name="counters")
    press = models.ForeignKey(Press, null=True, blank=True, on_delete=models.PROTECT, related_name="counters")
    die = models.ForeignKey(Die, null=True, blank=True, on_delete=models.PROTECT, related_name="counters")
    anchor = models.DateTimeField(null=True, blank=True)
    waiting_since = models.DateTimeField(null=True, blank=True)
    counted_at = models.DateTimeField(null=True, blank=True)

    objects = CounterQuerySet.as_manager()

    class Meta:
        ordering = ["press", "die", "id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(press__isnull=False, die__isnull=True) | Q(press__isnull=True, die__isnull=False),
                name="counter_of_a_press_or_a_die",
            ),
            models.UniqueConstraint(fields=["device", "press"], name="counter_once_a_press"),
            models.UniqueConstraint(fields=["device", "die"], name="counter_once_a_die"),
        ]
        indexes = [
            models.Index(fields=["waiting_since"], condition=Q(waiting_since__isnull=False), name="counter_waiting")
        ]

    def __str__(self) -> str:
        if self.press_id:
            return gettext("press {press}").format(press=self.press)
        return gettext("die {die}").format(die=self.die)


class AppendedQuerySet(models.QuerySet):
    def delete(self):
        raise TypeError("Readings of counters are never deleted. Answer the question about them to leave them out.")


class CounterReading(models.Model):
    """What a counter showed: an absolute total. `at` by the device's clock, `received_at` by the service's."""

    device = models.ForeignKey(CounterDevice, on_delete=models.PROTECT, related_name="readings")
    counter = models.ForeignKey(Counter, on_delete=models.PROTECT, related_name="readings")
    message_id = models.CharField(max_length=80)
    total = models.BigIntegerField()
    at = models.DateTimeField()
    received_at = models.DateTimeField(default=timezone.now)
    with_stock = models.BooleanField(default=True, help_text="The strokes since the reading before had stock.")
    clock_off = models.BooleanField(default=False, help_text="Its time could not be when it came.")
    raw = models.TextField(blank=True, help_text="The message as it came.")

    objects = AppendedQuerySet.as_manager()

    class Meta:
        ordering = ["at", "id"]
        indexes = [
            models.Index(fields=["counter", "at"], name="counter_reading_by_time"),
            models.Index(fields=["counter"], condition=Q(clock_off=True), name="counter_clock_off"),
        ]
        constraints = [
            models.UniqueConstraint(fields=["device", "message_id"], name="counter_message_once"),
            models.CheckConstraint(condition=Q(total__gte=0, total__lte=TOTAL_AT_MOST), name="counter_total_possible"),
        ]

    def delete(self, *args, **kwargs):
        raise TypeError("Readings of counters are never deleted. Answer the question about them to leave them out.")


class InPressQuerySet(models.QuerySet):
    def standing(self):
        return self.filter(struck_at__isnull=True)

    def now(self):
        return self.standing().filter(until__isnull=True)


class DieInPress(models.Model):
    """The die was in the press in [since, until). Never changed but for its end; a wrong one is struck out."""

    die = models.ForeignKey(Die, on_delete=models.PROTECT, related_name="in_presses")
    press = models.ForeignKey(Press, on_delete=models.PROTECT, related_name="dies_in")
    variant = models.ForeignKey(Variant, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    order = models.ForeignKey("maintenance.Order", null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    since = models.DateTimeField()
    until = models.DateTimeField(null=True, blank=True)
    set_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    removed_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    set_user = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    removed_user = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    recorded_at = models.DateTimeField(default=timezone.now)
    key = models.CharField(max_length=160, unique=True, default=fresh_key)
    note = models.TextField(blank=True)
    struck_at = models.DateTimeField(null=True, blank=True)
    struck_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    struck_reason = models.CharField(max_length=300, blank=True)

    objects = InPressQuerySet.as_manager()

    class Meta:
        ordering = ["since", "id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(until__isnull=True) | Q(since__lt=F("until")), name="in_press_since_before_until"
            ),
            models.CheckConstraint(
                condition=Q(struck_at__isnull=True, struck_by__isnull=True, struck_reason="")
                | (Q(struck_at__isnull=False, struck_by__isnull=False) & ~Q(struck_reason="")),
                name="in_press_struck_out_whole",
            ),
        ]

    def __str__(self) -> str:
        return gettext("{die} in {press}").format(die=self.die, press=self.press)


class CounterQuestion(models.Model):
    """Strokes that a total alone does not decide. Made anew until settled; a settled one is an answer that holds.

    before, after: the totals around what is in doubt. fell_at: of a fall, when the reading after it was taken.
    """

    class Kind(models.TextChoices):
        NO_DIE = "no die", _("no die was in it")
        WHICH_DIE = "which die", _("two dies come into it")
        TYPED = "typed", _("somebody typed a run")
        JUMP = "jump", _("too many strokes for the time")
        RESET_OR_ROLL = "reset or roll-over", _("set to nought, or rolled over")
        FALL = "fall", _("the count fell")
        ODD = "odd", _("readings out of line")
        CLOCK = "clock", _("a wrong clock")

    counter = models.ForeignKey(Counter, on_delete=models.PROTECT, related_name="questions")
    kind = models.CharField(max_length=20, choices=Kind)
    since = models.DateTimeField()
    until = models.DateTimeField()
    strokes = models.BigIntegerField(default=0)
    before = models.BigIntegerField(null=True, blank=True)
    after = models.BigIntegerField(null=True, blank=True)
    readings = models.IntegerField(default=0, help_text="How many were set aside.")
    dies = models.JSONField(default=list, help_text="Those that come into it.")
    fell_at = models.DateTimeField(null=True, blank=True)
    asked_at = models.DateTimeField(default=timezone.now)
    verdict = models.CharField(max_length=24, blank=True)
    die = models.ForeignKey(Die, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    variant = models.ForeignKey(Variant, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    settled_at = models.DateTimeField(null=True, blank=True)
    settled_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    settled_user = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    taken_back_at = models.DateTimeField(null=True, blank=True, help_text="The answer holds no longer.")

    class Meta:
        ordering = ["since", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["counter", "kind", "since"],
                condition=Q(settled_at__isnull=True),
                name="counter_question_open_once",
            ),
            models.CheckConstraint(
                condition=Q(settled_at__isnull=True, verdict="", taken_back_at__isnull=True)
                | (Q(settled_at__isnull=False) & ~Q(verdict="")),
                name="counter_question_settled_whole",
            ),
        ]
        indexes = [models.Index(fields=["counter", "since"], name="counter_question_by_time")]


class OpenCountQuerySet(models.QuerySet):
    def as_hits(self):
        """Those that are hits now: with stock, and no run of the die stands in the log for that time."""
        typed = apps.get_model("maintenance", "Run").objects.standing()
        typed = typed.filter(die=OuterRef("die"), started__lt=OuterRef("at"), at__gt=OuterRef("started"))
        return self.filter(~Exists(typed), with_stock=True).order_by("started", "pk")


class OpenCount(models.Model):
    """Derived: hits of a counter's stretch that is still going on, and so is no run of the log yet."""

    counter = models.OneToOneField(Counter, on_delete=models.CASCADE, related_name="open_count")
    die = models.ForeignKey(Die, on_delete=models.CASCADE, related_name="open_counts")
    variant = models.ForeignKey(Variant, on_delete=models.CASCADE, related_name="+")
    order = models.ForeignKey("maintenance.Order", null=True, blank=True, on_delete=models.CASCADE, related_name="+")
    started = models.DateTimeField()
    at = models.DateTimeField()
    hits = models.BigIntegerField()
    with_stock = models.BooleanField(default=True)

    objects = OpenCountQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(started__lt=F("at")), name="open_count_ends_after_it_starts"),
            models.CheckConstraint(condition=Q(hits__gte=1), name="open_count_has_hits"),
        ]
