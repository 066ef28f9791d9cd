"""Values in the units of the person who looks."""

from __future__ import annotations

from django import template

from diestore import units
from diestore.access import queries

register = template.Library()


@register.simple_tag(takes_context=True)
def measure(context, value, name: str, unknown: str = "–") -> str:
    """A stored value as this user's system shows it: {% measure cut.gap_mm "gap_mm" %}."""
    system = context.get("system")
    if system is None:
        system = queries.system_of(context["request"].user)
    return units.show(value, name, system, unknown=unknown)
