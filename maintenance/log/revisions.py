"""A change of drawing: another revision or spare takes the place of one, and what becomes of the old pieces.

The register keeps the change and lets the places follow (`register.successors`); here stands what the log knows of it:
when the old one moved last, what lies there, and which orders name it.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from diestore.register import successors
from diestore.register.models import Amendment, Item, Plant
from diestore.register.writing import ChangeRefused
from maintenance.models import StockMovement

from . import movements, queries
from .rules import EntryRefused, day_of
from .write import Actor

LATER, SCRAP, SEND_BACK = "later", "scrap", "send back"
PIECES = (LATER, SCRAP, SEND_BACK)  # what happens at once to retired pieces on the shelf


def replace(
    *,
    by: Actor,
    old: Item,
    newer: Item,
    old_stock: str,
    at: dt.datetime,
    reason: str,
    pieces: str = LATER,
    plants: Sequence[Plant] = (),
    opened: int | None = None,
) -> Amendment:
    """From a moment on `newer` takes the place of `old`, in all its places. pieces: what happens at once to those on
    the shelves of some plants, where they are retired: each leaves with the reason. Raises ChangeRefused."""
    if pieces not in PIECES:
        raise ChangeRefused(_("Say what happens to the pieces on the shelf."), field="pieces")
    if pieces != LATER and old_stock != Item.OldStock.RETIRED:
        raise ChangeRefused(
            _("What is still usable stays on the shelf and is used up first. Leave the pieces there, or retire them."),
            field="pieces",
        )
    with transaction.atomic():
        last = StockMovement.objects.standing().filter(item=old).order_by("-at", "-pk").first()
        if last is not None and timezone.localdate(at) < timezone.localdate(last.at):
            raise ChangeRefused(
                _("{old} moved on {at} still ({kind}). Enter that day or a later one.").format(
                    old=old, at=day_of(timezone.localdate(last.at)), kind=last.get_kind_display()
                ),
                field="at",
            )
        made = successors.replace(
            by=by.user, old=old, newer=newer, old_stock=old_stock, at=at, reason=reason, opened=opened
        )
        if pieces != LATER:
            at = max(at, last.at) if last is not None else at
            for plant in plants:
                n = lies_there([plant], old).get(plant.pk, 0)
                if n > 0:
                    _off(by, plant, old, n, at, made.reason, sent_back=pieces == SEND_BACK)
    return made


def _off(by: Actor, plant: Plant, item: Item, n: int, at: dt.datetime, reason: str, *, sent_back: bool) -> None:
    try:
        movements.scrap(by=by, plant=plant, item=item, quantity=n, reason=reason, at=at, sent_back=sent_back)
    except EntryRefused as refused:
        raise ChangeRefused(str(refused), field="pieces") from refused


def lies_there(plants: Sequence[Plant], item: Item) -> dict[int, int]:
    """Plant -> pieces on its shelf, where there are any."""
    stock = {plant.pk: queries.stock_of_spares(plant, items=[item.pk]).get(item.pk) for plant in plants}
    return {pk: there.on_hand for pk, there in stock.items() if there is not None and there.on_hand > 0}
