"""Tools that are outlined for a customer and not built yet: what they shall make, and ways of building them."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils import timezone
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from diestore.handbook.build_elements import DIE_SIDES, ELEMENTS, GUIDES, STRIPPERS
from diestore.money import MoneyField
from diestore.register.models import Plant

from .keys import fresh_key


class Outline(models.Model):
    """A tool for a part, before anybody builds it. volumes: parts in each year. assumed: figures that were changed, by
    their names; all others stand as they are assumed. shop_pays: elements of cost that the shop bears, the customer the
    rest."""

    plant = models.ForeignKey(Plant, on_delete=models.PROTECT, related_name="outlines")
    key = models.CharField(max_length=64, unique=True, default=fresh_key)
    customer = models.CharField(max_length=120)
    part = models.CharField(max_length=120)
    material = models.CharField(max_length=120)
    thickness_mm = models.FloatField()
    tensile_mpa = models.FloatField()
    burr_limit_um = models.FloatField(null=True, blank=True)
    parts_per_hit = models.PositiveIntegerField(default=1)
    strokes_per_minute = models.FloatField()
    volumes = models.JSONField(default=list)
    wanted_months = models.PositiveIntegerField(null=True, blank=True, help_text="Until the tool is wanted.")
    on = models.DateField(help_text="The day of the offer.")
    valid_until = models.DateField(null=True, blank=True)
    note = models.CharField(max_length=600, blank=True)
    assumed = models.JSONField(default=dict, blank=True)
    shop_pays = models.JSONField(default=list, blank=True)
    user = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    changed_at = models.DateTimeField(default=timezone.now)
    put_away_at = models.DateTimeField(null=True, blank=True, help_text="No longer listed; it can be taken out again.")

    class Meta:
        ordering = ["-on", "-id"]
        indexes = [models.Index(fields=["plant", "on"], name="outlines_by_day")]
        constraints = [
            models.CheckConstraint(
                condition=Q(thickness_mm__gt=0, tensile_mpa__gt=0, strokes_per_minute__gt=0, parts_per_hit__gte=1),
                name="outline_possible",
            ),
            models.CheckConstraint(condition=~Q(customer="") & ~Q(part=""), name="outline_for_somebody"),
            models.CheckConstraint(
                condition=Q(valid_until__isnull=True) | Q(valid_until__gte=F("on")), name="outline_valid_after_its_day"
            ),
        ]

    def __str__(self) -> str:
        return gettext("{part} for {customer}").format(part=self.part, customer=self.customer)


class OutlinePlace(models.Model):
    """Cutting places alike: a punch and a die side each."""

    outline = models.ForeignKey(Outline, on_delete=models.CASCADE, related_name="places")
    sequence = models.PositiveSmallIntegerField()
    kind = models.CharField(max_length=30)
    count = models.PositiveIntegerField()
    length_mm = models.FloatField(help_text="Of the contour that one of them cuts.")

    class Meta:
        ordering = ["sequence"]
        constraints = [
            models.UniqueConstraint(fields=["outline", "sequence"], name="outline_place_once"),
            models.CheckConstraint(condition=Q(count__gte=1, length_mm__gt=0), name="outline_place_possible"),
        ]

    def __str__(self) -> str:
        return f"{self.count} of {self.kind}"


class OutlineWay(models.Model):
    """One way of building it. price empty: by the shop's price list. gap_pct: a side, of the pair."""

    outline = models.ForeignKey(Outline, on_delete=models.CASCADE, related_name="ways")
    sequence = models.PositiveSmallIntegerField()
    name = models.CharField(max_length=60)
    steel = models.CharField(max_length=40)
    hardness_hrc = models.FloatField(null=True, blank=True)
    steel_below = models.CharField(max_length=40, blank=True, help_text="Of the die side; empty: as the punches.")
    hardness_below_hrc = models.FloatField(null=True, blank=True)
    coating = models.CharField(max_length=40, blank=True, help_text="Of the punches; the die side is bare.")
    gap_pct = models.FloatField(null=True, blank=True)
    guides = models.CharField(
        max_length=10, choices=[(key, _(words)) for key, words in GUIDES.items()], default="plain"
    )
    die_side = models.CharField(
        max_length=10, choices=[(key, _(words)) for key, words in DIE_SIDES.items()], default="solid"
    )
    stripper = models.CharField(
        max_length=10, choices=[(key, _(words)) for key, words in STRIPPERS.items()], default="spring"
    )
    parts_per_hit = models.PositiveIntegerField(null=True, blank=True)
    lasts_hits = models.BigIntegerField(null=True, blank=True, help_text="Of the whole tool; empty: for all parts.")
    price = MoneyField(null=True, blank=True)

    class Meta:
        ordering = ["sequence"]
        constraints = [
            models.UniqueConstraint(fields=["outline", "sequence"], name="outline_way_once"),
            models.CheckConstraint(condition=Q(price__isnull=True) | Q(price__gte=0), name="outline_way_price"),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def below(self) -> str:
        return self.steel_below or self.steel


class ElementPrice(models.Model):
    """What an element of a new tool costs, from a day on, by the shop's own list."""

    plant = models.ForeignKey(Plant, on_delete=models.PROTECT, related_name="element_prices")
    element = models.CharField(max_length=30, choices=[(one.key, _(one.words)) for one in ELEMENTS.values()])
    valid_from = models.DateField()
    price = MoneyField()
    user = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )

    class Meta:
        ordering = ["element", "-valid_from"]
        constraints = [
            models.UniqueConstraint(fields=["plant", "element", "valid_from"], name="element_price_once_a_day"),
            models.CheckConstraint(condition=Q(price__gte=0), name="element_price_not_negative"),
        ]

    def __str__(self) -> str:
        return f"{self.element} from {self.valid_from}"
