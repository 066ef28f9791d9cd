"""The page of what has been changed, and its file."""

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
from reports.costing.changes import FEW_ENDS, Verdict
from reports.costing.money import rounded
from reports.format import day, money

from . import kept
from .kept import Row
from .table import VERDICTS, ChangesTable

PER_PAGE = 50
HEAD = ["changed on", "die", "places", "change", "sort", "promised times", "promised low", "promised high",
        "happened times", "happened low", "happened high", "dull edges before", "dull edges since", "other positions",
        "verdict",
        "cost once",
        "promised a year", "happened a year", "happened a year low", "happened a year high", "saved less cost so far",
        "changed since", "doubts"]  # fmt: skip
NONE_YET = gettext_noop("Nothing was followed yet: the night does that, after the forecasts.")


@require_safe
@permission_required(roles.SEE_COST, raise_exception=True)
def page(request: HttpRequest) -> HttpResponse:
    """Every change that was made, the newest first."""
    picked = plants.picked(request)
    told = kept.rows_of(picked.plant) if picked.plant else kept.KeptRows(kept=None)
    text, said = request.GET.get("q", "").strip().casefold(), request.GET.get("verdict", "")
    rows = [
        row
        for row in told.rows
        if (said not in {one.name for one in Verdict} or row.followed.verdict == Verdict[said].value)
        and (not text or text in _all_words(row))
    ]
    table = ChangesTable(Rows(rows))
    lay_out(request, table, PER_PAGE)
    counts = {one: sum(row.followed.verdict == one.value for row in told.rows) for one in Verdict}
    brought = [row.followed.so_far for row in told.rows if row.followed.so_far is not None]
    return render(
        request,
        "reports/changes/changes.html",
        {
            "table": table,
            "picked": picked,
            "told": told,
            "none_yet": NONE_YET,
            "made": day(timezone.localdate(told.kept.made_at)) if told.kept else "",
            "verdicts": [(one.name, VERDICTS[one][1], counts[one]) for one in Verdict],
            "verdict": said,
            "q": request.GET.get("q", ""),
            "kept_n": counts[Verdict.KEPT],
            "short_n": counts[Verdict.SHORT],
            "early_n": counts[Verdict.EARLY],
            "unknown_n": counts[Verdict.UNKNOWN],
            "brought": money(sum(brought), cents=False) if brought else "",
            "few": FEW_ENDS,
            "waits": len({row.die for row in told.rows if row.waits}),
            "currency": shop.current().currency,
        },
    )


@require_safe
@permission_required(roles.SEE_COST, raise_exception=True)
def as_csv(request: HttpRequest) -> HttpResponse:
    """All changes that were made, to the cent."""
    picked = plants.picked(request)
    told = kept.rows_of(picked.plant) if picked.plant else kept.KeptRows(kept=None)
    rows: list[list] = [_as_row(row) for row in told.rows]
    rows += [["", code, "", f"Nothing was followed. {why}", *[""] * (len(HEAD) - 4)] for _, code, why in told.untold]
    if not rows:
        words = NONE_YET if told.kept is None else "No change was made by the record."
        rows.append(["", "", "", words, *[""] * (len(HEAD) - 4)])
    return csv_response("changes.csv", HEAD, rows)


def _all_words(row: Row) -> str:
    return f"{row.code} {row.followed.words} {' '.join(code for _, code in row.followed.places)}".casefold()


def _as_row(row: Row) -> list:
    one = row.followed
    promised, came = one.promised or (None, None, None), one.came
    figures = [*promised, came.times, came.low, came.high]
    sums = [one.extra, one.promised_sum[0], *one.came_sum, one.so_far]
    return [
        timezone.localdate(one.at).isoformat(),
        row.code,
        " ".join(code for _, code in one.places),
        one.words,
        " and ".join(one.sorts),
        *("" if figure is None else f"{figure:.3f}" for figure in figures),
        came.dull_before,
        came.dull_after,
        one.others,
        one.verdict,
        *("" if amount is None else rounded(amount) for amount in sums),
        "yes" if row.waits else "no",
        " ".join(one.doubts),
    ]
