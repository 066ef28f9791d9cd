"""What has been changed, as a table. Formats, never computes."""

from __future__ import annotations

from decimal import Decimal

import django_tables2 as tables
from django.urls import reverse
from django.utils import timezone
from django.utils.html import format_html, format_html_join
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, gettext_noop, ngettext

from diestore.frame.tables import RIGHT, Column
from reports.costing.changes import Verdict
from reports.format import day, money, status

from .kept import Row

LAST = "pk"
CHANGED = gettext_lazy("changed since")
VERDICTS = {
    Verdict.KEPT: ("enough", gettext_noop("Kept")),
    Verdict.SHORT: ("short", gettext_noop("Fell short")),
    Verdict.EARLY: ("unknown", gettext_noop("Too early to say")),
    Verdict.UNKNOWN: ("unknown", gettext_noop("The record cannot say")),
}


def times(value: float | None) -> str:
    """2.1 times, 14 times: nobody knows it better."""
    if value is None:
        return _("not known")
    return f"{value:.2g}" if value < 10 else f"{value:.0f}"


def between(low: float | None, high: float | None) -> str:
    """The band, as far as it is known."""
    if low is None:
        return "" if high is None else _("at most {n}").format(n=times(high))
    return (
        _("at least {n}").format(n=times(low))
        if high is None
        else _("{low} to {high}").format(low=times(low), high=times(high))
    )


def sum_between(low: Decimal | None, high: Decimal | None) -> str:
    """The band of a sum without its currency, as far as it is known."""
    told = ["" if one is None else money(one, cents=False).rpartition(" ")[0] for one in (low, high)]
    if not told[0]:
        return _("at most {n}").format(n=told[1]) if told[1] else ""
    return _("{low} to {high}").format(low=told[0], high=told[1]) if told[1] else _("at least {n}").format(n=told[0])


class ChangesTable(tables.Table):
    number = Column(verbose_name=gettext_lazy("Changed on"), accessor="number", order_by=("number", LAST))
    die = Column(verbose_name=gettext_lazy("Die"), accessor="code", order_by=("code", LAST))
    words = Column(verbose_name=gettext_lazy("Change"), accessor="followed__words", order_by=("followed__words", LAST))
    promised = Column(
        verbose_name=gettext_lazy("Promised"),
        accessor="promised",
        order_by=("promised", LAST),
        attrs=RIGHT,
        note=gettext_lazy("times as long"),
    )
    came = Column(
        verbose_name=gettext_lazy("Happened"),
        accessor="came",
        order_by=("came", LAST),
        attrs=RIGHT,
        note=gettext_lazy("times as long"),
    )
    verdict = Column(
        verbose_name=gettext_lazy("The promise"), accessor="followed__verdict", order_by=("followed__verdict", LAST)
    )
    saved = Column(
        verbose_name=gettext_lazy("Saves"),
        accessor="saved",
        order_by=("saved", LAST),
        attrs=RIGHT,
        note=gettext_lazy("a year, happened / promised"),
    )
    so_far = Column(
        verbose_name=gettext_lazy("So far"), accessor="followed__so_far", order_by=("followed__so_far", LAST),
        attrs=RIGHT, note=gettext_lazy("saved less cost"),
    )  # fmt: skip

    class Meta:
        order_by = ("number",)
        empty_text = gettext_lazy("No change matches.")

    def render_number(self, record: Row):
        return format_html('<span class="nowrap">{}</span>', day(timezone.localdate(record.followed.at)))

    def render_die(self, record: Row):
        waits = format_html("<small>{}</small>", CHANGED) if record.waits else ""
        at = reverse("reports:cost_die", args=[record.die])
        return format_html('<a class="nowrap" href="{}">{}</a>{}', at, record.code, waits)

    def render_words(self, record: Row):
        places = format_html_join(
            ", ", '<a href="{}">{}</a>',
            ((reverse("maintenance:edge", args=[pk]), code) for pk, code in record.followed.places),
        )  # fmt: skip
        doubts = format_html_join("", "<small>{}</small>", ((words,) for words in record.followed.doubts))
        came = record.followed.came
        ends = ngettext(
            "{before} dull edge before, {since} since", "{before} dull edges before, {since} since", came.dull_before
        ).format(before=came.dull_before, since=came.dull_after)
        where = format_html(_("{change} at {places}"), change=record.followed.words, places=places)
        return format_html("{}<small>{}</small>{}", where, ends, doubts)

    def render_promised(self, record: Row):
        told = record.followed.promised
        if told is None:
            return _("not yet")
        return format_html("{}<small>{}</small>", times(told[0]), between(told[1], told[2]))

    def render_came(self, record: Row):
        came = record.followed.came
        band = format_html("<small>{}</small>", between(came.low, came.high)) if came.low or came.high else ""
        return format_html("<strong>{}</strong>{}", times(came.times), band)

    def render_verdict(self, record: Row):
        state, words = VERDICTS[Verdict(record.followed.verdict)]
        return status(state, _(words))

    def render_saved(self, record: Row):
        came, promised = record.followed.came_sum, record.followed.promised_sum
        band = sum_between(came[1], came[2])
        told = ""
        if promised[0] is not None:
            told = _("promised {amount}").format(amount=money(promised[0], cents=False))
        lines = format_html_join("", "<small>{}</small>", ((words,) for words in (band, told) if words))
        return format_html("<strong>{}</strong>{}", money(came[0], cents=False), lines)

    def render_so_far(self, record: Row):
        extra = record.followed.extra
        cost = _("cost nothing") if extra == 0 else _("cost {amount}").format(amount=money(extra, cents=False))
        return format_html("{}<small>{}</small>", money(record.followed.so_far, cents=False), cost)
