"""A die goes to another plant: what goes along, what stays, and what has to be done first.

Along go its open orders that name it, the pieces that sit in it, and the work that is open on it, which nobody is put
to there. What it did stays as it was done: runs on presses of the plant it comes from, by people there, for orders that
are closed. Loose pieces and what lies on the shelf stay. From then on it is forecast by the fit, and its hours are
priced by the rates, of the plant where it stands.
"""

from __future__ import annotations

import datetime as dt

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from diestore.register import actions
from diestore.register import changes as register
from diestore.register.actions import ChangeRefused
from diestore.register.models import Die, Piece, Plant, Position, Press
from maintenance.models import BenchWork, Counter, CounterQuestion, DieInPress, Fitting, OpenCount, Order

from . import changes


def move_die(*, by, die: Die, to: Plant, reason: str, at: dt.datetime | None = None, press: Press | None = None) -> Die:
    """The die stands in another plant from a moment on. press: which it usually runs on there. Raises ChangeRefused."""
    with transaction.atomic():
        plants = Plant.objects.select_for_update(no_key=True).filter(pk__in=[die.plant_id, to.pk]).order_by("pk")
        list(plants)  # nobody sets it in a press of the old plant meanwhile
        die = Die.objects.select_for_update(no_key=True).select_related("plant").get(pk=die.pk)
        orders = Order.objects.filter(die=die, closed_at__isnull=True).exclude(plant=to)
        sitting = Fitting.objects.filter(position__die=die, until__isnull=True).values("piece")
        pieces = Piece.objects.filter(pk__in=sitting).exclude(plant=to)
        _check(die, to, press, orders, pieces)
        values = {"plant": to, "usual_press": press}
        actions.amend(by=by, row=die, values=values, at=at or timezone.now(), reason=reason, with_the_plant=True)
        moved = list(orders)
        orders.update(plant=to)
        pieces.update(plant=to)
        BenchWork.objects.filter(die=die, state__in=BenchWork.OPEN).update(person=None, day=None)  # people stay
        die.refresh_from_db()
        if die.plant_id != to.pk:
            raise ChangeRefused(_("It was moved again after that day. Enter a later one."), field="at")
        register.tell(die, *moved)
        taken = Position.objects.filter(die=die, item__isnull=False).values_list("item", flat=True)
        changes.tell(dies=[die.pk], items=set(taken))  # the advice of the plant it comes from is otherwise too
    return die


def _check(die: Die, to: Plant, press: Press | None, orders, pieces) -> None:
    if die.plant_id == to.pk:
        raise ChangeRefused(_("{die} stands in {to} already.").format(die=die, to=to), field="to")
    if press is not None and press.plant_id != to.pk:
        raise ChangeRefused(_("Press {press} is not in {to}.").format(press=press, to=to), field="press")
    if row := DieInPress.objects.now().filter(die=die).select_related("press").first():
        raise ChangeRefused(_("{die} is in press {press}. Take it out first.").format(die=die, press=row.press))
    counters = Counter.objects.filter(die=die)
    counting = counters.filter(waiting_since__isnull=False).exists() or OpenCount.objects.filter(die=die).exists()
    asked = CounterQuestion.objects.filter(counter__in=counters, settled_at__isnull=True).exists()
    if counting or asked:
        raise ChangeRefused(
            _("Counts of {die} are not settled yet. Count them and answer what is asked first.").format(die=die)
        )
    if Die.objects.filter(plant=to, code__iexact=die.code).exists():
        raise ChangeRefused(
            _("There is a die {die} in {to} already. Give one of them another code first.").format(die=die, to=to),
            field="to",
        )
    for order in orders:
        if Order.objects.filter(plant=to, number=order.number, part=order.part_id).exists():
            raise ChangeRefused(
                _("{to} has a job {number} for the same part. Give one another number first.").format(
                    to=to, number=order.number
                )
            )
    marks = [mark for mark in pieces.values_list("mark", flat=True) if mark]
    if twice := Piece.objects.filter(plant=to, mark__in=marks).order_by("mark").first():
        raise ChangeRefused(
            _("{to} has a piece marked {mark} already. Mark one of them otherwise first.").format(
                to=to, mark=twice.mark
            )
        )
