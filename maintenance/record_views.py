"""The record of past forecasts as a page, and starting a die's record anew."""

from __future__ import annotations

from django.shortcuts import render
from django.utils.decorators import method_decorator
from django.views import View
from django.views.decorators.http import require_safe

from diestore import roles
from diestore.models import Die
from diestore.queries import plant_of
from diestore.tables import Rows, lay_out

from . import log_views, queries, record_page, restart_form


@method_decorator(require_safe, name="dispatch")
class Record(View):
    """Everybody who is signed in may read it: it names dies and nobody who worked on them."""

    def get(self, request):
        plant = plant_of(request.user)
        row = queries.newest_record(plant) if plant else None
        context = {"row": row, "empty_register": row is None and not Die.objects.exists()}
        if row is not None and not row.refusal:
            table = record_page.WrongTable(Rows(record_page.wrong_calls(row)))
            context |= {"table": lay_out(request, table), **record_page.told(row)}
        return render(request, "maintenance/record.html", context)


RESTART = log_views._Task("restart", "Start the record anew", "from when it wears otherwise", roles.RUN_FIT)


class Restart(log_views.LogTask):
    task, form_class, template = RESTART, restart_form.RestartForm, "maintenance/record_restart.html"
