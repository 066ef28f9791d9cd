"""How long the pieces of a die are now, where anybody has said it: measured after a grind, or new and ground since."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Q

from maintenance.clockwork.works import OPERATIONS
from maintenance.models import Fitting, Work


@dataclass(frozen=True, kw_only=True)
class LengthNow:
    """Of the piece in a position. length_mm: None where nobody has said one. spacers_mm: set under it since it sits
    there."""

    length_mm: float | None = None
    spacers_mm: float = 0.0


def lengths_now(positions: Iterable[int]) -> dict[int, LengthNow]:
    """By position, of the pieces that sit there now: two questions, however many there are."""
    fitted = {
        row.position_id: row
        for row in Fitting.objects.filter(position__in=list(positions), until__isnull=True).select_related("piece")
    }
    pieces = {row.piece_id: place for place, row in fitted.items()}
    length = {place: row.piece.length_mm for place, row in fitted.items()}
    spacers = dict.fromkeys(fitted, 0.0)
    works = Work.objects.standing().filter(Q(position__in=fitted) | Q(piece__in=pieces))
    columns = ("position_id", "piece_id", "at", "operation", "removed_mm", "raised_mm", "length_after_mm")
    for position, piece, at, operation, removed, raised, after in works.order_by("at", "sequence", "key").values_list(
        *columns
    ):
        place = position if position is not None else pieces[piece]
        since = fitted[place].since
        if position is not None and since is not None and at < since:
            continue  # of the piece before
        if after is not None:
            length[place] = after
        elif length[place] is not None and removed and OPERATIONS[operation].removes:
            length[place] -= removed
        spacers[place] += raised or 0.0
    return {place: LengthNow(length_mm=length[place], spacers_mm=spacers[place]) for place in fitted}
