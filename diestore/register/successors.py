"""A newer revision of a spare, or another one, takes its place: from a day on, and as a change of the register.

The old one names the newer one and says what becomes of its pieces; all places that take it follow, each with a change
of its own. What the old one had itself taken the place of follows too, so that `newer` always names the last one and a
circle cannot be.
"""

from __future__ import annotations

import datetime as dt

from django.db import transaction
from django.db.models import Q

from . import actions, writing
from .models import Amendment, Item, Position
from .writing import ChangeRefused

OldStock = Item.OldStock


def check(old: Item, newer: Item) -> None:
    """Whether one can take the place of the other. Raises ChangeRefused."""
    if newer.pk == old.pk:
        raise ChangeRefused(f"{old} cannot take its own place. Pick the newer revision, or enter it first.",
                            field="newer")  # fmt: skip
    if old.newer is not None:
        raise ChangeRefused(
            f"{old.newer} took the place of {old} already. Say what takes the place of {old.newer}, or strike that "
            "change out first.", field="newer",
        )  # fmt: skip
    if newer.newer_id == old.pk:
        raise ChangeRefused(
            f"{old} took the place of {newer}: the two would follow each other in a circle. Strike that change out "
            "first, or pick another one.", field="newer",
        )  # fmt: skip
    if newer.newer is not None:
        raise ChangeRefused(f"{newer.newer} took the place of {newer}. Pick that one.", field="newer")
    if newer.retired_at is not None:
        raise ChangeRefused(f"{newer} is no longer used. Pick another one, or use it again first.", field="newer")
    if old.kind and newer.kind and old.kind != newer.kind:
        raise ChangeRefused(
            f"{old} is a {old.get_kind_display()}, {newer} a {newer.get_kind_display()}: it does not fit in its place. "
            "Pick one of the same kind, or put the kind right.", field="newer",
        )  # fmt: skip


def places_of(item: Item, at: dt.datetime):
    """The places that take it then or later."""
    standing = Position.objects.filter(item=item).filter(Q(valid_to=None) | Q(valid_to__gt=at))
    return standing.select_related("die").order_by("die__code", "code", "pk")


def replace(
    *, by, old: Item, newer: Item, old_stock: str, at: dt.datetime, reason: str, opened: int | None = None
) -> Amendment:
    """From a moment on `newer` takes the place of `old`. Returns the change of the old one. Raises ChangeRefused."""
    reason = writing.reason_of(reason, "Say why: what changed on the drawing.")
    if old_stock not in OldStock.values:
        raise ChangeRefused("Say what becomes of the pieces that are there.", field="old_stock")
    with transaction.atomic():
        rows = {row.pk: row for row in Item.objects.select_for_update(of=("self",))
                .filter(Q(pk__in=(old.pk, newer.pk)) | Q(newer=old.pk)).order_by("pk")}  # fmt: skip
        old, newer = rows[old.pk], rows[newer.pk]
        check(old, newer)
        values: dict[str, object] = {"newer": newer.pk, "old_stock": old_stock}
        if old_stock == OldStock.RETIRED and old.retired_at is None:
            values["retired_at"] = at
        made = actions.amend(by=by, row=old, values=values, at=at, reason=reason, opened=opened)
        for row in rows.values():
            if row.newer_id == old.pk:
                then: dict[str, object] = {"newer": newer.pk}
                if old_stock == OldStock.RETIRED and row.old_stock == OldStock.USABLE:
                    then["old_stock"] = OldStock.RETIRED
                    then |= {"retired_at": at} if row.retired_at is None else {}
                actions.amend(by=by, row=row, values=then, at=at, reason=reason)
        for place in places_of(old, at):
            actions.amend(by=by, row=place, values={"item": newer.pk}, at=at, reason=reason)
            place.refresh_from_db()
            if place.item_id != newer.pk:
                raise ChangeRefused(f"{place} of {place.die} takes {old} since a later day only. Enter a day from "
                                    "then on.", field="at")  # fmt: skip
    return made
