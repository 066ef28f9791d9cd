"""The first page: what needs me? Short lists by what a person may do; each line leads to its page."""

from __future__ import annotations

from django.shortcuts import render
from django.views import View

from diestore import roles
from diestore.models import Die
from maintenance import due, entries

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
                "spares": _spares() if user.has_perm(roles.SEE_SPARES) else None,
                "entries": entries.read(entries.index(order=("-recorded_at",))[:MOST]),
                "dies_in_service": Die.objects.filter(status=Die.Status.IN_SERVICE).count(),
                "may_log": logs,
            },
        )


def _spares() -> list:
    from .plants import one_plant
    from .spares import spares_to_order

    plant = one_plant()
    return spares_to_order(plant)[:MOST] if plant else []
