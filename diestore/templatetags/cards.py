"""Addresses and fields of cards."""

from __future__ import annotations

from django import template

from diestore.frame.fields import MeasureField

register = template.Library()


@register.simple_tag
def card_address(card, what: str = "", *args) -> str:
    return card.address(what, *args)


@register.simple_tag
def column_of(form, name: str) -> dict:
    """A bound field with its unit, where people type a bare number in one."""
    field = form.fields[name]
    typed = next(t for t in form.card.typed if t.name == name)
    unit = field.unit if isinstance(field, MeasureField) and not typed.must_say else ""
    return {"field": form[name], "unit": unit, "offers": typed.offers}
