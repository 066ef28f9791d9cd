"""The page of a series of parts: one tool with inserts that are exchanged, or a tool for each part."""

from __future__ import annotations

from decimal import Decimal

from django import forms
from django.contrib.auth.decorators import permission_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from diestore.access import roles, shop
from diestore.exports import csv_response
from diestore.frame.fields import BetweenField, WholeBetweenField
from reports.costing.money import MoneyRefused, rounded
from reports.costing.series import OnePart, PartOfSeries, Series, series
from reports.format import cents, money

from .reckon import Told, reckon
from .shown import round_hits
from .views import outline_of

ROWS = 5
PARTS_AT_MOST = 1_000_000_000
HEAD = [
    "part",
    "parts",
    "inserts",
    "changes",
    "one tool for all",
    "a thousand",
    "a tool of its own",
    "a thousand, its own",
]
WHOLE = Decimal(1)


class SeriesForm(forms.Form):
    """The parts of a series. A GET form; a row counts where parts a year are typed."""

    def __init__(self, asked, *, ways: list[tuple[str, str]], start: dict) -> None:
        super().__init__(None if asked is None else {**start, **asked.dict()}, initial=start)
        self.fields["way"] = forms.ChoiceField(label=_("Built as"), choices=ways)
        for n in range(ROWS):
            self.fields[f"name-{n}"] = forms.CharField(label=_("Part"), max_length=60, required=False)
            self.fields[f"parts-{n}"] = WholeBetweenField(label=_("Parts a year"), least=1, most=PARTS_AT_MOST)
            self.fields[f"lot-{n}"] = WholeBetweenField(label=_("In lots of"), least=1, most=PARTS_AT_MOST)
            self.fields[f"inserts-{n}"] = BetweenField(label=_("Its inserts cost"), least=0, most=1e8)
            self.fields[f"hours-{n}"] = BetweenField(label=_("Changing takes, h"), least=0, most=1_000, unit="h")
            self.fields[f"alone-{n}"] = BetweenField(label=_("A tool of its own costs"), least=0, most=1e9)
        for name, field in self.fields.items():
            if name != "way":
                label = _("{label}, row {n}").format(label=field.label, n=int(name[-1]) + 1)
                field.widget.attrs |= {"aria-label": label, "autocomplete": "off"}

    @property
    def rows(self) -> list[list[forms.BoundField]]:
        names = ("name", "parts", "lot", "inserts", "hours", "alone")
        return [[self[f"{name}-{n}"] for name in names] for n in range(ROWS)]

    def parts(self, tool: Decimal) -> list[PartOfSeries]:
        """tool: what a tool of its own costs where nobody typed it."""
        values, made = self.cleaned_data, []
        for n in range(ROWS):
            if values.get(f"parts-{n}") is None:
                continue
            alone = values[f"alone-{n}"]
            made.append(
                PartOfSeries(
                    name=values[f"name-{n}"].strip() or _("part {n}").format(n=n + 1),
                    parts_a_year=values[f"parts-{n}"],
                    lot=values[f"lot-{n}"] or values[f"parts-{n}"],
                    inserts=_exactly(values[f"inserts-{n}"] or 0),
                    change_hours=_exactly(values[f"hours-{n}"] or 0),
                    alone=tool if alone is None else _exactly(alone),
                )
            )
        return made


@require_safe
@permission_required(roles.SEE_COST, raise_exception=True)
def series_page(request: HttpRequest, pk: int) -> HttpResponse:
    told, form, made, refusal = _asked(request, pk)
    return render(
        request,
        "reports/offers/series.html",
        {
            "outline": told.outline,
            "form": form,
            "labels": [field.label for field in form.rows[0]] if form else [],
            "refusal": refusal,
            "made": _said(made) if made else None,
            "rows": [_row(row) for row in made.rows] if made else [],
            "currency": shop.current().currency,
            "years": len(told.outline.volumes),
            "query": request.GET.urlencode(),
        },
    )


@require_safe
@permission_required(roles.SEE_COST, raise_exception=True)
def series_csv(request: HttpRequest, pk: int) -> HttpResponse:
    """A row a part, and all of them together."""
    made, refusal = _asked(request, pk)[2:]
    if made is None:
        return csv_response("series.csv", HEAD, [[refusal, *[""] * (len(HEAD) - 1)]])
    rows = [
        [row.part.name, row.parts, row.part.inserts, *map(rounded, (row.changing, row.shared, row.shared_thousand,
         row.alone, row.alone_thousand))] for row in made.rows
    ]  # fmt: skip
    together = ["together", made.parts, "", "", *map(rounded, (made.shared, made.shared_thousand, made.alone,
                made.alone_thousand))]  # fmt: skip
    return csv_response("series.csv", HEAD, [*rows, together])


def _asked(request: HttpRequest, pk: int) -> tuple[Told, SeriesForm | None, Series | None, str]:
    told = reckon(outline_of(request, pk))
    if told.refusal or told.weighed is None:
        return told, None, None, told.refusal
    ways = [(str(n), f"{n} {one.way.name}") for n, one in enumerate(told.weighed.ways, start=1)]
    best = str(told.number_of_way(told.weighed.best.way.name))
    mean = round(sum(told.outline.volumes) / len(told.outline.volumes))
    start = {"way": best, "name-0": told.outline.part[:60], "parts-0": str(mean), "lot-0": str(-(-mean // 12))}
    form = SeriesForm(request.GET if request.GET else None, ways=ways, start=start)
    if not form.is_bound:
        first = _("Type a second part, what its inserts cost and how long it takes to change to them.")
        return told, form, None, first
    if not form.is_valid():
        return told, form, None, _("What is marked cannot be.")
    one = told.weighed.ways[int(form.cleaned_data["way"]) - 1]
    figures = {figure.key: figure.value for figure in told.figures}
    try:
        made = series(
            form.parts(one.way.price),
            tool=one.way.price,
            running=one.way.a_part,
            change_rate=_exactly(figures["toolroom_rate"] + figures["press_rate"]),
            years=len(told.outline.volumes),
            interest=told.weighed.programme.interest,
            lasts_parts=one.way.lasts_parts,
        )
    except MoneyRefused as reason:
        return told, form, None, f"{str(reason)[:1].upper()}{str(reason)[1:]}"
    return told, form, made, ""


def _row(row: OnePart) -> dict:
    return {
        "name": row.part.name,
        "parts": row.parts,
        "lots": row.part.lots_a_year,
        "inserts": f"{rounded(row.part.inserts, WHOLE):,}",
        "changing": f"{rounded(row.changing, WHOLE):,}",
        "shared": f"{rounded(row.shared, WHOLE):,}",
        "shared_thousand": cents(row.shared_thousand),
        "alone": f"{rounded(row.alone, WHOLE):,}",
        "alone_thousand": cents(row.alone_thousand),
    }


def _said(made: Series) -> dict:
    crossing = made.crossing
    less = abs(made.alone - made.shared)
    return {
        "parts": made.parts,
        "shared": f"{rounded(made.shared, WHOLE):,}",
        "shared_thousand": cents(made.shared_thousand),
        "alone": f"{rounded(made.alone, WHOLE):,}",
        "alone_thousand": cents(made.alone_thousand),
        "tie": less < Decimal("0.005"),
        "sharing": made.shared < made.alone,
        "less": money(less, cents=False),
        "worth": money(abs(made.worth), cents=False),
        "worth_saves": made.worth > 0,
        "crossing": "" if crossing.parts is None else round_hits(float(crossing.parts)),
        "below": crossing.cheaper_below == "A",
        "always": crossing.cheaper_above,
    }


def _exactly(value: float) -> Decimal:
    """To the cent: what was typed is decimal."""
    return Decimal(str(round(value, 2)))
