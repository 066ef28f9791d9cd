"""The page of one edge, and the page of one entry that its cycles lead to."""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import urlencode

import numpy as np
from django import forms
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views import View

from diestore import roles, units
from diestore.handbook import tool_steels
from diestore.handbook.cautions import FIRST, for_work
from diestore.models import Position
from diestore.queries import system_of

from . import curves, edge_page, entries, plots, trends, words
from .life.cycles import SampleRefused

POINTS = 120
MUCH = 1.3  # a change that lies within this either way changes little
SHOWN_ENTRIES = ("run", "work", "replacement", "stop", "reading", "hitcorrection", "incident")
STEELS = [("", "as it is"), *((name, {"PM": "powder steel"}.get(name, name)) for name in tool_steels.GRADES)]
COATINGS = [("", "as it is"), ("none", "none"), *((n, n) for n in tool_steels.COATINGS if n != "none")]


class OtherBuildForm(forms.Form):
    """What is asked of the edge built otherwise. A GET form, so that an answer can be kept as a bookmark."""

    gap = forms.FloatField(label="Gap per side, % of thickness", required=False, min_value=0.5, max_value=40)
    steel = forms.ChoiceField(label="Steel", required=False, choices=STEELS)
    hardness = forms.FloatField(label="Hardness, HRC", required=False, min_value=40, max_value=72)
    coating = forms.ChoiceField(label="Coating", required=False, choices=COATINGS)

    @property
    def asked(self) -> dict | None:
        """The change for `edge_page.what_if`; None where nothing is asked, or where it cannot be."""
        if not self.is_bound or not self.is_valid():
            return None
        c = self.cleaned_data
        found = {"gap_pct": c["gap"], "tool_steel": c["steel"], "hardness_hrc": c["hardness"], "coating": c["coating"]}
        found = {name: value for name, value in found.items() if value not in (None, "")}
        return found or None

    @property
    def words(self) -> str:
        c = self.cleaned_data
        bits = [
            dict(STEELS).get(c["steel"], "") if c["steel"] else "",
            f"{c['hardness']:g} HRC" if c["hardness"] is not None else "",
            {"": "", "none": "uncoated"}.get(c["coating"], f"{c['coating']} coating"),
            f"gap {c['gap']:g} %" if c["gap"] is not None else "",
        ]
        return ", ".join(bit for bit in bits if bit)


class TogetherForm(forms.Form):
    """Further positions of the die whose cycles are looked at together with this one's."""

    also = forms.MultipleChoiceField(required=False, widget=forms.CheckboxSelectMultiple)

    def __init__(self, data, *, places) -> None:
        super().__init__(data)
        self.fields["also"].choices = [(str(place.id), place.code) for place in places]
        self.fields["also"].error_messages["invalid_choice"] = "No edge of this die has the number %(value)s."

    @property
    def chosen(self) -> list[int]:
        if not self.is_bound or not self.is_valid():
            return []
        return [int(value) for value in self.cleaned_data["also"]]


class EdgePage(View):
    """Everybody who is signed in may look, as at the die's page."""

    def get(self, request: HttpRequest, pk: int) -> HttpResponse:
        position = get_object_or_404(
            Position.objects.select_related("die__plant", "die__usual_stock", "station", "item"), pk=pk
        )
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
        }
        if any(w["wear"].is_past for w in context["wear"]):
            context["cautions"] = [*(caution.short for caution in for_work("replacement")), FIRST]
        if edge.cuts:
            context |= self._of_an_edge(request, edge)
        return render(request, "maintenance/edge.html", context)

    def _of_an_edge(self, request: HttpRequest, edge: edge_page.EdgeTold) -> dict:
        page = Paginator(range(len(edge.cycles))[::-1], edge_page.CYCLES_A_PAGE).get_page(request.GET.get("cycles"))
        told = edge_page.told_cycles(edge, list(page.object_list)[::-1])
        others = edge_page.alternatives(edge)
        together = TogetherForm(request.GET if "also" in request.GET else None, places=edge.others)
        record = edge_page.own_record(edge, together.chosen)
        named = any(request.GET.get(name) for name in OtherBuildForm.base_fields)
        form = OtherBuildForm(request.GET if named else None)
        return {
            "head": _headline(edge),
            "reasons": edge_page.reasons(edge, others),
            "rests_on": edge_page.rests_on(edge),
            "bars": lay_out_bars(edge, told) if told else None,
            "told": told[::-1],
            "page": page,
            "record": record,
            "record_said": _record_said(record),
            "together": together,
            "plot": _plot(edge, record),
            "others": [_alternative(edge, a) for a in others],
            "form": form,
            "answer": _answer(edge, form),
            "guidance": edge_page.gap_guidance(edge),
            "readings": _readings(edge),
            "kept": urlencode([(k, v) for k, v in request.GET.items() if k != "cycles"]),
        }


def _build_words(edge: edge_page.EdgeTold) -> str:
    build = edge.open_cycle.build if edge.open_cycle else None
    if build is None:
        piece = edge.log.pieces.get(edge.state.piece) if edge.state.piece else None
        build = piece
    if build is None:
        return ""
    hardness = "" if build.hardness_hrc is None else f"{build.hardness_hrc:g} HRC"
    return " ".join(bit for bit in (build.tool_steel, build.coating, hardness) if bit)


def _headline(edge: edge_page.EdgeTold) -> dict:
    """How long such an edge lasts here, how sure that is, in plain words."""
    if edge.fresh is None:
        return {"refusal": edge.refusal or "No piece with an edge sits here now, so nothing is forecast of it."}
    low, high = edge.fresh.usual_band_hits
    share = edge.position.stroke_share
    return {
        "half": words.hits(edge.fresh.remaining[0.5] * share),
        "nine": words.hits(edge.fresh.remaining[0.1] * share),
        "one": words.hits(edge.fresh.remaining[0.9] * share),
        "usual": words.hits(edge.fresh.usual_hits),
        "low": words.hits(low),
        "high": words.hits(high),
        "expected": words.hits(edge.expected.usual_hits),
        "expected_low": words.hits(edge.expected.low_hits),
        "expected_high": words.hits(edge.expected.high_hits),
        "left": words.hits(edge.edge.half_hits) if edge.edge else "",
        "left_nine": words.hits(edge.edge.nine_in_ten_hits) if edge.edge else "",
        "css": "short" if edge.fresh.usual_hits < edge.expected.low_hits else "",
    }


def _record_said(record: edge_page.OwnRecord) -> dict:
    """The fit to the cycles alone, in words, or what they show where there is none."""
    if record.fit is not None:
        low, high = record.fit.hits_limits(0.5, 0.8)
        nine_low, nine_high = record.fit.hits_limits(0.1, 0.8)
        scale, shape = record.fit.scale_limits(0.8), record.fit.shape_limits(0.8)
        return {
            "half": words.hits(record.fit.hits_at(0.5)),
            "low": words.hits(low),
            "high": words.hits(high),
            "nine": words.hits(record.fit.hits_at(0.1)),
            "nine_low": words.hits(nine_low),
            "nine_high": words.hits(nine_high),
            "scale": words.hits(record.fit.scale_hits),
            "scale_low": words.hits(scale[0]),
            "scale_high": words.hits(scale[1]),
            "shape": f"{record.fit.shape:.2g}",
            "shape_low": f"{shape[0]:.2g}",
            "shape_high": f"{shape[1]:.2g}",
        }
    return {
        "refusal": record.refusal,
        "least": words.hits(record.least_hits) if record.least_hits else "",
        "longest": words.hits(record.longest_hits),
    }


def _plot(edge: edge_page.EdgeTold, record: edge_page.OwnRecord):
    """Such an edge here, this edge, and what its cycles (or those of some edges) show by themselves."""
    if edge.fresh is None:
        return ""
    usual, expected = edge.fresh.usual_hits, edge.expected
    until = 1.05 * max(2.0 * usual, 2.0 * expected.usual_hits, record.longest_hits)
    x = np.linspace(0, until, POINTS)
    such = curves.between_usual(x, (expected.low_hits, expected.usual_hits, expected.high_hits), edge.shape)
    own = curves.between_usual(x, (usual, usual, usual), edge.shape)
    return plots.still_sharp(
        title=f"Share still sharp by hits since sharpened: {edge.position.code}, and such an edge here",
        until=until,
        such=such,
        own=own,
        steps=curves.steps(record.survival, record.longest_hits) if record.survival is not None else None,
        fitted=curves.of_fit(record.fit) if record.fit is not None else None,
    )


def _alternative(edge: edge_page.EdgeTold, other: edge_page.Alternative) -> dict:
    return {"words": other.words, "query": urlencode(other.asked), **_what_if(other.told)}


def _what_if(told) -> dict:
    if abs(told.times - 1) < 0.05 and told.times_high < MUCH and told.times_low > 1 / MUCH:
        sure = "about the same"
    elif told.times_low > 1:
        sure = "longer"
    elif told.times_high < 1:
        sure = "shorter"
    else:
        sure = "may be either"
    return {
        "hits": words.hits(told.after.usual_hits),
        "low": words.hits(told.after.low_hits),
        "high": words.hits(told.after.high_hits),
        "times": _times(told.times),
        "times_low": _times(told.times_low),
        "times_high": _times(told.times_high),
        "sure": sure,
    }


def _times(value: float) -> str:
    """To two figures, noughts too: 0.91, 1.0, 2.8, 14."""
    return f"{value:.2f}" if value < 0.995 else f"{value:.1f}" if value < 9.95 else f"{value:.0f}"


def _answer(edge: edge_page.EdgeTold, form: OtherBuildForm) -> dict | None:
    """What the form asked, answered; `refusal` where it cannot be."""
    if edge.spec is None:
        return None
    asked = form.asked
    if asked is None:
        return None
    try:
        told = edge_page.what_if(edge, **asked)
    except SampleRefused as reason:
        return {"refusal": f"That cannot be told: {reason}."}
    return {"words": form.words, "before": words.hits(told.before.usual_hits), **_what_if(told)}


def _readings(edge: edge_page.EdgeTold) -> list[dict]:
    """A plot for each quantity that tells of the edge's wear."""
    found = edge_page.edge_readings(edge)
    limit_um = edge_page.burr_limit_um(edge.position)
    made = []
    for quantity, cycles in found.items():
        what = units.quantity(quantity)
        unit = what.unit(edge.system)
        limit = None
        if quantity == "burr height" and limit_um is not None:
            value = units.shown_value(limit_um, what, edge.system)
            limit = plots.Level(value=value, words=f"limit {units.show(limit_um, what, edge.system)}")
        drawn = [
            plots.Measured(hits=c.hits, values=[units.from_si(v, unit) for v in c.values_si], css=c.css)
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
                    title=f"{quantity} of {edge.position.code} against hits since sharpened",
                    name=f"{quantity}, {unit}",
                    limit=limit,
                ),
            }
        )
    return made


# --- measured wear ----------------------------------------------------------------------------------------------------


class LimitForm(forms.Form):
    """Another limit for one quantity, typed with or without its unit."""

    def __init__(self, data, *, quantity: str, system: units.System) -> None:
        self.quantity, self.system = units.quantity(quantity), system
        super().__init__(data)
        unit = f", {self.quantity.unit(system)}" if self.quantity else ""
        self.fields["limit"] = forms.CharField(label=f"Another limit{unit}", max_length=40)

    def clean_limit(self) -> float:
        if self.quantity is None:
            raise forms.ValidationError("Nothing says in which unit this is measured.")
        try:
            return units.parse(self.cleaned_data["limit"], self.quantity, self.system).value_si
        except units.UnitError as error:
            raise forms.ValidationError(str(error)) from error


def _wear(request: HttpRequest, edge: edge_page.EdgeTold) -> list[dict]:
    """Each quantity that tells of wear: the sentence, the plot, the form for another limit."""
    asked_of, limits, bound = request.GET.get("of", ""), trends.limits_of([edge.position]), None
    was = dict(limits)
    if "limit" in request.GET and asked_of:
        bound = LimitForm(request.GET, quantity=asked_of, system=edge.system)
        if bound.is_valid():
            value = bound.cleaned_data["limit"]
            limits[edge.position.pk, asked_of] = trends.Limit(
                value_si=value, words="the limit asked for", source="asked for here"
            )
    found = trends.of_log(edge.log, edge.now.timestamp(), limits=limits, only=edge.position.pk)
    return [
        {
            "wear": wear,
            "said": trends.said(wear),
            "last": trends.shown(wear.last_si, wear.quantity, edge.system),
            "limit": trends.shown(wear.limit.value_si, wear.quantity, edge.system) if wear.limit else "",
            "plot": _wear_plot(wear, edge),
            "form": bound
            if bound is not None and asked_of == wear.quantity
            else LimitForm(None, quantity=wear.quantity, system=edge.system),
            "asked": wear.limit is not None and wear.limit != was.get((edge.position.pk, wear.quantity)),
        }
        for wear in found
    ]


def _wear_plot(wear: trends.Wear, edge: edge_page.EdgeTold):
    what = trends.measured_as(wear.quantity)
    unit = what.unit(edge.system) if what else "SI"

    def shown(values):
        return values if what is None else np.array([units.from_si(float(v), unit) for v in values])

    band = None
    if wear.found is not None:
        late = wear.found.late_hits if np.isfinite(wear.found.late_hits) else wear.found.at_hits
        until = max(min(late, 1.5 * wear.found.at_hits), wear.hits_now)
        x = np.linspace(min(wear.hits), until, POINTS)
        line = curves.along_trend(wear.found, wear.hits, x, falling=wear.falling)
        band = curves.Band(x, shown(line.y), shown(line.low), shown(line.high))
    limit = None
    if wear.limit is not None:
        words_ = f"limit {trends.shown(wear.limit.value_si, wear.quantity, edge.system)}"
        limit = plots.Level(value=float(shown([wear.limit.value_si])[0]), words=words_)
    return plots.wear(
        plots.Measured(hits=wear.hits, values=shown(wear.values_si), css="open"),
        title=f"{wear.quantity} of {wear.code} over its hits, and its limit",
        name=f"{wear.quantity}, {unit}",
        line=band,
        limit=limit,
        hits_now=wear.hits_now,
    )


# --- bars -------------------------------------------------------------------------------------------------------------

WIDTH, LEFT, RIGHT, TOP, BASE, LABELS = 1150.0, 76.0, 1142.0, 46.0, 206.0, 128.0
UNKNOWN_BEFORE = " and what was on it before"
WIDEST_SLOT, FIGURES_FROM = 92.0, 50.0  # room of a bar, in pixels, from which its hits stand above it


@dataclass(frozen=True, kw_only=True)
class Bar:
    """One cycle as it is drawn: x, y of its top left, its size, and its mark's middle."""

    told: edge_page.CycleTold
    x: float
    y: float
    w: float
    h: float
    before_h: float  # the hits that were on it when its record began
    figure: str
    label: str
    title: str
    change: str  # how it is built from here on, where that is new

    @property
    def css(self) -> str:
        return self.told.css

    @property
    def mid(self) -> float:
        return self.x + self.w / 2

    @property
    def slot_left(self) -> float:
        return self.x - 3

    @property
    def broken_top(self) -> str:
        """The outline of a bar whose top is broken off."""
        bit = self.w / 4
        return (
            f"M{self.x:.1f} {BASE:.1f}V{self.y + 5:.1f}l{bit:.1f} -7l{bit:.1f} 7l{bit:.1f} -7l{bit:.1f} 7"
            f"V{BASE:.1f}z"
        )  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Bars:
    bars: list[Bar]
    ticks: list[tuple[float, str]]
    usual_y: float | None
    usual_label: str
    expected_y: float | None
    expected_label: str
    width: float = WIDTH
    left: float = LEFT
    right: float = RIGHT
    base: float = BASE
    height: float = BASE + LABELS


def lay_out_bars(edge: edge_page.EdgeTold, told: list[edge_page.CycleTold]) -> Bars:
    """Where the bars of some cycles stand, in order of time. Geometry only; the template draws."""
    usual = edge.fresh.usual_hits if edge.fresh else None
    expected = edge.expected.usual_hits if edge.expected else None
    most = 1.06 * max([t.hits for t in told] + [usual or 0, expected or 0, 1])
    slot = min((RIGHT - LEFT) / len(told), WIDEST_SLOT)

    def up(hits: float) -> float:
        return (BASE - TOP) * hits / most

    bars = []
    for i, one in enumerate(told):
        h = max(up(one.hits), 2.0)
        bars.append(
            Bar(
                told=one,
                x=LEFT + slot * i + 3,
                y=BASE - h,
                w=max(slot - 6, 3.0),
                h=h,
                before_h=up(one.cycle.from_hits),
                figure=words.hits(one.hits) + (" +" if one.cycle.unknown_age else "") if slot >= FIGURES_FROM else "",
                label=f"{one.word} {_short_day(one.at)}",
                title=_bar_title(one),
                change=_change_words(one.cycle.build) if one.new_build else "",
            )
        )
    return Bars(
        bars=bars,
        ticks=[(BASE - up(hits), words.hits(hits)) for hits in _round_steps(most)],
        usual_y=None if usual is None else BASE - up(usual),
        usual_label=f"this edge: half last longer than {words.hits(usual)}" if usual else "",
        expected_y=None if expected is None else BASE - up(expected),
        expected_label=f"such an edge here: {words.hits(expected)}" if expected else "",
    )


def _bar_title(one: edge_page.CycleTold) -> str:
    bits = [
        f"{one.hits:,} hits" + (UNKNOWN_BEFORE if one.cycle.unknown_age else ""),
        one.ended,
        _day(one.at),
        f"order {one.order}" if one.order else "",
    ]
    return ", ".join(bit for bit in bits if bit)


def _change_words(build) -> str:
    hardness = "" if build.hardness_hrc is None else f"{build.hardness_hrc:g}"
    return " ".join(bit for bit in (build.tool_steel, build.coating, hardness) if bit) or "built otherwise"


def _round_steps(most: float) -> list[float]:
    """Two to four round counts below the highest."""
    step = 10 ** np.floor(np.log10(most))
    for share in (0.2, 0.25, 0.5, 1.0):
        steps = np.arange(1, most / (share * step)) * share * step
        if len(steps) <= 4:
            return [float(s) for s in steps]
    return [float(step)]


def _day(moment) -> str:
    return f"{timezone.localtime(moment):%d %b %Y}".lstrip("0")


def _short_day(moment) -> str:
    return f"{timezone.localtime(moment):%d %b %y}".lstrip("0")


class EntryPage(View):
    """One entry of the log with every row of it, whether it stands or is struck out."""

    def get(self, request: HttpRequest, sort: str, pk: int) -> HttpResponse:
        entry = entries.find(sort, pk, system=system_of(request.user)) if sort in SHOWN_ENTRIES else None
        if entry is None:
            raise Http404("No such entry.")
        return render(
            request,
            "maintenance/entry.html",
            {
                "entry": entry,
                "system": system_of(request.user),
                "works": [w for w in entry.events if sort == "work"],
                "may_strike": request.user.has_perm(roles.STRIKE_ENTRY) and not entry.struck,
            },
        )
