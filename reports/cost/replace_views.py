"""The page that asks whether to keep a die or to build it anew, and its file."""

from __future__ import annotations

from decimal import Decimal

from django.contrib.auth.decorators import permission_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from diestore.access import plants, roles, shop
from diestore.exports import csv_response
from diestore.register.models import Die
from maintenance.wording import odds
from reports.costing.money import rounded
from reports.costing.own_log import ELEMENTS
from reports.costing.replacing import KeptYear
from reports.format import day, how_old, money
from reports.spares import kept as spares_kept

from . import plot, reads, sheets, two_builds
from .forms import ReplaceForm
from .replace import Asked, Replacing, replacing, start_of
from .sheets import YEAR_DAYS

SHOWN = ("sharpening", "spares", "stop", "repair")
HEAD = [
    "year until", "parts", "sharpening", "spares", "stops and scrap", "repair", "this one together", "1 in 10 below",
    "9 in 10 below", "with interest on its worth", "a new one a year", "kept years",
    "waiting through the year is worth", "chance that a new one is cheaper",
    "all in today's money if replaced when the year begins",
]  # fmt: skip


@require_safe
@permission_required(roles.SEE_COST, raise_exception=True)
def replace_page(request: HttpRequest, pk: int) -> HttpResponse:
    """One die: what each further year with it costs beside what a new one costs a year."""
    die, form, asked, made, assumed = _asked(request, pk)
    told = made.told
    return render(
        request,
        "reports/cost/replace.html",
        {
            "die": die,
            "form": form,
            "made": made,
            "rows": [_row(made, year) for year in told.years] if told else [],
            "said": _said(made, asked) if told else None,
            "lives": _lives(made) if told else [],
            "never": _whole(told.never) if told else "",
            "elements": [ELEMENTS[key][0] for key in SHOWN],
            "plot": _plot(made, die) if told else "",
            "asked": asked,
            "interest": _percent(asked.interest),
            "interest_assumed": assumed,
            "rise": _percent(asked.rise) if asked.rise else "",
            "tried": f"{asked.parts:,.0f}" if asked.parts is not None else "",
            "how_old": how_old(made.first_year.records_until, made.first_year.as_of) if made.first_year else "",
            "currency": shop.current().currency,
            "query": request.GET.urlencode(),
        },
    )


@require_safe
@permission_required(roles.SEE_COST, raise_exception=True)
def replace_csv(request: HttpRequest, pk: int) -> HttpResponse:
    """The years as a file: the page's figures to the cent."""
    die, _, _, made, _ = _asked(request, pk)
    if made.told is None:
        return csv_response(f"keep-{die.code}.csv", HEAD, [[made.refusal, *[""] * (len(HEAD) - 1)]])
    rows = [
        [
            made.until[n].isoformat(), made.parts[n], *(made.by_key[key][n] for key in SHOWN), year.cost, year.low,
            year.high, *map(rounded, (year.keeping, year.anew)), year.life, rounded(year.waiting),
            round(year.chance, 3), rounded(year.plan),
        ]
        for n, year in enumerate(made.told.years)
    ]  # fmt: skip
    never = ["kept throughout", *[""] * (len(HEAD) - 2), rounded(made.told.never)]
    return csv_response(f"keep-{die.code}.csv", HEAD, [*rows, never])


def _asked(request: HttpRequest, pk: int) -> tuple[Die, ReplaceForm, Asked, Replacing, bool]:
    die = plants.within(reads.with_plant(), request.user).filter(pk=pk).first()
    if die is None:
        raise Http404("No such die here.")
    cost, ahead = sheets.cost_per_thousand(die), spares_kept.ahead_of_die(die)
    percent, assumed = two_builds.interest(cost, ahead.today)
    start = start_of(cost, ahead.strokes(die.pk, YEAR_DAYS))
    form = ReplaceForm(
        request.GET if request.GET else None,
        start={
            "price": None if start.price is None else rounded(start.price),
            "overhaul": None,
            "repairs": rounded(start.repairs, Decimal(1)),
            "aging": Decimal(0),
            "old_brings": None,
            "new_brings": None,
            "parts": None,
            "rise": None,
            "interest": Decimal(f"{percent.normalize():f}"),
        },
    )

    def of(name: str) -> Decimal:
        return form.value(name) or Decimal(0)

    tried = form.value("parts")
    asked = Asked(
        price=form.value("price"),
        old_brings=of("old_brings"),
        new_brings=of("new_brings"),
        interest=of("interest") / 100,
        rise=of("rise") / 100,
        repairs=of("repairs"),
        aging=of("aging") / 100,
        overhaul=of("overhaul"),
        parts=None if tried is None else float(tried),
    )
    return die, form, asked, replacing(cost, asked, ahead=ahead), assumed and of("interest") == percent


def _percent(share: Decimal) -> str:
    return f"{(share * 100).normalize():f}"


def _whole(amount: Decimal) -> str:
    return f"{rounded(amount, Decimal(1)):,}"


def _row(made: Replacing, year: KeptYear) -> dict:
    n = year.number - 1
    return {
        "name": f"Year {year.number}",
        "until": f"{made.until[n]:%b %Y}",
        "parts": made.parts[n],
        "by_key": [_whole(made.by_key[key][n]) for key in SHOWN],
        "cost": _whole(year.cost),
        "band": f"{_whole(year.low)} to {_whole(year.high)}",
        "keeping": _whole(year.keeping),
        "anew": _whole(year.anew),
        "life": year.life,
        "waiting": _whole(abs(year.waiting)),
        "saves": year.waiting > 0,
        "chance": odds.percent(year.chance),
        "plan": _whole(year.plan),
        "pays": year.pays,
        "is_best": made.told is not None and made.told.best == n,
        "beyond": made.beyond is not None and year.number >= made.beyond,
    }


def _said(made: Replacing, asked: Asked) -> dict:
    """The answer in figures that stand in sentences."""
    told = made.told
    first, dearer = told.years[0], told.first_dearer
    best = told.best
    after = told.never if best is None else told.years[best].plan
    return {
        "best": best,
        "until": day(made.until[best - 1]) if best else "",
        "years": len(told.years),
        "keeping": _whole(first.keeping),
        "anew": _whole(first.anew),
        "anew_band": f"{_whole(told.low)} and {_whole(told.high)}",
        "life": first.life,
        "longer": told.life.still_falling,
        "waiting": money(abs(first.waiting), cents=False),
        "saves": first.waiting > 0,
        "now": money(first.plan - after, cents=False) if first.plan - after > Decimal("0.5") else "",
        "chance": odds.chance(told.chance),
        "beyond": made.beyond,
        "parts_made": f"{made.parts_made:,}",
        "dearer": None if dearer is None else dearer.number,
        "hump": dearer is not None and (best is None or dearer.number - 1 < best),
        "cash": _whole(made.cash.expected),
        "cash_band": f"{_whole(made.cash.low)} and {_whole(made.cash.high)}",
        "long_run": "" if made.long_run is None else _whole(made.long_run),
        "long_run_low": made.long_run is not None and made.cash.expected < made.long_run,
        "price": money(asked.price, cents=False),
    }


def _lives(made: Replacing) -> list[dict]:
    """What a new one costs a year by the years that it is kept."""
    life = made.told.life
    return [
        {"years": n, "yearly": _whole(yearly), "is_best": n == life.years}
        for n, yearly in enumerate(life.by_year, start=1)
    ]


def _plot(made: Replacing, die: Die):
    bars = [
        plot.YearBar(
            parts=tuple(float(made.by_key[key][n]) for key in ("sharpening", "spares")),
            rest=float(year.keeping) - sum(float(made.by_key[key][n]) for key in ("sharpening", "spares")),
            low=float(year.low),
            high=float(year.high),
            level=float(year.anew),
            word=f"{made.until[n]:%b %Y}",
        )
        for n, year in enumerate(made.told.years)
    ]
    return plot.by_year(
        bars,
        y_label=f"{shop.current().currency} a year",
        title=f"What {die.code} costs in each year more, beside what a new one costs a year",
    )
