"""The page of the dies due."""

from __future__ import annotations

from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views import View

from diestore.access import plants, roles
from diestore.frame.tables import Rows, lay_out
from diestore.frame.taps import taps
from diestore.register.models import Die
from maintenance import tasks
from maintenance.forecasts import due, record_line
from maintenance.log import bench_reads, damage, queries

from .forms import DueFilter, counts
from .table import DueTable


class Due(View):
    def get(self, request):
        shown = plants.shown(request.user)
        plant = shown[0] if len(shown) == 1 else None  # fits and their record are a plant's: of several none is told
        told = due.listed(plant, plants=plants.plants_of(request.user))
        every, seen = told.rows, plants.within(Die.objects.all(), request.user)
        form = DueFilter(request.GET)
        asked = form.found(every)
        listed = form.in_state(asked)
        opens = request.user.has_perm(roles.LOG_MISHAP)
        works = {work.die_id: work for work in bench_reads.open_works(plant)} if opens else None
        table = lay_out(request, DueTable(Rows(listed), being_worked_out=tasks.being_worked_out(), works=works))
        newest = queries.newest_forecasts(plant).order_by("-made_at").first() if plant else None
        return render(
            request,
            "maintenance/screens/due/due.html",
            {
                "table": table,
                "form": form,
                "taps": taps(request, "show", counts(asked)),
                "kept": {"show": request.GET["show"]} if request.GET.get("show") else {},
                "every": every,
                "empty_register": not (every or told.retired) and not seen.exists(),
                "first": sentence(every),
                "retired": told.retired,
                "fit": newest.fit if newest else None,
                "as_of": newest.as_of if newest else None,
                "record": record_line.here(plant) if newest else None,
            },
        )


def sentence(rows: list[due.DueRow]) -> dict:
    """What the page says first."""
    wrong = [r for r in rows if r.wrong or r.held]
    short = [r for r in rows if r.standing.css == "short" and not (r.wrong or r.held)]
    close = [r for r in rows if r.standing.css == "close"]
    timed = [r for r in short if r.hours is not None]
    return {
        "css": "short" if short or wrong else "close" if close else "",
        "wrong": [{"row": r, "words": _wrong(r)} for r in wrong],
        "short": short,
        "close": close,
        "hours": sum(r.hours for r in timed),
        "untimed": [r for r in short if r.hours is None],
        "runs": len([r for r in rows if r.standing.css == ""]),
        "unknown": len([r for r in rows if r.chance is None]),
    }


def _wrong(row: due.DueRow) -> str:
    held = [_("on hold, {why}").format(why=row.held)] if row.held else []
    return "; ".join([*held, *filter(None, [damage.briefly(row.wrong)])])
