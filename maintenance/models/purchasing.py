"""Orders of spares to suppliers. What came, and what is still to come, are movements of spares that name a line."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import pgettext_lazy

from diestore.access.models import Person
from diestore.money import MoneyField
from diestore.register.models import Item, Party, Plant

from .keys import fresh_key

PIECES_AT_MOST = 1_000_000  # in one line
PRICE_AT_MOST = 10_000_000  # of one piece


class PurchaseOrder(models.Model):
    """One order to one supplier. It is a draft until it is placed; how far it came since is told by its movements."""

    plant = models.ForeignKey(Plant, on_delete=models.PROTECT, related_name="purchase_orders")
    key = models.CharField(max_length=160, unique=True, default=fresh_key)
    number = models.CharField(max_length=40)
    supplier = models.ForeignKey(
        Party, null=True, blank=True, on_delete=models.PROTECT, related_name="purchase_orders",
        help_text="A draft may not know him yet.",
    )  # fmt: skip
    currency = models.CharField(max_length=3)
    wanted_on = models.DateField(null=True, blank=True, help_text="By when the shop wants all of it.")
    their_number = models.CharField(max_length=60, blank=True, help_text="What the supplier calls it.")
    note = models.CharField(max_length=500, blank=True, help_text="Stands on the order.")
    opened_at = models.DateTimeField(default=timezone.now)
    placed_at = models.DateTimeField(null=True, blank=True)
    cancelled_at = models.DateTimeField(null=True, blank=True)
    cancelled_reason = models.CharField(max_length=300, blank=True)
    changes = models.PositiveIntegerField(
        default=0, help_text="How often it was changed: whoever places it has seen the last change."
    )

    class Meta:
        ordering = ["opened_at", "key"]
        indexes = [models.Index(fields=["plant", "opened_at"], name="purchase_by_plant")]
        constraints = [
            models.UniqueConstraint(fields=["plant", "number"], name="purchase_number_once"),
            models.CheckConstraint(
                condition=Q(placed_at__isnull=True) | Q(supplier__isnull=False), name="purchase_placed_with_somebody"
            ),
            models.CheckConstraint(
                condition=Q(cancelled_at__isnull=True, cancelled_reason="")
                | (Q(cancelled_at__isnull=False) & ~Q(cancelled_reason="")),
                name="purchase_cancelled_whole",
            ),
            models.CheckConstraint(condition=~Q(number="") & ~Q(currency=""), name="purchase_has_a_number"),
        ]

    def __str__(self) -> str:
        return self.number

    @property
    def is_draft(self) -> bool:
        return self.placed_at is None and self.cancelled_at is None


class PurchaseLine(models.Model):
    """So many of one spare, at the price that was agreed."""

    order = models.ForeignKey(PurchaseOrder, on_delete=models.CASCADE, related_name="lines")
    key = models.CharField(max_length=160, unique=True, default=fresh_key)
    sequence = models.PositiveIntegerField(default=1)
    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="purchase_lines")
    quantity = models.PositiveIntegerField()
    unit_price = MoneyField(null=True, blank=True, help_text="In the currency of the order.")
    promised_on = models.DateField(null=True, blank=True, help_text="The supplier's own word.")

    class Meta:
        ordering = ["order", "sequence", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["order", "item"], name="purchase_line_once_an_item"),
            models.CheckConstraint(
                condition=Q(quantity__gte=1, quantity__lte=PIECES_AT_MOST), name="purchase_line_pieces_possible"
            ),
            models.CheckConstraint(
                condition=Q(unit_price__isnull=True) | Q(unit_price__gte=0), name="purchase_line_price_not_negative"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.quantity} × {self.item}"


class PurchaseStep(models.Model):
    """What somebody did about an order, in words: appended, never edited."""

    class Sort(models.TextChoices):
        OPENED = "opened", pgettext_lazy("of an order", "opened")
        CHANGED = "changed", pgettext_lazy("of an order", "changed")
        PLACED = "placed", pgettext_lazy("of an order", "placed")
        CONFIRMED = "confirmed", pgettext_lazy("of an order", "confirmed")
        CHASED = "chased", pgettext_lazy("of an order", "asked the supplier")
        RECEIVED = "received", pgettext_lazy("of an order", "received")
        CANCELLED = "cancelled", pgettext_lazy("of an order", "cancelled")

    order = models.ForeignKey(PurchaseOrder, on_delete=models.CASCADE, related_name="steps")
    key = models.CharField(max_length=160, unique=True, default=fresh_key)
    at = models.DateTimeField(default=timezone.now)
    sort = models.CharField(max_length=10, choices=Sort)
    words = models.CharField(max_length=500)
    person = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    user = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )

    class Meta:
        ordering = ["at", "pk"]
        indexes = [models.Index(fields=["order", "at"], name="purchase_step_by_order")]

    def __str__(self) -> str:
        return self.words
