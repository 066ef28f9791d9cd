"""The cost of the dies as a table. Formats, never computes."""

from __future__ import annotations

from decimal import Decimal
from functools import cached_property

import django_tables2 as tables
from django.urls import reverse
from django.utils.html import format_html, format_html_join
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from reports.costing.own_log import NO_PART_VALUE
from reports.format import cents

from . import stacked
from .sheets import DieCost

RIGHT = {"th": {"class": "num"}, "td": {"class": "num"}}
LAST = "die__pk"  # rows that are equal keep one order, on every page of the list


class Column(tables.Column):
    """A column with a small note under its head. Unlike others it draws the empty cell itself."""

    def __init__(self, *args, note: str = "", **kwargs) -> None:
        super().__init__(*args, empty_values=(), **kwargs)
        self.note = note


class CostTable(tables.Table):
    die = Column(verbose_name=gettext_lazy("Die"), accessor="die__code", order_by=("die__code", LAST))
    parts = Column(
        verbose_name=gettext_lazy("Parts made"),
        accessor="sheet__parts_made",
        order_by=("sheet__parts_made", LAST),
        attrs=RIGHT,
    )
    total = Column(
        verbose_name=gettext_lazy("Cost per thousand"),
        accessor="sorted_total",
        order_by=("sorted_total", LAST),
        attrs=RIGHT,
    )
    bar = Column(verbose_name=gettext_lazy("What it is spent on"), orderable=False)
    build = Column(
        verbose_name=gettext_lazy("Building"), accessor="sorted_build", order_by=("sorted_build", LAST), attrs=RIGHT
    )
    sharpening = Column(
        verbose_name=gettext_lazy("Sharpening"),
        accessor="sorted_sharpening",
        order_by=("sorted_sharpening", LAST),
        attrs=RIGHT,
    )
    spares = Column(
        verbose_name=gettext_lazy("Spares"), accessor="sorted_spares", order_by=("sorted_spares", LAST), attrs=RIGHT
    )
    stop = Column(
        verbose_name=gettext_lazy("Stops"), accessor="sorted_stop", order_by=("sorted_stop", LAST), attrs=RIGHT
    )
    rest = Column(
        verbose_name=gettext_lazy("Repair and other"),
        accessor="sorted_rest",
        order_by=("sorted_rest", LAST),
        attrs=RIGHT,
    )

    class Meta:
        order_by = ("-total",)
        empty_text = gettext_lazy("No die matches.")

    @cached_property
    def dearest(self) -> Decimal:
        """What a bar as long as its column stands for: of every row, not of the page alone."""
        return max((row.per_thousand for row in self.data if row.per_thousand is not None), default=Decimal(0))

    def render_die(self, record: DieCost):
        return format_html(
            '<a href="{}">{}</a><small>{}</small>',
            reverse("reports:cost_die", args=[record.die.pk]),
            record.die.code,
            record.die.description,
        )

    def render_parts(self, record: DieCost):
        return f"{record.sheet.parts_made:,}"

    def render_total(self, record: DieCost):
        if record.per_thousand is None:
            unknown = _("not known")
            return format_html("{}<small>{}</small>", unknown, record.failed) if record.failed else unknown
        gaps = any(not words.endswith(NO_PART_VALUE) for words in record.sheet.left_out)  # which the page says once
        note = format_html("<small>{}</small>", _("not all of it")) if gaps else ""
        return format_html("<strong>{}</strong>{}", cents(record.per_thousand), note)

    def render_bar(self, record: DieCost):
        amounts = [getattr(record, f"sorted_{name}") for name, _words in stacked.ELEMENTS]
        made = stacked.pieces(amounts, self.dearest)
        if not made:
            return "–"
        return format_html(
            '<svg class="costs" viewBox="0 0 {0} 16" width="{0}" height="16" role="img"><title>{1}</title>{2}</svg>',
            f"{stacked.WIDE:g}",
            "; ".join(piece.words for piece in made),
            format_html_join(
                "",
                '<rect class="cost-{}" x="{}" y="1" width="{}" height="14"/>',
                ((piece.css, str(piece.x), str(piece.width)) for piece in made),
            ),
        )

    def render_build(self, value):
        return _figure(value)

    render_sharpening = render_spares = render_stop = render_rest = render_build


def _figure(value: Decimal) -> str:
    return "–" if value < 0 else cents(value)
