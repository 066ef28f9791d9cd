"""The page of the past forecasts."""

from __future__ import annotations

from django.shortcuts import render
from django.utils.decorators import method_decorator
from django.views import View
from django.views.decorators.http import require_safe

from diestore.access import plants
from diestore.frame.tables import Rows, lay_out
from diestore.register.models import Die
from maintenance.log import queries

from . import page


@method_decorator(require_safe, name="dispatch")
class Record(View):
    """Everybody who is signed in may read it: it names dies and nobody who worked on them."""

    def get(self, request):
        picked = plants.picked(request)
        plant = picked.plant
        row = queries.newest_record(plant) if plant else None
        context = {
            "row": row,
            "picked": picked,
            "empty_register": row is None and not plants.within(Die.objects.all(), request.user).exists(),
        }
        if row is not None and not row.refusal:
            table = page.WrongTable(Rows(page.wrong_calls(row)))
            context |= {"table": lay_out(request, table), **page.shown(row)}
        return render(request, "maintenance/screens/track_record/track_record.html", context)
