"""Fields and picks of the bench forms: numbers as people type them, moments, and choices big enough for a glove."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass

from django import forms
from django.core.exceptions import ValidationError
from django.db import models
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from diestore import pictures, typed, units

YEARS = range(1950, 2101)


@dataclass(frozen=True)
class Pick:
    """The label of a choice: the word, a small note under it, and whether it is what one would expect."""

    text: str
    note: str = ""
    expected: bool = False
    title: str = ""

    def __str__(self) -> str:
        return f"{self.text}, {self.note}" if self.note else self.text


class Drawn:
    """Choices drawn as touch targets."""

    template_name = "diestore/frame/picks.html"

    def create_option(self, name, value, label, *args, **kwargs):
        option = super().create_option(name, value, label, *args, **kwargs)
        option["pick"] = label if isinstance(label, Pick) else Pick(str(label))
        return option


class Picks(Drawn, forms.RadioSelect):
    """One of them."""


class Ticks(Drawn, forms.CheckboxSelectMultiple):
    """The same where any number may be picked."""


class Opens(forms.Select):
    """A list that opens, from one template: Django takes two more for each line, and a set of sixty has sixty lists."""

    template_name = "diestore/frame/opens.html"


class _Rows(forms.models.ModelChoiceIterator):
    """The choices of a `KnownField`: as Django makes them, of the rows that are there."""

    def __iter__(self):
        if self.field.empty_label is not None:
            yield "", self.field.empty_label
        yield from map(self.choice, self.field.rows)

    def __len__(self) -> int:
        return len(self.field.rows) + (self.field.empty_label is not None)

    def __bool__(self) -> bool:
        return bool(len(self))


class KnownField(forms.ModelChoiceField):
    """One of some rows that are read once, with the form: neither to draw it nor to find what was picked is the
    database asked again."""

    iterator = _Rows

    def __init__(self, *, rows: Iterable[models.Model], queryset: models.QuerySet, **kwargs) -> None:
        self.rows = list(rows)
        super().__init__(queryset=queryset, **kwargs)

    def to_python(self, value):
        if value in self.empty_values:
            return None
        wanted = str(self.prepare_value(value))
        for row in self.rows:
            if str(row.pk) == wanted:
                return row
        raise ValidationError(self.error_messages["invalid_choice"], code="invalid_choice", params={"value": value})


class Number(forms.TextInput):
    """A text box that brings up the number pad; a browser's own number box refuses 30,120 without a word."""

    def __init__(self, mode: str, attrs: dict | None = None) -> None:
        super().__init__({"inputmode": mode, "autocomplete": "off", **(attrs or {})})


class TypedField(forms.CharField):
    """A number in a text box. What was typed comes back as it was when something is wrong."""

    mode = "decimal"

    def __init__(self, *, big: bool = False, placeholder: str = "", **kwargs) -> None:
        attrs = {"class": "one"} if big else {}
        if placeholder:
            attrs["placeholder"] = placeholder
        kwargs.setdefault("error_messages", {}).setdefault("required", gettext_lazy("Enter a number."))
        super().__init__(widget=Number(self.mode, attrs), strip=True, **kwargs)

    def read(self, text: str):
        return units.number(text)

    def clean(self, value):
        text = super().clean(value)
        if text == "":
            return None
        try:
            return self.read(text)
        except (typed.NotANumber, units.UnitError) as error:
            raise ValidationError(str(error), code="number") from error


class WholeField(TypedField):
    mode = "numeric"

    def read(self, text: str) -> int:
        return typed.whole(text)


class BetweenField(TypedField):
    """A number of one unit, which may be typed beside it, between two limits."""

    def __init__(self, *, least: float, most: float, unit: str = "", **kwargs) -> None:
        self.least, self.most, self.unit = least, most, unit
        super().__init__(required=False, **kwargs)

    def read(self, text: str) -> float:
        value = units.number(text.removeprefix(self.unit).removesuffix(self.unit).strip() if self.unit else text)
        if not self.least <= value <= self.most:
            behind = f" {self.unit}" if self.unit else ""
            told = _("{value} cannot be: enter {least} to {most}.")
            raise typed.NotANumber(
                told.format(value=f"{value:g}{behind}", least=f"{self.least:g}", most=f"{self.most:g}{behind}")
            )
        return value


class WholeBetweenField(WholeField):
    """A whole number between two limits, or nothing."""

    def __init__(self, *, least: int, most: int, **kwargs) -> None:
        self.least, self.most = least, most
        super().__init__(required=False, **kwargs)

    def read(self, text: str) -> int:
        value = super().read(text)
        if not self.least <= value <= self.most:
            told = _("{value} cannot be: enter {least} to {most}.")
            raise typed.NotANumber(told.format(value=f"{value:,}", least=f"{self.least:,}", most=f"{self.most:,}"))
        return value


class MeasureField(TypedField):
    """A value of a quantity, in the unit its column is stored in. A bare number is in the user's own unit."""

    def __init__(self, quantity: str, system: units.System, **kwargs) -> None:
        self.quantity, self.system = quantity, system
        self.unit = units.column(quantity).unit(system)
        super().__init__(**kwargs)

    def read(self, text: str) -> float:
        return units.parse(text, self.quantity, self.system).value

    def prepare_value(self, value):
        """A stored value as the user would type it; text that was typed stays as it is."""
        if isinstance(value, float | int):
            return f"{units.shown_value(value, self.quantity, self.system):.6g}"
        return value


class MomentField(forms.DateTimeField):
    """A date and time to the minute, in the shop's time zone."""

    def __init__(self, **kwargs) -> None:
        kwargs.setdefault("error_messages", {}).update(
            required=gettext_lazy("Enter the date and the time."),
            invalid=gettext_lazy("This is not a date and time. Type it as 2026-11-25 14:05."),
        )
        super().__init__(
            widget=forms.DateTimeInput({"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"),
            input_formats=["%Y-%m-%dT%H:%M", "%Y-%m-%dT%H:%M:%S", "%Y-%m-%d %H:%M"],
            **kwargs,
        )

    def to_python(self, value):
        if isinstance(value, str):
            value = value.strip()[:40]
        try:
            moment = super().to_python(value)
        except ValidationError as error:
            if error.code == "ambiguous_timezone":
                raise ValidationError(
                    _("The clocks changed in that hour, so this time is not clear. Enter one before or after it.")
                ) from error
            raise
        except OverflowError as error:
            raise ValidationError(self.error_messages["invalid"], code="invalid") from error
        if moment is not None and moment.year not in YEARS:
            raise ValidationError(_("The year {year} cannot be. Check the date.").format(year=moment.year), code="year")
        return moment


class PhotoBox(forms.FileInput):
    """A button that takes a photo, or picks one; a script makes it smaller before it is sent."""

    needs_multipart_form = True

    def __init__(self) -> None:
        super().__init__({"accept": "image/*", "data-photo": str(pictures.BYTES_AT_MOST)})


class PhotoField(forms.FileField):
    """A photo, drawn anew: what comes out is a `Picture`, or nothing where none was sent."""

    def __init__(self, **kwargs) -> None:
        kwargs = {"label": gettext_lazy("Photo"), "required": False, "widget": PhotoBox()} | kwargs
        super().__init__(**kwargs)

    def clean(self, value, initial=None):
        if not value or isinstance(value, str):
            if self.required:
                raise ValidationError(self.error_messages["required"], code="required")
            return None
        if value.size > pictures.BYTES_AT_MOST:
            raise ValidationError(pictures.too_large(value.size), code="size")
        try:
            return pictures.drawn_anew(value.read())
        except pictures.PictureRefused as refused:
            raise ValidationError(str(refused), code="picture") from refused


def minute(moment: dt.datetime) -> dt.datetime:
    return moment.replace(second=0, microsecond=0)


def local_minute(moment: dt.datetime | None) -> str:
    return "" if moment is None else date_format(timezone.localtime(moment), "j M, H:i")


def choices(pairs: Iterable[tuple[object, object]]) -> list[tuple[str, object]]:
    return [("" if value is None else str(value), label) for value, label in pairs]
