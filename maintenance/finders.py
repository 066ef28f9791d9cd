"""What the log adds to finding: jobs, bench sheets, orders to suppliers."""

from __future__ import annotations

import re
from collections.abc import Iterator

from django.db.models import Q, Value
from django.urls import reverse
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, gettext_noop

from diestore.access import plants, roles
from diestore.finding.finders import EXACT, Finder, Hit, best
from diestore.finding.of_register import plant_of, said
from diestore.finding.spelling import Asked
from maintenance.models import BenchWork, Order, PurchaseOrder

_SHEET = re.compile(r"(?:BENCH)?SHEET([0-9]{1,15})")


def _day(day) -> str:
    return date_format(day, "j M Y")


def jobs(user, asked: Asked, at_most: int) -> Iterator[Hit]:
    rows = plants.within(Order.objects.select_related("part", "die", "plant"), user)
    words = ("part__number", "part__description", "part__customer__name", "die__code")
    named = plant_of(user)
    for job in best(rows, asked, "number", words=words, last=Q(closed_at__isnull=False))[:at_most]:
        die = _("die {code}").format(code=job.die) if job.die else ""
        state = _("closed") if job.closed_at else _("due {day}").format(day=_day(job.due))
        more = said(_("{n:,} of {part}").format(n=job.parts, part=job.part), die, state, named(job.plant))
        url = reverse("maintenance:jobs_card", args=[job.pk])
        yield Hit(kind=gettext_noop("job"), name=job.number, more=more, url=url, rank=job.rank)


def sheets(user, asked: Asked, at_most: int) -> Iterator[Hit]:
    """By the number at the foot of the sheet, or by its die and what is done."""
    rows = plants.within(BenchWork.objects.select_related("die__plant", "person"), user, "die__plant")
    fitting = best(rows, asked, "die__code", "what", last=Q(state__in=BenchWork.ENDED), order=("-opened_at",))
    if number := _SHEET.fullmatch(asked.code):
        fitting = rows.filter(pk=int(number[1])).annotate(rank=Value(EXACT))
    named = plant_of(user)
    for work in fitting[:at_most]:
        needed = _("needed on {day}").format(day=_day(work.needed_on)) if work.needed_on and work.is_open else ""
        more = said(
            _("sheet {number}").format(number=work.pk),
            work.get_state_display(),
            needed,
            work.person,
            named(work.die.plant),
        )
        url = reverse("maintenance:bench_work", args=[work.pk])
        yield Hit(
            kind=gettext_noop("bench sheet"), name=f"{work.die.code}: {work.what}", more=more, url=url, rank=work.rank
        )


def orders(user, asked: Asked, at_most: int) -> Iterator[Hit]:
    rows = plants.within(PurchaseOrder.objects.select_related("supplier", "plant"), user)
    words = ("supplier__name", "their_number")
    named = plant_of(user)
    for order in best(rows, asked, "number", words=words, last=Q(cancelled_at__isnull=False))[:at_most]:
        state = _("cancelled") if order.cancelled_at else _("draft")
        if order.placed_at and not order.cancelled_at:
            state = _("placed {day}").format(day=_day(order.placed_at))
        theirs = _("their number {number}").format(number=order.their_number) if order.their_number else ""
        more = said(order.supplier, state, theirs, named(order.plant))
        url = reverse("maintenance:purchase", args=[order.pk])
        yield Hit(kind=gettext_noop("order"), name=order.number, more=more, url=url, rank=order.rank)


FINDERS = (
    Finder(key="jobs", many=gettext_lazy("jobs"), find=jobs, rights=(roles.SEE_COST, roles.EDIT_REGISTER)),
    Finder(key="sheets", many=gettext_lazy("bench sheets"), find=sheets, rights=(roles.LOG_MISHAP,)),
    Finder(key="orders", many=gettext_lazy("orders"), find=orders, rights=(roles.SEE_SPARES,)),
)
