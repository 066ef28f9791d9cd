"""Rows that follow from the entries and are made anew with them: what sat where, and which row heads a sharpening."""

from __future__ import annotations

from django.db import transaction
from django.db.models import Exists, OuterRef

from diestore.register.models import Position
from maintenance.clockwork.fittings import Change, Span, derive
from maintenance.models import Fitting, Replacement, Work


def change_of(row: Replacement) -> Change:
    return Change(
        at=row.at,
        sequence=row.sequence,
        key=row.key,
        piece=row.piece_in_id,
        why=row.why,
        since_start=row.since_start,
        position=row.position_id,
    )


def fitting_of(span: Span) -> Fitting:
    return Fitting(position_id=span.position, piece_id=span.piece, since=span.since, until=span.until, fate=span.fate)


def rebuild_fittings(position: Position) -> None:
    """Derive the fittings of a position anew from its standing replacements."""
    with transaction.atomic():
        # One after the other: what two people change here at once is all read by the later.
        Position.objects.select_for_update(no_key=True).get(pk=position.pk)
        spans = derive(change_of(row) for row in position.replacements.standing())
        position.fittings.all().delete()
        Fitting.objects.bulk_create([fitting_of(span) for span in spans])


def find_heads(after: int = 0) -> None:
    """Tell the first row of each sharpening from the others, after rows of works came by the thousand.

    after: the highest number of a work before they came.
    """
    heads = Work.objects.filter(heads_set=True).exclude(set_key="")
    before = heads.filter(set_key=OuterRef("set_key"), pk__lt=OuterRef("pk"))
    heads.filter(Exists(before), pk__gt=after).update(heads_set=False)
