"""Who pays for what a die costs, and the end of its life."""

from __future__ import annotations

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _
from django.utils.translation import pgettext_lazy

from diestore.money import MoneyField
from diestore.register.models import Die, Party

from .log import Event, Reading, Replacement, Stop, Work

WEIGHT_AT_MOST = 1_000_000  # kg
ENTRIES = ("work", "replacement", "stop", "reading")  # columns that name the one entry a bearer is of


class CostBearer(Event):
    """Who pays for an element of what a die costs, from `at` on; of one entry alone where it names that.

    payer None: the shop. Bills, the build and a retirement say themselves who pays.
    """

    class Element(models.TextChoices):
        SHARPENING = "sharpening", _("sharpening")
        SPARES = "spares", _("spares")
        REPAIR = "repair", _("repair")
        STOP = "stop", _("stops and scrap")

    die = models.ForeignKey(Die, on_delete=models.PROTECT, related_name="cost_bearers")
    element = models.CharField(max_length=12, choices=Element)
    payer = models.ForeignKey(Party, null=True, blank=True, on_delete=models.PROTECT, related_name="cost_bearers")
    work = models.ForeignKey(Work, null=True, blank=True, on_delete=models.PROTECT, related_name="cost_bearers")
    replacement = models.ForeignKey(
        Replacement, null=True, blank=True, on_delete=models.PROTECT, related_name="cost_bearers"
    )
    stop = models.ForeignKey(Stop, null=True, blank=True, on_delete=models.PROTECT, related_name="cost_bearers")
    reading = models.ForeignKey(Reading, null=True, blank=True, on_delete=models.PROTECT, related_name="cost_bearers")

    class Meta(Event.Meta):
        indexes = [*Event.Meta.indexes, models.Index(fields=["die", "at"], name="bearer_by_die")]
        constraints = [
            *Event.Meta.constraints,
            models.CheckConstraint(
                condition=Q(replacement=None, stop=None, reading=None)
                | Q(work=None, stop=None, reading=None)
                | Q(work=None, replacement=None, reading=None)
                | Q(work=None, replacement=None, stop=None),
                name="bearer_of_one_entry",
            ),
        ]

    @property
    def of_entry(self) -> Event | None:
        """The one entry that it is of; None: of all from then on."""
        return self.work or self.replacement or self.stop or self.reading


class Retirement(Event):
    """The end of a die's life: what became of it, what that cost and what it brought. While it stands the die is
    retired; struck out, the die is as it was."""

    class Fate(models.TextChoices):
        SCRAPPED = "scrapped", pgettext_lazy("of a die", "scrapped")
        RETURNED = "returned", pgettext_lazy("of a die", "returned to its owner")
        SOLD = "sold", pgettext_lazy("of a die", "sold")

    die = models.ForeignKey(Die, on_delete=models.PROTECT, related_name="retirements")
    fate = models.CharField(max_length=10, choices=Fate)
    weight_kg = models.FloatField(null=True, blank=True, help_text="Of what was scrapped.")
    worth = MoneyField(default=0, help_text="What it brought.")
    cost = MoneyField(default=0, help_text="What ending it cost.")
    payer = models.ForeignKey(
        Party, null=True, blank=True, on_delete=models.PROTECT, related_name="retirements",
        help_text="Who pays the cost and has what it brought. Empty: the shop.",
    )  # fmt: skip
    went_to = models.CharField(max_length=120, blank=True, help_text="Who has it, or the scrap of it, now.")

    class Meta(Event.Meta):
        indexes = [*Event.Meta.indexes, models.Index(fields=["die", "at"], name="retirement_by_die")]
        constraints = [
            *Event.Meta.constraints,
            models.UniqueConstraint(fields=["die"], condition=Q(struck_at=None), name="die_retired_once"),
            models.CheckConstraint(
                condition=Q(worth__gte=0, cost__gte=0)
                & (Q(weight_kg__isnull=True) | Q(weight_kg__gte=0, weight_kg__lte=WEIGHT_AT_MOST)),
                name="retirement_figures_possible",
            ),
        ]
