"""What is handed to a tool's owner: condition reports as they were signed, and links by which a customer opens them."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone

from diestore.access.models import Person
from diestore.register.models import Die, Party, Plant

from .keys import file_key


class SignedReportQuerySet(models.QuerySet):
    def standing(self):
        return self.filter(struck_at__isnull=True)

    def delete(self):
        raise TypeError("Signed reports are never deleted. Strike them out: maintenance.log.owners.strike_report.")


class SignedReport(models.Model):
    """A condition report with the name of who signed it, and all that it said then. customer None: the shop's own."""

    die = models.ForeignKey(Die, on_delete=models.PROTECT, related_name="signed_reports")
    key = file_key()
    customer = models.ForeignKey(Party, null=True, blank=True, on_delete=models.PROTECT, related_name="signed_reports")
    said = models.JSONField(help_text="Every figure and word of it, as on the day it was signed.")
    note = models.CharField(max_length=600, blank=True, help_text="What the signer added.")
    signed_at = models.DateTimeField(default=timezone.now)
    signer = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    user = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    struck_at = models.DateTimeField(null=True, blank=True)
    struck_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    struck_reason = models.CharField(max_length=300, blank=True)

    objects = SignedReportQuerySet.as_manager()

    class Meta:
        ordering = ["signed_at", "key"]
        indexes = [models.Index(fields=["die", "-signed_at"], name="signed_report_by_die")]
        constraints = [
            models.CheckConstraint(
                condition=Q(struck_at__isnull=True, struck_by__isnull=True, struck_reason="")
                | (Q(struck_at__isnull=False, struck_by__isnull=False) & ~Q(struck_reason="")),
                name="signed_report_struck_out_whole",
            ),
        ]

    def __str__(self) -> str:
        return f"condition of {self.die} on {timezone.localdate(self.signed_at)}"

    @property
    def is_struck(self) -> bool:
        return self.struck_at is not None

    def delete(self, *args, **kwargs):
        raise TypeError("Signed reports are never deleted. Strike them out: maintenance.log.owners.strike_report.")


class CustomerLink(models.Model):
    """An address by which a customer opens the signed reports of his tools in one plant. Only a hash of it is kept."""

    customer = models.ForeignKey(Party, on_delete=models.PROTECT, related_name="links")
    plant = models.ForeignKey(Plant, on_delete=models.PROTECT, related_name="customer_links")
    token_hash = models.CharField(max_length=64, unique=True)
    made_at = models.DateTimeField(default=timezone.now)
    made_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    user = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    last_day = models.DateField(help_text="The last day on which it opens.")
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["-made_at", "-id"]

    def __str__(self) -> str:
        return f"link of {self.customer} until {self.last_day}"

    def opens_on(self, day) -> bool:
        return self.withdrawn_at is None and day <= self.last_day


class LinkOpening(models.Model):
    """That a link was opened. report None: the list of tools."""

    link = models.ForeignKey(CustomerLink, on_delete=models.CASCADE, related_name="openings")
    at = models.DateTimeField(default=timezone.now)
    report = models.ForeignKey(SignedReport, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    is_paper = models.BooleanField(default=False)

    class Meta:
        ordering = ["-at", "-id"]
        indexes = [models.Index(fields=["link", "-at"], name="link_openings_by_link")]
