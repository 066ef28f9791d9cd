"""Figures of the register are checked against what can be."""

from __future__ import annotations

from django.core.exceptions import ValidationError
from django.db import models
from django.utils.deconstruct import deconstructible

from diestore.handbook import limits


@deconstructible(path="diestore.register.models.Within")  # as the migrations know it
class Within:
    """A figure of the register that can be, as `limits` says of its table and column."""

    def __init__(self, table: str, column: str) -> None:
        self.table, self.column = table, column

    def __call__(self, value) -> None:
        limit = limits.OF[self.table, self.column]
        if not limit.holds(value):
            raise ValidationError(limit.sentence(value), code="limit")

    def __eq__(self, other) -> bool:
        return isinstance(other, Within) and (self.table, self.column) == (other.table, other.column)

    def __hash__(self) -> int:
        return hash((self.table, self.column))


def in_order(table: str, row: models.Model) -> None:
    """Figures of which one can be no more than the other."""
    wrong = limits.out_of_order(table, lambda column: getattr(row, column))
    if wrong:
        raise ValidationError(wrong)
