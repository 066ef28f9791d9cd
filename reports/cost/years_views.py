"""The page of a die's three years ahead, and its file."""

from __future__ import annotations

from decimal import Decimal

from django.contrib.auth.decorators import permission_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from diestore.access import plants, roles, shop
from diestore.exports import csv_response
from diestore.register.models import Die
from reports.costing.money import rounded
from reports.costing.own_log import ELEMENTS
from reports.costing.years_ahead import KEYS, Band
from reports.format import cents, day, how_old, money
from reports.spares import kept as spares_kept

from . import plot, reads, sheets
from .forms import YearsForm
from .years import DieYears, years_of

HEAD = ["month until", "hits", "sharpening", "spares", "stops and scrap", "together", "1 in 10 below", "half below",
        "9 in 10 below"]  # fmt: skip


@require_safe
@permission_required(roles.SEE_COST, raise_exception=True)
def years_page(request: HttpRequest, pk: int) -> HttpResponse:
    """One die: its money month by month, beside what it costs in the long run."""
    die, form, told = _asked(request, pk)
    years = [_year(told, n) for n in range(1, told.years.years + 1)] if told.years else []
    return render(
        request,
        "reports/cost/years.html",
        {
            "die": die,
            "form": form,
            "rise": form.data.get("rise", "").strip() if form.share else "",
            "told": told,
            "years": years,
            "elements": [(ELEMENTS[key][0], [year["by_key"][key] for year in years]) for key in KEYS],
            "months": _months(told),
            "plot": _plot(told, die),
            "long_run": money(told.long_run, cents=False) if told.long_run is not None else "",
            "whole": money(told.long_run + told.share_of_build, cents=False)
            if told.long_run is not None and told.share_of_build is not None
            else "",
            "long_run_thousand": _a_thousand(told.long_run, told.parts[0]) if told.long_run is not None else "",
            "big": [{"row": row, "until": day(row.until), "money": money(row.money, cents=False)} for row in told.big],
            "how_old": how_old(told.first_year.records_until, told.first_year.as_of) if told.first_year else "",
            "currency": shop.current().currency,
            "query": request.GET.urlencode(),
        },
    )


@require_safe
@permission_required(roles.SEE_COST, raise_exception=True)
def years_csv(request: HttpRequest, pk: int) -> HttpResponse:
    """The months as a file: the page's figures to the cent."""
    die, _, told = _asked(request, pk)
    rows: list[list] = []
    if told.years is None:
        rows.append([f"The years ahead are not known. {told.refusal}", *[""] * (len(HEAD) - 1)])
    else:
        together = told.years.together.months
        for n, until in enumerate(told.months):
            parts = [told.years.by_key[key].months[n].expected for key in KEYS]
            band = together[n]
            strokes = round(float(told.years.strokes[n]))
            rows.append([until.isoformat(), strokes, *parts, sum(parts), band.low, band.half, band.high])
    return csv_response(f"years-{die.code}.csv", HEAD, rows)


def _asked(request: HttpRequest, pk: int) -> tuple[Die, YearsForm, DieYears]:
    die = plants.within(reads.with_plant(), request.user).filter(pk=pk).first()
    if die is None:
        raise Http404("No such die here.")
    form = YearsForm(request.GET if request.GET else None)
    ahead = spares_kept.ahead_of_die(die)
    return die, form, years_of(sheets.cost_per_thousand(die), ahead=ahead, yearly_rise=form.share, tried=form.tried)


def _year(told: DieYears, number: int) -> dict:
    parts = told.parts[number - 1]
    band = told.years.together.year(number)
    return {
        "name": f"Year {number}",
        "until": day(told.months[min(12 * number, len(told.months)) - 1]),
        "parts": parts,
        "band": _band(band),
        "by_key": {key: _band(told.years.by_key[key].year(number)) for key in KEYS},
        "per_thousand": _a_thousand(band.expected, parts),
    }


def _band(band: Band) -> dict:
    return {
        "expected": _whole(band.expected),
        "low": _whole(band.low),
        "half": _whole(band.half),
        "high": _whole(band.high),
    }


def _whole(amount: Decimal) -> str:
    return f"{rounded(amount, Decimal(1)):,}"


def _a_thousand(amount: Decimal, parts: int) -> str:
    return cents(amount * 1000 / parts) if parts else ""


def _months(told: DieYears) -> list[dict]:
    if told.years is None:
        return []
    return [
        {
            "until": day(until),
            "by_key": [_whole(told.years.by_key[key].months[n].expected) for key in KEYS],
            "band": _band(band),
        }
        for n, (until, band) in enumerate(zip(told.months, told.years.together.months, strict=True))
    ]


def _plot(told: DieYears, die: Die):
    if told.years is None:
        return ""
    months = [
        plot.MonthBar(
            parts=tuple(float(told.years.by_key[key].months[n].expected) for key in KEYS),
            low=float(band.low),
            high=float(band.high),
            word=f"{until:%b %y}" if n % 3 == 2 else "",
        )
        for n, (until, band) in enumerate(zip(told.months, told.years.together.months, strict=True))
    ]
    return plot.by_month(
        months,
        level=float(told.long_run) / 12 if told.long_run is not None else None,
        y_label=f"{shop.current().currency} a month",
        title=f"What {die.code} is expected to cost in each of the next {len(months)} months",
    )
