"""The pages on cost."""

from __future__ import annotations

from decimal import Decimal

import numpy as np
from django.contrib.auth.decorators import permission_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from diestore.access import plants, roles, shop
from diestore.frame.tables import Rows, lay_out
from maintenance.wording.odds import chance
from reports.costing.money import MoneyRefused, rounded
from reports.costing.own_log import NO_PART_VALUE
from reports.format import cents, day, how_old, money
from reports.spares import kept as spares_kept

from . import kept, plot, reads, sheets, stacked, two_builds, year_ahead
from .forms import ChangeForm
from .table import CostTable

PER_PAGE = 50
VOLUMES = 41
RUNNING = ("sharpening", "spares", "repair", "stop", "other")


@require_safe
@permission_required(roles.SEE_COST, raise_exception=True)
def cost_page(request: HttpRequest) -> HttpResponse:
    """All dies, what each has cost per thousand parts so far."""
    picked = plants.picked(request)
    rows = kept.costs_of(picked.plant) if picked.plant else []
    text = request.GET.get("q", "").strip().casefold()
    wanted = [r for r in rows if not text or text in f"{r.die.code} {r.die.description}".casefold()]
    table = CostTable(Rows(wanted))
    lay_out(request, table, PER_PAGE)
    known = [row for row in rows if row.per_thousand is not None]
    grinds = max(known, key=lambda row: row.sorted_sharpening, default=None)
    return render(
        request,
        "reports/cost/cost.html",
        {
            "table": table,
            "picked": picked,
            "rows": rows,
            "known": known,
            "elements": stacked.ELEMENTS,
            "no_part_value": any(words.endswith(NO_PART_VALUE) for row in known for words in row.sheet.left_out),
            "q": request.GET.get("q", ""),
            "dearest": known[0] if known else None,
            "dearest_cost": cents(known[0].per_thousand) if known else "",
            "grinds": grinds if grinds and grinds.share("sharpening") else None,
            "grinds_cost": cents(grinds.share("sharpening")) if grinds and grinds.share("sharpening") else "",
            "currency": shop.current().currency,
        },
    )


@require_safe
@permission_required(roles.SEE_COST, raise_exception=True)
def cost_die_page(request: HttpRequest, pk: int) -> HttpResponse:
    """One die: what it has cost, what the year ahead will cost, and what another build would."""
    die = plants.within(reads.with_plant(), request.user).filter(pk=pk).first()
    if die is None:
        raise Http404(_("No such die here."))
    plant = die.plant
    asked = any(name in request.GET for name in ChangeForm.base_fields)
    form = ChangeForm(request.GET if asked else None, initial={"when": "now", "sides": "upper", "pieces": 1})
    cost = sheets.cost_per_thousand(die)
    ahead = spares_kept.ahead_of_die(die)
    year = year_ahead.year_ahead(cost, ahead=ahead)
    volumes = _volumes(cost, year)
    two = two_builds.two_builds(cost, year, form.change, volumes, ahead=ahead)
    return render(
        request,
        "reports/cost/die.html",
        {
            "die": die,
            "all_dies": f"?plant={plant.pk}" if len(plants.all_seen(request.user)) > 1 else "",
            "cost": cost,
            "figure": cents(cost.per_thousand) if cost.per_thousand is not None else "",
            "running": cents(cost.running) if cost.running is not None else "",
            "build": cents(cost.per_thousand - cost.running) if cost.running is not None else "",
            "ahead": year,
            "year": _year(year),
            "lines": _lines(cost, year),
            "form": form,
            "change": form.change,
            "two": two,
            "compared": _compared(two, cost, year, form.change),
            "plot": _plot(two, volumes, die, form.change),
            "how_old": how_old(year.records_until, year.as_of),
            "since": day(cost.spent.first.date()) if cost.spent.first else "",
            "currency": shop.current().currency,
            "sharpening": money(year.prices.sharpening) if year.prices and year.prices.sharpening is not None else "",
        },
    )


def _volumes(cost: sheets.DieCost, year: year_ahead.Ahead) -> list[int]:
    middle = cost.die.expected_parts or max(cost.spent.parts, int(year.strokes) * 10, 100_000)
    return sorted({int(v) for v in np.geomspace(max(middle / 100, 1_000), middle * 4, VOLUMES)})


def _year(year: year_ahead.Ahead) -> dict | None:
    if year.year is None:
        return None
    low, high = year.year.per_thousand_band
    return {
        "figure": cents(year.year.per_thousand),
        "low": cents(low),
        "high": cents(high),
        "parts": year.year.planned_parts,
        "total": money(year.year.expected, cents=False),
    }


def _lines(cost: sheets.DieCost, year: year_ahead.Ahead) -> list[dict]:
    """The elements of the log and of the year ahead, side by side."""
    ahead = {e.key: e for e in year.year.elements} if year.year else {}
    lines = []
    for key in ("build", *RUNNING):
        element, coming = cost.sheet.element(key), ahead.get(key)
        if element is None and coming is None:
            continue
        band = coming.per_thousand_band if coming else None
        lines.append(
            {
                "key": key,
                "name": (element or coming).name,
                "bills": any(bill.kind == key for bill in cost.spent.bills) if cost.spent else False,
                "amount": money(element.amount, cents=False) if element else "",
                "basis": element.basis if element else "",
                "so_far": cents(element.per_thousand) if element else "",
                "ahead": cents(coming.per_thousand) if coming else "",
                "band": _("{low} to {high}").format(low=cents(band[0]), high=cents(band[1]))
                if band and band[0] != band[1]
                else "",
                "how_many": coming.how_many if coming else None,
            }
        )
    return lines


def _compared(
    two: two_builds.TwoBuilds, cost: sheets.DieCost, year: year_ahead.Ahead, change: two_builds.Change | None
) -> dict | None:
    """The two builds in figures."""
    if two.comparison is None or change is None:
        return None
    made = two.comparison
    over = two_builds.volume(cost, year, new=change.new)
    parts = over.parts
    rows = []
    for plan in (made.a, made.b):
        intervals = np.array(plan.intervals_hits)
        running = plan.running_per_thousand()
        share = plan.price * 1000 / parts
        shares = plan.parts_of_running()
        low, middle, high = np.quantile(intervals, [0.1, 0.5, 0.9])
        rows.append(
            {
                "name": plan.name,
                "price": money(plan.price, cents=False),
                "interval": _round(middle),
                "interval_band": _("{low} to {high}").format(low=_round(low), high=_round(high)),
                "sharpening": cents(shares["sharpening"]),
                "spares": cents(shares["spares"]),
                "by_stroke": cents(shares["by the stroke"]),
                "running": cents(running.expected),
                "running_band": _("{low} to {high}").format(low=cents(running.low), high=cents(running.high)),
                "whole": cents(share + running.expected),
            }
        )
    crossing, band = made.crossing.parts, made.crossing_band
    low, middle, high = two.times
    return {
        "rows": rows,
        "parts": parts,
        "over": over.words,
        "back": _pays_back(two, over, year, cost),
        "times": f"{middle:.2g}",
        "times_band": _("{low} and {high}").format(low=f"{low:.2g}", high=f"{high:.2g}"),
        "longer": middle >= 1,
        "crossing": _round(float(crossing)) if crossing is not None else "",
        "from": _round(float(band[0])) if band and band[0] is not None else "",
        "to": _round(float(band[1])) if band and band[1] is not None else "",
        "above": made.crossing.cheaper_above,
        "always": made.crossing.cheaper_above if crossing is None else "",
        "chance": chance(made.chance_b_is_cheaper(parts)),
        "saves": money(abs(_at(made.a, parts) - _at(made.b, parts)), cents=False),
        "cheaper": _at(made.b, parts) < _at(made.a, parts),
    }


def _pays_back(
    two: two_builds.TwoBuilds, over: two_builds.Volume, year: year_ahead.Ahead, cost: sheets.DieCost
) -> dict | None:
    """When the extra money is back, what it is worth today and what it earns, in words."""
    percent, assumed = two_builds.interest(cost, year.as_of)
    try:
        back = two_builds.pays_back(two, over, year, percent)
    except MoneyRefused as reason:
        return {"refusal": _("When it pays back is not said: {reason}").format(reason=reason)}
    if back is None:
        return None
    rate = back.rate.rate if back.rate.is_plain else None
    return {
        "extra": money(abs(back.extra), cents=False),
        "is_alike": back.extra == 0 and rounded(back.saved_a_year) == 0,
        "is_dearer": back.extra > 0,
        "saved": money(abs(back.saved_a_year), cents=False),
        "saves": back.saved_a_year > 0,
        "years": f"{back.years:.1f}" if back.years is not None else "",
        "low": f"{back.low:.1f}" if back.low is not None else "",
        "high": f"{back.high:.1f}" if back.high is not None else "",
        "with_interest": f"{back.with_interest:.1f}" if back.with_interest is not None else "",
        "life": f"{back.life_years:.1f}",
        "worth": money(back.worth, cents=False),
        "interest": f"{percent:f}".rstrip("0").rstrip("."),
        "assumed": assumed,
        "rate": f"{rate * 100:.0f}" if rate is not None and back.extra > 0 else "",
        "chance": chance(back.chance),
    }


def _at(plan, parts: int) -> Decimal:
    return plan.price + plan.running_per_thousand().expected * parts / 1000


def _round(hits: float) -> str:
    """To three figures."""
    return f"{float(f'{hits:.3g}'):,.0f}"


def _plot(two: two_builds.TwoBuilds, volumes: list[int], die, change: two_builds.Change | None):
    if two.a is None:
        return ""
    now = change is not None and not change.new
    named = [plot.Volume(x=float(die.expected_parts), word=_("built for"))] if die.expected_parts and not now else []
    if two.comparison is None:
        curves = [_alone(two.a, volumes)]
    else:
        curves = [_curve(c, volumes, n) for n, c in enumerate(two.comparison.curves)]
        crossing = two.comparison.crossing.parts
        if crossing is not None:
            named.append(plot.Volume(x=float(crossing), word=_("cost the same")))
    return plot.against_volume(
        curves,
        x_label=_("parts still to be made") if now else _("parts over the life of the die"),
        y_label=_("{currency} per thousand parts").format(currency=shop.current().currency),
        title=_("Cost per thousand parts of {code} against the parts it makes in its life").format(code=die.code),
        named=named,
    )


def _curve(curve, volumes: list[int], number: int) -> plot.CostCurve:
    return plot.CostCurve(
        name=curve.name,
        x=volumes,
        y=[float(v) for v in curve.expected],
        low=[float(v) for v in curve.low],
        high=[float(v) for v in curve.high],
        dashed=number > 0,
    )


def _alone(plan, volumes: list[int]) -> plot.CostCurve:
    running = plan.running_per_thousand()
    build = [float(plan.price) * 1000 / v for v in volumes]
    return plot.CostCurve(
        name=plan.name,
        x=volumes,
        y=[b + float(running.expected) for b in build],
        low=[b + float(running.low) for b in build],
        high=[b + float(running.high) for b in build],
    )
