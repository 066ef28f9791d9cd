"""Lists of the register."""

from __future__ import annotations

import django_tables2 as tables
from django.urls import reverse
from django.utils.html import format_html, format_html_join

from diestore import units
from diestore.frame.tables import RIGHT, Column

from .models import Die


class DieTable(tables.Table):
    code = Column(verbose_name="Die", order_by=("code", "pk"))
    parts = Column(verbose_name="Makes", empty_values=(), orderable=False)
    stock = Column(
        verbose_name="Stock", accessor="usual_stock__material", order_by=("usual_stock__material", "code", "pk")
    )
    thickness = Column(
        verbose_name="Thickness", accessor="usual_stock__thickness_mm", attrs=RIGHT,
        order_by=("usual_stock__thickness_mm", "code", "pk"),
    )  # fmt: skip
    press = Column(
        verbose_name="Press", accessor="usual_press__code", default="–", order_by=("usual_press__code", "code", "pk")
    )
    strokes_per_minute = Column(
        verbose_name="Strokes a minute", attrs=RIGHT, order_by=("strokes_per_minute", "code", "pk")
    )
    stations_count = Column(verbose_name="Stations", attrs=RIGHT, order_by=("stations_count", "code", "pk"))
    positions_count = Column(verbose_name="Positions", attrs=RIGHT, order_by=("positions_count", "code", "pk"))
    status = Column(verbose_name="In use?", order_by=("status", "code", "pk"))

    class Meta:
        model = Die
        fields = ()
        empty_text = "No die matches."
        order_by = ("code",)

    def __init__(self, *args, system: units.System = units.System.METRIC, **kwargs) -> None:
        self.system = system
        super().__init__(*args, **kwargs)

    def render_code(self, value, record):
        return format_html(
            '<a href="{}">{}</a><small>{}</small>', reverse("diestore:die", args=[record.pk]), value, record.description
        )

    def render_parts(self, record):
        outputs = [o for v in record.variants.all() for o in v.outputs.all()]
        return format_html_join(
            ", ",
            '<span class="nowrap">{}{}</span>',
            ((o.part, f" × {o.parts_per_hit}" if o.parts_per_hit > 1 else "") for o in outputs),
        )

    def render_thickness(self, value):
        return units.show(value, "thickness_mm", self.system)

    def render_strokes_per_minute(self, value):
        return f"{value:g}"
