"""The page of what is ahead of a customer's tools, in money."""

from __future__ import annotations

from decimal import Decimal

from django.contrib.auth.decorators import permission_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from diestore.access import plants, roles, shop
from reports.costing.money import rounded
from reports.costing.own_log import ELEMENTS
from reports.costing.years_ahead import KEYS, Band, Path
from reports.format import day, how_old

from . import reads
from .ahead import MONTHS, CustomerAhead, ToolAhead, of_customer
from .customers import customer_of


@require_safe
@permission_required(roles.SEE_COST, raise_exception=True)
def ahead_page(request: HttpRequest, pk: int) -> HttpResponse:
    """Twelve months of all tools of a customer in one plant: tool by tool, and month by month."""
    customer, picked = customer_of(pk), plants.picked(request)
    told = of_customer(customer, list(reads.tools_of(customer, picked.plant)) if picked.plant else [])
    shown = {
        "customer": customer, "picked": picked, "told": told, "currency": shop.current().currency,
        "tools": [_tool(one) for one in told.tools], "names": [_(ELEMENTS[key][0]) for key in KEYS],
        "whole": _year(told.together), "theirs": _year(told.theirs), "rest": _year(told.the_rest),
        "by_key": [_year(told.by_key[key])["expected"] for key in KEYS], "months": _months(told),
        "how_old": how_old(told.records_until, told.today), "query": picked.query if picked.several else "",
    }  # fmt: skip
    return render(request, "reports/owners/ahead.html", shown)


def _whole(value: Decimal) -> str:
    """As the page of the years ahead of one die has it."""
    return f"{rounded(value, Decimal(1)):,}"


def _band(band: Band) -> dict[str, str]:
    return {name: _whole(getattr(band, name)) for name in ("expected", "low", "half", "high")}


def _year(path: Path) -> dict[str, str]:
    return _band(path.of(slice(0, MONTHS)))


def _tool(one: ToolAhead) -> dict:
    band = one.band()
    if band is None:
        return {"die": one.die, "refusal": one.years.refusal}
    return {
        "die": one.die,
        "parts": one.years.parts[0],
        "by_key": [(_whole(one.band(key).expected), key in one.theirs) for key in KEYS],
        "band": _band(band),
    }


def _months(told: CustomerAhead) -> list[dict]:
    return [
        {
            "until": day(until),
            "by_key": [_whole(told.by_key[key].months[n].expected) for key in KEYS],
            "band": _band(told.together.months[n]),
        }
        for n, until in enumerate(told.months)
    ]
