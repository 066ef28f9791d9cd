"""Dies due: which die to pull next, and why. One row a die with an open order."""

from __future__ import annotations

import math
from dataclasses import dataclass

import django_tables2 as tables
from django import forms
from django.db.models import Sum
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.html import format_html
from django.views import View
from django_tables2 import RequestConfig

from diestore.models import Plant
from diestore.tables import RIGHT, Column

from . import logs, queries, words
from .data import OrderLeft
from .models import DieForecast, Work
from .remaining import chance_of_going, strokes_at

LOW, HIGH = 1_000, 2_000_000  # ends of the common scale of the range marks, in hits


@dataclass(frozen=True, kw_only=True)
class DueRow:
    """A die with an open order. chance: of finishing what is left of it without a dull or chipped edge."""

    pk: int
    code: str
    description: str
    order: OrderLeft
    chance: float | None
    limiting: str
    since_sharpened: int
    half: int | None
    nine_in_ten: int | None
    low: float | None
    high: float | None
    hours: float | None
    refusal: str

    @property
    def order_number(self) -> str:
        return self.order.number

    @property
    def due(self):
        return self.order.due

    @property
    def hits_left(self) -> int:
        return self.order.hits_left

    @property
    def risk(self) -> float:
        """Chance of not finishing; a die of which nothing is known counts as one to look at."""
        return 1.0 - (self.chance if self.chance is not None else 0.49)

    @property
    def standing(self) -> words.Standing:
        return words.standing(chance_of_order=self.chance, share_left=None)


def rows(plant: Plant | None = None) -> list[DueRow]:
    """Every die with an open order, the likeliest not to finish it first. A fixed number of queries."""
    orders = queries.next_order_by_die(plant)
    forecasts = {f.die_id: f for f in queries.newest_forecasts(plant).filter(die__in=orders)}
    hours = usual_hours(orders)
    missing = [die for die in orders if die not in forecasts]
    names = {f.die_id: (f.die.code, f.die.description) for f in forecasts.values()}
    if missing:
        from diestore.models import Die

        names |= {d.pk: (d.code, d.description) for d in Die.objects.filter(pk__in=missing)}
    made = [_row(die, names[die], order, forecasts.get(die), hours.get(die)) for die, order in orders.items()]
    return sorted(made, key=lambda r: (-r.risk, r.due, r.code))


def _row(die: int, name: tuple[str, str], order: OrderLeft, f: DieForecast | None, hours: float | None) -> DueRow:
    known = f is not None and bool(f.remaining)
    return DueRow(
        pk=die,
        code=name[0],
        description=name[1],
        order=order,
        chance=chance_of_going(f.remaining, order.hits_left) if known else None,
        limiting=f.limiting.code if known and f.limiting else "",
        since_sharpened=f.hits_since_sharpening if known else 0,
        half=f.half_hits if known else None,
        nine_in_ten=f.nine_in_ten_hits if known else None,
        low=strokes_at(f.remaining, 0.1) if known else None,
        high=strokes_at(f.remaining, 0.9) if known else None,
        hours=hours,
        refusal=(f.refusal if f else "No forecast has been computed for it yet."),
    )


def usual_hours(dies) -> dict[int, float]:
    """Hours of the last sharpenings of a set, the middle one of up to five, by die."""
    sets: dict[int, list[float]] = {}
    sums = (
        Work.objects.standing()
        .filter(position__die__in=list(dies), hours__isnull=False)
        .exclude(set_key="")
        .values("position__die_id", "set_key", "at")
        .annotate(whole=Sum("hours"))
        .order_by("-at")
    )
    for row in sums:
        latest = sets.setdefault(row["position__die_id"], [])
        if len(latest) < 5:
            latest.append(row["whole"])
    return {die: sorted(found)[len(found) // 2] for die, found in sets.items()}


def scale(hits: float, width: float = 180.0) -> float:
    """Place of a count on the common scale of the range marks, 10 to 10 + width."""
    share = math.log(min(max(hits, LOW), HIGH) / LOW) / math.log(HIGH / LOW)
    return 10 + width * share


class DueTable(tables.Table):
    code = Column(verbose_name="Die", order_by=("code", "pk"))
    order_number = Column(verbose_name="Open order", order_by=("order_number", "pk"))
    chance = Column(verbose_name="Chance of finishing it", order_by=("risk", "pk"), empty_values=())
    limiting = Column(verbose_name="Edge that limits it", order_by=("limiting", "pk"), default="–")
    since_sharpened = Column(verbose_name="Since sharpened", attrs=RIGHT, order_by=("since_sharpened", "pk"))
    half = Column(verbose_name="Half go this many more", attrs=RIGHT, order_by=("half", "pk"), empty_values=())
    band = Column(
        verbose_name="8 in 10 fall here",
        note=f"notch: the order · {LOW:,} to {HIGH:,}",
        empty_values=(),
        orderable=False,
    )
    due = Column(verbose_name="Due", attrs=RIGHT, order_by=("due", "pk"))
    hours = Column(verbose_name="Hours to sharpen", attrs=RIGHT, order_by=("hours", "pk"), empty_values=())

    class Meta:
        order_by = ("-chance",)
        empty_text = "No die has an open order."
        row_attrs = {"class": lambda record: "limit" if record.standing.css == "short" else ""}

    def order_chance(self, data, is_descending):
        data.sort(key=lambda r: (r.risk, r.pk), reverse=is_descending)
        return data, True

    def render_code(self, value, record):
        return format_html(
            '<a href="{}">{}</a><small>{}</small>', reverse("diestore:die", args=[record.pk]), value, record.description
        )

    def render_order_number(self, value, record):
        return format_html("{}<small>{} hits to go</small>", value, f"{record.hits_left:,}")

    def render_chance(self, record):
        if record.chance is None:
            return format_html('<span class="quiet">not known</span><small>{}</small>', record.refusal)
        width = 96 * record.chance
        return format_html(
            '<strong>{} %</strong> <svg class="bar" viewBox="0 0 98 18" width="98" height="18" aria-hidden="true">'
            '<rect class="bed" x="1" y="2" width="96" height="14"/>'
            '<rect class="fill {}" x="1" y="2" width="{}" height="14"/>'
            '<rect class="edge" x="1" y="2" width="96" height="14"/></svg><small>{}</small>',
            f"{100 * record.chance:.0f}",
            record.standing.css,
            f"{width:.1f}",
            words.chance(record.chance),
        )

    def render_since_sharpened(self, value):
        return f"{value:,}"

    def render_half(self, record):
        if record.half is None:
            return "–"
        return format_html("{}<small>9 in 10: {}</small>", words.hits(record.half), words.hits(record.nine_in_ten))

    def render_band(self, record):
        if record.low is None:
            return "–"
        low, high, half = scale(record.low), scale(record.high), scale(record.half)
        notch = scale(record.hits_left)
        return format_html(
            '<svg viewBox="0 0 200 26" width="200" height="26" role="img"><title>{}</title>'
            '<path class="rule" d="M10 13H190"/>'
            '<rect class="w3" x="{}" y="7" width="{}" height="12"/><path class="now" d="M{} 5v16"/>'
            '<path class="solid" d="M{} 0h10l-5 7z"/></svg>',
            f"8 in 10 between {words.hits(record.low)} and {words.hits(record.high)}; "
            f"the order takes {record.hits_left:,}",
            f"{low:.1f}",
            f"{max(high - low, 2):.1f}",
            f"{half:.1f}",
            f"{notch - 5:.1f}",
        )

    def render_due(self, value):
        return f"{value:%d %b}".lstrip("0")

    def render_hours(self, value, record):
        return "–" if record.hours is None else f"{record.hours:.1f}"


class DueFilter(forms.Form):
    q = forms.CharField(label="Die or order", required=False)
    show = forms.ChoiceField(
        label="Show",
        required=False,
        choices=[("", "all with an open order"), ("short", "sharpen first"), ("close", "sharpen first and close")],
    )

    def pick(self, found: list[DueRow]) -> list[DueRow]:
        if not self.is_valid():
            return found
        q, show = self.cleaned_data["q"].lower(), self.cleaned_data["show"]
        wanted = {"short": ("short",), "close": ("short", "close")}.get(show)
        return [
            r
            for r in found
            if (not q or q in f"{r.code} {r.description} {r.order_number}".lower())
            and (wanted is None or r.standing.css in wanted or r.chance is None)
        ]


class Due(View):
    def get(self, request):
        every = rows()
        form = DueFilter(request.GET or None)
        found = form.pick(every) if form.is_bound else every
        table = DueTable(found)
        RequestConfig(request, paginate={"per_page": 25}).configure(table)
        plant = Plant.objects.first()
        newest = queries.newest_forecasts().order_by("-made_at").first()
        return render(
            request,
            "maintenance/due.html",
            {
                "table": table,
                "form": form,
                "every": every,
                "first": sentence(every),
                "fit": newest.fit if newest else None,
                "as_of": (logs.last_moment(plant) if plant else None) or timezone.now(),
            },
        )


def sentence(found: list[DueRow]) -> dict:
    """What the page says first."""
    short = [r for r in found if r.standing.css == "short"]
    close = [r for r in found if r.standing.css == "close"]
    hours = sum(r.hours or 0 for r in short)
    return {
        "css": "short" if short else "close" if close else "",
        "short": short,
        "close": close,
        "hours": hours,
        "runs": len([r for r in found if r.standing.css == ""]),
    }
