"""Dies due: which die to pull next, and why. One row a die with an open order."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import django_tables2 as tables
from django import forms
from django.db.models import F
from django.db.models.fields.json import KT
from django.shortcuts import render
from django.urls import reverse
from django.utils.html import format_html
from django.views import View

from diestore import together
from diestore.handbook.kinds import KINDS
from diestore.models import Die, Plant
from diestore.tables import RIGHT, Column, Rows, lay_out

from . import queries, record_page, words
from .data import OrderLeft
from .models import DieForecast, EdgeForecast
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
    limiting_kind: str
    limiting_pk: int | None = None
    since_sharpened: int | None  # the edge that limits it
    half: int | None
    nine_in_ten: int | None
    remaining: dict[str, float]
    hours: float | None
    rests_on: str
    refusal: str

    @property
    def low(self) -> float | None:
        return strokes_at(self.remaining, 0.1) if self.remaining else None

    @property
    def high(self) -> float | None:
        return strokes_at(self.remaining, 0.9) if self.remaining else None

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

    @cached_property
    def standing(self) -> words.Standing:
        return words.standing(chance_of_order=self.chance, share_left=None)


def rows(plant: Plant | None = None) -> list[DueRow]:
    """Every die with an open order, the likeliest not to finish it first. A fixed number of queries."""
    orders = queries.next_order_by_die(plant)
    if not orders:
        return []
    known = _read({} if plant is None else {"plant": plant})
    if elsewhere := orders.keys() - known.keys():  # the order's part is made by a die of another plant
        known |= _read({"pk__in": elsewhere})
    made = [_row(die, order, *known[die]) for die, order in orders.items()]
    return sorted(made, key=lambda r: (-r.risk, r.due, r.code))


def _read(which: dict) -> dict[int, tuple[str, str, dict | None, int | None]]:
    """Of each die its code, its description, what is told of it and the hits on the edge that limits it.

    Asked by plant and not by a thousand numbers; in no order, since putting them in order takes longer than the rows.
    """
    newest = DieForecast.objects.filter(is_newest=True, **{f"die__{name}": value for name, value in which.items()})
    edges = EdgeForecast.objects.filter(forecast__in=newest.values("pk"), position=F("forecast__limiting"))
    told = together.read(
        dies=Die.objects.filter(**which).order_by().values_list("pk", "code", "description"),
        forecasts=newest.order_by().values_list("die_id", *_TOLD, KT("rests_on__words")),
        hits=edges.order_by().values_list("position_id", "hits_since_sharpening"),
    )
    hits = dict(told["hits"])
    forecasts = {die: dict(zip((*_TOLD, "words"), rest, strict=True)) for die, *rest in told["forecasts"]}
    found = {}
    for die, code, description in told["dies"]:
        f = forecasts.get(die)
        found[die] = code, description, f, hits.get(f["limiting_id"]) if f else None
    return found


_TOLD = (
    "refusal", "remaining", "half_hits", "nine_in_ten_hits", "usual_hours",
    "limiting_id", "limiting__code", "limiting__kind",
)  # fmt: skip


def _row(pk: int, order: OrderLeft, code: str, description: str, f: dict | None, since: int | None) -> DueRow:
    hours = f["usual_hours"] if f else None
    told = {"pk": pk, "code": code, "description": description, "order": order, "hours": hours}
    if f is None or not f["remaining"]:
        return DueRow(
            **told,
            chance=None,
            limiting="",
            limiting_kind="",
            since_sharpened=None,
            half=None,
            nine_in_ten=None,
            remaining={},
            rests_on="",
            refusal=(f["refusal"] if f else "") or "No forecast has been computed for it yet.",
        )
    kind = f["limiting__kind"]
    return DueRow(
        **told,
        chance=chance_of_going(f["remaining"], order.hits_left),
        limiting=f["limiting__code"] or "",
        limiting_kind=KINDS[kind].name if kind else "",
        limiting_pk=f["limiting_id"],
        since_sharpened=since,
        half=f["half_hits"],
        nine_in_ten=f["nine_in_ten_hits"],
        remaining=f["remaining"],
        rests_on=f["words"] or "",
        refusal="",
    )


def scale(hits: float, width: float = 160.0) -> float:
    """Place of a count on the common scale of the range marks, 10 to 10 + width."""
    share = math.log(min(max(hits, LOW), HIGH) / LOW) / math.log(HIGH / LOW)
    return 10 + width * share


class DueTable(tables.Table):
    code = Column(verbose_name="Die", order_by=("code", "pk"))
    order_number = Column(verbose_name="Open order", order_by=("order_number", "pk"))
    chance = Column(verbose_name="Chance of finishing it", order_by=("risk", "pk"), empty_values=())
    limiting = Column(verbose_name="Limited by", order_by=("limiting", "pk"), default="–")
    since_sharpened = Column(
        verbose_name="Its hits since sharpened", attrs=RIGHT, order_by=("since_sharpened", "pk"), default="–"
    )
    half = Column(verbose_name="Half go this many more", attrs=RIGHT, order_by=("half", "pk"), default="–")
    band = Column(
        verbose_name="8 in 10 fall here",
        note=f"notch: the order · {LOW:,} to {HIGH:,}",
        attrs={"th": {"class": "wide"}, "td": {"class": "wide"}},
        empty_values=(),
        orderable=False,
    )
    due = Column(verbose_name="Due", attrs=RIGHT, order_by=("due", "pk"))
    hours = Column(verbose_name="Hours to sharpen", attrs=RIGHT, order_by=("hours", "pk"), default="–")

    class Meta:
        order_by = ("-chance",)
        empty_text = "No die with an open order is like that."
        row_attrs = {"class": lambda record: "limit" if record.standing.css == "short" else ""}
        attrs = {"class": "due"}

    def __init__(self, data, *args, **kwargs) -> None:
        super().__init__(data, *args, **kwargs)
        self.caption = words.counted(len(data), "die with an open order", "dies with open orders")

    def render_code(self, value, record):
        return format_html(
            '<a href="{}">{}</a><small>{}</small>', reverse("diestore:die", args=[record.pk]), value, record.description
        )

    def render_order_number(self, value, record):
        return format_html(
            '<span class="nowrap">{}</span><small class="nowrap">{} hits to go</small>', value, f"{record.hits_left:,}"
        )

    def render_chance(self, record):
        if record.chance is None:
            return format_html('<span class="quiet">not known</span><small>{}</small>', record.refusal)
        return format_html(
            '<span class="chance"><strong>{}</strong> <svg class="bar" viewBox="0 0 98 16" width="98" height="16" '
            'aria-hidden="true"><rect class="bed" x="1" y="1" width="96" height="14"/>'
            '<rect class="fill {}" x="1" y="1" width="{}" height="14"/>'
            '<rect class="edge" x="1" y="1" width="96" height="14"/></svg></span><small class="nowrap">{}</small>',
            words.percent(record.chance),
            record.standing.css,
            f"{96 * record.chance:.1f}",
            record.rests_on,
        )

    def render_limiting(self, value, record):
        code = format_html('<strong class="nowrap">{}</strong>', value)
        if record.limiting_pk is not None:
            code = format_html('<a href="{}">{}</a>', reverse("maintenance:edge", args=[record.limiting_pk]), code)
        return format_html('{}<small class="nowrap">{}</small>', code, record.limiting_kind)

    def render_since_sharpened(self, value):
        return f"{value:,}"

    def render_half(self, value, record):
        return format_html("{}<small>9 in 10: {}</small>", words.hits(value), words.hits(record.nine_in_ten))

    def render_band(self, record):
        if record.low is None:
            return "–"
        low, high, half = scale(record.low), scale(record.high), scale(record.half)
        return format_html(
            '<svg viewBox="0 0 180 26" width="180" height="26" role="img"><title>{}</title>'
            '<path class="rule" d="M10 13H170"/>'
            '<rect class="w3" x="{}" y="7" width="{}" height="12"/><path class="now" d="M{} 5v16"/>'
            '<path class="solid" d="M{} 0h10l-5 7z"/></svg>',
            f"8 in 10 between {words.hits(record.low)} and {words.hits(record.high)}; "
            f"the order takes {record.hits_left:,}",
            f"{low:.1f}",
            f"{max(high - low, 2):.1f}",
            f"{half:.1f}",
            f"{scale(record.hits_left) - 5:.1f}",
        )

    def render_due(self, value):
        return f"{value.day} {value:%b}"

    def render_hours(self, value):
        return f"{value:.1f}"


class DueFilter(forms.Form):
    q = forms.CharField(label="Die or order", required=False)
    show = forms.ChoiceField(
        label="Show",
        required=False,
        choices=[
            ("", "all with an open order"),
            ("short", "sharpen first"),
            ("close", "sharpen first, and close"),
            ("unknown", "those of which nothing can be said"),
        ],
    )

    def pick(self, found: list[DueRow]) -> list[DueRow]:
        if not self.is_valid():
            return found
        q, show = self.cleaned_data["q"].lower(), self.cleaned_data["show"]
        wanted = {"short": ("short",), "close": ("short", "close"), "unknown": ("unknown",)}.get(show)
        return [
            r
            for r in found
            if (not q or q in f"{r.code} {r.description} {r.order_number}".lower())
            and (wanted is None or r.standing.css in wanted)
        ]


class Due(View):
    def get(self, request):
        every = rows()
        form = DueFilter(request.GET or None)
        found = form.pick(every) if form.is_bound else every
        table = lay_out(request, DueTable(Rows(found)))
        newest = queries.newest_forecasts().select_related("die__plant", "fit").order_by("-made_at").first()
        return render(
            request,
            "maintenance/due.html",
            {
                "table": table,
                "form": form,
                "every": every,
                "empty_register": not every and not Die.objects.exists(),
                "first": sentence(every),
                "fit": newest.fit if newest else None,
                "as_of": newest.as_of if newest else None,
                "record": record_page.said_here(newest.die.plant) if newest else None,
            },
        )


def sentence(found: list[DueRow]) -> dict:
    """What the page says first."""
    short = [r for r in found if r.standing.css == "short"]
    close = [r for r in found if r.standing.css == "close"]
    timed = [r for r in short if r.hours is not None]
    return {
        "css": "short" if short else "close" if close else "",
        "short": short,
        "close": close,
        "hours": sum(r.hours for r in timed),
        "untimed": [r for r in short if r.hours is None],
        "runs": len([r for r in found if r.standing.css == ""]),
        "unknown": len([r for r in found if r.chance is None]),
    }
