"""The buyer's pages."""

from __future__ import annotations

from django.conf import settings
from django.contrib.auth.decorators import permission_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from diestore import roles
from diestore.tables import lay_out
from maintenance import spare_queries
from maintenance.words import chance

from . import spares
from .exports import csv_response
from .marks import day, money
from .plants import plant_of
from .spares_table import HEAD, WORDS, SpareFilter, SpareTable, csv_row

PER_PAGE = 50


@require_safe
@permission_required(roles.SEE_SPARES, raise_exception=True)
def spares_page(request: HttpRequest) -> HttpResponse:
    """Every spare, those to order first."""
    plant = plant_of(request.user)
    rows = spares.all_spares(plant) if plant else []
    chosen = SpareFilter(request.GET, rows)
    wanted = chosen.wanted()
    table = SpareTable(wanted, prefix="")
    lay_out(request, table, PER_PAGE)
    due = [row for row in rows if row.is_due]
    soon = [row for row in rows if row.state == "soon"]
    worth = [row.value for row in due if row.value is not None]
    return render(
        request,
        "reports/spares.html",
        {
            "table": table,
            "filter": chosen,
            "rows": rows,
            "wanted": wanted,
            "due": due,
            "first": [row.code for row in due[:3]],
            "more": max(len(due) - 3, 0),
            "soon": soon,
            "unknown": [row for row in rows if row.advice is None],
            "worth": money(sum(worth), cents=False) if worth else "",
            "unpriced": sum(row.value is None for row in due),
            "as_of": day(rows[0].today) if rows else "",
            "query": request.GET.urlencode(),
        },
    )


@require_safe
@permission_required(roles.SEE_SPARES, raise_exception=True)
def spares_csv(request: HttpRequest) -> HttpResponse:
    """The same rows as a file, filtered like the page."""
    plant = plant_of(request.user)
    rows = SpareFilter(request.GET, spares.all_spares(plant) if plant else []).wanted()
    return csv_response("spares.csv", HEAD, (csv_row(row, settings.CURRENCY) for row in rows))


@require_safe
@permission_required(roles.SEE_SPARES, raise_exception=True)
def spare_page(request: HttpRequest, pk: int) -> HttpResponse:
    """Why: the dies and places behind one spare."""
    plant = plant_of(request.user)
    item = spare_queries.items_in_use(plant).filter(pk=pk).first() if plant else None
    if item is None:
        raise Http404("No such spare here.")
    why = spares.why(item, plant)
    row = why.row
    return render(
        request,
        "reports/spare.html",
        {
            "item": item,
            "row": row,
            "why": why,
            "word": WORDS[row.state],
            "as_of": day(row.today),
            "order_by": day(row.order_by),
            "price": money(item.unit_price) if item.unit_price is not None else "",
            "value": money(row.value, cents=False) if row.value is not None else "",
            "enough": chance(row.advice.enough) if row.advice else "",
            "bars": [(n, round(100 * p), round(p * 200)) for n, p in why.chances],
        },
    )
