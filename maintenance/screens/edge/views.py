"""The page of one edge."""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import urlencode

import numpy as np
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils.translation import gettext as _
from django.views import View

from diestore import units
from diestore.access.plants import within
from diestore.access.queries import system_of
from diestore.drawing.scales import Ratio
from diestore.handbook.cautions import first, for_work
from diestore.register.models import Position
from maintenance.forecasts import curves, part_wear
from maintenance.life.cycles import SampleRefused
from maintenance.log import damage, held_back, read, spring_reads, spring_words
from maintenance.wording import numbers

from . import in_the_die, plots, spring
from . import page as edge_page
from .ends import lay_out_ends
from .forms import LimitForm, OtherBuildForm, TogetherForm

POINTS = 120
MARK_WIDTH = 150.0
MUCH = 1.3  # a change that lies within this either way changes little


@dataclass(frozen=True, kw_only=True)
class RangeMark:
    """8 in 10 from low to high, as long as now in the middle of the mark."""

    low: float
    half: float
    high: float
    width: float = MARK_WIDTH

    @property
    def band(self) -> float:
        return max(self.high - self.low, 2.0)

    @property
    def now(self) -> float:
        return self.width / 2


class EdgePage(View):
    """Everybody who is signed in may look, as at the die's page."""

    def get(self, request: HttpRequest, pk: int) -> HttpResponse:
        positions = Position.objects.select_related("die__plant", "die__usual_stock", "station", "item")
        position = get_object_or_404(within(positions, request.user, "die__plant"), pk=pk)
        edge = edge_page.of_position(position, system_of(request.user))
        context = {
            "position": position,
            "die": position.die,
            "edge": edge,
            "system": edge.system,
            "now": edge.now,
            "build": _build_words(edge),
            "stock": edge.log.stocks[edge.log.usual_stock],
            "wear": _wear(request, edge),
            "scaled": in_the_die.plan_of(edge),
        }
        if here := [one for one in edge.wrong if one.position == position.pk]:
            context |= {"wrong": damage.sentences(here, edge.system)}
            context |= {"held": held_back.of_damage(position.die_id, here)}
        if any(w["wear"].is_past for w in context["wear"]):
            context["cautions"] = [*(caution.reminder for caution in for_work("replacement")), first()]
        if edge.cuts:
            context |= self._of_an_edge(request, edge)
        elif position.kind in spring_reads.KINDS:
            context["spring"] = spring.of_position(edge)
        return render(request, "maintenance/screens/edge/edge.html", context)

    def _of_an_edge(self, request: HttpRequest, edge: edge_page.EdgeState) -> dict:
        page = Paginator(range(len(edge.cycles))[::-1], edge_page.CYCLES_A_PAGE).get_page(request.GET.get("cycles"))
        cycles = edge_page.cycles_shown(edge, list(page.object_list)[::-1])
        others = edge_page.alternatives(edge)
        by_effect = sorted(others, key=lambda a: -a.what_if.times)
        together = TogetherForm(request.GET if "also" in request.GET else None, places=edge.others)
        record = edge_page.own_record(edge, together.chosen)
        named = any(request.GET.get(name) for name in OtherBuildForm.base_fields)
        form = OtherBuildForm(request.GET if named else None)
        return {
            "head": _headline(edge),
            "reasons": edge_page.reasons(edge, others),
            "rests_on": edge_page.rests_on(edge),
            "ends": lay_out_ends(edge, cycles, _until(edge, record) if edge.fresh else None) if cycles else None,
            "cycles": cycles[::-1],
            "page": page,
            "record": record,
            "record_said": _record_said(record),
            "together": together,
            "plot": _plot(edge, record),
            "others": [
                _alternative(edge, a) | {"mark": mark}
                for a, mark in zip(by_effect, range_marks(by_effect), strict=True)
            ],
            "form": form,
            "answer": _answer(edge, form),
            "guidance": edge_page.gap_guidance(edge),
            "readings": _readings(edge),
            "kept": urlencode([(k, v) for k, v in request.GET.items() if k != "cycles"]),
        }


def _build_words(edge: edge_page.EdgeState) -> str:
    build = edge.open_cycle.build if edge.open_cycle else None
    if build is None:
        piece = edge.log.pieces.get(edge.state.piece) if edge.state.piece else None
        build = piece
    if build is None:
        return ""
    hardness = "" if build.hardness_hrc is None else f"{build.hardness_hrc:g} HRC"
    return " ".join(bit for bit in (build.tool_steel, build.coating, hardness) if bit)


def _headline(edge: edge_page.EdgeState) -> dict:
    """How long such an edge lasts here, how sure that is, in plain words."""
    if edge.fresh is None:
        return {"refusal": edge.refusal or _("No piece with an edge sits here now, so nothing is forecast of it.")}
    low, high = edge.fresh.usual_band_hits
    share = edge.position.stroke_share
    return {
        "half": numbers.hits(edge.fresh.remaining[0.5] * share),
        "nine": numbers.hits(edge.fresh.remaining[0.1] * share),
        "one": numbers.hits(edge.fresh.remaining[0.9] * share),
        "usual": numbers.hits(edge.fresh.usual_hits),
        "low": numbers.hits(low),
        "high": numbers.hits(high),
        "expected": numbers.hits(edge.expected.usual_hits),
        "expected_low": numbers.hits(edge.expected.low_hits),
        "expected_high": numbers.hits(edge.expected.high_hits),
        "on_it": _on_it(edge),
        "left": numbers.hits(edge.edge.half_hits) if edge.edge else "",
        "left_nine": numbers.hits(edge.edge.nine_in_ten_hits) if edge.edge else "",
        "css": "short" if edge.fresh.usual_hits < edge.expected.low_hits else "",
    }


def _on_it(edge: edge_page.EdgeState) -> str:
    """Hits on its present edge, in strokes in which it works; empty where nobody knows them."""
    hits = edge.state.hits_since_sharpening
    return "" if hits is None else f"{round(hits * edge.position.stroke_share):,}"


def _record_said(record: edge_page.OwnRecord) -> dict:
    """The fit to the cycles alone, in words, or what they show where there is none."""
    if record.fit is not None:
        low, high = record.fit.hits_limits(0.5, 0.8)
        nine_low, nine_high = record.fit.hits_limits(0.1, 0.8)
        scale, shape = record.fit.scale_limits(0.8), record.fit.shape_limits(0.8)
        return {
            "half": numbers.hits(record.fit.hits_at(0.5)),
            "low": numbers.hits(low),
            "high": numbers.hits(high),
            "nine": numbers.hits(record.fit.hits_at(0.1)),
            "nine_low": numbers.hits(nine_low),
            "nine_high": numbers.hits(nine_high),
            "scale": numbers.hits(record.fit.scale_hits),
            "scale_low": numbers.hits(scale[0]),
            "scale_high": numbers.hits(scale[1]),
            "shape": f"{record.fit.shape:.2g}",
            "shape_low": f"{shape[0]:.2g}",
            "shape_high": f"{shape[1]:.2g}",
        }
    return {
        "refusal": record.refusal,
        "least": numbers.hits(record.least_hits) if record.least_hits else "",
        "longest": numbers.hits(record.longest_hits),
    }


def _until(edge: edge_page.EdgeState, record: edge_page.OwnRecord) -> float:
    """Where the axis of hits ends, of the intervals as of the plot of shares still sharp."""
    assert edge.fresh is not None and edge.expected is not None
    return 1.05 * max(2.0 * edge.fresh.usual_hits, 2.0 * edge.expected.usual_hits, record.longest_hits)


def _plot(edge: edge_page.EdgeState, record: edge_page.OwnRecord):
    """Such an edge here, this edge, and what its cycles (or those of some edges) show by themselves."""
    if edge.fresh is None:
        return ""
    usual, expected = edge.fresh.usual_hits, edge.expected
    until = _until(edge, record)
    x = np.linspace(0, until, POINTS)
    such = curves.between_usual(x, (expected.low_hits, expected.usual_hits, expected.high_hits), edge.shape)
    own = curves.between_usual(x, (usual, usual, usual), edge.shape)
    return plots.still_sharp(
        title=_("Share still sharp by hits since sharpened: {code}, and an edge built like it").format(
            code=edge.position.code
        ),
        until=until,
        such=such,
        own=own,
        steps=curves.steps(record.survival, record.longest_hits) if record.survival is not None else None,
        fitted=curves.of_fit(record.fit) if record.fit is not None else None,
    )


def _alternative(edge: edge_page.EdgeState, other: edge_page.Alternative) -> dict:
    return {"words": other.words, "query": urlencode(other.asked), **_what_if(other.what_if)}


def range_marks(others: list[edge_page.Alternative]) -> list[RangeMark]:
    """Of each other build how many times as long the edge would last, all on one scale of equal ratios about once."""
    if not others:
        return []
    widest = max(max(a.what_if.times_high, 1 / max(a.what_if.times_low, 1e-6)) for a in others)
    scale = Ratio(1 / max(1.1 * widest, 1.5), max(1.1 * widest, 1.5), 0, MARK_WIDTH)
    return [
        RangeMark(
            low=scale.at(a.what_if.times_low), half=scale.at(a.what_if.times), high=scale.at(a.what_if.times_high)
        )
        for a in others
    ]


def _what_if(change) -> dict:
    return {
        "hits": numbers.hits(change.after.usual_hits),
        "low": numbers.hits(change.after.low_hits),
        "high": numbers.hits(change.after.high_hits),
        "times": _times(change.times),
        "times_low": _times(change.times_low),
        "times_high": _times(change.times_high),
    }


def _times(value: float) -> str:
    """To two figures, noughts too: 0.91, 1.0, 2.8, 14."""
    return f"{value:.2f}" if value < 0.995 else f"{value:.1f}" if value < 9.95 else f"{value:.0f}"


def _answer(edge: edge_page.EdgeState, form: OtherBuildForm) -> dict | None:
    """What the form asked, answered; `refusal` where it cannot be."""
    if edge.spec is None:
        return None
    asked = form.asked
    if asked is None:
        return None
    try:
        change = edge_page.what_if(edge, **asked)
    except SampleRefused as reason:
        return {"refusal": _("Not enough is known: {reason}.").format(reason=reason)}
    return {"words": form.words, "before": numbers.hits(change.before.usual_hits), **_what_if(change)}


def _readings(edge: edge_page.EdgeState) -> list[dict]:
    """A plot for each quantity that tells of the edge's wear."""
    by_quantity = edge_page.edge_readings(edge)
    limit_um = edge_page.burr_limit_um(edge.position)
    made = []
    for quantity, cycles in by_quantity.items():
        what = units.quantity(quantity)
        unit = what.unit(edge.system)
        limit = None
        if quantity == "burr height" and limit_um is not None:
            value = units.shown_value(limit_um, what, edge.system)
            limit = plots.Level(
                value=value, words=_("limit {limit}").format(limit=units.show(limit_um, what, edge.system))
            )
        drawn = [
            plots.MeasuredCycle(hits=c.hits, values=[units.from_si(v, unit) for v in c.values_si], css=c.css)
            for c in cycles
        ]  # fmt: skip
        count = sum(len(c.hits) for c in cycles)
        made.append(
            {
                "name": quantity,
                "count": count,
                "cycles": len(cycles),
                "plot": plots.readings(
                    drawn,
                    title=_("{quantity} of {code} against hits since sharpened").format(
                        quantity=_(quantity), code=edge.position.code
                    ),
                    name=f"{_(quantity)}, {unit}",
                    limit=limit,
                ),
            }
        )
    return made


def _wear(request: HttpRequest, edge: edge_page.EdgeState) -> list[dict]:
    """Each quantity that tells of wear: the sentence, the plot, the form for another limit."""
    asked_of, limits, bound = request.GET.get("of", ""), part_wear.limits_of([edge.position]), None
    was = dict(limits)
    if "limit" in request.GET and asked_of:
        bound = LimitForm(request.GET, quantity=asked_of, system=edge.system)
        if bound.is_valid():
            value = bound.cleaned_data["limit"]
            limits[edge.position.pk, asked_of] = part_wear.Limit(
                value_si=value, words=_("the limit asked for"), source=_("asked for here")
            )
    wears = part_wear.of_log(edge.log, edge.now.timestamp(), limits=limits, only=edge.position.pk)
    return [
        {
            "wear": wear,
            "said": part_wear.words(wear),
            "at_length": "" if wear.at_length_mm is None else units.show(wear.at_length_mm, "length_mm", edge.system),
            "charged": None if wear.charged is None else spring_words.day(read.moment(wear.charged)),
            "last": part_wear.shown(wear.last_si, wear.quantity, edge.system),
            "limit": part_wear.shown(wear.limit.value_si, wear.quantity, edge.system) if wear.limit else "",
            "limit_words": wear.limit.in_words(wear.quantity, edge.system) if wear.limit else "",
            "plot": _wear_plot(wear, edge),
            "form": bound
            if bound is not None and asked_of == wear.quantity
            else LimitForm(None, quantity=wear.quantity, system=edge.system),
            "asked": wear.limit is not None and wear.limit != was.get((edge.position.pk, wear.quantity)),
        }
        for wear in wears
    ]


def _wear_plot(wear: part_wear.Wear, edge: edge_page.EdgeState):
    what = units.reading(wear.quantity)
    unit = what.unit(edge.system) if what else "SI"

    def shown(values):
        return values if what is None else np.array([units.from_si(float(v), unit) for v in values])

    band = None
    if wear.trend is not None:
        late = wear.trend.late_hits if np.isfinite(wear.trend.late_hits) else wear.trend.at_hits
        until = max(min(late, 1.5 * wear.trend.at_hits), wear.hits_now)
        x = np.linspace(min(wear.hits), until, POINTS)
        line = curves.along_trend(wear.trend, wear.hits, x, falling=wear.falling)
        band = curves.Band(x, shown(line.y), shown(line.low), shown(line.high))
    limit = None
    if wear.limit is not None:
        words_ = _("limit {limit}").format(limit=part_wear.shown(wear.limit.value_si, wear.quantity, edge.system))
        limit = plots.Level(value=float(shown([wear.limit.value_si])[0]), words=words_)
    return plots.wear(
        plots.MeasuredCycle(hits=wear.hits, values=shown(wear.values_si), css="open"),
        title=_("{quantity} of {code} over its hits, and its limit").format(quantity=_(wear.quantity), code=wear.code),
        name=f"{_(wear.quantity)}, {unit}",
        line=band,
        limit=limit,
        hits_now=wear.hits_now,
    )


# --- bars -------------------------------------------------------------------------------------------------------------
