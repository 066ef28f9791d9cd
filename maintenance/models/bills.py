"""Bills of suppliers: the head and its paper. Their lines are cost lines (`log.CostLine`): cost is told once."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from diestore.access.models import Person
from diestore.money import MoneyField
from diestore.register.models import Party, Plant

from .keys import file_key

BILL_AT_MOST = 10_000_000  # of one bill, in either money
MILLION = 1_000_000


class BillQuerySet(models.QuerySet):
    def standing(self):
        return self.filter(struck_at__isnull=True)

    def delete(self):
        raise TypeError("Bills are never deleted. Strike them out: maintenance.log.bills.strike_bill.")


class Bill(models.Model):
    """What a supplier asked for on one paper. Of a credit note the lines count as money that comes back."""

    plant = models.ForeignKey(Plant, on_delete=models.PROTECT, related_name="bills")
    key = file_key()
    number = models.CharField(max_length=40, help_text="As the supplier writes it.")
    supplier = models.ForeignKey(Party, on_delete=models.PROTECT, related_name="bills")
    on = models.DateField(help_text="The day that stands on it.")
    currency = models.CharField(max_length=3)
    total = MoneyField(help_text="As it stands on the bill, in its currency; never negative.")
    is_credit = models.BooleanField(default=False, help_text="A credit note: money that comes back.")
    million_worth = MoneyField(help_text="What a million of its currency is worth in the shop's money.")
    note = models.CharField(max_length=300, blank=True)
    recorded_at = models.DateTimeField(default=timezone.now)
    person = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    user = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    struck_at = models.DateTimeField(null=True, blank=True)
    struck_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    struck_reason = models.CharField(max_length=300, blank=True)

    objects = BillQuerySet.as_manager()

    class Meta:
        ordering = ["on", "key"]
        indexes = [
            models.Index(fields=["plant", "on"], name="bill_by_plant"),
            models.Index(fields=["supplier", "number"], name="bill_by_number"),
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(struck_at__isnull=True, struck_by__isnull=True, struck_reason="")
                | (Q(struck_at__isnull=False, struck_by__isnull=False) & ~Q(struck_reason="")),
                name="bill_struck_out_whole",
            ),
            models.CheckConstraint(condition=~Q(number="") & ~Q(currency=""), name="bill_has_a_number"),
            models.CheckConstraint(condition=Q(total__gt=0, total__lte=BILL_AT_MOST), name="bill_total_possible"),
            models.CheckConstraint(condition=Q(million_worth__gt=0), name="bill_currency_worth_something"),
        ]

    def __str__(self) -> str:
        return self.number

    @property
    def is_struck(self) -> bool:
        return self.struck_at is not None

    @property
    def worth_of_one(self):
        return self.million_worth / MILLION

    def delete(self, *args, **kwargs):
        raise TypeError("Bills are never deleted. Strike them out: maintenance.log.bills.strike_bill.")


class BillPaper(models.Model):
    """The photo or the PDF of a bill: a photo drawn anew, a PDF as it came."""

    class Kind(models.TextChoices):
        PDF = "pdf", _("PDF")
        JPEG = "jpg", _("photo")

    bill = models.OneToOneField(Bill, primary_key=True, on_delete=models.PROTECT, related_name="paper")
    kind = models.CharField(max_length=3, choices=Kind)
    data = models.BinaryField()

    def __str__(self) -> str:
        return gettext("{kind} of {bill}").format(kind=self.get_kind_display(), bill=self.bill)
