"""The first page: what needs me? Short lists by what a person may do; each line leads to its page."""

from __future__ import annotations

from django.shortcuts import render
from django.views import View

from diestore import roles
from diestore.models import Die
from maintenance import due, entries

from .plants import plant_of
from .spares import spares_to_order

MOST = 6


class Today(View):
    def get(self, request):
        user = request.user
        found = [r for r in due.rows() if r.standing.css or r.chance is None]
        logs = user.has_perm(roles.LOG_RUN)
        return render(
            request,
            "reports/today.html",
            {
                "empty_register": not Die.objects.exists(),
                "due": found[:MOST],
                "due_more": max(len(found) - MOST, 0),
                "spares": _spares(user) if user.has_perm(roles.SEE_SPARES) else None,
                "entries": entries.read(entries.index(order=("-recorded_at",))[:MOST]),
                "dies_in_service": Die.objects.filter(status=Die.Status.IN_SERVICE).count(),
                "may_log": logs,
            },
        )


def _spares(user) -> list:
    plant = plant_of(user)
    return spares_to_order(plant, within_days=7)[:MOST] if plant else []
