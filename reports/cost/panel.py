"""What the reports hang into a die's page: what it costs."""

from __future__ import annotations

from django.template.loader import render_to_string
from django.utils.translation import gettext as _

from diestore.access import shop
from reports.format import cents

from . import sheets


def what_it_costs(request, die) -> str:
    """One sentence from the die's own log, and the way to the rest."""
    cost = sheets.cost_per_thousand(die)
    if cost.per_thousand is None:
        return ""
    running = sorted(cost.sheet.elements, key=lambda element: -element.per_thousand)
    return render_to_string(
        "reports/cost/panel.html",
        {
            "die": die,
            "figure": cents(cost.per_thousand),
            "elements": [(_(element.name), cents(element.per_thousand)) for element in running],
            "parts": cost.sheet.parts_made,
            "left_out": cost.sheet.left_out,
            "currency": shop.current().currency,
        },
    )
