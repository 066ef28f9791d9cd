"""Writes of the register that carry a date: what was so before stays, since forecasts read it as history."""

from __future__ import annotations

import datetime as dt

from django.db import transaction
from django.utils import timezone

from . import changes
from .models import Cut, Position

NEVER_SO = "A typing error: was never so"
SLACK = dt.timedelta(minutes=10)  # a clock of a desk may be ahead
_UNCHANGED = object()


class ChangeRefused(ValueError):
    """A change that cannot be; `field` is where to look."""

    def __init__(self, message: str, *, field: str = "") -> None:
        super().__init__(message)
        self.field = field


def change_cut(
    *,
    by,
    cut: Cut,
    at: dt.datetime,
    gap_mm: float | None = _UNCHANGED,
    length_mm: float = _UNCHANGED,
    upper: Position | None = _UNCHANGED,
    lower: Position | None = _UNCHANGED,
) -> Cut:
    """From a moment on a cut is otherwise: what it was until then stays as a row of its own. Returns the new one.

    by: the user who says so. What was typed wrong and never so is no change: that is put right where it stands.
    """
    new = {"gap_mm": gap_mm, "length_mm": length_mm, "upper": upper, "lower": lower}
    new = {name: value for name, value in new.items() if value is not _UNCHANGED}
    with transaction.atomic():
        before = Cut.objects.select_for_update().get(pk=cut.pk)
        check_change(before, at)
        after = Cut(
            die_id=before.die_id,
            code=before.code,
            upper_id=before.upper_id,
            lower_id=before.lower_id,
            length_mm=before.length_mm,
            gap_mm=before.gap_mm,
            valid_from=at,
            valid_to=before.valid_to,
        )
        for name, value in new.items():
            setattr(after, name, value)
        before.valid_to = at
        for row in (before, after):
            row._history_user, row._change_reason = by, f"Otherwise since {day_of(at)}"
            row.save()
        changes.tell(before, after)
    return after


def check_change(cut: Cut, at: dt.datetime) -> None:
    """Whether a cut can be otherwise from a moment on."""
    now = timezone.now()
    if cut.valid_to is not None and cut.valid_to <= now:
        raise ChangeRefused(
            f"This is how {cut.code} was until {day_of(cut.valid_to)}. Change the row that holds now, or say that "
            "this one was a typing error."
        )
    if at > now + SLACK:
        raise ChangeRefused(f"{day_of(at)} is still to come. Enter it once it is so.", field="changed_at")
    if cut.valid_from is not None and at <= cut.valid_from:
        raise ChangeRefused(
            f"{cut.code} stands so since {day_of(cut.valid_from)} only. Enter a later moment, or say that it was a "
            "typing error.",
            field="changed_at",
        )


def correct_cut(*, by, cut: Cut) -> None:
    """Put a row right that was typed wrong, in place, with the reason kept. Its name is that of all rows of the cut."""
    with transaction.atomic():
        stored = Cut.objects.select_for_update().get(pk=cut.pk)
        others = Cut.objects.filter(die=stored.die_id, code=stored.code).exclude(pk=cut.pk)
        rows = [cut] if cut.code == stored.code else [*others, cut]
        for row in rows:
            row.code = cut.code
            row._history_user, row._change_reason = by, NEVER_SO
            row.save()
        changes.tell(*rows)


def day_of(moment: dt.datetime) -> str:
    return f"{timezone.localtime(moment):%d %b %Y, %H:%M}".lstrip("0")
