"""What happens to the dies: appended events, the fittings and forecasts derived from them.

An event is never edited or deleted. Wrong ones are struck out: the row stays, stays visible, and counts for nothing.
"""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils import timezone
from django.utils.translation import gettext, pgettext_lazy
from django.utils.translation import gettext_lazy as _

from diestore.access.models import Person
from diestore.money import MoneyField
from diestore.register.models import Cut, Die, Item, Party, Piece, Plant, Position, Press, Station, Stock, Variant
from maintenance.clockwork.works import OPERATIONS

from .counters import Counter
from .keys import fresh_key
from .orders import Order
from .purchasing import PurchaseLine, PurchaseOrder

HITS_AT_MOST = 100_000_000  # in one entry: a press at 2,000 a minute needs five weeks for it


class EventQuerySet(models.QuerySet):
    def standing(self):
        """The entries that count: not struck out."""
        return self.filter(struck_at__isnull=True)

    def known_at(self, moment):
        """The entries as they were known at a moment: recorded by then, and not struck out by then."""
        return self.filter(recorded_at__lte=moment).filter(Q(struck_at__isnull=True) | Q(struck_at__gt=moment))

    def delete(self):
        raise TypeError("Entries are never deleted. Strike them out: maintenance.log.write.strike_out.")


class Event(models.Model):
    class Through(models.TextChoices):
        FORM = "form", _("a form")
        IMPORT = "import", _("a history folder")
        COUNTER = "counter", _("a press counter")
        INTERFACE = "interface", _("another program")

    at = models.DateTimeField(help_text="When it happened.")
    recorded_at = models.DateTimeField(default=timezone.now, help_text="When the service learnt it.")
    sequence = models.IntegerField(default=0, help_text="Settles the order of entries at the same time.")
    person = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    user = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    through = models.CharField(max_length=10, choices=Through, default=Through.FORM)
    device = models.CharField(max_length=80, blank=True)
    key = models.CharField(max_length=160, unique=True, default=fresh_key)
    note = models.TextField(blank=True)
    struck_at = models.DateTimeField(null=True, blank=True)
    struck_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    struck_reason = models.CharField(max_length=300, blank=True)
    replaced_by = models.ForeignKey("self", null=True, blank=True, on_delete=models.PROTECT, related_name="replaces")

    objects = EventQuerySet.as_manager()

    class Meta:
        abstract = True
        ordering = ["at", "sequence", "key"]
        indexes = [
            models.Index(fields=["at"], name="%(class)s_by_time"),
            models.Index(fields=["recorded_at"], name="%(class)s_by_record"),
            models.Index(fields=["struck_at"], name="%(class)s_struck", condition=Q(struck_at__isnull=False)),
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(struck_at__isnull=True, struck_by__isnull=True, struck_reason="", replaced_by__isnull=True)
                | (Q(struck_at__isnull=False, struck_by__isnull=False) & ~Q(struck_reason="")),
                name="%(class)s_struck_out_whole",
            )
        ]

    @property
    def is_struck(self) -> bool:
        return self.struck_at is not None

    def delete(self, *args, **kwargs):
        raise TypeError("Entries are never deleted. Strike them out: maintenance.log.write.strike_out.")


class Run(Event):
    """The die ran from `started` until `at`; half-open, [started, at)."""

    class Basis(models.TextChoices):
        COUNTED = "counted", pgettext_lazy("of hits", "counted")
        ESTIMATED = "estimated", pgettext_lazy("of hits", "estimated")

    die = models.ForeignKey(Die, on_delete=models.PROTECT, related_name="runs")
    variant = models.ForeignKey(Variant, on_delete=models.PROTECT, related_name="runs")
    started = models.DateTimeField()
    hits = models.BigIntegerField()
    basis = models.CharField(max_length=9, choices=Basis, default=Basis.COUNTED)
    press = models.ForeignKey(Press, null=True, blank=True, on_delete=models.PROTECT, related_name="runs")
    stock = models.ForeignKey(Stock, null=True, blank=True, on_delete=models.PROTECT, related_name="runs")
    lot = models.CharField(max_length=80, blank=True)
    order = models.ForeignKey(Order, null=True, blank=True, on_delete=models.PROTECT, related_name="runs")
    good_parts = models.BigIntegerField(null=True, blank=True)
    counter = models.ForeignKey(
        Counter, null=True, blank=True, on_delete=models.PROTECT, db_index=False, related_name="runs",
        help_text="The counter that it was made from.",
    )  # fmt: skip

    class Meta(Event.Meta):
        indexes = [
            *Event.Meta.indexes,
            models.Index(fields=["die", "at"], name="run_by_die"),
            models.Index(fields=["counter", "started"], name="run_by_counter", condition=Q(counter__isnull=False)),
        ]
        constraints = [
            *Event.Meta.constraints,
            models.CheckConstraint(
                condition=Q(counter__isnull=True) | Q(through=Event.Through.COUNTER), name="run_of_a_counter"
            ),
            models.CheckConstraint(condition=Q(started__lt=F("at")), name="run_ends_after_it_starts"),
            models.CheckConstraint(condition=Q(hits__gte=1, hits__lte=HITS_AT_MOST), name="run_hits_possible"),
            models.CheckConstraint(
                condition=Q(good_parts__isnull=True) | Q(good_parts__gte=0), name="run_parts_not_negative"
            ),
        ]

    def __str__(self) -> str:
        return gettext("{die} {hits:,} hits").format(die=self.die, hits=self.hits)

    @property
    def counted_from(self):
        """When the strokes began that it tells of."""
        return self.started


class HitCorrection(Event):
    """Hits that no run carries: strokes without stock at set-up, a miscount put right (then signed)."""

    die = models.ForeignKey(Die, on_delete=models.PROTECT, related_name="hit_corrections")
    variant = models.ForeignKey(Variant, on_delete=models.PROTECT, related_name="hit_corrections")
    hits = models.BigIntegerField()
    with_stock = models.BooleanField(help_text="Without stock the edges cut nothing; guides and springs still work.")
    reason = models.CharField(max_length=200)
    counter = models.ForeignKey(
        Counter, null=True, blank=True, on_delete=models.PROTECT, db_index=False, related_name="corrections",
        help_text="The counter that it was made from.",
    )  # fmt: skip
    counted_from = models.DateTimeField(null=True, blank=True, help_text="When a counter's strokes began.")

    class Meta(Event.Meta):
        indexes = [
            *Event.Meta.indexes,
            models.Index(fields=["die", "at"], name="correction_by_die"),
            models.Index(fields=["counter", "at"], name="correction_by_counter", condition=Q(counter__isnull=False)),
        ]
        constraints = [
            *Event.Meta.constraints,
            models.CheckConstraint(
                condition=Q(counter__isnull=True) | Q(through=Event.Through.COUNTER, counted_from__isnull=False),
                name="correction_of_a_counter",
            ),
            models.CheckConstraint(
                condition=~Q(hits=0) & Q(hits__gte=-HITS_AT_MOST, hits__lte=HITS_AT_MOST),
                name="correction_hits_possible",
            ),
        ]


class Stop(Event):
    class Cause(models.TextChoices):
        """Why the press stood, in the trade's words. What old records and folders call it stays."""

        MISFEED = "misfeed", _("misfeed")
        PROTECTION = "die protection", _("die protection tripped")
        SLUG = "slug", _("slug pulled")
        BURR = "burr", _("burr too high")
        GALLING = "galling", _("galling")
        STUCK = "stuck part", _("part stuck")
        BROKEN = "broken", _("punch or section broken")
        PILOT = "pilot broken", _("pilot broken")
        SPRING = "spring broken", _("spring broken")
        IN_PRESS = "mended in press", _("repaired in the press")
        WAITING = "waiting", _("waiting for the toolroom")
        SETTING = "setting", _("setting up")
        OTHER = "other", _("other")

    die = models.ForeignKey(Die, on_delete=models.PROTECT, related_name="stops")
    cause = models.CharField(max_length=16, choices=Cause)
    minutes = models.FloatField()
    parts_scrapped = models.BigIntegerField(default=0)
    planned = models.BooleanField(default=False)
    press = models.ForeignKey(Press, null=True, blank=True, on_delete=models.PROTECT, related_name="stops")
    station = models.ForeignKey(Station, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    position = models.ForeignKey(Position, null=True, blank=True, on_delete=models.PROTECT, related_name="+")

    class Meta(Event.Meta):
        indexes = [*Event.Meta.indexes, models.Index(fields=["die", "at"], name="stop_by_die")]
        constraints = [
            *Event.Meta.constraints,
            models.CheckConstraint(condition=Q(minutes__gte=0, minutes__lte=100_000), name="stop_minutes_possible"),
            models.CheckConstraint(condition=Q(parts_scrapped__gte=0), name="stop_scrap_not_negative"),
        ]


class Incident(Event):
    """One mishap (a misfeed, a slug): one shock for all that it damaged, not so many separate chips."""

    die = models.ForeignKey(Die, on_delete=models.PROTECT, related_name="incidents")
    sort = models.CharField(max_length=40)
    pieces = models.ManyToManyField(Piece, blank=True, related_name="incidents")

    class Meta(Event.Meta):
        constraints = [*Event.Meta.constraints]


class Found(models.TextChoices):
    SHARP = "sharp", _("sharp")
    DULL = "dull", _("dull")
    CHIPPED = "chipped", _("chipped")
    BROKEN = "broken", _("broken")
    GALLED = "galled", _("galled")
    NOT_LOOKED = "not looked", _("not looked")


class Work(Event):
    """One work on one piece. A sharpening of the whole set is one entry for the user and one row a piece here."""

    class Why(models.TextChoices):
        DULL = "dull", _("dull")
        CHIPPED = "chipped", _("chipped")
        WITH_SET = "with set", _("ground with the set")
        PLANNED = "planned", _("planned")
        CHANGE = "engineering change", _("engineering change")
        OTHER = "other", _("other")

    position = models.ForeignKey(Position, null=True, blank=True, on_delete=models.PROTECT, related_name="works")
    piece = models.ForeignKey(
        Piece,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="works",
        help_text="On the bench.",
    )
    operation = models.CharField(
        max_length=30, choices=[(key, _(one.words)) for key, one in OPERATIONS.items()], default="ground"
    )
    why = models.CharField(max_length=20, choices=Why)
    found = models.CharField(max_length=10, choices=Found, blank=True)
    wear_mm = models.FloatField(null=True, blank=True)
    removed_mm = models.FloatField(null=True, blank=True)
    raised_mm = models.FloatField(
        null=True, blank=True, help_text="By a spacer set under it; less than nought where one came out."
    )
    length_after_mm = models.FloatField(null=True, blank=True)
    coating_after = models.CharField(max_length=40, blank=True)
    supplier = models.ForeignKey(Party, null=True, blank=True, on_delete=models.PROTECT, related_name="works")
    hours = models.FloatField(null=True, blank=True)
    set_key = models.CharField(max_length=160, blank=True, help_text="The same for all rows of one sharpening.")
    heads_set = models.BooleanField(
        default=True, editable=False, help_text="Derived: the first row of its sharpening, or a work by itself."
    )
    hits_into_run = models.BigIntegerField(null=True, blank=True)

    class Meta(Event.Meta):
        # A list of entries shows a sharpening once: only the rows that head one are looked through for it.
        indexes = [
            models.Index(fields=["position", "at"], name="work_by_position"),
            models.Index(fields=["set_key"], name="work_by_set", condition=~Q(set_key="")),
            models.Index(fields=["at"], name="work_heads_by_time", condition=Q(heads_set=True)),
            models.Index(fields=["recorded_at"], name="work_heads_by_record", condition=Q(heads_set=True)),
            models.Index(fields=["struck_at"], name="work_struck", condition=Q(struck_at__isnull=False)),
        ]
        constraints = [
            *Event.Meta.constraints,
            models.CheckConstraint(
                condition=Q(position__isnull=False, piece__isnull=True) | Q(position__isnull=True, piece__isnull=False),
                name="work_on_one_thing",
            ),
            models.CheckConstraint(
                condition=Q(removed_mm__isnull=True) | Q(removed_mm__gte=0, removed_mm__lte=100),
                name="work_removed_possible",
            ),
            models.CheckConstraint(
                condition=Q(raised_mm__isnull=True) | Q(raised_mm__gte=-100, raised_mm__lte=100),
                name="work_raised_possible",
            ),
            models.CheckConstraint(
                condition=Q(hours__isnull=True) | Q(hours__gte=0, hours__lte=10_000),
                name="work_hours_possible",
            ),
        ]

    @property
    def lowered_mm(self) -> float | None:
        return None if self.raised_mm is None else -self.raised_mm


class Replacement(Event):
    """What sits in a position changes: one piece out, another (or none) in."""

    class Why(models.TextChoices):
        FIRST = "first", _("first fitted")
        DULL = "dull", _("dull")
        CHIPPED = "chipped", _("chipped")
        BROKEN = "broken", _("broken")
        GROUND_OUT = "ground out", _("ground out")
        OTHER = "other", _("other")

    position = models.ForeignKey(Position, on_delete=models.PROTECT, related_name="replacements")
    piece_in = models.ForeignKey(Piece, null=True, blank=True, on_delete=models.PROTECT, related_name="fitted_by")
    why = models.CharField(max_length=12, choices=Why)
    found = models.CharField(max_length=10, choices=Found, blank=True)
    since_start = models.BooleanField(default=False, help_text="Sat there when the records began.")
    hits_into_run = models.BigIntegerField(null=True, blank=True)

    class Meta(Event.Meta):
        indexes = [*Event.Meta.indexes, models.Index(fields=["position", "at"], name="replacement_by_position")]
        constraints = [*Event.Meta.constraints]


class Fitting(models.Model):
    """Derived from the replacements, rebuilt with them: which piece sat in a position, half-open [since, until)."""

    position = models.ForeignKey(Position, on_delete=models.PROTECT, related_name="fittings")
    piece = models.ForeignKey(Piece, on_delete=models.PROTECT, related_name="fittings")
    since = models.DateTimeField(null=True, blank=True, help_text="Empty: before the records began.")
    until = models.DateTimeField(null=True, blank=True)
    fate = models.CharField(max_length=12, blank=True, choices=Replacement.Why)

    class Meta:
        ordering = ["position", F("since").asc(nulls_first=True)]
        constraints = [
            models.CheckConstraint(
                condition=Q(since__isnull=True) | Q(until__isnull=True) | Q(since__lt=F("until")),
                name="fitting_since_before_until",
            ),
            models.UniqueConstraint(
                fields=["position"], condition=Q(until__isnull=True), name="one_piece_in_a_position_now"
            ),
            models.UniqueConstraint(
                fields=["piece"], condition=Q(until__isnull=True), name="one_position_for_a_piece_now"
            ),
        ]


class Reading(Event):
    """A measured value, stored in SI, with what was typed beside it."""

    die = models.ForeignKey(Die, null=True, blank=True, on_delete=models.PROTECT, related_name="readings")
    position = models.ForeignKey(Position, null=True, blank=True, on_delete=models.PROTECT, related_name="readings")
    piece = models.ForeignKey(Piece, null=True, blank=True, on_delete=models.PROTECT, related_name="readings")
    cut = models.ForeignKey(Cut, null=True, blank=True, on_delete=models.PROTECT, related_name="readings")
    quantity = models.CharField(max_length=60)
    value_si = models.FloatField(help_text="In metres, newtons, kelvin ...")
    typed_value = models.CharField(max_length=40)
    typed_unit = models.CharField(max_length=20)
    at_length_mm = models.FloatField(null=True, blank=True, help_text="Of a spring's force: its length on the tester.")
    charged_to_mpa = models.FloatField(
        null=True, blank=True, help_text="Of a gas spring's pressure: what it was charged to after that."
    )
    parts_scrapped = models.BigIntegerField(default=0, help_text="Thrown away for what was found.")
    hits_into_run = models.BigIntegerField(null=True, blank=True)

    class Meta(Event.Meta):
        indexes = [
            *Event.Meta.indexes,
            models.Index(fields=["position", "at"], name="reading_by_position"),
            models.Index(fields=["die", "at"], name="reading_by_die"),
        ]
        constraints = [
            *Event.Meta.constraints,
            models.CheckConstraint(
                condition=Q(die__isnull=False, position__isnull=True, piece__isnull=True, cut__isnull=True)
                | Q(die__isnull=True, position__isnull=False, piece__isnull=True, cut__isnull=True)
                | Q(die__isnull=True, position__isnull=True, piece__isnull=False, cut__isnull=True)
                | Q(die__isnull=True, position__isnull=True, piece__isnull=True, cut__isnull=False),
                name="reading_of_one_thing",
            ),
            models.CheckConstraint(
                condition=Q(at_length_mm__isnull=True) | Q(at_length_mm__gt=0, at_length_mm__lte=10_000),
                name="reading_length_possible",
            ),
            models.CheckConstraint(
                condition=Q(charged_to_mpa__isnull=True) | Q(charged_to_mpa__gt=0, charged_to_mpa__lte=100),
                name="reading_charge_possible",
            ),
            models.CheckConstraint(condition=Q(parts_scrapped__gte=0), name="reading_scrap_not_negative"),
        ]


class StockMovement(Event):
    """Spares come and go; stock on hand is the sum of these."""

    class Kind(models.TextChoices):
        COUNT = "count", pgettext_lazy("of spares", "counted")
        ORDERED = "ordered", pgettext_lazy("of spares", "ordered")
        DELIVERED = "delivered", pgettext_lazy("of spares", "delivered")
        FITTED = "fitted", pgettext_lazy("of spares", "fitted into a die")
        SCRAPPED = "scrapped", pgettext_lazy("of spares", "scrapped")
        CORRECTION = "correction", pgettext_lazy("of spares", "correction")
        CANCELLED = "cancelled", pgettext_lazy("of spares", "cancelled")
        DRAWN = "drawn", pgettext_lazy("of spares", "drawn for a die")
        RETURNED = "returned", pgettext_lazy("of spares", "returned to the shelf")
        SENT_OUT = "sent out", pgettext_lazy("of spares", "sent out to be repaired")
        BACK = "back", pgettext_lazy("of spares", "back from repair")
        MOVED = "moved", pgettext_lazy("of spares", "moved to another plant")
        SENT_BACK = "sent back", pgettext_lazy("of spares", "returned to the supplier")

    class Place(models.TextChoices):
        SHELF = "shelf", _("on the shelf")
        ON_ORDER = "on order", _("on order")
        DRAWN = "drawn", _("drawn, not fitted yet")
        REPAIR = "repair", _("out to be repaired")

    plant = models.ForeignKey(Plant, on_delete=models.PROTECT, related_name="stock_movements")
    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="movements")
    piece = models.ForeignKey(Piece, null=True, blank=True, on_delete=models.PROTECT, related_name="movements")
    quantity = models.IntegerField()
    kind = models.CharField(max_length=12, choices=Kind)
    place = models.CharField(max_length=10, choices=Place, default=Place.SHELF)
    line = models.ForeignKey(
        PurchaseLine, null=True, blank=True, on_delete=models.PROTECT, related_name="movements",
        help_text="Of an order to a supplier, the line that was placed, came or was cancelled by it.",
    )  # fmt: skip
    die = models.ForeignKey(
        Die, null=True, blank=True, on_delete=models.PROTECT, related_name="movements",
        help_text="For which it was drawn, or from which it came back.",
    )  # fmt: skip
    bench_work = models.ForeignKey(
        "BenchWork", null=True, blank=True, on_delete=models.PROTECT, related_name="movements",
        help_text="On the bench, for which it was drawn.",
    )  # fmt: skip
    supplier = models.ForeignKey(
        Party, null=True, blank=True, on_delete=models.PROTECT, related_name="movements", help_text="Who repairs it."
    )
    elsewhere = models.CharField(max_length=40, blank=True, help_text="The plant that it went to or came from.")
    length_mm = models.FloatField(null=True, blank=True, help_text="As it came back.")
    grinds_left = models.PositiveIntegerField(null=True, blank=True, help_text="In it as it came back.")
    worth = MoneyField(null=True, blank=True, help_text="Of one as it came back.")

    class Meta(Event.Meta):
        indexes = [
            *Event.Meta.indexes,
            models.Index(fields=["item", "at"], name="movement_by_item"),
            models.Index(fields=["die", "at"], name="movement_by_die"),
        ]
        constraints = [
            *Event.Meta.constraints,
            models.CheckConstraint(
                condition=(Q(length_mm__isnull=True) | Q(length_mm__gt=0, length_mm__lte=10_000))
                & (Q(grinds_left__isnull=True) | Q(grinds_left__lte=10_000))
                & (Q(worth__isnull=True) | Q(worth__gte=0)),
                name="movement_back_as_possible",
            ),
        ]


class CostLine(Event):
    """Money spent on a die beyond hours and spares at their rates: an outside grinder's bill, a weld."""

    class Kind(models.TextChoices):
        BUILD = "build", _("building the die")
        SHARPENING = "sharpening", _("sharpening")
        SPARES = "spares", _("spares")
        REPAIR = "repair", _("repair")
        STOP = "stop", _("stops and scrap")
        OTHER = "other", _("other")

    die = models.ForeignKey(Die, null=True, blank=True, on_delete=models.PROTECT, related_name="cost_lines")
    work = models.ForeignKey(Work, null=True, blank=True, on_delete=models.PROTECT, related_name="cost_lines")
    stop = models.ForeignKey(Stop, null=True, blank=True, on_delete=models.PROTECT, related_name="cost_lines")
    payer = models.ForeignKey(Party, null=True, blank=True, on_delete=models.PROTECT, related_name="cost_lines")
    kind = models.CharField(max_length=12, choices=Kind)
    amount = MoneyField()
    bill = models.ForeignKey(
        "maintenance.Bill", null=True, blank=True, on_delete=models.PROTECT, related_name="lines",
        help_text="The bill that it is a line of.",
    )  # fmt: skip
    billed = MoneyField(null=True, blank=True, help_text="As it stands on the bill, in its currency.")
    bench_work = models.ForeignKey(
        "maintenance.BenchWork", null=True, blank=True, on_delete=models.PROTECT, related_name="cost_lines"
    )
    purchase = models.ForeignKey(
        PurchaseOrder, null=True, blank=True, on_delete=models.PROTECT, related_name="cost_lines"
    )

    class Meta(Event.Meta):
        constraints = [
            *Event.Meta.constraints,
            models.CheckConstraint(
                condition=Q(bill__isnull=True, billed__isnull=True) | Q(bill__isnull=False, billed__isnull=False),
                name="costline_of_a_bill_says_both",
            ),
        ]


class RecordRestart(Event):
    """From `at` on a die's record counts anew: what it ran before tells nothing of how long it lasts now."""

    die = models.ForeignKey(Die, on_delete=models.PROTECT, related_name="restarts")
    reason = models.CharField(max_length=200)

    class Meta(Event.Meta):
        indexes = [*Event.Meta.indexes, models.Index(fields=["die", "at"], name="restart_by_die")]
        constraints = [
            *Event.Meta.constraints,
            models.CheckConstraint(condition=~Q(reason=""), name="restart_has_a_reason"),
        ]


class SetUp(Event):
    """The die set into a press and read at its stop blocks, once or again while the slide comes down."""

    die = models.ForeignKey(Die, on_delete=models.PROTECT, related_name="set_ups")
    press = models.ForeignKey(Press, null=True, blank=True, on_delete=models.PROTECT, related_name="set_ups")
    shut_height_mm = models.FloatField(null=True, blank=True, help_text="As the press showed it.")
    readings = models.JSONField(default=list, help_text="A piece of solder each: policy.stop_blocks.BlockReading.")
    is_good = models.BooleanField(default=False, help_text="The die was left to run like this.")

    class Meta(Event.Meta):
        indexes = [*Event.Meta.indexes, models.Index(fields=["die", "at"], name="set_up_by_die")]
        constraints = [
            *Event.Meta.constraints,
            models.CheckConstraint(
                condition=Q(shut_height_mm__isnull=True) | Q(shut_height_mm__gt=0, shut_height_mm__lte=10_000),
                name="set_up_height_possible",
            ),
        ]


EVENTS: tuple[type[Event], ...] = (
    Run,
    HitCorrection,
    Stop,
    Incident,
    Work,
    Replacement,
    Reading,
    StockMovement,
    CostLine,
    RecordRestart,
    SetUp,
)
