"""The page and the file of the record for purchasing."""

from __future__ import annotations

from django.contrib.auth.decorators import permission_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from diestore.access import plants, roles, shop
from diestore.exports import csv_response
from diestore.frame.tables import Rows, lay_out
from diestore.register.models import Item
from reports.format import day
from reports.models import PurchasingRecord

from .page import HEAD, RecordTable, Shown, csv_lines

PER_PAGE = 50


def _row(request: HttpRequest):
    picked = plants.picked(request)
    return picked, PurchasingRecord.objects.filter(plant=picked.plant).first() if picked.plant else None


def _shown(row: PurchasingRecord) -> Shown:
    return Shown(row.figures, Item.objects.in_bulk([one["item"] for one in row.figures["rows"]]))


@require_safe
@permission_required(roles.SEE_SPARES, raise_exception=True)
def page(request: HttpRequest) -> HttpResponse:
    """The advice of then against a fixed minimum, over the last years, by name."""
    picked, row = _row(request)
    query = f"?{picked.query}" if picked.query else ""
    context = {"picked": picked, "row": row, "query": query}
    if row is not None and not row.refusal:
        shown = _shown(row)
        short = [line for line in shown.lines if not line.never_short]
        context |= {
            "shown": shown,
            "first": day(shown.first),
            "last": day(shown.last),
            "table": lay_out(request, RecordTable(Rows(shown.lines), prefix="", query=query), PER_PAGE),
            "short_count": len(short),
        }
    return render(request, "reports/record/record.html", context)


@require_safe
@permission_required(roles.SEE_SPARES, raise_exception=True)
def as_csv(request: HttpRequest) -> HttpResponse:
    """The same figures, a line a spare."""
    _, row = _row(request)
    lines = csv_lines(_shown(row), shop.current().currency) if row is not None and not row.refusal else ()
    return csv_response("purchasing-record.csv", HEAD, lines)
