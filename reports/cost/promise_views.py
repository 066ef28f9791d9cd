"""The page of a promise: sharpened free below so many hits, and what that costs."""

from __future__ import annotations

from decimal import Decimal

import numpy as np
from django.contrib.auth.decorators import permission_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from diestore.access import plants, roles, shop
from maintenance.wording import odds
from reports.costing.money import MoneyRefused, rounded
from reports.costing.promise import Kept, promise, usual_promise
from reports.format import cents, how_old
from reports.purchasing.laws import LawRefused
from reports.spares import kept as spares_kept

from . import plot, reads, sheets
from .forms import PromiseForm
from .year_ahead import YEAR_DAYS, prices_of

SHOWN = (0.5, 0.75, 1.0, 1.25, 1.5, 2.0)  # times what is promised
POINTS = 60


@require_safe
@permission_required(roles.SEE_COST, raise_exception=True)
def promise_page(request: HttpRequest, pk: int) -> HttpResponse:
    """One die: the price of sharpening it free where it does not last."""
    die = plants.within(reads.with_plant(), request.user).filter(pk=pk).first()
    if die is None:
        raise Http404(_("No such die here."))
    cost, ahead = sheets.cost_per_thousand(die), spares_kept.ahead_of_die(die)
    laws, refusal = (), ""
    try:
        laws = ahead.worlds(die.pk).laws
    except LawRefused as reason:
        refusal = _("Nothing is forecast of this die: {reason}").format(reason=reason)
    price_now = prices_of(cost.spent, [], cost.rates, ahead.today).sharpening if cost.spent and cost.rates else None
    start = {
        "hits": usual_promise(laws) if laws else None,
        "price": None if price_now is None else rounded(price_now),
        "strokes": round(ahead.strokes(die.pk, YEAR_DAYS)) or None,
    }
    form = PromiseForm(request.GET if request.GET else None, start=start)
    asked, price, strokes = form.value("hits"), form.value("price"), form.value("strokes")
    kept, curve = None, ""
    rows: list[dict] = []
    if not refusal and price is None:
        refusal = _("What a sharpening costs is not known: hours or the toolroom rate are missing. Type what it costs.")
    if not refusal and strokes is None:
        refusal = _("No job is open and nothing ran in the last year. Type how many strokes a year are planned.")
    if not refusal and asked is not None and price is not None and strokes is not None:
        given = {"laws": laws, "strokes_a_year": float(strokes), "sharpening": price,
                 "parts_per_hit": reads.parts_per_hit([die.pk]).get(die.pk, 1)}  # fmt: skip
        try:
            kept, *others = promise([float(asked), *(float(asked) * times for times in SHOWN)], **given)
            rows = [_row(one, is_asked=one.hits == kept.hits) for one in others]
            curve = _plot(promise(np.linspace(0, 2 * max(float(asked), 1.0), POINTS), **given), kept)
        except MoneyRefused as reason:
            refusal = f"{str(reason)[:1].upper()}{str(reason)[1:]}"
    return render(
        request,
        "reports/cost/promise.html",
        {
            "die": die,
            "form": form,
            "refusal": refusal,
            "kept": None if kept is None else _row(kept, is_asked=True),
            "rows": rows,
            "plot": curve,
            "how_old": how_old(ahead.records_until, ahead.today),
            "currency": shop.current().currency,
        },
    )


def _row(kept: Kept, *, is_asked: bool) -> dict:
    return {
        "hits": f"{round(kept.hits):,}",
        "chance": odds.percent(kept.chance),
        "free": f"{kept.free:.1f}",
        "money": f"{rounded(kept.money, Decimal(1)):,}",
        "band": _("{low} to {high}").format(
            low=f"{rounded(kept.low, Decimal(1)):,}", high=f"{rounded(kept.high, Decimal(1)):,}"
        ),
        "per_thousand": "" if kept.per_thousand is None else cents(kept.per_thousand),
        "is_asked": is_asked,
    }


def _plot(kept: tuple[Kept, ...], asked: Kept):
    return plot.against_promise(
        [one.hits for one in kept],
        [float(one.money) for one in kept],
        [(float(one.low), float(one.high)) for one in kept],
        asked=asked.hits,
        y_label=_("{currency} a year").format(currency=shop.current().currency),
        title=_("What free sharpening costs a year against the hits promised"),
    )
