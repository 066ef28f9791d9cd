"""The spares as a table and a file. Formats, never computes."""

from __future__ import annotations

import django_tables2 as tables
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import mark_safe
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, gettext_noop, ngettext, pgettext_lazy

from reports.format import day, money, plain_money, status

from . import supply
from .advice import SpareRow
from .pegs import laid_out
from .supply import Supply

RIGHT = {"th": {"class": "num"}, "td": {"class": "num"}}
LAST = "item__pk"  # rows that are equal keep one order, on every page of the list
WAITS = gettext_lazy("entries since do not count yet")
USE = {"th": {"class": "num"}, "td": {"class": "num", "style": "min-width: 5.5rem"}}
WORDS = {
    "short": gettext_noop("Order now"),
    "soon": gettext_noop("Soon"),
    "enough": gettext_noop("Enough"),
    "unknown": gettext_noop("Not known"),
}


class Column(tables.Column):
    """A column with a small note under its head. Unlike others it draws the empty cell itself."""

    def __init__(self, *args, note: str = "", **kwargs) -> None:
        super().__init__(*args, empty_values=(), **kwargs)
        self.note = note


class SpareTable(tables.Table):
    tick = Column(verbose_name=pgettext_lazy("to be ticked", "Order"), orderable=False)
    code = Column(
        verbose_name=gettext_lazy("Spare"), order_by=("code", LAST), attrs={"td": {"style": "min-width: 10rem"}}
    )
    state = Column(
        verbose_name=gettext_lazy("State"),
        order_by=("order_day", "unknown", "stops_rank", "-short_sorted", "code", LAST),
    )
    shelf = Column(
        verbose_name=gettext_lazy("Shelf"), note=gettext_lazy("line: needed before delivery"), orderable=False
    )
    on_hand = Column(verbose_name=gettext_lazy("On the shelf"), attrs=RIGHT, order_by=("on_hand", LAST))
    on_order = Column(verbose_name=gettext_lazy("On order"), attrs=RIGHT, order_by=("on_order", LAST))
    lead_days = Column(
        verbose_name=gettext_lazy("Lead time"), note=gettext_lazy("days"), order_by=("lead_sorted", LAST), attrs=RIGHT
    )
    use = Column(
        verbose_name=gettext_lazy("Needed before an order arrives"),
        note=gettext_lazy("even chance at most · 9 in 10"),
        order_by=("half_sorted", "nine_sorted", LAST),
        attrs=USE,
    )
    short_by = Column(verbose_name=gettext_lazy("Short by"), order_by=("short_sorted", LAST), attrs=RIGHT)
    order_by = Column(verbose_name=gettext_lazy("Order by"), order_by=("order_day", LAST), attrs=RIGHT)
    quantity = Column(verbose_name=gettext_lazy("How many"), order_by=("quantity_sorted", LAST), attrs=RIGHT)

    class Meta:
        # what to do first, then why: on a tablet the last columns are the ones to be scrolled to
        sequence = (
            "tick", "code", "state", "order_by", "quantity", "shelf", "on_hand", "on_order", "use", "short_by",
            "lead_days",
        )  # fmt: skip
        order_by = ("state",)
        empty_text = gettext_lazy("No spare matches.")
        row_attrs = {"class": lambda record: "limit" if record.is_due else ""}

    def __init__(
        self,
        *args,
        query: str = "",
        supply: Supply | None = None,
        may_order: bool = False,
        ticked: bool = False,
        **kwargs,
    ) -> None:
        """query: what the address of a spare takes along, so that it stays with this plant. ticked: what is due is
        ticked to be ordered."""
        self.query = f"?{query}" if query else ""
        self.supply, self.ticked = supply or Supply(), ticked
        super().__init__(*args, exclude=() if may_order else ("tick",), **kwargs)

    def render_tick(self, record: SpareRow):
        """A box that says which spare and how many; none for one that stands in a draft already."""
        if record.item.pk in self.supply.drafts:
            return ""
        return format_html(
            '<input type="checkbox" name="item" value="{}:{}" aria-label="{}"{}>',
            str(record.item.pk), str(record.quantity or 0), _("Order {code}").format(code=record.code),
            mark_safe(" checked") if self.ticked and record.is_due and record.quantity else "",
        )  # fmt: skip

    def render_code(self, record: SpareRow):
        place = _("lies at {place}").format(place=record.item.shelf_place) if record.item.shelf_place else ""
        return format_html(
            '<a href="{}{}">{}</a><small>{}</small>',
            reverse("reports:spare", args=[record.item.pk]),
            self.query,
            record.code,
            " · ".join(bit for bit in (record.item.description or record.kind, record.supplier, place) if bit),
        )

    def render_state(self, record: SpareRow):
        words = status(record.state, _(WORDS[record.state]))
        if draft := self.supply.drafts.get(record.item.pk):
            number, pk, pieces = draft
            there = reverse("maintenance:purchase", args=[pk])
            draft_of = format_html('<a href="{}">{}</a>', there, number)
            lies = format_html(_("{pieces} in draft {draft}"), pieces=f"{pieces:,}", draft=draft_of)
            words = format_html("{}<small>{}</small>", words, lies)
        return format_html("{}<small>{}</small>", words, WAITS) if record.waits else words

    def render_shelf(self, record: SpareRow):
        drawn = laid_out(record.there, record.on_order, record.nine_in_ten)
        needed = "" if drawn.needed is None else f"M{drawn.needed:.1f} 0v20"
        return format_html(
            '<svg class="pegs" viewBox="0 0 {0} 24" width="{0}" height="24" role="img"><title>{1}</title>'
            '<path class="rule2" d="M0 20H{0}"/><path class="w1" d="{2}"/><path class="rule2 outlined" d="{3}"/>'
            '<path class="need" d="{4}"/></svg>',
            f"{drawn.width:g}", drawn.words, drawn.here, drawn.coming, needed,
        )  # fmt: skip

    def render_on_hand(self, record: SpareRow):
        if not record.older:
            return f"{record.on_hand:,}"
        older = "; ".join(_("and {pieces:,} {name}").format(pieces=one.pieces, name=one.name) for one in record.older)
        return format_html("{}<small>{}</small>", f"{record.on_hand:,}", older)

    def render_on_order(self, record: SpareRow):
        coming = self.supply.coming.get(record.item.pk, [])
        notes = [supply.words_of(one, supply.day_of) for one in coming[:2]]
        if len(coming) > 2:
            notes.append(_("and {n} more").format(n=len(coming) - 2))
        if (without := record.on_order - supply.pieces_of(coming)) > 0:
            notes.append(_("{pieces:,} without an order").format(pieces=without))
        if not record.on_order:
            return "–"
        return format_html("{}<small>{}</small>", f"{record.on_order:,}", "; ".join(notes))

    def render_lead_days(self, record: SpareRow):
        return _("not known") if record.lead_days is None else f"{record.lead_days:,}"

    def render_use(self, record: SpareRow):
        if record.advice is None:
            return _("not known")
        return format_html("{}<small>{}</small>", record.half, _("9 in 10: {n}").format(n=record.nine_in_ten))

    def render_short_by(self, record: SpareRow):
        return "" if record.advice is None else f"{record.short_by:,}" if record.short_by else "–"

    def render_order_by(self, record: SpareRow):
        if record.advice is None:
            return ""
        if record.order_by is None:
            return _("not this year")
        late = record.advice.days_late
        ahead = _("today") if record.is_due else _("in {days} days").format(days=record.days_left)
        when = ngettext("{days} day late", "{days} days late", late).format(days=late) if late else ahead
        return format_html("{}<small>{}</small>", day(record.order_by), when)

    def render_quantity(self, record: SpareRow):
        if not record.quantity:
            return ""
        words = money(record.value, cents=False) if record.value is not None else _("price not known")
        return format_html("<strong>{}</strong><small>{}</small>", f"{record.quantity:,}", words)


HEAD = (
    "spare", "description", "kind", "supplier", "state", "on the shelf", "usable older pieces", "on order",
    "lead time (days)", "needed before an order arrives, even chance at most",
    "needed before an order arrives, 9 in 10 at most", "short by", "order by", "days late",
    "how many", "pack size",
    "unit price", "currency", "place on the shelf", "dies", "records up to", "why not known",
)  # fmt: skip


def csv_row(row: SpareRow, currency: str) -> list[object]:
    """One line of the file: plain values, days as ISO 8601."""
    advice = row.advice
    return [
        row.code,
        row.item.description,
        row.kind,
        row.supplier,
        WORDS[row.state],
        row.on_hand,
        row.usable_older,
        row.on_order,
        row.lead_days,
        row.half,
        row.nine_in_ten,
        row.short_by,
        row.order_by.isoformat() if row.order_by else None,
        advice.days_late if advice else None,
        row.quantity,
        row.item.pack_size,
        plain_money(row.each),
        currency,
        row.item.shelf_place,
        " ".join(row.dies),
        row.today.isoformat(),
        row.refusal,
    ]
