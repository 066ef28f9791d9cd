"""Dies due as a table. Formats, never computes."""

from __future__ import annotations

from collections.abc import Collection, Mapping

import django_tables2 as tables
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import mark_safe

from diestore.drawing import paths
from diestore.drawing.scales import Ratio
from diestore.frame.tables import RIGHT, Column
from maintenance.forecasts.due import DueRow
from maintenance.log.damage import briefly
from maintenance.models import BenchWork
from maintenance.wording import numbers, odds

LOW, HIGH = 1_000, 2_000_000  # ends of the common scale of the range marks, in hits
SCALE = Ratio(LOW, HIGH, 10.0, 170.0)
MIDDLE, ARROW = 13, 9  # of a range mark: its height, and how far the arrow at an end reaches out
BEING_WORKED_OUT = mark_safe("<small>The latest entry is not in this yet.</small>")


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
        note=f"notch: the order · {LOW:,} to {HIGH:,}, arrow: beyond",
        attrs={"th": {"class": "wide"}, "td": {"class": "wide"}},
        empty_values=(),
        orderable=False,
    )
    due = Column(verbose_name="Due", attrs=RIGHT, order_by=("due", "pk"))
    hours = Column(verbose_name="Hours to sharpen", attrs=RIGHT, order_by=("hours", "pk"), empty_values=())

    class Meta:
        order_by = ("-chance",)
        empty_text = "No die with an open order is like that."
        row_attrs = {"class": lambda record: "limit" if record.standing.css == "short" else ""}
        attrs = {"class": "due"}

    def __init__(
        self,
        data,
        *args,
        being_worked_out: Collection[int] = (),
        works: Mapping[int, BenchWork] | None = None,
        **kwargs,
    ) -> None:
        """works: the open bench work of each die, for whoever may open one; None for the others."""
        super().__init__(data, *args, **kwargs)
        self.being_worked_out, self.works = being_worked_out, works
        self.caption = numbers.counted(len(data), "die with an open order", "dies with open orders")

    def render_code(self, value, record):
        wrong = briefly(record.wrong)
        return format_html(
            '<a href="{}">{}</a><small>{}</small>{}{}{}{}',
            reverse("diestore:die", args=[record.pk]),
            value,
            record.description,
            format_html('<small class="wrong">on hold: {}</small>', record.held) if record.held else "",
            format_html('<small class="wrong">{}</small>', wrong) if wrong else "",
            format_html('<small class="wrong">{}</small>', record.where) if record.where else "",
            BEING_WORKED_OUT if record.pk in self.being_worked_out else "",
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
            '<rect class="edge" x="1" y="1" width="96" height="14"/></svg></span><small class="nowrap">{}</small>{}',
            odds.percent(record.chance),
            record.standing.css,
            f"{96 * record.chance:.1f}",
            "as if nothing were wrong" if record.wrong else record.rests_on,
            _what_it_buys(record),
        )

    def render_limiting(self, value, record):
        code = format_html('<strong class="nowrap">{}</strong>', value)
        if record.limiting_pk is not None:
            code = format_html('<a href="{}">{}</a>', reverse("maintenance:edge", args=[record.limiting_pk]), code)
        return format_html('{}<small class="nowrap">{}</small>', code, record.limiting_kind)

    def render_since_sharpened(self, value):
        return f"{value:,}"

    def render_half(self, value, record):
        return format_html("{}<small>9 in 10: {}</small>", numbers.hits(value), numbers.hits(record.nine_in_ten))

    def render_band(self, record):
        if record.low is None:
            return "–"
        low, high = SCALE.at(record.low), SCALE.at(record.high)
        half = "" if SCALE.beyond(record.half) else f"M{paths.place(SCALE.at(record.half))} 5v16"
        ends = [path for hits in (record.low, record.high) if (path := _end(hits, MIDDLE, height=14))]
        order = _end(record.hits_left, 4, height=8) or paths.notch(SCALE.at(record.hits_left), 7)
        return format_html(
            '<svg viewBox="0 0 180 26" width="180" height="26" role="img"><title>{}</title>'
            '<path class="rule" d="M10 13H170"/>'
            '<rect class="w3" x="{}" y="7" width="{}" height="12"/><path class="now" d="{}"/>'
            '<path class="w1" d="{}"/><path class="solid" d="{}"/></svg>',
            f"8 in 10 between {_placed(record.low)} and {_placed(record.high)}; "
            f"the order takes {_placed(record.hits_left, in_full=True)}",
            paths.place(min(low, 168.0)),
            paths.place(max(high - low, 2)),
            half,
            " ".join(dict.fromkeys(ends)),
            order,
        )

    def render_due(self, value):
        return f"{value.day} {value:%b}"

    def render_hours(self, value, record):
        hours = "–" if value is None else f"{value:.1f}"
        if self.works is None:
            return hours
        if work := self.works.get(record.pk):
            address, words = reverse("maintenance:bench_work", args=[work.pk]), work.get_state_display()
        else:
            address, words = f"{reverse('maintenance:bench_new')}?die={record.pk}&source=due", "to the bench"
        return format_html('{}<small><a href="{}">{}</a></small>', hours, address, words)


def _what_it_buys(record: DueRow) -> str:
    """Of a die to be sharpened first: the chance it then has; and of any die with a forecast, where that is weighed."""
    if not record.remaining:
        return ""
    bought = ""
    if record.sharpens_first and record.advice is not None:
        bought = format_html(
            '<small class="nowrap">sharpened first: <strong>{}</strong></small>', odds.percent(record.advice.sharpened)
        )
    return format_html(
        '{}<small><a class="nowrap" href="{}">run or sharpen?</a></small>',
        bought,
        reverse("maintenance:decide", args=[record.pk]),
    )


def _end(hits: float, y: float, *, height: float) -> str:
    """An arrow out of the scale's end where a count lies beyond it; else nothing."""
    way = SCALE.beyond(hits)
    return paths.pointer(SCALE.at(hits) + way * ARROW, y, width=way * ARROW, height=height) if way else ""


_BEYOND = {-1: f" (the scale begins at {LOW:,})", 0: "", 1: f" (the scale ends at {HIGH:,})"}


def _placed(hits: float, *, in_full: bool = False) -> str:
    """A count in words, and that it lies beyond the scale where it does."""
    return (f"{hits:,}" if in_full else numbers.hits(hits)) + _BEYOND[SCALE.beyond(hits)]
