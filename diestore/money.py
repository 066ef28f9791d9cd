"""Money in the database: whole ten-thousandths of the currency unit, so that sums are exact on every engine."""

from __future__ import annotations

from decimal import ROUND_HALF_EVEN, Decimal, InvalidOperation

from django import forms
from django.core.exceptions import ValidationError
from django.db import models
from django.utils.translation import gettext as _

STEPS = Decimal(10_000)  # a spare may cost 0.0385 each in a box of a thousand


class MoneyField(models.BigIntegerField):
    """A Decimal in Python, a BIGINT of ten-thousandths in the database (SQLite would keep a decimal as a float)."""

    description = "Money"

    def from_db_value(self, value, expression, connection):
        return None if value is None else Decimal(int(value)) / STEPS

    def to_python(self, value):
        if value is None or isinstance(value, Decimal):
            return value
        try:
            amount = Decimal(str(value))
        except InvalidOperation as error:
            raise ValidationError(_("{value!r} is not an amount of money.").format(value=value)) from error
        if not amount.is_finite():
            raise ValidationError(_("{value!r} is not an amount of money.").format(value=value))
        return amount

    def get_prep_value(self, value):
        value = self.to_python(value)
        return None if value is None else int((value * STEPS).to_integral_value(rounding=ROUND_HALF_EVEN))

    def formfield(self, **kwargs):
        return models.Field.formfield(
            self, **{"form_class": forms.DecimalField, "max_digits": 16, "decimal_places": 4, **kwargs}
        )

    def value_to_string(self, obj):
        value = self.value_from_object(obj)
        return "" if value is None else str(value)

    @property
    def validators(self):
        return []  # the integer range validators compare with Decimals of another scale
