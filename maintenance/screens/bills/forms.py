"""Forms of bills: a new one with its lines, and one struck out."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from django import forms
from django.core.exceptions import ValidationError

from diestore import pictures
from diestore.access.who_does import ByForm
from diestore.cards.forms import AmountField, DayField
from diestore.frame.fields import Number, Opens
from diestore.register.models import Party, Plant
from maintenance.log import bills
from maintenance.log.rules import EntryRefused
from maintenance.models import CostLine, fresh_key

ROWS, MORE_ROWS = 4, 4
AS_OWNED, SHOP = "", "shop"  # who pays where nobody is picked: the owner of the die, else the shop
KINDS = [("", "pick one"), *((value, label.capitalize()) for value, label in CostLine.Kind.choices)]


class PaperField(forms.FileField):
    """A photo or a PDF by what is in it: what comes out is a `bills.Paper`, or nothing where none was sent."""

    widget = forms.FileInput({"accept": "image/*,application/pdf"})

    def clean(self, value, initial=None):
        if not value or isinstance(value, str):
            return None
        if value.size > pictures.BYTES_AT_MOST:
            raise ValidationError(
                f"The file has {value.size / 1e6:,.1f} MB; {pictures.BYTES_AT_MOST / 1e6:g} MB is the most for a "
                f"photo, {bills.PDF_AT_MOST / 1e6:g} MB for a PDF."
            )
        try:
            return bills.paper_of(value.read())
        except EntryRefused as refused:
            raise ValidationError(str(refused)) from refused


def _short(**attrs: str) -> forms.TextInput:
    return forms.TextInput({"autocomplete": "off"} | attrs)


class BillForm(forms.Form):
    """A bill and up to forty lines. Rows in which nothing is typed are no lines."""

    key = forms.CharField(max_length=64, widget=forms.HiddenInput, required=False)
    rows = forms.CharField(max_length=3, widget=forms.HiddenInput, required=False)
    supplier = forms.ModelChoiceField(
        Party.objects.none(), label="Supplier", widget=Opens, empty_label="pick one",
        error_messages={"required": "Pick the supplier.", "invalid_choice": "Pick a supplier of the list."},
    )  # fmt: skip
    number = forms.CharField(
        label="Number of the bill", max_length=40, widget=_short(),
        error_messages={"required": "Type the number that stands on the bill.", "max_length": "40 letters at most."},
    )  # fmt: skip
    on = DayField(label="Day on the bill")
    total = AmountField(label="Total", help_text="Without the tax that the shop gets back.")
    currency = forms.CharField(
        label="Currency", max_length=3, widget=_short(size="4"),
        error_messages={"required": "Name the currency.", "max_length": "Three letters."},
    )  # fmt: skip
    worth_of_one = forms.CharField(
        label="What one of it is worth", max_length=30, required=False, widget=Number("decimal")
    )
    is_credit = forms.BooleanField(label="It is a credit note: money that comes back", required=False)
    note = forms.CharField(
        label="Note", max_length=300, required=False, widget=_short(),
        error_messages={"max_length": "Say it in 300 letters."},
    )  # fmt: skip
    paper = PaperField(label="Photo or PDF of it", required=False)
    other_bill = forms.BooleanField(label="It is another bill with the same number", required=False)
    not_ordered = forms.BooleanField(label="These spares came on no order", required=False)

    def __init__(
        self, data=None, files=None, *, plant: Plant, own_currency: str, initial=None, n: int = ROWS,
        order: bills.AgainstOrder | None = None,
    ) -> None:  # fmt: skip
        """order: whose lines are offered, each with what was agreed."""
        self.plant, self.own_currency, self.asks_other, self.asks_ordered = plant, own_currency, False, False
        self.order = order
        if order is not None and data is None and not (initial or {}).get("words-0"):
            initial = (initial or {}) | self._offered(order)
            n = max(n, min(len(order.lines) + 1, bills.LINES_AT_MOST))
        self.n = max(1, min(n, bills.LINES_AT_MOST))
        start = {"currency": own_currency, "key": fresh_key(), "rows": str(self.n)}
        super().__init__(data, files, initial=start | (initial or {}))
        self.fields["on"].error_messages["required"] = "Enter the day that stands on the bill."
        self.fields["total"].error_messages["required"] = "Type the total."
        self.fields["worth_of_one"].help_text = f"In {own_currency}. Empty where the bill is in {own_currency}."
        known = Party.objects.filter(role=Party.Role.SUPPLIER, retired_at=None)
        self.fields["supplier"].queryset = known.order_by("name", "code")
        customers = Party.objects.filter(role=Party.Role.CUSTOMER, retired_at=None).order_by("name", "code")
        self.customers = {str(one.pk): one for one in customers}
        payers = [(AS_OWNED, "the die's owner, else the shop"), (SHOP, "the shop")]
        payers += [(pk, str(one)) for pk, one in self.customers.items()]
        for row in range(self.n):
            boxes = {
                "for": forms.CharField(max_length=100, required=False, widget=_short(list="lines-for")),
                "kind": forms.ChoiceField(choices=KINDS, required=False, widget=Opens),
                "words": forms.CharField(max_length=200, required=False, widget=_short(**{"class": "words"})),
                "amount": AmountField(required=False),
                "payer": forms.ChoiceField(
                    choices=payers,
                    required=False,
                    widget=Opens,
                    error_messages={"invalid_choice": "Pick who pays from the list."},
                ),
            }
            said = {
                "for": "What for",
                "kind": "Kind of cost",
                "words": "What was done",
                "amount": "Amount",
                "payer": "Who pays",
            }
            for name, box in boxes.items():
                box.label = f"{said[name]}, line {row + 1}"
                box.widget.attrs["aria-label"] = box.label
                self.fields[f"{name}-{row}"] = box

    @staticmethod
    def _offered(order: bills.AgainstOrder) -> dict[str, str]:
        made = {"currency": order.order.currency}
        for row, line in enumerate(order.lines[: bills.LINES_AT_MOST]):
            made |= {f"for-{row}": order.order.number, f"kind-{row}": "spares", f"words-{row}": line.words}
        return made

    def lines(self) -> Iterator[dict]:
        for row in range(self.n):
            yield {name: self[f"{name}-{row}"] for name in ("for", "kind", "words", "payer", "amount")}

    def clean_worth_of_one(self) -> Decimal | None:
        text = self.cleaned_data["worth_of_one"].strip().replace(",", ".")
        if not text:
            return None
        whole, _, rest = text.partition(".")
        if not (text.isascii() and (whole + rest).isdigit() and len(whole) <= 9 and len(rest) <= 6):
            raise ValidationError("This is not a number with up to six decimals. Type it as 0.9254.")
        return Decimal(text)

    def clean(self) -> dict:
        cleaned = super().clean()
        self.read: list[bills.BillLine] = []
        for row in range(self.n):
            told = {name: cleaned.get(f"{name}-{row}") for name in ("for", "kind", "words", "amount")}
            payer = cleaned.get(f"payer-{row}")
            amiss = any(f"{name}-{row}" in self.errors for name in (*told, "payer"))
            if amiss or not any(value not in (None, "") for value in told.values()):
                continue
            if told["amount"] is None and self.order and told["words"] in {one.words for one in self.order.lines}:
                continue  # offered, and not on this bill
            if told["amount"] is None:
                self.add_error(f"amount-{row}", "Type the amount, or empty the line.")
                continue
            if not told["kind"]:
                self.add_error(f"kind-{row}", "Pick what kind of cost it is.")
                continue
            try:
                of = bills.named(told["for"], plant=self.plant)
            except EntryRefused as refused:
                self.add_error(f"for-{row}", str(refused))
                continue
            self.read.append(
                bills.BillLine(
                    amount=told["amount"], kind=told["kind"], words=told["words"] or "", of=of, row=row,
                    payer=self._payer(payer or AS_OWNED, of),
                )
            )  # fmt: skip
        return cleaned

    def _payer(self, picked: str, of: bills.LineFor) -> Party | None:
        if picked == AS_OWNED:
            return of.die.owner if of.die is not None else None
        return self.customers.get(picked)


class StrikeForm(ByForm):
    who = "Who strikes it out?"
    reason = forms.CharField(
        label="Why is it struck out?", max_length=300,
        widget=forms.TextInput({"placeholder": "of another shop, the amount is wrong ...", "autocomplete": "off"}),
        error_messages={"required": "Say why it is struck out.", "max_length": "Say it in 300 letters."},
    )  # fmt: skip
