"""The end of a die's life: what became of it, what that cost and what it brought."""

from __future__ import annotations

from decimal import Decimal

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from diestore.access import shop
from diestore.cards.forms import AmountField
from diestore.frame.fields import MeasureField, Opens
from diestore.register.models import Party
from maintenance.log import retirements, write
from maintenance.models import Event, Retirement

from .forms import LogForm, picks, when

SHOP = "shop"


class RetirementForm(LogForm):
    heading = gettext_lazy("End of life")

    def build(self) -> None:
        die, self.currency = self.die, shop.current().currency
        fates = [
            (fate.value, fate.label) for fate in Retirement.Fate if die.owner_id or fate != Retirement.Fate.RETURNED
        ]
        self.fields["fate"] = picks(_("What became of it?"), fates, missing=_("Pick what became of it."))
        self.fields["weight"] = MeasureField(
            "weight_kg", self.system, label=_("Weight of the scrap"), required=False, initial=die.weight_kg
        )
        self.fields["worth"] = AmountField(
            label=_("What it brought"), required=False, help_text=_("Scrap or price of sale.")
        )
        self.fields["cost"] = AmountField(
            label=_("What it cost"),
            required=False,
            help_text=_("Taking apart, haulage. What stands on a bill is told there."),
        )
        known = Party.objects.filter(role=Party.Role.CUSTOMER).order_by("name", "code")
        self.parties = {str(one.pk): one for one in known if one.retired_at is None or one.pk == die.owner_id}
        first = sorted(self.parties.values(), key=lambda one: one.pk != die.owner_id)
        self.fields["payer"] = forms.ChoiceField(
            label=_("Who pays that, and has what it brought"), widget=Opens,
            choices=[(SHOP, _("the shop")), *((one.pk, str(one)) for one in first)],
            initial=str(die.owner_id) if die.owner_id else SHOP,
            error_messages={"required": _("Pick who pays."), "invalid_choice": _("Pick who pays from the list.")},
        )  # fmt: skip
        self.fields["went_to"] = forms.CharField(
            label=_("Who has it now"), max_length=retirements.WENT_TO_AT_MOST, required=False,
            widget=forms.TextInput({"autocomplete": "off", "placeholder": _("a scrap yard, a buyer")}),
            error_messages={
                "max_length": _("Say it in {n} letters.").format(n=retirements.WENT_TO_AT_MOST)
            },
        )  # fmt: skip
        self.fields["at"] = when(_("When was it?"), self.now)
        if "person" in self.fields:
            self.fields["person"].label = _("Who decides it?")

    def check(self, cleaned: dict) -> None:
        if cleaned.get("at"):
            cleaned["at"] = self.moment_of(cleaned["at"])

    def doubts(self, cleaned: dict):
        open_jobs = self.die.orders.filter(closed_at=None).count()
        if open_jobs:
            yield ngettext(
                "one open job names {die}. Give them to another die first.",
                "{n:,} open jobs name {die}. Give them to another die first.",
                open_jobs,
            ).format(n=open_jobs, die=self.die)

    def save(self, by: write.Actor) -> list[Event]:
        c = self.cleaned_data
        return [
            retirements.retire(
                by=by, die=self.die, at=c["at"], fate=c["fate"], weight_kg=c["weight"],
                worth=c["worth"] or Decimal(0), cost=c["cost"] or Decimal(0), payer=self.parties.get(c["payer"]),
                went_to=c["went_to"], note=c["note"], key=c["key"] or None,
            )
        ]  # fmt: skip

    @classmethod
    def initial_of(cls, events, system):
        row: Retirement = events[0]
        return super().initial_of(events, system) | {
            "fate": row.fate, "weight": row.weight_kg, "worth": row.worth or None, "cost": row.cost or None,
            "payer": str(row.payer_id) if row.payer_id else SHOP, "went_to": row.went_to,
        }  # fmt: skip
