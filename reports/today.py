"""The first page: what needs me? Short lists by what a person may do; each line leads to its page."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Mapping
from dataclasses import dataclass

from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views import View

from diestore.access import plants, roles
from diestore.access.queries import system_of
from diestore.register.models import Die, Plant
from maintenance.counters import asked
from maintenance.forecasts import due
from maintenance.log import bench_reads, damage, inspections, listing, purchase_reads
from maintenance.log.queries import drift_flags
from maintenance.wording import odds
from reports.format import how_old
from reports.spares.advice import SpareRow
from reports.spares.kept import to_order
from reports.spares.use import days_of_records, today_at

MOST = 6
STRUCK_AT_MOST = 2
WEEK_DAYS = 7


class Today(View):
    def get(self, request):
        user = request.user
        shown = plants.shown(user)
        plant = shown[0] if len(shown) == 1 else None
        seen = plants.plants_of(user)
        rows = due.rows(plant, plants=seen)
        at_risk = [row for row in rows if row.standing.css]
        lines = [
            {
                "row": r,
                "chance": None if r.chance is None or r.wrong or r.held else odds.chance(r.chance),
                "buys": _buys(r),
                "wrong": " ".join([*_held(r), *damage.in_a_list(r.wrong, system_of(user))]),
            }
            for r in at_risk[:MOST]
        ]
        days = days_of_records(shown)
        spares = _spares(user, shown, days)
        until = days[plant.pk] if plant and rows else None
        return render(
            request,
            "reports/today.html",
            {
                "empty_register": not rows and not plants.within(Die.objects.all(), user).exists(),
                "orders": len(rows),
                "due": lines,
                "due_count": len(at_risk),
                "spares": None if spares is None else spares.rows,
                "spares_count": 0 if spares is None else spares.found,
                "spares_waiting": 0 if spares is None else spares.waiting,
                "buys_first": not user.has_perm(roles.LOG_RUN) and spares is not None,
                "several": len(shown) > 1,
                "how_old": how_old(until, today_at(plant, until)) if until else "",
                "entries": _entries(user, {plant.pk} if plant else seen),
                "drifting": _drifting(user, plant),
                "reported": _reported(user, shown),
                "inspect": _inspect(user, shown, days),
                "late_orders": _late_orders(user, shown, days),
                "may_log": user.has_perm(roles.LOG_RUN),
                "counts_asked": asked.number_open(seen) if user.has_perm(roles.LOG_RUN) else 0,
                "system": system_of(user),
            },
        )


def _held(row: due.DueRow) -> list[str]:
    told = _("On hold: {why}. It makes no parts until a first piece is approved.")
    return [told.format(why=row.held)] if row.held else []


@dataclass(frozen=True, kw_only=True)
class ShortHere:
    """A spare to order, and for which plant: each orders its own, from its own shelf."""

    plant: Plant
    row: SpareRow
    query: str  # of the spare's page, so that it is of this plant


@dataclass(frozen=True, kw_only=True)
class Shorts:
    found: int
    waiting: int
    rows: list[ShortHere]


def _spares(user, shown: list[Plant], days: Mapping[int, dt.date]) -> Shorts | None:
    """Spares to order this week in the plants shown; None for somebody who has nothing to do with them."""
    if not user.has_perm(roles.SEE_SPARES):
        return None
    of_each = [
        (plant, to_order(plant, within_days=WEEK_DAYS, most=MOST, records_until=days[plant.pk])) for plant in shown
    ]
    queries = {plant.pk: f"?plant={plant.pk}" if len(shown) > 1 else "" for plant in shown}
    rows = [ShortHere(plant=plant, row=row, query=queries[plant.pk]) for plant, short in of_each for row in short.rows]
    rows.sort(key=lambda one: (one.row.order_by or dt.date.max, one.row.code, one.plant.pk))
    return Shorts(
        found=sum(short.found for __, short in of_each),
        waiting=sum(short.waiting for __, short in of_each),
        rows=rows[:MOST],
    )


def _buys(row: due.DueRow) -> str:
    """What sharpening first buys, of a die that is told to be."""
    if not row.sharpens_first or row.chance is None or row.advice is None:
        return ""
    return _("sharpened first {sharpened} to finish, as it is {as_it_is}").format(
        sharpened=odds.percent(row.advice.sharpened), as_it_is=odds.percent(row.chance)
    )


def _drifting(user, plant: Plant | None) -> list:
    """Dies that go dull more often than their record says; nothing for whoever cannot start a record anew."""
    return list(plants.within(drift_flags(plant), user, "die__plant")[:MOST]) if user.has_perm(roles.RUN_FIT) else []


def _reported(user, shown: list[Plant]) -> list:
    """What the presses complain of and nobody has planned yet, for whoever plans."""
    return list(bench_reads.reported(shown)[: MOST + 1]) if user.has_perm(roles.PLAN_BENCH) else []


def _inspect(user, shown: list[Plant], days: Mapping[int, dt.date]) -> list[inspections.PlanRow]:
    """Inspections that are overdue, for whoever does them."""
    if not user.has_perm(roles.LOG_MISHAP):
        return []
    return inspections.overdue({plant: today_at(plant, days[plant.pk]) for plant in shown})


def _late_orders(user, shown: list[Plant], days: Mapping[int, dt.date]) -> list[purchase_reads.OrderRow]:
    """Spares that should have come by now, for whoever orders them."""
    if not user.has_perm(roles.ORDER_SPARES):
        return []
    found = [purchase_reads.late(plant, today=today_at(plant, days[plant.pk])) for plant in shown]
    return sorted((row for rows in found for row in rows), key=lambda row: (-row.days_late, row.pk))


def _entries(user, seen: Collection[int] | None) -> list[listing.Entry]:
    """The latest entries, and what was struck out last even where the entry itself is old."""
    with_cost = user.has_perm(roles.SEE_COST)
    latest, struck = listing.firsts(
        (listing.index(plants=seen, order="-recorded_at", with_cost=with_cost), MOST),
        (listing.index(plants=seen, struck="yes", order="-struck_at", with_cost=with_cost), STRUCK_AT_MOST),
    )
    known = {(row["of_sort"], row["pk"]) for row in latest}
    return listing.read(latest + [r for r in struck if (r["of_sort"], r["pk"]) not in known], system=system_of(user))
