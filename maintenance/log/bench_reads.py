"""Reads of the bench that have a name: the day it is, dies on hold, works still open."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.conf import settings
from django.db.models import Exists, F, OuterRef, Q, QuerySet, Subquery, Sum, Value
from django.db.models.functions import Coalesce, Greatest
from django.utils import timezone
from django.utils.translation import gettext as _

from diestore.register.models import Die, Plant
from maintenance.models import BenchEdge, BenchPiece, BenchWork, DieHold, StockMovement, Work

from . import queries

EVENING = 18  # by the shop's clock; nobody opens the plan of that day any more


def today_at(plant: Plant) -> dt.date:
    """Today by the clock; in a shop that stands still, the day on which its records end."""
    if settings.STANDS_STILL:
        newest = queries.newest_forecasts(plant).order_by("-as_of").values_list("as_of", flat=True).first()
        if newest is not None:
            return timezone.localdate(newest)
    return timezone.localdate()


def morning_after(plant: Plant) -> dt.date:
    """The day that a night's work is for: today, or tomorrow where it is done in the evening."""
    today, now = today_at(plant), timezone.localtime()
    return today + dt.timedelta(days=1) if today == now.date() and now.hour >= EVENING else today


def holds_of(dies: Iterable[int] | None = None) -> dict[int, DieHold]:
    """The hold that stands of each die. dies: of these only. One question."""
    rows = DieHold.objects.filter(released_at=None).select_related("held_by")
    return {row.die_id: row for row in (rows if dies is None else rows.filter(die__in=list(dies)))}


def hold_of(die: Die) -> DieHold | None:
    return DieHold.objects.filter(die=die, released_at=None).select_related("held_by").first()


def with_more(works: QuerySet[BenchWork]) -> QuerySet[BenchWork]:
    """Works with what their pages say beside them, in the same question: why the die is on hold (`hold_reason`), and
    the entry of the log that came of it (`entry`). None where it is not, or there is none."""
    hold = DieHold.objects.filter(released_at=None, die=OuterRef("die")).order_by().values("reason")
    entry = Work.objects.standing().filter(bench_works=OuterRef("pk")).order_by("at", "pk").values("pk")
    return works.annotate(hold_reason=Subquery(hold[:1]), entry=Subquery(entry[:1]))


def why_held(work: BenchWork) -> str | None:
    """Why the die of a work makes no parts; None where it does. Asks nothing for one that was read `with_more`."""
    if not hasattr(work, "hold_reason"):
        hold = hold_of(work.die)
        return None if hold is None else hold.reason
    reason: str | None = work.hold_reason
    return reason


def hold_shown(die: Die) -> DieHold | None:
    """The same for a page, whose panels ask the database once for it."""
    if not hasattr(die, "hold_shown"):
        die.hold_shown = hold_of(die)  # type: ignore[attr-defined]
    found: DieHold | None = die.hold_shown  # type: ignore[attr-defined]
    return found


def open_works(plant: Plant | None = None) -> QuerySet[BenchWork]:
    """What is not released or dropped yet, the oldest first."""
    rows = BenchWork.objects.filter(state__in=BenchWork.OPEN).order_by("opened_at", "pk")
    return rows if plant is None else rows.filter(die__plant=plant)


@dataclass(frozen=True, kw_only=True)
class Otherwise:
    """An edge of a work where what was done, or is to be, is not what was advised."""

    work: BenchWork
    code: str
    advised: bool
    advised_mm: float | None
    done_mm: float | None
    done: str  # in words
    why: str


def otherwise(work: BenchWork, edges: Iterable[BenchEdge]) -> list[Otherwise]:
    """Of the edges of one work, those ground or left against the advice; none where nothing was advised. Of an open
    work, by what is to be done."""
    edges = list(edges)
    if work.state == BenchWork.State.DROPPED or all(edge.advised_mm is None for edge in edges):
        return []
    against = [edge for edge in edges if edge.left_out or edge.advised_mm is None or _forgotten(work, edge)]
    return sorted((_otherwise(work, edge) for edge in against), key=lambda one: one.code)


def done_otherwise(plant: Plant, *, most: int = 20) -> list[Otherwise]:
    """The same of all works of a plant, the newest first. One question."""
    of_plant = BenchEdge.objects.filter(work__die__plant=plant)
    forgotten = Q(work__state=BenchWork.State.RELEASED, done_mm=None, advised_mm__isnull=False)
    advice = Exists(of_plant.filter(work=OuterRef("work"), advised_mm__isnull=False))
    against = of_plant.filter(Q(left_out=True) | forgotten | (Q(advised_mm=None) & advice))
    rows = against.exclude(work__state=BenchWork.State.DROPPED).select_related("work__die", "position")
    return [_otherwise(edge.work, edge) for edge in rows.order_by("-work__opened_at", "work", "position__code")[:most]]


def _forgotten(work: BenchWork, edge: BenchEdge) -> bool:
    return not work.is_open and edge.done_mm is None


def _otherwise(work: BenchWork, edge: BenchEdge) -> Otherwise:
    done = _("left out") if edge.left_out else _("not ground") if _forgotten(work, edge) else ""
    return Otherwise(
        work=work,
        code=edge.position.code,
        advised=edge.advised_mm is not None,
        advised_mm=edge.advised_mm or None,
        done_mm=edge.done_mm,
        done=done or (_("to be ground") if edge.done_mm is None else _("ground")),
        why=edge.why,
    )


def still_aside(rows: QuerySet[BenchPiece]) -> Any:
    """What works have set aside, each with how many of it still lie on the shelf for it (`still`): those that were
    drawn for it are gone from there."""
    mine = StockMovement.objects.standing().filter(
        bench_work=OuterRef("work"), item=OuterRef("item"), place=StockMovement.Place.SHELF
    )
    went = mine.order_by().values("bench_work").annotate(n=Sum("quantity")).values("n")
    return rows.annotate(still=Greatest(F("quantity") + Coalesce(Subquery(went), 0), Value(0)))


def reported(plants: Iterable[Plant]) -> QuerySet[BenchWork]:
    """What somebody reported and nobody has planned yet, the newest first."""
    rows = BenchWork.objects.filter(state=BenchWork.State.REPORTED, die__plant__in=list(plants))
    return rows.select_related("die").order_by("-opened_at", "-pk")


def doubt_of_hold(hold: DieHold | None, die: Die) -> str:
    """Why to think twice before a die on hold makes parts; nothing of one that is not."""
    if hold is None:
        return ""
    words = _("{die} is on hold: {reason}. It makes no parts until a first piece is approved.")
    if hold.held_by:
        words = _("{die} is on hold by {who}: {reason}. It makes no parts until a first piece is approved.")
    return words.format(die=die, who=hold.held_by, reason=hold.reason)
