"""Forms of an order: the draft with its lines, what the supplier confirmed, what came, and why it is cancelled."""

from __future__ import annotations

from django import forms
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from diestore.cards.forms import AmountField, DayField
from diestore.frame.fields import MomentField, Opens, Picks, WholeField, choices, minute
from diestore.register.models import Item, Party
from diestore.row_keys import row_key
from maintenance.log import purchases
from maintenance.log.purchase_reads import OrderRow
from maintenance.models import PurchaseOrder, fresh_key

OFFERED_AT_MOST = 300  # codes that a box suggests


def lines_for(form: forms.Form, rows, *fields: tuple[str, str]):
    """The lines with the boxes of each, for a page."""
    for row in rows:
        yield {"row": row, **{name: form[f"{prefix}-{row.line.pk}"] for name, prefix in fields}}


def _named(field: forms.Field, words: str) -> forms.Field:
    """A box in a table: its name is for those who hear the page."""
    field.label = words
    field.widget.attrs["aria-label"] = words
    return field


class DraftForm(forms.Form):
    """A draft: with whom, by when, and each line's pieces and price."""

    supplier = forms.ModelChoiceField(
        Party.objects.none(), label=gettext_lazy("Supplier"), required=False, widget=Opens,
        empty_label=gettext_lazy("pick one"),
        error_messages={"invalid_choice": gettext_lazy("Pick a supplier of the list.")},
    )  # fmt: skip
    currency = forms.CharField(
        label=gettext_lazy("Currency"), max_length=3,
        error_messages={"required": gettext_lazy("Name the currency."), "max_length": gettext_lazy("Three letters.")},
        widget=forms.TextInput({"autocomplete": "off", "size": "4"}),
    )  # fmt: skip
    wanted_on = DayField(label=gettext_lazy("Wanted by"), required=False)
    note = forms.CharField(
        label=gettext_lazy("Note on the order"), max_length=500, required=False,
        error_messages={"max_length": gettext_lazy("Say it in 500 letters.")},
        widget=forms.TextInput({"autocomplete": "off"}),
    )  # fmt: skip
    more = forms.CharField(
        label=gettext_lazy("One more spare"), max_length=101, required=False,
        error_messages={"max_length": gettext_lazy("There is no spare with so long a code.")},
        widget=forms.TextInput({"autocomplete": "off", "list": "spares-offered",
                                "placeholder": gettext_lazy("its code")}),
    )  # fmt: skip
    more_pieces = WholeField(label=gettext_lazy("Pieces of it"), required=False)
    odd_lots = forms.BooleanField(label=gettext_lazy("Order these pieces all the same"), required=False)
    seen = forms.IntegerField(min_value=0, max_value=2_000_000_000, widget=forms.HiddenInput, required=False)

    def __init__(self, data=None, *, row: OrderRow) -> None:
        order = row.order
        self.row, self.asks_lots = row, False
        super().__init__(
            data, initial={"supplier": order.supplier_id, "currency": order.currency, "wanted_on": order.wanted_on,
                           "note": order.note, "seen": order.changes},
        )  # fmt: skip
        known = Party.objects.filter(role=Party.Role.SUPPLIER, retired_at=None)
        self.fields["supplier"].queryset = known.order_by("name", "code")
        for one in row.lines:
            line = one.line
            self.fields[f"pieces-{line.pk}"] = _named(
                WholeField(initial=line.quantity, required=False), _("Pieces of {item}").format(item=line.item)
            )
            self.fields[f"price-{line.pk}"] = _named(
                AmountField(initial=line.unit_price, required=False), _("Price of one {item}").format(item=line.item)
            )

    @property
    def lines(self):
        return list(lines_for(self, self.row.lines, ("pieces", "pieces"), ("price", "price")))

    def clean_currency(self) -> str:
        return self.cleaned_data["currency"].strip().upper()

    def clean(self) -> dict:
        cleaned = super().clean()
        code = " ".join(cleaned.get("more", "").split())
        cleaned["item"] = None
        if code:
            cleaned["item"] = _item_called(code)
            if cleaned["item"] is None:
                said = _("There is no spare “{code}”. Type its code as the catalogue has it.").format(code=code)
                self.add_error("more", said)
        return cleaned

    def save(self, by: purchases.Actor) -> PurchaseOrder:
        """Raises EntryRefused, and then nothing is saved. Inside a transaction."""
        c = self.cleaned_data
        typed = {}
        for one in self.row.lines:
            pieces, price = c.get(f"pieces-{one.line.pk}"), c.get(f"price-{one.line.pk}")
            typed[one.line.pk] = purchases.LineTyped(quantity=pieces or 0, unit_price=price)
        order = purchases.change_draft(
            by=by, order=self.row.order, supplier=c["supplier"], currency=c["currency"], wanted_on=c["wanted_on"],
            note=c["note"], lines=typed, seen=c["seen"],
        )  # fmt: skip
        if c["item"] is not None:
            quantity = c["more_pieces"] if c["more_pieces"] is not None else c["item"].pack_size
            purchases.add_line(by=by, order=order, item=c["item"], quantity=quantity)
        return order


def _item_called(code: str) -> Item | None:
    """By code, or by code and revision as lists show them; the newest that is offered first."""
    found = [item for item in Item.objects.filter(code__iexact=code) if item.code.casefold() == code.casefold()]
    if not found and " " in code:
        bare, _, revision = code.rpartition(" ")
        found = list(Item.objects.filter(code__iexact=bare, revision__iexact=revision))
    return max(
        found,
        key=lambda item: (item.retired_at is None and item.newer_id is None, item.revision, item.pk),
        default=None,
    )


def offered(order: PurchaseOrder) -> list[tuple[str, str]]:
    """Spares that may be added: those of the supplier first. Codes and what they are."""
    rows = Item.objects.filter(retired_at=None, newer=None).exclude(purchase_lines__order=order)
    if order.supplier_id is not None:
        rows = rows.filter(supplier=order.supplier_id)
    return [(str(item), item.description) for item in rows.order_by("code", "revision")[:OFFERED_AT_MOST]]


class ConfirmForm(forms.Form):
    """What the supplier wrote back: his number, one day for all or one a line, prices."""

    their_number = forms.CharField(
        label=gettext_lazy("The supplier's number"), max_length=60, required=False,
        error_messages={"max_length": gettext_lazy("Say it in 60 letters.")},
        widget=forms.TextInput({"autocomplete": "off"}),
    )  # fmt: skip
    day = DayField(
        label=gettext_lazy("Promised for all lines"),
        required=False,
        help_text=gettext_lazy("Or a day for each line below."),
    )

    def __init__(self, data=None, *, row: OrderRow) -> None:
        self.row = row
        super().__init__(data, initial={"their_number": row.order.their_number})
        self.open = [one for one in row.lines if one.open]
        for one in self.open:
            line = one.line
            self.fields[f"day-{line.pk}"] = _named(
                DayField(initial=line.promised_on, required=False), _("Promised day of {item}").format(item=line.item)
            )
            self.fields[f"price-{line.pk}"] = _named(
                AmountField(initial=line.unit_price, required=False), _("Price of one {item}").format(item=line.item)
            )

    @property
    def lines(self):
        return list(lines_for(self, self.open, ("day", "day"), ("price", "price")))

    def save(self, by: purchases.Actor) -> PurchaseOrder:
        c, promises = self.cleaned_data, {}
        for one in self.open:
            day = c[f"day-{one.line.pk}"]
            if c["day"] is not None and (day is None or day == one.line.promised_on):
                day = c["day"]
            promises[one.line.pk] = purchases.Promise(promised_on=day, unit_price=c[f"price-{one.line.pk}"])
        return purchases.confirm(by=by, order=self.row.order, promises=promises, their_number=c["their_number"])


class ReasonForm(forms.Form):
    reason = forms.CharField(
        label=gettext_lazy("Why is it cancelled?"), max_length=300,
        error_messages={"required": gettext_lazy("Say why it is cancelled."),
                        "max_length": gettext_lazy("Say it in 300 letters.")},
        widget=forms.TextInput({"autocomplete": "off"}),
    )  # fmt: skip


class TakeInForm(forms.Form):
    """What came: a number a line, or all of it with one tap. Where it is more or fewer than ordered, it asks."""

    at = MomentField(label=gettext_lazy("When did it come?"))
    note = forms.CharField(
        label=gettext_lazy("Delivery note or remark"), max_length=500, required=False,
        error_messages={"max_length": gettext_lazy("Say it in 500 letters.")},
        widget=forms.TextInput({"autocomplete": "off"}),
    )  # fmt: skip
    key = forms.CharField(max_length=64, required=False, widget=forms.HiddenInput)

    def __init__(self, data=None, *, row: OrderRow) -> None:
        self.row = row
        super().__init__(data, initial={"at": minute(timezone.localtime()), "key": fresh_key()})
        self.fields["at"].error_messages["required"] = _("Enter the date and the time.")
        for one in row.lines:
            line = one.line
            place = f"{one.open:,}" if one.open else "0"
            self.fields[f"came-{line.pk}"] = _named(
                WholeField(required=False, placeholder=place), _("How many of {item} came").format(item=line.item)
            )
            self.fields[f"answer-{line.pk}"] = forms.ChoiceField(
                required=False, choices=choices([("", "")]), widget=Picks
            )
        self.questions: dict[int, str] = {}

    def ask(self, questions: tuple[purchases.Question, ...]) -> None:
        """What is to be answered before anything is taken in."""
        for one in questions:
            self.fields[f"answer-{one.line.pk}"].choices = choices(one.answers)
            self.questions[one.line.pk] = one.words

    @property
    def lines(self):
        made = []
        for line in lines_for(self, self.row.lines, ("came", "came"), ("answer", "answer")):
            made.append(line | {"asks": self.questions.get(line["row"].line.pk, "")})
        return made

    def clean(self) -> dict:
        cleaned = super().clean()
        for name in [n for n in self._errors or {} if n.startswith("answer-")]:
            del self._errors[name]  # what is no answer is asked again
        return cleaned

    def came(self, *, all_of_it: bool) -> dict[int, purchases.Came]:
        """Line -> what came. all_of_it: what is still to come of each came, whatever was typed."""
        made = {}
        for one in self.row.lines:
            pk = one.line.pk
            quantity = one.open if all_of_it else self.cleaned_data.get(f"came-{pk}") or 0
            if quantity:
                answer = self.data.get(f"answer-{pk}", "")
                made[pk] = purchases.Came(quantity=quantity, answer=answer)
        return made


def wanted_of(values: list[str], *, at_most: int = purchases.LINES_AT_MOST) -> list[purchases.Wanted]:
    """What was ticked on a list of spares: "17:4" is four of the spare 17. Anything else says nothing."""
    told: dict[int, int] = {}
    for value in values[:at_most]:
        pk, _, pieces = value.partition(":")
        if (key := row_key(pk)) is not None:
            told[key] = int(pieces) if pieces.isascii() and pieces.isdigit() and len(pieces) < 8 else 0
    items = Item.objects.filter(pk__in=told).select_related("supplier").order_by("code", "revision", "pk")
    return [purchases.Wanted(item=item, quantity=told[item.pk] or item.pack_size) for item in items]
