"""What has been changed, as a table. Formats, never computes."""

from __future__ import annotations

from decimal import Decimal

import django_tables2 as tables
from django.urls import reverse
from django.utils import timezone
from django.utils.html import format_html, format_html_join
from django.utils.safestring import mark_safe

from diestore.frame.tables import RIGHT, Column
from reports.costing.changes import Verdict
from reports.format import day, money, status

from .kept import Row

LAST = "pk"
CHANGED = mark_safe("<small>changed since</small>")
VERDICTS = {
    Verdict.KEPT: ("enough", "Kept"),
    Verdict.SHORT: ("short", "Fell short"),
    Verdict.EARLY: ("unknown", "Too early to say"),
    Verdict.UNKNOWN: ("unknown", "The record cannot say"),
}


def times(value: float | None) -> str:
    """2.1 times, 14 times: nobody knows it better."""
    if value is None:
        return "not known"
    return f"{value:.2g}" if value < 10 else f"{value:.0f}"


def between(low: float | None, high: float | None) -> str:
    """The band, as far as it is known."""
    if low is None:
        return "" if high is None else f"at most {times(high)}"
    return f"at least {times(low)}" if high is None else f"{times(low)} to {times(high)}"


def sum_between(low: Decimal | None, high: Decimal | None) -> str:
    """The band of a sum without its currency, as far as it is known."""
    told = ["" if one is None else money(one, cents=False).rpartition(" ")[0] for one in (low, high)]
    if not told[0]:
        return f"at most {told[1]}" if told[1] else ""
    return f"{told[0]} to {told[1]}" if told[1] else f"at least {told[0]}"


class ChangesTable(tables.Table):
    number = Column(verbose_name="Changed on", accessor="number", order_by=("number", LAST))
    die = Column(verbose_name="Die", accessor="code", order_by=("code", LAST))
    words = Column(verbose_name="Change", accessor="followed__words", order_by=("followed__words", LAST))
    promised = Column(
        verbose_name="Promised", accessor="promised", order_by=("promised", LAST), attrs=RIGHT, note="times as long"
    )
    came = Column(verbose_name="Happened", accessor="came", order_by=("came", LAST), attrs=RIGHT, note="times as long")
    verdict = Column(verbose_name="The promise", accessor="followed__verdict", order_by=("followed__verdict", LAST))
    saved = Column(
        verbose_name="Saves",
        accessor="saved",
        order_by=("saved", LAST),
        attrs=RIGHT,
        note="a year, happened / promised",
    )
    so_far = Column(
        verbose_name="So far", accessor="followed__so_far", order_by=("followed__so_far", LAST), attrs=RIGHT,
        note="saved less cost",
    )  # fmt: skip

    class Meta:
        order_by = ("number",)
        empty_text = "No change matches."

    def render_number(self, record: Row):
        return format_html('<span class="nowrap">{}</span>', day(timezone.localdate(record.followed.at)))

    def render_die(self, record: Row):
        waits = CHANGED if record.waits else ""
        at = reverse("reports:cost_die", args=[record.die])
        return format_html('<a class="nowrap" href="{}">{}</a>{}', at, record.code, waits)

    def render_words(self, record: Row):
        places = format_html_join(
            ", ", '<a href="{}">{}</a>',
            ((reverse("maintenance:edge", args=[pk]), code) for pk, code in record.followed.places),
        )  # fmt: skip
        doubts = format_html_join("", "<small>{}</small>", ((words,) for words in record.followed.doubts))
        came = record.followed.came
        ends = f"{came.dull_before} dull edge{'' if came.dull_before == 1 else 's'} before, {came.dull_after} since"
        return format_html("{} at {}<small>{}</small>{}", record.followed.words, places, ends, doubts)

    def render_promised(self, record: Row):
        told = record.followed.promised
        if told is None:
            return "not yet"
        return format_html("{}<small>{}</small>", times(told[0]), between(told[1], told[2]))

    def render_came(self, record: Row):
        came = record.followed.came
        band = format_html("<small>{}</small>", between(came.low, came.high)) if came.low or came.high else ""
        return format_html("<strong>{}</strong>{}", times(came.times), band)

    def render_verdict(self, record: Row):
        return status(*VERDICTS[Verdict(record.followed.verdict)])

    def render_saved(self, record: Row):
        came, promised = record.followed.came_sum, record.followed.promised_sum
        band = sum_between(came[1], came[2])
        lines = format_html_join(
            "", "<small>{}</small>",
            ((words,) for words in (band, promised[0] is not None and f"promised {money(promised[0], cents=False)}")
             if words),
        )  # fmt: skip
        return format_html("<strong>{}</strong>{}", money(came[0], cents=False), lines)

    def render_so_far(self, record: Row):
        extra = record.followed.extra
        cost = "nothing" if extra == 0 else money(extra, cents=False)
        return format_html("{}<small>cost {}</small>", money(record.followed.so_far, cents=False), cost)
