"""The buyer's pages."""

from __future__ import annotations

import datetime as dt

from django.contrib.auth.decorators import permission_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop
from django.views.decorators.http import require_safe

from diestore.access import plants, roles, shop
from diestore.access.queries import system_of
from diestore.exports import csv_response
from diestore.frame.tables import lay_out
from diestore.frame.taps import taps
from maintenance.wording.odds import chance
from reports.format import day, how_old, money
from reports.sources import reads as sources_reads

from . import advice, by_hand, kept, reads, said, shelf, supply, why
from .forms import SpareFilter
from .projection import drawn as drawn_stock
from .projection import of_a_spare as projection_of
from .table import HEAD, WORDS, SpareTable, csv_row

PER_PAGE = 50


@require_safe
@permission_required(roles.SEE_SPARES, raise_exception=True)
def spares_page(request: HttpRequest) -> HttpResponse:
    """Every spare, those to order first."""
    picked = plants.picked(request)
    listed, sums, chosen = _listed(request, picked.plant)
    wanted = listed.wanted(chosen.asked(decide=True)) if listed else []
    ordered = supply.of_plant(picked.plant, today=listed.today) if picked.plant and listed else supply.Supply()
    may_order = request.user.has_perm(roles.ORDER_SPARES)
    made = SpareTable(
        wanted, prefix="", query=picked.query, supply=ordered, may_order=may_order,
        ticked=request.GET.get("tick") == "now",
    )  # fmt: skip
    table = lay_out(request, made, PER_PAGE)
    return render(
        request,
        "reports/spares/spares.html",
        {
            "table": table,
            "filter": chosen,
            "taps": taps(request, "short", chosen.counted(listed.wanted)) if listed else [],
            "kept": {name: value for name, value in request.GET.items() if name not in ("q", "page", "tick")},
            "picked": picked,
            "sums": sums,
            "wanted": wanted,
            "wanted_count": table.paginator.count,
            "is_short": chosen.is_plain,
            "folded": sums.found - table.paginator.count,
            "more": max(sums.due - len(sums.first), 0),
            "worth": money(sums.worth, cents=False) if sums.worth is not None else "",
            "how_old": how_old(listed.records_until, listed.today) if listed else "",
            "waiting": len(listed.waiting) if listed else 0,
            "told_at": listed.told_at if listed else None,
            "query": request.GET.urlencode(),
            "supply": ordered,
            "may_order": may_order,
            "by_hand": by_hand.on_list(picked.plant, picked.query, listed),
        },
    )


def _listed(request: HttpRequest, plant):
    """The spares of the plant, what they come to, and the filter as the address asks for it."""
    listed = kept.of_plant(plant) if plant else None
    sums = listed.summed() if listed else advice.Summed.of((), dt.date.min)
    return listed, sums, SpareFilter(request.GET, suppliers=sums.suppliers, kinds=sums.kinds)


@require_safe
@permission_required(roles.SEE_SPARES, raise_exception=True)
def spares_csv(request: HttpRequest) -> HttpResponse:
    """The same rows as a file, filtered like the page."""
    picked = plants.picked(request)
    listed, _sums, chosen = _listed(request, picked.plant)
    rows = listed.wanted(chosen.asked()) if listed else []
    return csv_response("spares.csv", HEAD, (csv_row(row, shop.current().currency) for row in rows))


@require_safe
@permission_required(roles.SEE_SPARES, raise_exception=True)
def spare_page(request: HttpRequest, pk: int) -> HttpResponse:
    """Why: the dies and places behind one spare."""
    picked = plants.picked(request)
    others = () if "plant" in request.GET else picked.several
    for plant in dict.fromkeys((picked.plant, *others)):
        item = reads.item_in_use(plant, pk) if plant else None
        if item is not None:
            break
    else:
        raise Http404(_("No such spare here."))
    ahead = kept.ahead_of(plant, [item])
    today = timezone.localdate()
    sources = sources_reads.of_item(item, plant, today, lines_seen=lambda: ahead.lines_seen)
    sources = [one for one in sources if one.source.stands]
    preferred = [(one.source, one.source.prices.all()) for one in sources if one.source.preferred]
    ahead.supplied = sources_reads.supplied_by(preferred, day=today, currency=shop.current().currency)
    movements = reads.movements_of(plant, item.pk)
    own = [one for one in movements if one.item_id == item.pk]
    where = f"plant={plant.pk}" if picked.several else ""
    told = why.why(item, plant, ahead=ahead, movements=movements)
    row = told.row
    ordered = supply.of_a_spare(plant, item.pk, on_order=row.on_order, lines_seen=ahead.lines_seen, today=ahead.today)
    projection = projection_of(told, ahead, ordered)
    return render(
        request,
        "reports/spares/spare.html",
        {
            "item": item,
            "plant": plant if picked.several else "",
            "all_spares": f"?plant={plant.pk}" if picked.several else "",
            "row": row,
            "why": told,
            "supply": ordered,
            "stock": projection and drawn_stock(projection),
            "sources": sources,
            "no_preferred": sources and not any(one.source.preferred for one in sources),
            "may_order": request.user.has_perm(roles.ORDER_SPARES) and item.retired_at is None and item.newer is None,
            "plant_query": f"?plant={plant.pk}" if picked.several else "",
            "by_hand": by_hand.on_spare(item, own, row.on_hand, system_of(request.user), where),
            "word": _(WORDS[row.state]),
            "how_old": how_old(told.records_until, row.today),
            "order_by": day(row.order_by),
            "price": money(item.unit_price) if item.unit_price is not None else "",
            "value": money(row.value, cents=False) if row.value is not None else "",
            "enough": chance(row.advice.enough) if row.advice else "",
            "said": {
                "headline": said.headline(told),
                "cause": said.cause(told.cause, told),
                "when": said.when(told),
                "ordered": said.ordered(told),
                "steps": said.steps(row.advice.ladder) if row.advice else [],
                "why_this_rung": said.why_this_rung(told),
                "priced": said.priced(item, told),
                "moves": said.moves(told),
                "breaks": said.breaks(told),
                "by_hand": said.by_hand(told),
            },
            "bars": [(n, round(100 * p), round(p * 200)) for n, p in told.chances],
        },
    )


@require_safe
@permission_required(roles.SEE_SPARES, raise_exception=True)
def shelf_page(request: HttpRequest) -> HttpResponse:
    """What the shelf costs and prevents, and what lies there for nothing."""
    picked = plants.picked(request)
    found, rows = kept.shelf_of(picked.plant) if picked.plant else (shelf.told(shelf.of_rows([])), {})
    names = (gettext_noop("a thousand less"), gettext_noop("as much"), gettext_noop("a thousand more"))
    return render(
        request,
        "reports/spares/shelf.html",
        {
            "picked": picked,
            "now": {
                "money": said.amount(found.now_money),
                "stops": f"{found.now_stops:.2f}",
                "best": f"{found.best:.2f}",
                "least": said.amount(found.least),
            },
            "drawn": found.drawn,
            "box": (shelf.WIDTH, shelf.HEIGHT, shelf.LEFT, shelf.FOOT),
            "points": [(f"{p.stops:.2f}", said.amount(p.money)) for p in found.points],
            "more": [
                (_(name), said.amount(p.money), f"{p.stops:.2f}") for name, p in zip(names, found.more, strict=False)
            ],
            "next_pieces": [
                (rows[item], n, said.amount(n * float(rows[item].item.unit_price or 0)))
                for item, n in found.wanted
                if item in rows
            ],
            "lying": [_lying(found.idle, rows), _lying(found.rare, rows)],
            "left_out": found.left_out,
            "query": f"?plant={picked.plant.pk}" if picked.several and picked.plant else "",
        },
    )


def _lying(some: shelf.Lying, rows: dict[int, advice.SpareRow]) -> dict:
    """Spares that lie there, for a table of the dearest."""
    return {
        "rows": [(rows[item], money(worth, cents=False)) for item, worth in some.dearest if item in rows],
        "count": some.count,
        "worth": money(some.worth, cents=False),
    }
