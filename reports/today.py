"""The first page: what needs me? Short lists by what a person may do; each line leads to its page."""

from __future__ import annotations

from django.shortcuts import render
from django.views import View

from diestore.access import roles
from diestore.access.queries import plants_shown, system_of
from diestore.register.models import Die, Plant
from maintenance.counters import asked
from maintenance.forecasts import due
from maintenance.log import damage, listing
from maintenance.log.queries import drift_flags
from maintenance.wording import odds
from reports.spares.kept import Shorts, to_order

MOST = 6
STRUCK_AT_MOST = 2
WEEK_DAYS = 7


class Today(View):
    def get(self, request):
        user = request.user
        plants = plants_shown(user)
        plant = plants[0] if len(plants) == 1 else None
        rows = due.rows(plant)
        at_risk = [row for row in rows if row.standing.css]
        lines = [
            {
                "row": r,
                "chance": None if r.chance is None or r.wrong else odds.chance(r.chance),
                "wrong": " ".join(damage.sentences(r.wrong, system_of(user))),
            }
            for r in at_risk[:MOST]
        ]
        spares = _spares(user, plants[0] if plants else None)  # as on the page of the spares, which has one plant
        return render(
            request,
            "reports/today.html",
            {
                "empty_register": not rows and not Die.objects.exists(),
                "orders": len(rows),
                "due": lines,
                "due_count": len(at_risk),
                "spares": None if spares is None else spares.rows,
                "spares_count": 0 if spares is None else spares.found,
                "spares_waiting": 0 if spares is None else spares.waiting,
                "buys_first": not user.has_perm(roles.LOG_RUN) and spares is not None,
                "spares_of": plants[0] if len(plants) > 1 else "",
                "entries": _entries(user, plant),
                "drifting": _drifting(user, plant),
                "may_log": user.has_perm(roles.LOG_RUN),
                "counts_asked": asked.number_open() if user.has_perm(roles.LOG_RUN) else 0,
                "system": system_of(user),
            },
        )


def _spares(user, plant: Plant | None) -> Shorts | None:
    """Spares to order this week; None for somebody who has nothing to do with them."""
    if not user.has_perm(roles.SEE_SPARES):
        return None
    if plant is None:
        return Shorts(found=0, rows=[], today=None, waiting=0)
    return to_order(plant, within_days=WEEK_DAYS, most=MOST)


def _drifting(user, plant: Plant | None) -> list:
    """Dies that go dull more often than their record says; nothing for whoever cannot start a record anew."""
    return list(drift_flags(plant)[:MOST]) if user.has_perm(roles.RUN_FIT) else []


def _entries(user, plant: Plant | None) -> list[listing.Entry]:
    """The latest entries, and what was struck out last even where the entry itself is old."""
    with_cost = user.has_perm(roles.SEE_COST)
    latest = list(listing.index(plant=plant, order="-recorded_at", with_cost=with_cost)[:MOST])
    known = {(row["of_sort"], row["pk"]) for row in latest}
    struck = listing.index(plant=plant, struck="yes", order="-struck_at", with_cost=with_cost)[:STRUCK_AT_MOST]
    return listing.read(latest + [r for r in struck if (r["of_sort"], r["pk"]) not in known], system=system_of(user))
