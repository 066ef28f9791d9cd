"""A job is split: some of its parts are due another day, or made in another die, under a number of their own."""

from __future__ import annotations

import datetime as dt

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from diestore.register import actions
from diestore.register.models import Die
from maintenance.log import queries
from maintenance.models import Order


def split(*, by, job: Order, parts: int, number: str, due: dt.date, die: Die | None, reason: str) -> Order:
    """So many parts go to a job of their own. What was run for the first stays with it. Raises ChangeRefused."""
    with transaction.atomic():
        job = Order.objects.select_for_update().get(pk=job.pk)
        if job.closed_at is not None:
            raise actions.ChangeRefused(_("{job} is closed. Open it again first.").format(job=job))
        left = next((o.parts_left for o in queries.open_orders(plant=job.plant) if o.order_id == job.pk), job.parts)
        if not 0 < parts < job.parts or parts > left:
            most = min(left, job.parts - 1)
            raise actions.ChangeRefused(
                _("{parts:,} parts cannot go: {job} has {left:,} left to make, and at most {most:,} can go.").format(
                    parts=parts, job=job, left=left, most=most
                ),
                field="parts",
            )
        other = Order(plant=job.plant, number=number, part=job.part, die=die, parts=parts, due=due)
        reason = reason or f"split off into {number}"
        actions.amend(by=by, row=job, values={"parts": job.parts - parts}, at=timezone.now(), reason=reason)
        actions.enter(by=by, row=other, at=timezone.now(), reason=f"split off {job}")
    return other
