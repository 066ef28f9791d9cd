"""The cost of the dies as a table, and the form for another build. Formats, never computes."""

from __future__ import annotations

from decimal import Decimal

import django_tables2 as tables
from django import forms
from django.urls import reverse
from django.utils.html import format_html

from diestore.handbook import tool_steels

from .cost import Change, DieCost
from .marks import three_figures

RIGHT = {"th": {"class": "num"}, "td": {"class": "num"}}
LAST = "die__pk"  # rows that are equal keep one order, on every page of the list


class Column(tables.Column):
    """A column with a small note under its head. Unlike others it draws the empty cell itself."""

    def __init__(self, *args, note: str = "", **kwargs) -> None:
        super().__init__(*args, empty_values=(), **kwargs)
        self.note = note


class CostTable(tables.Table):
    die = Column(verbose_name="Die", accessor="die__code", order_by=("die__code", LAST))
    parts = Column(
        verbose_name="Parts made", accessor="sheet__parts_made", order_by=("sheet__parts_made", LAST), attrs=RIGHT
    )
    total = Column(
        verbose_name="Cost per thousand", accessor="sorted_total", order_by=("sorted_total", LAST), attrs=RIGHT
    )
    build = Column(verbose_name="Building", accessor="sorted_build", order_by=("sorted_build", LAST), attrs=RIGHT)
    sharpening = Column(
        verbose_name="Sharpening", accessor="sorted_sharpening", order_by=("sorted_sharpening", LAST), attrs=RIGHT
    )
    spares = Column(verbose_name="Spares", accessor="sorted_spares", order_by=("sorted_spares", LAST), attrs=RIGHT)
    stop = Column(verbose_name="Stops", accessor="sorted_stop", order_by=("sorted_stop", LAST), attrs=RIGHT)
    rest = Column(verbose_name="Repair and other", accessor="sorted_rest", order_by=("sorted_rest", LAST), attrs=RIGHT)

    class Meta:
        order_by = ("-total",)
        empty_text = "No die is like that."

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
            return "not known"
        gaps = len(record.sheet.left_out)
        note = format_html("<small>without {} {}</small>", gaps, "thing" if gaps == 1 else "things") if gaps else ""
        return format_html("<strong>{}</strong>{}", three_figures(record.per_thousand), note)

    def render_build(self, value):
        return _figure(value)

    render_sharpening = render_spares = render_stop = render_rest = render_build


def _figure(value: Decimal) -> str:
    return "–" if value < 0 else three_figures(value)


STEELS = [("", "as it is"), *((name, {"PM": "powder steel"}.get(name, name)) for name in tool_steels.GRADES)]
COATINGS = [("", "as it is"), ("none", "none"), *((n, n) for n in tool_steels.COATINGS if n != "none")]
SIDES = [("upper", "punches"), ("lower", "die side"), ("both", "both sides")]


class ChangeForm(forms.Form):
    """Another build of the same die. A GET form, so that a comparison can be kept as a bookmark."""

    sides = forms.ChoiceField(label="Built otherwise", choices=SIDES, required=False)
    steel = forms.ChoiceField(label="Steel", choices=STEELS, required=False)
    hardness = forms.FloatField(label="Hardness, HRC", required=False, min_value=40, max_value=72)
    coating = forms.ChoiceField(label="Coating", choices=COATINGS, required=False)
    gap = forms.FloatField(label="Gap a side, % of thickness", required=False, min_value=1, max_value=40)
    price = forms.DecimalField(label="Build costs more by (− less)", required=False, max_digits=12, decimal_places=2)
    pieces = forms.DecimalField(
        label="A spare costs times",
        required=False,
        min_value=Decimal("0.1"),
        max_value=50,
        max_digits=6,
        decimal_places=2,
    )

    @property
    def change(self) -> Change | None:
        """What is asked for; None where nothing is, or where it cannot be."""
        if not self.is_bound or not self.is_valid():
            return None
        asked = self.cleaned_data
        if not any(asked.get(n) not in (None, "") for n in ("steel", "hardness", "coating", "gap")):
            return None
        return Change(
            tool_steel=asked["steel"],
            coating=asked["coating"],
            hardness_hrc=asked["hardness"],
            gap_pct=asked["gap"],
            sides=("upper", "lower") if asked["sides"] == "both" else (asked["sides"] or "upper",),
            price=asked["price"] or Decimal(0),
            piece_times=asked["pieces"] or Decimal(1),
        )
