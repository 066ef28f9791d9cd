"""The page of the next euro, and its file."""

from __future__ import annotations

from django.contrib.auth.decorators import permission_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext_noop
from django.views.decorators.http import require_safe

from diestore.access import plants, roles, shop
from diestore.exports import csv_response
from diestore.frame.tables import Rows, lay_out
from maintenance.wording.odds import chance
from reports.costing.money import rounded
from reports.format import day, money

from . import kept
from .table import GainsTable

PER_PAGE = 50
SORTS = {
    "gap": gettext_noop("gap"),
    "steel": gettext_noop("tool steel"),
    "coating": gettext_noop("coating"),
    "grind": gettext_noop("what is ground"),
}
HEAD = ["rank", "die", "change", "sort", "costs now", "saves a year", "worth today", "chance that it pays", "priced",
        "best of its sort on the die", "changed since", "doubts"]  # fmt: skip
NONE_YET = gettext_noop("No change was tried yet: the night does that, after the forecasts.")


@require_safe
@permission_required(roles.SEE_COST, raise_exception=True)
def page(request: HttpRequest) -> HttpResponse:
    """Every change on every die, what pays and costs nothing first."""
    picked = plants.picked(request)
    told = kept.rows_of(picked.plant) if picked.plant else kept.KeptRows(kept=None)
    sort, text = request.GET.get("sort_of", ""), request.GET.get("q", "").strip().casefold()
    every = request.GET.get("every") == "1"
    rows = [
        row
        for row in told.rows
        if (every or (row.is_best and row.gain.pays))
        and (sort not in SORTS or row.gain.sort == sort)
        and (not text or text in f"{row.gain.die} {row.gain.words}".casefold())
    ]
    table = GainsTable(Rows(rows))
    lay_out(request, table, PER_PAGE)
    paying = [row for row in told.rows if row.is_best and row.gain.pays]
    free = [row for row in paying if row.gain.is_free]
    first = next(iter(paying), None)
    return render(
        request,
        "reports/gains/gains.html",
        {
            "table": table,
            "picked": picked,
            "told": told,
            "tried": len(told.rows),
            "none_yet": NONE_YET,
            "made": day(timezone.localdate(told.kept.made_at)) if told.kept else "",
            "sorts": SORTS,
            "sort_of": sort,
            "every": every,
            "q": request.GET.get("q", ""),
            "paying": len(paying),
            "free": len(free),
            "first": first,
            "first_worth": money(first.gain.worth, cents=False) if first else "",
            "first_chance": chance(first.gain.chance) if first else "",
            "waits": len({row.die for row in told.rows if row.waits}),
            "currency": shop.current().currency,
        },
    )


@require_safe
@permission_required(roles.SEE_COST, raise_exception=True)
def as_csv(request: HttpRequest) -> HttpResponse:
    """All changes tried, to the cent."""
    picked = plants.picked(request)
    told = kept.rows_of(picked.plant) if picked.plant else kept.KeptRows(kept=None)
    rows: list[list] = [
        [
            row.number,
            row.gain.die,
            row.gain.words,
            SORTS[row.gain.sort],
            rounded(row.gain.extra) if row.gain.is_priced else "",
            rounded(row.gain.saved_a_year),
            rounded(row.gain.worth),
            f"{row.gain.chance:.3f}",
            "yes" if row.gain.is_priced else "no",
            "yes" if row.is_best else "no",
            "yes" if row.waits else "no",
            " ".join(row.tried.doubts),
        ]
        for row in told.rows
    ]
    rows += [["", code, f"Nothing was tried. {why}", *[""] * (len(HEAD) - 3)] for _, code, why in told.untold]
    if not rows:
        rows.append(["", "", NONE_YET, *[""] * (len(HEAD) - 3)])
    return csv_response("gains.csv", HEAD, rows)
