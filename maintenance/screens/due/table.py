"""Dies due as a table. Formats, never computes."""

from __future__ import annotations

from collections.abc import Collection, Mapping

import django_tables2 as tables
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils.formats import date_format
from django.utils.html import format_html
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, pgettext_lazy

from diestore.drawing import paths
from diestore.drawing.scales import Ratio
from diestore.frame.tables import RIGHT, Column
from diestore.texts import counted
from maintenance.forecasts.due import DueRow
from maintenance.log.damage import briefly
from maintenance.models import BenchWork
from maintenance.wording import numbers, odds

LOW, HIGH = 1_000, 2_000_000  # ends of the common scale of the range marks, in hits
SCALE = Ratio(LOW, HIGH, 10.0, 170.0)
MIDDLE, ARROW = 26, 9  # of a range mark: its height, and how far the arrow at an end reaches out
NOTCH, FIGURE = 33, 14  # the tip of the job's mark, under the band; the foot of the figure over it
FIGURE_ROOM = 28.0  # half the width of a figure, so that it stays inside the mark
BEING_WORKED_OUT = gettext_lazy("the latest entry is not in this yet")


class DueTable(tables.Table):
    code = Column(verbose_name=gettext_lazy("Die"), order_by=("code", "pk"))
    state = Column(verbose_name=gettext_lazy("State"), empty_values=(), orderable=False)
    chance = Column(verbose_name=gettext_lazy("Chance of finishing"), order_by=("risk", "pk"), empty_values=())
    order_number = Column(verbose_name=gettext_lazy("Job"), order_by=("order_number", "pk"))
    limiting = Column(verbose_name=gettext_lazy("Limited by"), order_by=("limiting", "pk"), default="–")
    since_sharpened = Column(
        verbose_name=gettext_lazy("Hits on it since sharpened"),
        attrs={"th": {"class": "num wide"}, "td": {"class": "num wide"}},
        order_by=("since_sharpened", "pk"),
        default="–",
    )
    half = Column(verbose_name=gettext_lazy("Hits left, half longer"), order_by=("half", "pk"), default="–")
    due = Column(verbose_name=pgettext_lazy("of a job", "Due"), attrs=RIGHT, order_by=("due", "pk"))
    hours = Column(
        verbose_name=gettext_lazy("Hours to sharpen"), attrs=RIGHT, order_by=("hours", "pk"), empty_values=()
    )

    class Meta:
        order_by = ("-chance",)
        empty_text = gettext_lazy("No die matches.")
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
        self.caption = counted(len(data), "die with an open job", "dies with open jobs")

    def render_code(self, value, record):
        about = " · ".join(filter(None, [record.where, record.description]))
        return format_html(
            '<a href="{}"><strong>{}</strong><small title="{}">{}</small></a>',
            reverse("diestore:die", args=[record.pk]),
            value,
            about,
            about,
        )

    def render_state(self, record):
        notes = [record.held, _without_state(briefly(record.wrong)), _what_it_buys(record)]
        notes += [str(BEING_WORKED_OUT)] if record.pk in self.being_worked_out else []
        words = " · ".join(filter(None, notes)) or (_("run or sharpen?") if record.remaining else "")
        told = format_html(
            '{}<small title="{}">{}</small>',
            render_to_string("diestore/frame/status.html", {"s": record.standing}),
            words,
            words,
        )
        if not record.remaining:
            return format_html('<span class="in">{}</span>', told)
        return format_html('<a href="{}">{}</a>', reverse("maintenance:decide", args=[record.pk]), told)

    def render_chance(self, record):
        if record.chance is None:
            return format_html(
                '<span class="quiet">{0}</span><small title="{1}">{1}</small>', _("not known"), record.refusal
            )
        note = _("once put right") if record.wrong else record.rests_on if "handbook" in record.rests_on else ""
        return format_html(
            '<span class="chance"><strong>{}</strong> <svg class="bar" viewBox="0 0 66 14" width="66" height="14" '
            'aria-hidden="true"><rect class="bed" x="1" y="1" width="64" height="12"/>'
            '<rect class="fill {}" x="1" y="1" width="{}" height="12"/>'
            '<rect class="edge" x="1" y="1" width="64" height="12"/></svg></span>{}',
            odds.percent(record.chance),
            record.standing.css,
            f"{64 * record.chance:.1f}",
            format_html('<small title="{0}">{0}</small>', note) if note else "",
        )

    def render_order_number(self, value, record):
        return format_html("{}<small>{}</small>", value, _("{hits:,} hits to go").format(hits=record.hits_left))

    def render_limiting(self, value, record):
        told = format_html('<strong>{0}</strong><small title="{1}">{1}</small>', value, _(record.limiting_kind))
        if record.limiting_pk is None:
            return told
        return format_html('<a href="{}">{}</a>', reverse("maintenance:edge", args=[record.limiting_pk]), told)

    def render_since_sharpened(self, value):
        return f"{value:,}"

    def render_half(self, value, record):
        low, high = SCALE.at(record.low), SCALE.at(record.high)
        half = "" if SCALE.beyond(record.half) else f"M{paths.place(SCALE.at(record.half))} 18v16"
        ends = [path for hits in (record.low, record.high) if (path := _end(hits, MIDDLE, height=14))]
        order = _end(record.hits_left, NOTCH + 3, height=8) or paths.notch(SCALE.at(record.hits_left), NOTCH, height=-7)
        return format_html(
            '<svg viewBox="0 0 180 41" width="180" height="41" role="img"><title>{}</title>'
            '<path class="rule" d="M10 26H170"/>'
            '<rect class="w3" x="{}" y="20" width="{}" height="12"/><path class="now" d="{}"/>'
            '<path class="w1" d="{}"/><path class="solid" d="{}"/><text class="mid" x="{}" y="{}">{}</text></svg>',
            _("Half last longer than {half}; 8 in 10 between {low} and {high}; the job needs {needed}").format(
                half=numbers.hits(value),
                low=_placed(record.low),
                high=_placed(record.high),
                needed=_placed(record.hits_left, in_full=True),
            ),
            paths.place(min(low, 168.0)),
            paths.place(max(high - low, 2)),
            half,
            " ".join(dict.fromkeys(ends)),
            order,
            paths.place(min(max(SCALE.at(value), FIGURE_ROOM), 180.0 - FIGURE_ROOM)),
            FIGURE,
            numbers.hits(value),
        )

    def render_due(self, value):
        return date_format(value, "j M")

    def render_hours(self, value, record):
        hours = "–" if value is None else f"{value:.1f}"
        if self.works is None:
            return hours
        if work := self.works.get(record.pk):
            address, words = reverse("maintenance:bench_work", args=[work.pk]), work.get_state_display()
        else:
            address, words = f"{reverse('maintenance:bench_new')}?die={record.pk}&source=due", _("to the bench")
        return format_html('<a href="{}">{}<small>{}</small></a>', address, hours, words)


def _without_state(wrong: str) -> str:
    """What is wrong, without the words that the mark beside it says already."""
    return wrong.removesuffix(" past their limit").removesuffix(" damaged")


def _what_it_buys(record: DueRow) -> str:
    """Of a die to be sharpened first: the chance it then has."""
    if not (record.remaining and record.sharpens_first and record.advice is not None):
        return ""
    return _("sharpened: {chance}").format(chance=odds.percent(record.advice.sharpened))


def _end(hits: float, y: float, *, height: float) -> str:
    """An arrow out of the scale's end where a count lies beyond it; else nothing."""
    way = SCALE.beyond(hits)
    return paths.pointer(SCALE.at(hits) + way * ARROW, y, width=way * ARROW, height=height) if way else ""


def _placed(hits: float, *, in_full: bool = False) -> str:
    """A count in words, and that it lies beyond the scale where it does."""
    words, way = f"{hits:,}" if in_full else numbers.hits(hits), SCALE.beyond(hits)
    if way < 0:
        return _("{hits} (the scale begins at {low:,})").format(hits=words, low=LOW)
    return _("{hits} (the scale ends at {high:,})").format(hits=words, high=HIGH) if way else words
