"""Who supplies a spare, at which prices, and the level of it that somebody set by hand."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext, ngettext
from django.utils.translation import gettext_lazy as _
from simple_history.models import HistoricalRecords

from diestore.money import MoneyField

from .models import Item, Party, Plant, Within

STEP = Decimal("0.0001")
PRICE_AT_MOST = 10_000_000  # of one piece, or of an hour
BREAKS_AT_MOST = 12  # in one price list


def fresh_key() -> str:
    return uuid.uuid4().hex


class Source(models.Model):
    """One way to come by a spare. An item has several; one of those that stand is preferred, with the reason why."""

    class Sort(models.TextChoices):
        FINISHED = "finished", _("bought finished")
        BLANK = "blank", _("bought blank, ground to suit")
        IN_HOUSE = "in house", _("made in house")
        SERVICE = "service", _("outside service")

    class Service(models.TextChoices):
        GRINDING = "grinding", _("grinding")
        WIRE_CUTTING = "wire cutting", _("wire cutting")
        COATING = "coating", _("coating")
        WELDING = "welding", _("welding")

    class PricedBy(models.TextChoices):
        PIECE = "piece", _("by the piece")
        HOUR = "hour", _("by the hour")

    item = models.ForeignKey(Item, on_delete=models.CASCADE, related_name="sources")
    key = models.CharField(max_length=160, unique=True, default=fresh_key)
    sort = models.CharField(max_length=10, choices=Sort, default=Sort.FINISHED)
    service = models.CharField(max_length=14, choices=Service, blank=True, help_text="Of an outside service.")
    supplier = models.ForeignKey(
        Party, null=True, blank=True, on_delete=models.PROTECT, related_name="sources",
        help_text="Nobody where it is made in house.",
    )  # fmt: skip
    part_number = models.CharField(max_length=80, blank=True, help_text="What the supplier calls it.")
    least_quantity = models.PositiveIntegerField(default=1, validators=[Within("source", "least_quantity")])
    pack_size = models.PositiveIntegerField(default=1, validators=[Within("source", "pack_size")])
    lead_days = models.PositiveIntegerField(validators=[Within("source", "lead_days")])
    on_their_shelf = models.BooleanField(default=False, help_text="The supplier has it lying there.")
    currency = models.CharField(max_length=3)
    shop_money = models.FloatField(
        null=True, blank=True, validators=[Within("source", "shop_money")],
        help_text="What one of that currency is in the shop's money, where it is another.",
    )  # fmt: skip
    priced_by = models.CharField(max_length=5, choices=PricedBy, default=PricedBy.PIECE)
    minutes_each = models.FloatField(
        null=True, blank=True, validators=[Within("source", "minutes_each")], help_text="Minutes a piece, by the hour."
    )
    incremental = models.BooleanField(
        default=False, help_text="A lower price holds only for the pieces from its number on."
    )
    preferred = models.BooleanField(default=False)
    why_preferred = models.CharField(max_length=300, blank=True)
    ended_on = models.DateField(null=True, blank=True)
    ended_reason = models.CharField(max_length=300, blank=True)
    entered_at = models.DateTimeField(default=timezone.now)
    changes = models.PositiveIntegerField(default=0, help_text="How often it was changed: a form says over which.")
    history = HistoricalRecords()

    class Meta:
        ordering = ["item", "-preferred", "entered_at", "key"]
        constraints = [
            models.UniqueConstraint(fields=["item"], condition=Q(preferred=True), name="source_one_preferred"),
            models.CheckConstraint(condition=Q(preferred=False) | Q(ended_on=None), name="source_ended_not_preferred"),
            models.CheckConstraint(
                condition=Q(preferred=False) | ~Q(why_preferred=""), name="source_preferred_with_a_reason"
            ),
            models.CheckConstraint(
                condition=Q(sort="in house", supplier=None) | (~Q(sort="in house") & Q(supplier__isnull=False)),
                name="source_of_somebody",
            ),
            models.CheckConstraint(
                condition=Q(sort="service") & ~Q(service="") | ~Q(sort="service") & Q(service=""),
                name="source_names_its_service",
            ),
            models.CheckConstraint(
                condition=Q(lead_days__gte=1) | Q(on_their_shelf=True), name="source_takes_a_day_or_lies_there"
            ),
            models.CheckConstraint(
                condition=Q(pack_size__gte=1, least_quantity__gte=1), name="source_lots_at_least_one"
            ),
            models.CheckConstraint(
                condition=Q(priced_by="piece", minutes_each=None)
                | Q(priced_by="hour", minutes_each__isnull=False, minutes_each__gt=0),
                name="source_hours_say_minutes",
            ),
            models.CheckConstraint(
                condition=Q(ended_on=None, ended_reason="") | (Q(ended_on__isnull=False) & ~Q(ended_reason="")),
                name="source_ended_whole",
            ),
            models.CheckConstraint(condition=~Q(currency=""), name="source_has_a_currency"),
        ]

    def __str__(self) -> str:
        return self.called

    @property
    def called(self) -> str:
        return str(self.supplier) if self.supplier_id else gettext("Made in house")

    @property
    def what(self) -> str:
        """In words: what comes from there."""
        return str(self.get_service_display()) if self.sort == self.Sort.SERVICE else str(self.get_sort_display())

    @property
    def stands(self) -> bool:
        return self.ended_on is None

    def each(self, price: Decimal) -> Decimal:
        """A price of the list for one piece, in the source's currency."""
        if self.priced_by != self.PricedBy.HOUR:
            return price
        return (price * Decimal(str(self.minutes_each)) / 60).quantize(STEP, ROUND_HALF_UP)


class SourcePrice(models.Model):
    """A price from so many pieces on. All rows of one day are a price list: it holds until the next one begins."""

    source = models.ForeignKey(Source, on_delete=models.CASCADE, related_name="prices")
    valid_from = models.DateField()
    from_quantity = models.PositiveIntegerField(default=1, validators=[Within("sourceprice", "from_quantity")])
    unit_price = MoneyField(help_text="Of one piece, or of an hour, in the currency of the source.")
    history = HistoricalRecords()

    class Meta:
        ordering = ["source", "-valid_from", "from_quantity"]
        constraints = [
            models.UniqueConstraint(fields=["source", "valid_from", "from_quantity"], name="source_price_once"),
            models.CheckConstraint(
                condition=Q(unit_price__gte=0, from_quantity__gte=1), name="source_price_not_negative"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.unit_price} from {self.from_quantity}"


class SpareLevel(models.Model):
    """How much of a spare is kept in a plant, set by somebody: a chance in a hundred, or so many pieces at least."""

    plant = models.ForeignKey(Plant, on_delete=models.CASCADE, related_name="spare_levels")
    item = models.ForeignKey(Item, on_delete=models.CASCADE, related_name="levels")
    key = models.CharField(max_length=160, unique=True, default=fresh_key)
    chance_percent = models.FloatField(null=True, blank=True, validators=[Within("sparelevel", "chance_percent")])
    least_pieces = models.PositiveIntegerField(null=True, blank=True, validators=[Within("sparelevel", "least_pieces")])
    reason = models.CharField(max_length=300)
    set_on = models.DateField()
    set_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    back_on = models.DateField(null=True, blank=True, help_text="When it was taken back.")
    back_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )

    class Meta:
        ordering = ["item", "set_on", "key"]
        constraints = [
            models.UniqueConstraint(fields=["plant", "item"], condition=Q(back_on=None), name="spare_level_once"),
            models.CheckConstraint(
                condition=Q(chance_percent__isnull=True, least_pieces__isnull=False)
                | Q(chance_percent__isnull=False, least_pieces__isnull=True),
                name="spare_level_one_of_two",
            ),
            models.CheckConstraint(condition=~Q(reason=""), name="spare_level_has_a_reason"),
        ]

    def __str__(self) -> str:
        return f"{self.words} of {self.item}"

    @property
    def words(self) -> str:
        if self.least_pieces is not None:
            told = ngettext("{n:,} piece at least", "{n:,} pieces at least", self.least_pieces)
            return told.format(n=self.least_pieces)
        return gettext("enough {n:g} times in 100").format(n=self.chance_percent)


# --- prices of a day --------------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Priced:
    """What so many pieces come to by a price list. each: of one, the mean of them where the prices are stepped."""

    total: Decimal
    each: Decimal


def list_of(prices: Iterable[SourcePrice], day: dt.date) -> list[SourcePrice]:
    """The rows of the price list that holds on a day, by quantity; none before the first one begins."""
    begun = [row for row in prices if row.valid_from <= day]
    last = max((row.valid_from for row in begun), default=None)
    return sorted((row for row in begun if row.valid_from == last), key=lambda row: row.from_quantity)


def priced(source: Source, prices: Iterable[SourcePrice], quantity: int, day: dt.date) -> Priced | None:
    """What so many come to on a day, in the currency of the source. None: no price holds.

    All pieces at the price of the break that the quantity reaches; `incremental`: each piece at the price of its own
    number. Fewer than the first break cost what the first break says.
    """
    rows = list_of(prices, day)
    if not rows or quantity < 1:
        return None
    if not source.incremental:
        row = max((r for r in rows if r.from_quantity <= quantity), key=lambda r: r.from_quantity, default=rows[0])
        each = source.each(row.unit_price)
        return Priced(total=each * quantity, each=each)
    total, starts = Decimal(0), [1, *(row.from_quantity for row in rows[1:]), quantity + 1]
    for row, start, after in zip(rows, starts, starts[1:], strict=False):
        total += source.each(row.unit_price) * max(min(after, quantity + 1) - start, 0)
    return Priced(total=total, each=(total / quantity).quantize(STEP, ROUND_HALF_UP))
