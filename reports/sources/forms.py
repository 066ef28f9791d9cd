"""Forms of a source with its price list, of its end, and of a level set by hand."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

from django import forms
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from diestore.cards.forms import AmountField, DayField, FigureField
from diestore.frame.fields import Opens, WholeField
from diestore.register.models import Item, Party
from diestore.register.sources import Source

from .reads import SourceRow

ROWS = 6  # boxes for price breaks


def _text(label: str, most: int, **more) -> forms.CharField:
    return forms.CharField(
        label=label, max_length=most, required=False, widget=forms.TextInput({"autocomplete": "off"}),
        error_messages={"max_length": _("Say it in %(limit_value)d letters.")}, **more,
    )  # fmt: skip


class SourceForm(forms.Form):
    """One source. What a source says of itself, its price list from a day on, and whether it is preferred."""

    sort = forms.ChoiceField(label=_("What comes from there"), choices=Source.Sort.choices, widget=Opens)
    service = forms.ChoiceField(
        label=_("Which service"), choices=[("", _("none")), *Source.Service.choices], required=False, widget=Opens,
        help_text=_("Of an outside service only."),
    )  # fmt: skip
    supplier = forms.ModelChoiceField(
        Party.objects.none(), label=_("Supplier"), required=False, widget=Opens, empty_label=_("nobody: made in house"),
        error_messages={"invalid_choice": _("Pick a supplier of the list.")},
    )  # fmt: skip
    part_number = _text(_("What the supplier calls it"), 80)
    lead_days = WholeField(label=_("Promised days from order to shelf"))
    on_their_shelf = forms.BooleanField(label=_("It lies on the supplier's shelf"), required=False)
    least_quantity = WholeField(label=_("Least quantity"), required=False)
    pack_size = WholeField(label=_("Sold in packs of"), required=False)
    currency = forms.CharField(
        label=_("Currency"), max_length=3, widget=forms.TextInput({"autocomplete": "off", "size": "4"}),
        error_messages={"required": _("Name the currency."), "max_length": _("Three letters.")},
    )  # fmt: skip
    shop_money = FigureField(
        label=_("One of it in the shop's money"), required=False, help_text=_("Where it is another.")
    )
    priced_by = forms.ChoiceField(label=_("Priced"), choices=Source.PricedBy.choices, widget=Opens)
    minutes_each = FigureField(
        label=_("Minutes a piece"), required=False, help_text=_("Where it is priced by the hour.")
    )
    incremental = forms.BooleanField(
        label=_("A lower price holds only for the pieces from its number on"), required=False
    )  # fmt: skip
    prices_from = DayField(label=_("These prices hold from"), required=False)
    preferred = forms.BooleanField(label=_("This is the source that is bought from"), required=False)
    why_preferred = _text(_("Why"), 300, help_text=_("Price, time, quality, or that there is no other."))
    in_its_place = forms.BooleanField(label=_("In the place of the one preferred now"), required=False)
    seen = forms.IntegerField(min_value=0, max_value=2_000_000_000, widget=forms.HiddenInput, required=False)

    def __init__(self, data=None, *, item: Item, row: SourceRow | None = None, currency: str, today: dt.date) -> None:
        self.item, self.row, self.today = item, row, today
        super().__init__(data, initial=self._told(row, item, currency, today))
        known = Party.objects.filter(role=Party.Role.SUPPLIER, retired_at=None)
        if row is not None and row.source.supplier_id:
            known = known | Party.objects.filter(pk=row.source.supplier_id)
        self.fields["supplier"].queryset = known.order_by("name", "code")
        shown = row.now if row is not None and row.now is not None else None
        rows = [(r.from_quantity, r.unit_price) for r in shown.rows] if shown else []
        if row is None and item.unit_price is not None and not Source.objects.filter(item=item).exists():
            rows = [(1, item.unit_price)]
        self.rows = max(ROWS, len(rows) + 1)
        for n in range(self.rows):
            pieces, price = rows[n] if n < len(rows) else (None, None)
            self.fields[f"from-{n}"] = WholeField(
                label=_("From pieces, row {n}").format(n=n + 1),
                initial=pieces,
                required=False,
                placeholder="1" if n == 0 else "",
            )
            self.fields[f"price-{n}"] = AmountField(
                label=_("Price, row {n}").format(n=n + 1), initial=price, required=False
            )
            for name in (f"from-{n}", f"price-{n}"):
                self.fields[name].widget.attrs["aria-label"] = self.fields[name].label

    @staticmethod
    def _told(row: SourceRow | None, item: Item, currency: str, today: dt.date) -> dict:
        if row is not None:
            source = row.source
            told = {name: getattr(source, name) for name in (
                "sort", "service", "part_number", "lead_days", "on_their_shelf", "least_quantity", "pack_size",
                "currency", "shop_money", "priced_by", "minutes_each", "incremental", "preferred", "why_preferred",
            )}  # fmt: skip
            day = row.now.day if row.now is not None else today
            return told | {"supplier": source.supplier_id, "prices_from": day, "seen": source.changes}
        told = {"currency": currency, "prices_from": today, "sort": Source.Sort.FINISHED, "priced_by": "piece"}
        if not Source.objects.filter(item=item).exists():  # the first: what the catalogue says until now
            told |= {"supplier": item.supplier_id, "lead_days": item.lead_days, "pack_size": item.pack_size,
                     "preferred": True, "why_preferred": _("the only source so far")}  # fmt: skip
        return told

    @property
    def breaks(self) -> list[tuple]:
        return [(self[f"from-{n}"], self[f"price-{n}"]) for n in range(self.rows)]

    def clean_currency(self) -> str:
        return self.cleaned_data["currency"].strip().upper()

    def clean(self) -> dict:
        cleaned = super().clean()
        prices: list[tuple[int, Decimal]] = []
        for n in range(self.rows):
            pieces, price = cleaned.get(f"from-{n}"), cleaned.get(f"price-{n}")
            if price is None and pieces is not None and f"price-{n}" not in self.errors:
                told = _("Enter the price from {pieces:,} pieces, or clear the row.")
                self.add_error(f"price-{n}", told.format(pieces=pieces))
            elif price is not None and f"from-{n}" not in self.errors:
                prices.append((1 if pieces is None and not prices else pieces or 0, price))
        cleaned["prices"] = sorted(prices)
        return cleaned

    def values(self) -> dict:
        """By column, as `sourcing` takes them."""
        c = self.cleaned_data
        names = (
            "sort", "service", "supplier", "part_number", "lead_days", "on_their_shelf", "currency", "shop_money",
            "priced_by", "minutes_each", "incremental", "preferred", "why_preferred",
        )  # fmt: skip
        lots = {name: 1 if c[name] is None else c[name] for name in ("least_quantity", "pack_size")}
        text = {name: " ".join(c[name].split()) for name in ("part_number", "why_preferred")}
        return {name: c[name] for name in names} | lots | text

    def prices(self) -> list[tuple[int, Decimal]] | None:
        """None: the list is as it was, and so is its day."""
        c = self.cleaned_data
        now = self.row.now if self.row is not None else None
        same = now is not None and [(r.from_quantity, r.unit_price) for r in now.rows] == c["prices"]
        return None if same and c["prices_from"] in (None, now.day) else c["prices"]


class EndForm(forms.Form):
    day = DayField(label=_("Ended on"))
    reason = forms.CharField(
        label=_("Why"), max_length=300, widget=forms.TextInput({"autocomplete": "off"}),
        error_messages={"required": _("Say why it ends."), "max_length": _("Say it in 300 letters.")},
    )  # fmt: skip

    def __init__(self, data=None) -> None:
        super().__init__(data, initial={"day": timezone.localdate()}, auto_id="end_%s")
        self.fields["day"].error_messages["required"] = _("Enter the day.")


class LevelForm(forms.Form):
    """One of the two, and why."""

    chance_percent = FigureField(label=_("Enough so many times in 100"), required=False)
    least_pieces = WholeField(label=_("Or: pieces at least, on the shelf and on order"), required=False)
    reason = forms.CharField(
        label=_("Why"), max_length=300, widget=forms.TextInput({"autocomplete": "off"}),
        error_messages={"required": _("Say why it is set by hand."), "max_length": _("Say it in 300 letters.")},
    )  # fmt: skip
