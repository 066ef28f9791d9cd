"""The page and the files of what will be spent on spares."""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from urllib.parse import urlencode

import django_tables2 as tables
import xlsxwriter
from django.contrib.auth.decorators import permission_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.formats import date_format
from django.utils.html import format_html
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_safe

from diestore.access import plants, roles, shop
from diestore.drawing.scales import Even, Tick, short
from diestore.exports import csv_response
from diestore.frame.tables import RIGHT, Column, Rows, lay_out
from diestore.row_keys import row_key
from maintenance.workbooks.out import OPTIONS
from reports.format import how_old, money
from reports.purchasing.spend import Spend

from . import kept
from .months import NO_SUPPLIER, MonthsAhead, OfOne

HEAD = (
    "of what", "name", "from", "to", "ordered already", "1 in 10 no more than", "half no more than",
    "9 in 10 no more than", "expected", "currency",
)  # fmt: skip
WIDTH, HEIGHT, LEFT, RIGHT_ROOM, TOP, FOOT = 1000, 280, 64, 12, 14, 34
BAR = 0.62  # of a month's room
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


@require_safe
@permission_required(roles.SEE_SPARES, raise_exception=True)
def page(request: HttpRequest) -> HttpResponse:
    """The shop month by month, or one supplier or die of it; below, all of them by the year."""
    picked = plants.picked(request)
    found = kept.months_of(picked.plant) if picked.plant else None
    one = found and found.of(supplier=request.GET.get("supplier", ""), die=row_key(request.GET.get("die")))
    spend = one.spend if one else found and found.shop
    context = {"picked": picked, "found": found, "one": one, "query": f"?{picked.query}" if picked.query else ""}
    if found and spend:
        query = picked.query
        context |= {
            "how_old": how_old(found.records_until, found.today),
            "year": [_amount(n) for n in spend.year],
            "ordered": _amount(float(spend.sure.sum())),
            "drawn": drawn(found, spend),
            "rows": _rows(found, spend),
            "suppliers": lay_out(request, ByNameTable(Rows(_lines(found.suppliers)), prefix="s-", query=query)),
            "dies": lay_out(request, ByNameTable(Rows(_lines(found.dies)), prefix="d-", query=query)),
        }
    return render(request, "reports/spares/months.html", context)


@require_safe
@permission_required(roles.SEE_SPARES, raise_exception=True)
def as_csv(request: HttpRequest) -> HttpResponse:
    """Every month of the shop, of each supplier and each die."""
    found = _found(request)
    return csv_response("spares-ahead.csv", HEAD, lines(found, shop.current().currency) if found else ())


@require_safe
@permission_required(roles.SEE_SPARES, raise_exception=True)
def as_xlsx(request: HttpRequest) -> HttpResponse:
    """The same figures. Text is text and figures are figures: no cell holds a formula."""
    found = _found(request)
    out = io.BytesIO()
    with xlsxwriter.Workbook(out, OPTIONS | {"in_memory": True, "constant_memory": False}) as book:
        sheet, bold = book.add_worksheet("Spares ahead"), book.add_format({"bold": True, "bottom": 2})
        for column, name in enumerate(HEAD):
            sheet.set_column(column, column, 18)
            sheet.write_string(0, column, name, bold)
        for n, line in enumerate(lines(found, shop.current().currency) if found else (), start=1):
            for column, value in enumerate(line):
                if isinstance(value, float):
                    sheet.write_number(n, column, value)
                else:
                    sheet.write_string(n, column, str(value))
    answer = HttpResponse(out.getvalue(), content_type=XLSX)
    answer["Content-Disposition"] = 'attachment; filename="spares-ahead.xlsx"'
    return answer


def _found(request: HttpRequest) -> MonthsAhead | None:
    picked = plants.picked(request)
    return kept.months_of(picked.plant) if picked.plant else None


def _amount(value: float) -> str:
    return money(Decimal(str(round(value, 2))), cents=False)


def lines(found: MonthsAhead, currency: str) -> Iterator[list[object]]:
    """Of the files: one line a month, amounts to the cent."""
    some = [("shop", "", found.shop)]
    some += [("supplier", one.name, one.spend) for one in found.suppliers]
    some += [("die", one.name, one.spend) for one in found.dies]
    for of, name, spend in some:
        for n, month in enumerate(found.months):
            figures = [round(float(getattr(spend, key)[n]), 2) for key in ("sure", "low", "half", "high", "mean")]
            yield [of, name, month.first.isoformat(), month.last.isoformat(), *figures, currency]


def _rows(found: MonthsAhead, spend: Spend) -> list[tuple[str, ...]]:
    keys = ("sure", "low", "half", "high", "mean")
    return [
        (date_format(month.first, "F Y"), *(_amount(float(getattr(spend, key)[n])) for key in keys))
        for n, month in enumerate(found.months)
    ]


@dataclass(frozen=True, kw_only=True)
class Line:
    """One supplier or die by the year."""

    name: str
    pk: int
    ordered: float
    low: float
    half: float
    high: float


def _lines(some: tuple[OfOne, ...]) -> list[Line]:
    return [
        Line(name=one.name, pk=one.pk, ordered=float(one.spend.sure.sum()), low=one.spend.year[0],
             half=one.spend.year[1], high=one.spend.year[2])
        for one in some
    ]  # fmt: skip


NO_MORE = gettext_lazy("no more than")


class ByNameTable(tables.Table):
    name = Column(verbose_name=gettext_lazy("Of"), order_by=("name", "pk"))
    ordered = Column(verbose_name=gettext_lazy("Ordered already"), attrs=RIGHT, order_by=("ordered", "name", "pk"))
    low = Column(
        verbose_name=gettext_lazy("1 in 10"),
        note=NO_MORE,
        attrs=RIGHT,
        order_by=("low", "name", "pk"),
    )
    half = Column(
        verbose_name=gettext_lazy("Half"),
        note=NO_MORE,
        attrs=RIGHT,
        order_by=("half", "name", "pk"),
    )
    high = Column(
        verbose_name=gettext_lazy("9 in 10"),
        note=NO_MORE,
        attrs=RIGHT,
        order_by=("high", "name", "pk"),
    )

    class Meta:
        order_by = ("-high",)
        empty_text = gettext_lazy("Nothing is bought there within the year.")

    def __init__(self, *args, query: str = "", **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.query = query

    def render_name(self, value, record):
        asked = urlencode({"die": record.pk} if record.pk else {"supplier": value})
        address = f"{reverse('reports:spares_ahead')}?{asked}{f'&{self.query}' if self.query else ''}"
        return format_html('<a href="{}">{}</a>', address, _(NO_SUPPLIER) if value == NO_SUPPLIER else value)

    def render_ordered(self, value):
        return _amount(value)

    render_low = render_half = render_high = render_ordered


@dataclass(frozen=True, kw_only=True)
class Bar:
    """A month: its band, the line at half, and what is ordered already."""

    x: float
    width: float
    top: float
    band: float
    half: float
    sure: float
    sure_height: float
    middle: float
    words: str
    title: str


@dataclass(frozen=True, kw_only=True)
class DrawnMonths:
    width: int
    height: int
    left: int
    right: int
    base: int
    bars: list[Bar]
    up: list[Tick]
    title: str


def drawn(found: MonthsAhead, spend: Spend) -> DrawnMonths:
    base, right = HEIGHT - FOOT, WIDTH - RIGHT_ROOM
    y = Even(0, max(float(spend.high.max()), 1.0) * 1.05, base, TOP)
    room = (right - LEFT) / len(found.months)
    bars = []
    for n, month in enumerate(found.months):
        low, half, high, sure = (float(getattr(spend, key)[n]) for key in ("low", "half", "high", "sure"))
        x = LEFT + room * (n + (1 - BAR) / 2)
        bars.append(
            Bar(
                x=round(x, 1),
                width=round(room * BAR, 1),
                top=round(y.at(high), 1),
                band=round(y.at(low) - y.at(high), 1),
                half=round(y.at(half), 1),
                sure=round(y.at(sure), 1),
                sure_height=round(base - y.at(sure), 1),
                middle=round(x + room * BAR / 2, 1),
                words=date_format(month.first, "M" if month.first.month > 1 and n else "M Y"),
                title=_("{month}: even chance of at most {half}, 9 in 10 of at most {high}").format(
                    month=date_format(month.first, "F Y"), half=_amount(half), high=_amount(high)
                ),
            )
        )
    low, half, high = (_amount(n) for n in spend.year[:3])
    words = _(
        "Spent on spares by month: in the year 1 in 10 of at most {low}, even chance of at most {half}, 9 in 10 of at "
        "most {high}"
    ).format(low=low, half=half, high=high)
    return DrawnMonths(
        width=WIDTH, height=HEIGHT, left=LEFT, right=right, base=base, bars=bars, up=y.ticks(5, short), title=words
    )
