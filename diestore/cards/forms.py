"""The form of a card, made of its description: numbers as text with units, choices, dates; and since when, and why."""

from __future__ import annotations

import datetime as dt
import json
from decimal import Decimal

from django import forms
from django.core.exceptions import ValidationError
from django.db import models
from django.utils import timezone

from diestore import units
from diestore.frame.fields import MeasureField, MomentField, Opens, Picks, TypedField, WholeField, choices, minute
from diestore.money import MoneyField
from diestore.register import amendments
from diestore.register.models import Amendment
from diestore.row_keys import row_key

from .described import Card, Typed

CHANGED, NEVER_SO = "changed", "never so"
LONGEST_BEFORE = 20_000


class ForceField(MeasureField):
    """A value whose unit people must say, since some mean kN by a bare number and some tons."""

    def read(self, text: str) -> float:
        return units.parse(text, self.quantity, None).value

    def prepare_value(self, value):
        return units.show(value, self.quantity, self.system) if isinstance(value, float | int) else value


class AmountField(TypedField):
    """Money, to a ten-thousandth."""

    def read(self, text: str) -> Decimal:
        number = units.number(text)
        if abs(number) > 10**12:
            raise ValidationError("That is more money than there is.")
        return round(Decimal(repr(number)), 4)

    def prepare_value(self, value):
        return f"{value.normalize():f}" if isinstance(value, Decimal) else value


class FigureField(TypedField):
    def prepare_value(self, value):
        return f"{value:.10g}" if isinstance(value, float) else value


class DayField(forms.DateField):
    def __init__(self, **kwargs) -> None:
        kwargs["error_messages"] = {"invalid": "This is not a date. Type it as 2026-11-25."}
        super().__init__(widget=forms.DateInput({"type": "date"}, format="%Y-%m-%d"), **kwargs)


class Rows(forms.ModelChoiceField):
    widget = Opens

    def __init__(self, queryset, **kwargs) -> None:
        super().__init__(queryset, empty_label="none", **kwargs)


def column_field(card: Card, typed: Typed, row: models.Model, user, system) -> forms.Field:
    """The field for one column of a card."""
    column = card.model._meta.get_field(typed.name)
    asked = dict(label=typed.label, help_text=typed.help, required=not (column.blank or column.null))
    if column.has_default() and not asked["required"]:
        asked["required"] = False
    if column.is_relation:
        return Rows(_offered(typed, column, row, user), **asked)
    if column.choices:
        return forms.ChoiceField(choices=_choices(column, asked["required"]), widget=Opens, **asked)
    if isinstance(column, MoneyField):
        return AmountField(**asked)
    if isinstance(column, models.FloatField):
        return _float_field(typed, asked, system)
    if isinstance(column, models.IntegerField):
        return WholeField(**asked)
    if isinstance(column, models.DateField):
        return DayField(**asked)
    if isinstance(column, models.BooleanField):
        return forms.BooleanField(**asked | {"required": False})
    made = forms.CharField(max_length=column.max_length, **asked)
    made.widget.attrs["autocomplete"] = "off"
    if typed.offers:
        made.widget.attrs["list"] = f"offers_{typed.name}"
    return made


def _float_field(typed: Typed, asked: dict, system) -> forms.Field:
    try:
        units.column(typed.name)
    except KeyError:
        return FigureField(**asked)
    return (ForceField if typed.must_say else MeasureField)(typed.name, system, **asked)


def _choices(column, required: bool) -> list:
    return choices([*([] if required else [(None, "none")]), *column.flatchoices])


def _offered(typed: Typed, column, row: models.Model, user) -> models.QuerySet:
    """What may be named: nothing retired, nothing of a plant that the person does not see; what stands there stays."""
    from diestore.access import plants

    other = column.related_model
    found = other._base_manager.all()
    names = {f.name for f in other._meta.get_fields()}
    if typed.only is not None:
        found = typed.only(found)
    if other._meta.label_lower == "diestore.plant":
        found = plants.within(found, user, "pk")
    elif "plant" in names:
        found = plants.within(found, user)
    own = {f.name for f in row._meta.concrete_fields}
    if "plant" in names and "plant" in own and row.pk:
        found = found.filter(plant=row.plant_id)  # a die runs in no press of another plant
    if "retired_at" in names:
        found = found.filter(retired_at=None)
    now = getattr(row, column.attname, None) if row.pk else None
    if now is not None:
        found = found | other._base_manager.filter(pk=now)
    return found.order_by(*other._meta.ordering)


class CardForm(forms.Form):
    """A card as it stands, to be changed. `altered`: the columns that this person changed since it was opened, so that
    what somebody else changed meanwhile is not written over."""

    def __init__(self, data=None, *, card: Card, row: models.Model, user, system, initial=None, renewed=None) -> None:
        self.card, self.row, self.system = card, row, system
        typed_here = card.typed_by(user)
        known = {t.name: self._value(row, t.name) for t in typed_here}
        super().__init__(data, initial=known | (initial or {}))
        for typed in typed_here:
            self.fields[typed.name] = column_field(card, typed, row, user, system)
        self.columns = [t.name for t in typed_here]
        if row.pk:
            self._ask_how()
        self._shown = {name: self._text(name) for name in self.columns}
        self.opened = renewed if renewed is not None else (amendments.newest_of(row) if row.pk else 0)

    def _ask_how(self) -> None:
        self.fields["how"] = forms.ChoiceField(
            choices=[(CHANGED, "it changed"), (NEVER_SO, "typing error, never so")],
            initial=CHANGED, widget=Picks, label="What is it?", required=False,
        )  # fmt: skip
        self.fields["at"] = MomentField(
            label="Since when is it so?", required=False, initial=minute(timezone.localtime()),
            help_text="Of a change. What was before keeps what stood here until then.",
        )  # fmt: skip
        self.fields["reason"] = forms.CharField(
            label="Why?", required=False, max_length=300, help_text="In a few words: it stays with the change.",
            widget=forms.TextInput({"autocomplete": "off"}),
        )  # fmt: skip

    @staticmethod
    def _value(row, name):
        field = row._meta.get_field(name)
        return getattr(row, field.attname) if field.is_relation else getattr(row, name)

    def _text(self, name: str) -> str:
        """What a browser sends of the field where nobody touches it."""
        field = self.fields[name]
        value = field.prepare_value(self.initial.get(name))
        if isinstance(field.widget, forms.CheckboxInput):
            return "on" if value else ""
        text = field.widget.format_value(value)
        if isinstance(text, list | tuple):
            text = text[0] if text else ""
        return "" if text is None else str(text)

    @property
    def why(self) -> list:
        return [self[name] for name in ("how", "at", "reason")]

    @property
    def before(self) -> str:
        return json.dumps(self._shown)

    @property
    def altered(self) -> list[str]:
        was = self._shown
        sent = self.data.get("before", "")
        if self.row.pk and sent and len(sent) < LONGEST_BEFORE:
            try:
                loaded = json.loads(sent)
                was = loaded if isinstance(loaded, dict) else was
            except ValueError:
                pass  # a form that somebody made: all that differs from the row counts
        return [name for name in self.columns if self.data.get(name, "").strip() != str(was.get(name, "")).strip()]

    @property
    def opened_at(self) -> int:
        return row_key(self.data.get("opened")) or 0

    @property
    def values(self) -> dict[str, object]:
        """The values typed, of the columns altered; an empty text is kept as the column keeps it."""
        return {name: self.kept_value(name) for name in self.altered}

    def kept_value(self, name: str):
        column, value = self.card.model._meta.get_field(name), self.cleaned_data.get(name)
        if (
            value in (None, "")
            and column.has_default()
            and not column.null
            and not isinstance(column, models.CharField)
        ):
            return column.get_default()
        if value is None and isinstance(column, models.CharField):
            return ""
        return value

    @property
    def at(self) -> dt.datetime:
        return self.cleaned_data.get("at") or timezone.now()

    @property
    def visible_errors(self) -> list[tuple[str, str]]:
        return [(name, sentence) for name, found in self.errors.items() for sentence in found]

    def show(self, errors: dict[str, str], otherwise: str) -> None:
        """What the register refused, each at its field."""
        for name, sentence in errors.items():
            self.add_error(
                {"changed_at": "at"}.get(name, name) if name in (*self.fields, "changed_at") else None, sentence
            )
        if not errors:
            self.add_error(None, otherwise)

    def again(self, user) -> CardForm:
        """The same, with what this person typed over the row as it is now."""
        mine = {name: self.data.get(name, "") for name in self.altered}
        fresh = CardForm(card=self.card, row=self.row, user=user, system=self.system)
        sent = {name: fresh._shown[name] for name in self.columns} | mine
        sent |= {name: self.data.get(name, "") for name in ("how", "at", "reason")}
        form = CardForm(sent, card=self.card, row=self.row, user=user, system=self.system)
        form.full_clean()
        return form


class WhyForm(forms.Form):
    """Of one act: why, and where two rows are one, which."""

    reason = forms.CharField(label="Why?", max_length=300, widget=forms.TextInput({"autocomplete": "off"}),
                             error_messages={"required": "Say why."})  # fmt: skip


class MergeForm(WhyForm):
    into = Rows(Amendment.objects.none(), label="It is the same as", error_messages={"required": "Pick one."})

    def __init__(self, *args, rows: models.QuerySet, **kwargs) -> None:
        super().__init__(*args, auto_id="same_%s", **kwargs)
        self.fields["into"].queryset = rows
        self.order_fields(["into", "reason"])
