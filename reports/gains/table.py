"""The changes as a table. Formats, never computes."""

from __future__ import annotations

import django_tables2 as tables
from django.urls import reverse
from django.utils.html import format_html, format_html_join
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from diestore.frame.tables import RIGHT, Column
from maintenance.wording.odds import chance
from reports.format import money

from .kept import Row

LAST = "pk"
NOTE = "<small>{}</small>"  # under a figure


class GainsTable(tables.Table):
    number = Column(verbose_name=gettext_lazy("Rank"), accessor="number", order_by=("number", LAST), attrs=RIGHT)
    die = Column(verbose_name=gettext_lazy("Die"), accessor="gain__die", order_by=("gain__die", LAST))
    words = Column(verbose_name=gettext_lazy("Change"), accessor="gain__words", order_by=("gain__words", LAST))
    extra = Column(
        verbose_name=gettext_lazy("Costs now"),
        accessor="gain__extra",
        order_by=("gain__extra", LAST),
        attrs=RIGHT,
        note=gettext_lazy("more"),
    )
    saved = Column(
        verbose_name=gettext_lazy("Saves"), accessor="gain__saved_a_year", order_by=("gain__saved_a_year", LAST),
        attrs=RIGHT, note=gettext_lazy("a year, running it"),
    )  # fmt: skip
    worth = Column(
        verbose_name=gettext_lazy("Worth today"), accessor="gain__worth", order_by=("gain__worth", LAST), attrs=RIGHT,
        note=gettext_lazy("less what it costs"),
    )  # fmt: skip
    odds = Column(
        verbose_name=gettext_lazy("Chance that it pays"),
        accessor="gain__chance",
        order_by=("gain__chance", LAST),
        attrs=RIGHT,
    )

    class Meta:
        order_by = ("number",)
        empty_text = gettext_lazy("No change matches.")

    def render_die(self, record: Row):
        waits = format_html(NOTE, _("changed since")) if record.waits else ""
        return format_html(
            '<a class="nowrap" href="{}">{}</a>{}',
            reverse("reports:cost_die", args=[record.die]),
            record.gain.die,
            waits,
        )

    def render_words(self, record: Row):
        at = f"{reverse('reports:cost_die', args=[record.die])}?{record.tried.query}#builds"
        doubts = format_html_join("", "<small>{}</small>", ((words,) for words in record.tried.doubts))
        return format_html('<a href="{}">{}</a>{}', at, record.gain.words, doubts)

    def render_extra(self, record: Row):
        if not record.gain.is_priced:
            return _("not known")
        return _("nothing") if record.gain.is_free else money(record.gain.extra, cents=False)

    def render_saved(self, record: Row):
        return money(record.gain.saved_a_year, cents=False)

    def render_worth(self, record: Row):
        most = format_html(NOTE, _("at most")) if not record.gain.is_priced else ""
        return format_html("<strong>{}</strong>{}", money(record.gain.worth, cents=False), most)

    def render_odds(self, record: Row):
        by_wear = "" if record.gain.sort in ("gap", "grind") else format_html(NOTE, _("by wear alone"))
        return format_html("{}{}", chance(record.gain.chance), by_wear)
