"""The page of a die's ledger, and its files."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal

import django_tables2 as tables
import xlsxwriter
from django.contrib.auth.decorators import permission_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.html import format_html
from django.utils.http import content_disposition_header
from django.views.decorators.http import require_safe

from diestore.access import plants, roles, shop
from diestore.exports import csv_response
from diestore.frame.tables import RIGHT, Column, Rows, lay_out
from maintenance.workbooks.out import OPTIONS
from reports.costing.ledger import By, Ledger, LedgerEntry, Payer, Plan, cut, month_of
from reports.costing.own_log import ELEMENTS
from reports.format import day, plain_money

from . import ledger_paper, periods, plot, reads
from .ledger import DieLedger, ledger_of

PER_PAGE = 25
SHORT = {"build": "Build", "stop": "Stops"}  # heads of narrow columns
HEAD = (
    "entry", "stage", "element", "what", "planned", "who pays", "name of who pays", "paid on", "used on", "amount",
    "currency", "how it is priced",
)  # fmt: skip
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


@require_safe
@permission_required(roles.SEE_COST, raise_exception=True)
def page(request: HttpRequest, pk: int) -> HttpResponse:
    """What was paid and what was used up, month by month, and the entries behind each figure."""
    told = _asked(request, pk)
    ledger, asked = told.ledger, _period(request)
    chosen = periods.within(ledger.entries, asked)
    element = request.GET.get("element", "")
    if element in ELEMENTS:
        chosen = [entry for entry in chosen if entry.element == element]
    rows = _lines(told, chosen)
    elements = periods.elements_of(ledger)
    ledger_plans = cut(ledger.entries, By.ACCRUAL, lambda entry, _: entry.plan)
    context = {
        "die": told.die,
        "told": told,
        "paid": _cents(ledger.paid),
        "used": _cents(ledger.used),
        "held": _cents(ledger.held) if ledger.held else "",
        "unplanned": _cents(sum((one.plans[Plan.UNPLANNED] for one in elements), Decimal(0))),
        "who": [_payer_row(one, [e.key for e in elements]) for one in periods.payers_of(ledger, told.payers)],
        "elements": [_element(one) for one in elements],
        "whole": _sum_of(elements),
        "keys": [(one.key, SHORT.get(one.key, one.name)) for one in elements],
        "periods": [_period_row(one, [e.key for e in elements]) for one in periods.periods_of(ledger)],
        "by_year": len(ledger.months) > periods.MONTHS_SHOWN,
        "period": asked,
        "element": ELEMENTS[element][0] if element in ELEMENTS else "",
        "table": lay_out(request, LedgerTable(Rows(rows)), PER_PAGE),
        "chosen_paid": _cents(sum((e.amount for e in chosen if e.paid and _in(e.paid, asked)), Decimal(0))),
        "chosen_used": _cents(sum((e.amount for e in chosen if e.used and _in(e.used, asked)), Decimal(0))),
        "all_plans": [_or_dash(ledger_plans.get((plan,), Decimal(0))) for plan in Plan],
        "plot": _plot(told),
        "sees_orders": request.user.has_perm(roles.SEE_SPARES),
        "currency": shop.current().currency,
    }
    return render(request, "reports/cost/ledger.html", context)


@require_safe
@permission_required(roles.SEE_COST, raise_exception=True)
def as_csv(request: HttpRequest, pk: int) -> HttpResponse:
    """Every entry, to the cent."""
    told = _asked(request, pk)
    return csv_response(f"ledger-{told.die.code}.csv", HEAD, _file_rows(told))


@require_safe
@permission_required(roles.SEE_COST, raise_exception=True)
def as_xlsx(request: HttpRequest, pk: int) -> HttpResponse:
    """The same entries, and the months made of them. Text is text and figures are figures: no cell holds a formula."""
    told = _asked(request, pk)
    out = io.BytesIO()
    with xlsxwriter.Workbook(out, OPTIONS | {"in_memory": True, "constant_memory": False}) as book:
        bold, cents = book.add_format({"bold": True, "bottom": 2}), book.add_format({"num_format": "#,##0.00"})
        sheets = (
            ("Entries", HEAD, _file_rows(told)),
            ("Months", *_months(told.ledger)),
            ("Who paid", *_who_paid(told)),
        )
        for name, head, rows in sheets:
            sheet = book.add_worksheet(name)
            for column, words in enumerate(head):
                sheet.set_column(column, column, 18)
                sheet.write_string(0, column, words, bold)
            for n, row in enumerate(rows, start=1):
                for column, value in enumerate(row):
                    if isinstance(value, Decimal):
                        sheet.write_number(n, column, float(value), cents)
                    else:
                        sheet.write_string(n, column, str(value))
    answer = HttpResponse(out.getvalue(), content_type=XLSX)
    answer["Content-Disposition"] = content_disposition_header(True, f"ledger-{told.die.code}.xlsx")
    return answer


@require_safe
@permission_required(roles.SEE_COST, raise_exception=True)
def as_pdf(request: HttpRequest, pk: int) -> HttpResponse:
    """The document: elements, months and every entry on A4."""
    told = _asked(request, pk)
    address = request.build_absolute_uri(reverse("reports:cost_ledger", args=[told.die.pk]))
    own = shop.current()
    named = "".join(c for c in told.die.code if c.isalnum() or c in "-_") or "die"
    return HttpResponse(
        ledger_paper.pdf(told, address=address, shop=own.name, currency=own.currency),
        content_type="application/pdf",
        headers={"Content-Disposition": content_disposition_header(False, f"ledger-{named}.pdf")},
    )


def _asked(request: HttpRequest, pk: int) -> DieLedger:
    die = plants.within(reads.with_plant(), request.user).filter(pk=pk).first()
    if die is None:
        raise Http404("No such die here.")
    return ledger_of(die)


def _period(request: HttpRequest) -> str:
    """A month or a year as an address names it; nothing where it names none."""
    text = request.GET.get("period", "")
    return text if re.fullmatch(r"[12][0-9]{3}(-(0[1-9]|1[0-2]))?", text, re.ASCII) else ""


def _in(when, key: str) -> bool:
    return f"{when:%Y-%m}".startswith(key)


def _file_rows(told: DieLedger) -> Iterator[list[object]]:
    currency = shop.current().currency
    for entry in told.ledger.entries:
        yield [
            entry.key, entry.stage.value, ELEMENTS[entry.element][0], entry.words, entry.plan.value, entry.payer.value,
            told.payers.get(entry.key, ""), entry.paid.isoformat() if entry.paid else "",
            entry.used.isoformat() if entry.used else "", entry.amount, currency, entry.basis,
        ]  # fmt: skip


def _months(ledger: Ledger) -> tuple[list[str], Iterator[list[object]]]:
    """One row a month: each element as it was used up, that together, and what was paid."""
    present = [one.key for one in periods.elements_of(ledger)]
    by_element = cut(ledger.entries, By.ACCRUAL, lambda _, on: month_of(on), lambda entry, _: entry.element)
    used, paid = (cut(ledger.entries, by, lambda _, on: month_of(on)) for by in (By.ACCRUAL, By.CASH))

    def rows() -> Iterator[list[object]]:
        for month in ledger.months:
            yield [
                f"{month:%Y-%m}",
                *(by_element.get((month, key), Decimal(0)) for key in present),
                used.get((month,), Decimal(0)),
                paid.get((month,), Decimal(0)),
            ]

    return ["month", *(f"{ELEMENTS[key][0].lower()}, used up" for key in present), "used up", "paid"], rows()


def _who_paid(told: DieLedger) -> tuple[list[str], Iterator[list[object]]]:
    """One row a month: what each of those who pay was asked for, and that together."""
    who = periods.payers_of(told.ledger, told.payers)

    def rows() -> Iterator[list[object]]:
        for month in told.ledger.months:
            each = [one.months.get(month, Decimal(0)) for one in who]
            yield [f"{month:%Y-%m}", *each, sum(each, Decimal(0))]

    return ["month", *(one.words for one in who), "paid"], rows()


# --- what the page shows ----------------------------------------------------------------------------------------------


def _cents(value: Decimal) -> str:
    return f"{value:,.2f}"


def _or_dash(value: Decimal) -> str:
    return _cents(value) if value else "–"


def _element(one: periods.OfElement) -> dict:
    return {
        "key": one.key,
        "name": one.name,
        "stage": one.stage,
        "paid": _cents(one.paid),
        "used": _cents(one.used),
        "held": _or_dash(one.held),
        "plans": [_or_dash(one.plans[plan]) for plan in Plan],
        "payers": [_or_dash(one.payers[payer]) for payer in Payer],
    }


def _payer_row(one: periods.OfPayer, keys: list[str]) -> dict:
    return {
        "words": one.words,
        "paid": _cents(one.paid),
        "cells": [_or_dash(one.elements.get(key, Decimal(0))) for key in keys],
    }


def _sum_of(elements: list[periods.OfElement]) -> dict:
    def together(values) -> Decimal:
        return sum(values, Decimal(0))

    return {
        "paid": _cents(together(one.paid for one in elements)),
        "used": _cents(together(one.used for one in elements)),
        "held": _or_dash(together(one.held for one in elements)),
        "plans": [_or_dash(together(one.plans[plan] for one in elements)) for plan in Plan],
        "payers": [_or_dash(together(one.payers[payer] for one in elements)) for payer in Payer],
    }


def _period_row(one: periods.Period, keys: list[str]) -> dict:
    return {
        "key": one.key,
        "name": one.name,
        "cells": [_or_dash(one.elements.get(key, Decimal(0))) for key in keys],
        "plans": [_or_dash(one.plans.get(plan, Decimal(0))) for plan in Plan],
        "used": _cents(one.used),
        "paid": _cents(one.paid),
    }


def _plot(told: DieLedger):
    """The newest months without the build, which would dwarf all else."""
    entries = [entry for entry in told.ledger.entries if entry.element != "build"]
    months = told.ledger.months[-periods.MONTHS_SHOWN :]
    if not entries or len(months) < 2:
        return ""
    used = cut(entries, By.ACCRUAL, lambda _, on: month_of(on), lambda entry, _: entry.plan)
    paid = cut(entries, By.CASH, lambda _, on: month_of(on))
    bars = [
        plot.SpentMonth(
            used=tuple(float(used.get((month, plan), 0)) for plan in (Plan.PLANNED, Plan.UNPLANNED, Plan.NOT_SAID)),
            paid=float(paid.get((month,), 0)),
            word=f"{month:%b %y}" if n % 3 == 0 else "",
        )
        for n, month in enumerate(months)
    ]
    return plot.spent_by_month(
        bars,
        y_label=f"{shop.current().currency} a month",
        title=f"What {told.die.code} took in each of {len(months)} months, without its build",
    )


@dataclass(frozen=True, kw_only=True)
class Line:
    """An entry of the ledger as the table sorts it."""

    pk: int
    entry: LedgerEntry
    link: str
    order: int | None
    payer: str
    payable: tuple[str, int] | None

    @property
    def paid(self):
        return self.entry.paid

    @property
    def used(self):
        return self.entry.used

    @property
    def element(self) -> str:
        return ELEMENTS[self.entry.element][0]

    @property
    def words(self) -> str:
        return self.entry.words

    @property
    def plan(self) -> str:
        return self.entry.plan.value

    @property
    def amount(self) -> Decimal:
        return self.entry.amount


def _lines(told: DieLedger, entries: list[LedgerEntry]) -> list[Line]:
    return [
        Line(
            pk=n,
            entry=entry,
            link=told.links.get(entry.key, ""),
            order=told.orders.get(entry.key),
            payer=_payer(entry, told.payers.get(entry.key, "")),
            payable=told.payables.get(entry.key),
        )
        for n, entry in enumerate(entries)
    ]


def _payer(entry: LedgerEntry, name: str) -> str:
    if entry.payer == Payer.SHOP:
        return "the shop"
    return f"the owner, {name}" if entry.payer == Payer.OWNER else name or "a customer"


class LedgerTable(tables.Table):
    used = Column(verbose_name="Used up", note="accrual", order_by=("used", "pk"), empty_values=())
    paid = Column(verbose_name="Paid", note="cash", order_by=("paid", "pk"), empty_values=())
    element = Column(verbose_name="Element", order_by=("element", "pk"))
    words = Column(verbose_name="What", order_by=("words", "pk"))
    plan = Column(verbose_name="Planned?", order_by=("plan", "pk"))
    payer = Column(verbose_name="Who pays", order_by=("payer", "pk"))
    amount = Column(verbose_name="Amount", attrs=RIGHT, order_by=("amount", "pk"))

    class Meta:
        order_by = ("-used",)
        empty_text = "No entry matches."

    def render_used(self, record: Line):
        return format_html('<span class="nowrap">{}</span>', day(record.used) or "as parts are made")

    def render_paid(self, record: Line):
        return format_html('<span class="nowrap">{}</span>', day(record.paid) or "with the build")

    def render_words(self, record: Line):
        order = ""
        if record.order is not None and self.request.user.has_perm(roles.SEE_SPARES):
            order = format_html(' <a href="{}">see the order</a>', reverse("maintenance:purchase", args=[record.order]))
        return format_html(
            '<a href="{}">{}</a><small>{}{}</small>', record.link, record.words, record.entry.basis, order
        )

    def render_payer(self, record: Line):
        if record.payable is None:
            return record.payer
        return format_html(
            '<a href="{}">{}</a>', reverse("maintenance:payers_entry", args=record.payable), record.payer
        )

    def render_amount(self, value: Decimal):
        return plain_money(value) if abs(value) < 1000 else f"{value:,.2f}"
