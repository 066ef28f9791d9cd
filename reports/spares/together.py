"""What else to order from a supplier to whom an order goes anyway."""

from __future__ import annotations

from django.contrib.auth.decorators import permission_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from diestore.access import plants, roles
from diestore.register.models import Rate
from maintenance.log import purchase_reads
from reports.format import day
from reports.purchasing.together import Candidate, additions, orders_saved

from . import advice, kept, said, supply
from .costs import ShopCosts

USUAL_DAYS = 28  # between two orders to a supplier, where the records do not say; common practice, no source
LEAST_DAYS = 7


@require_safe
@permission_required(roles.ORDER_SPARES, raise_exception=True)
def order_more(request: HttpRequest, pk: int) -> HttpResponse:
    """The other spares of that supplier that come to be ordered before the next order would go to him anyway."""
    order = purchase_reads.draft_of(pk, plants.all_seen(request.user))
    if order is None:
        raise Http404(_("No such draft with a supplier."))
    between = purchase_reads.days_between_orders(order.plant, order.supplier_id)
    within = max(round(between or USUAL_DAYS), LEAST_DAYS)
    listed = kept.of_plant(order.plant)
    drafts = supply.of_plant(order.plant).drafts
    costs = ShopCosts.of(order.plant, today=listed.today, records_until=listed.records_until) if listed.today else None
    rows = {
        row.item.pk: row
        for row in listed.wanted(advice.Asked(within_days=within, supplier=str(order.supplier)))
        if row.item.pk not in drafts and row.quantity and row.item.retired_at is None and row.each is not None
    }
    found, together = (), 0
    if costs is not None:
        share = sum(
            costs.rate(kind).value for kind in (Rate.Kind.CAPITAL_PERCENT, Rate.Kind.KEEPING_PERCENT,
                                                Rate.Kind.AGEING_PERCENT)
        ) / 100  # fmt: skip
        candidates = [
            Candidate(key=key, days_left=max(row.days_left, 0), pieces=row.quantity, price=float(row.each),
                      keep_a_year=share)
            for key, row in rows.items()
        ]  # fmt: skip
        found = additions(candidates, order_cost=costs.rate(Rate.Kind.PURCHASE_ORDER).value, within_days=within)
        together = orders_saved([max(rows[one.key].days_left, 0) for one in found], together_days=LEAST_DAYS)
    shown = {
        "order": order, "within": within, "known": between is not None, "together": together,
        "cost": said.amount(costs.rate(Rate.Kind.PURCHASE_ORDER).value) if costs else "",
        "query": f"?plant={order.plant_id}" if len(plants.all_seen(request.user)) > 1 else "",
        "lines": [
            {
                "row": rows[one.key], "day": day(rows[one.key].order_by),
                "money": said.amount(float(rows[one.key].value)),
                "keeping": said.amount(one.keeping), "worth": said.amount(one.worth),
            }
            for one in found
        ],
    }  # fmt: skip
    return render(request, "reports/spares/together.html", shown)
