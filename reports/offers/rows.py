"""The rows behind an outlined tool, as a spreadsheet and as CSV."""

from __future__ import annotations

import io
from collections.abc import Iterator

import xlsxwriter
from django.contrib.auth.decorators import permission_required
from django.http import Http404, HttpRequest, HttpResponse
from django.utils.http import content_disposition_header
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from diestore.access import roles, shop
from diestore.exports import csv_response
from maintenance.workbooks.out import OPTIONS

from . import reads, shown
from .reckon import BUILD, WORDS, Told, reckon
from .views import whose_of

XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
SUMMARY = (
    "number",
    "way",
    "how it is built",
    "build price",
    "hits between sharpenings (half)",
    "1 in 10 below",
    "9 in 10 below",
    "running a thousand",
    "all in all a thousand",
    "present value",
    "annual equivalent",
    "over years",
    "paid back after years",
    "break-even parts",
    "chance that it pays",
    "currency",
)


def summary(told: Told, currency: str) -> Iterator[tuple]:
    assert told.weighed is not None
    against = {one.money.way.name: one for one in told.weighed.others}
    for way, one in zip(told.ways, told.weighed.ways, strict=True):
        other = against.get(one.way.name)
        yield (
            way.number,
            one.way.name,
            shown.way_words(way.row),
            float(way.price),
            round(way.interval[1]),
            round(way.interval[0]),
            round(way.interval[2]),
            float(one.running.expected),
            round(float(one.thousand), 4),
            round(float(one.worth), 2),
            round(float(one.yearly), 2) if one.yearly is not None else None,
            one.life_years,
            round(other.years, 2) if other and other.years is not None else None,
            round(float(other.crossing.parts)) if other and other.crossing.parts is not None else None,
            other.chance if other else None,
            currency,
        )


def _found(request: HttpRequest, pk: int) -> Told:
    outline = reads.outline(pk, request.user)
    if outline is None:
        raise Http404(_("No such outline here."))
    return reckon(outline, whose=whose_of(request))


@require_safe
@permission_required(roles.SEE_COST, raise_exception=True)
def as_csv(request: HttpRequest, pk: int) -> HttpResponse:
    """A row a way; one that says why where nothing can be said."""
    told = _found(request, pk)
    if told.weighed is None:
        return csv_response("outline.csv", ("why not",), [(told.refusal,)])
    return csv_response("outline.csv", SUMMARY, summary(told, shop.current().currency))


@require_safe
@permission_required(roles.SEE_COST, raise_exception=True)
def as_xlsx(request: HttpRequest, pk: int) -> HttpResponse:
    """Ways, elements, years, volumes, burr limits and assumptions, a sheet each. No cell holds a formula."""
    told, currency = _found(request, pk), shop.current().currency
    out = io.BytesIO()
    with xlsxwriter.Workbook(out, OPTIONS | {"in_memory": True, "constant_memory": False}) as book:
        bold = book.add_format({"bold": True, "bottom": 2, "text_wrap": True})
        for name, head, rows in sheets(told, currency):
            sheet = book.add_worksheet(name)
            sheet.freeze_panes(1, 0)
            for c, words in enumerate(head):
                sheet.set_column(c, c, 34 if c == 0 and name == "Assumptions" else 18)
                sheet.write_string(0, c, words, bold)
            for r, row in enumerate(rows, start=1):
                for c, value in enumerate(row):
                    if isinstance(value, str):
                        sheet.write_string(r, c, value)
                    elif value is not None:
                        sheet.write_number(r, c, value)
    response = HttpResponse(out.getvalue(), content_type=XLSX)
    response["Content-Disposition"] = content_disposition_header(True, "outline.xlsx")
    return response


def sheets(told: Told, currency: str) -> Iterator[tuple[str, tuple[str, ...], list[tuple]]]:
    if told.weighed is None:
        yield "Ways", ("why not",), [(told.refusal,)]
    else:
        names = tuple(one.way.name for one in told.weighed.ways)
        yield "Ways", SUMMARY, list(summary(told, currency))
        keys = shown.counted(told)
        builds = [float(one.build_thousand) for one in told.weighed.ways]
        yield (
            "Elements",
            (f"{currency} a thousand", *names),
            [
                (_(WORDS[key]), *(builds if key == BUILD else [float(way.elements[key]) for way in told.ways]))
                for key in keys
            ],
        )
        years = range(len(told.outline.volumes) + 1)
        yield (
            "Years",
            ("year", "parts", *(f"{n}, paid so far" for n in names)),
            [
                (
                    y,
                    told.outline.volumes[y - 1] if y else 0,
                    *(round(float(m.cumulative[y]), 2) for m in told.weighed.ways),
                )
                for y in years
            ],
        )
        yield (
            "Volume",
            ("parts", *names),
            [(parts, *(curve.y[n] for curve in told.by_volume)) for n, parts in enumerate(told.volumes)],
        )
        yield (
            "Burr",
            ("burr limit, µm", *names),
            [(limit, *(curve.y[n] for curve in told.by_burr)) for n, limit in enumerate(told.burr_um)],
        )
        yield (
            "What matters",
            ("assumption", "low", "high", f"{told.bars_of or 'worth'} at low", "at high"),
            [
                (bar.words, bar.from_value, bar.to_value, round(bar.at_low, 2), round(bar.at_high, 2))
                for bar in told.bars
            ],
        )
    yield (
        "Assumptions",
        ("what", "figure", "unit", "low", "high", "where from"),
        [(f.words, f.value, f.unit, f.low, f.high, f.source) for f in told.figures],
    )
