"""What the log adds to finding: jobs, bench sheets, orders to suppliers."""

from __future__ import annotations

import re
from collections.abc import Iterator

from django.db.models import Q, Value
from django.urls import reverse

from diestore.access import plants, roles
from diestore.finding.finders import EXACT, Finder, Hit, best
from diestore.finding.of_register import plant_of, said
from diestore.finding.spelling import Asked
from maintenance.models import BenchWork, Order, PurchaseOrder

_SHEET = re.compile(r"(?:BENCH)?SHEET([0-9]{1,15})")


def _day(day) -> str:
    return f"{day:%d %b %Y}".lstrip("0")


def jobs(user, asked: Asked, at_most: int) -> Iterator[Hit]:
    rows = plants.within(Order.objects.select_related("part", "die", "plant"), user)
    words = ("part__number", "part__description", "part__customer__name", "die__code")
    named = plant_of(user)
    for job in best(rows, asked, "number", words=words, last=Q(closed_at__isnull=False))[:at_most]:
        die = f"die {job.die}" if job.die else ""
        state = "closed" if job.closed_at else f"due {_day(job.due)}"
        more = said(f"{job.parts:,} of {job.part}", die, state, named(job.plant))
        url = reverse("maintenance:jobs_card", args=[job.pk])
        yield Hit(kind="job", name=job.number, more=more, url=url, rank=job.rank)


def sheets(user, asked: Asked, at_most: int) -> Iterator[Hit]:
    """By the number at the foot of the sheet, or by its die and what is done."""
    rows = plants.within(BenchWork.objects.select_related("die__plant", "person"), user, "die__plant")
    fitting = best(rows, asked, "die__code", "what", last=Q(state__in=BenchWork.ENDED), order=("-opened_at",))
    if number := _SHEET.fullmatch(asked.code):
        fitting = rows.filter(pk=int(number[1])).annotate(rank=Value(EXACT))
    named = plant_of(user)
    for work in fitting[:at_most]:
        needed = f"needed on {_day(work.needed_on)}" if work.needed_on and work.is_open else ""
        more = said(f"sheet {work.pk}", work.get_state_display(), needed, work.person, named(work.die.plant))
        url = reverse("maintenance:bench_work", args=[work.pk])
        yield Hit(kind="bench sheet", name=f"{work.die.code}: {work.what}", more=more, url=url, rank=work.rank)


def orders(user, asked: Asked, at_most: int) -> Iterator[Hit]:
    rows = plants.within(PurchaseOrder.objects.select_related("supplier", "plant"), user)
    words = ("supplier__name", "their_number")
    named = plant_of(user)
    for order in best(rows, asked, "number", words=words, last=Q(cancelled_at__isnull=False))[:at_most]:
        state = "cancelled" if order.cancelled_at else "draft"
        if order.placed_at and not order.cancelled_at:
            state = f"placed {_day(order.placed_at)}"
        theirs = f"their number {order.their_number}" if order.their_number else ""
        more = said(order.supplier, state, theirs, named(order.plant))
        url = reverse("maintenance:purchase", args=[order.pk])
        yield Hit(kind="order", name=order.number, more=more, url=url, rank=order.rank)


FINDERS = (
    Finder(key="jobs", many="jobs", find=jobs, rights=(roles.SEE_COST, roles.EDIT_REGISTER)),
    Finder(key="sheets", many="bench sheets", find=sheets, rights=(roles.LOG_MISHAP,)),
    Finder(key="orders", many="orders", find=orders, rights=(roles.SEE_SPARES,)),
)
