"""What moved by hand, beside a spare and beside the list: below nought, drawn and not fitted, out to be repaired."""

from __future__ import annotations

from collections.abc import Sequence

from django.utils import timezone
from django.utils.translation import gettext as _

from diestore import units
from diestore.access import shop
from diestore.register.models import Item, Plant
from maintenance.log import movement_reads, shelf
from reports.format import day

from . import kept, reads
from .advice import Spares


def on_list(plant: Plant | None, query: str, listed: kept.KeptList | Spares | None) -> dict:
    """Spares of the plant that stand below nought, the lowest first. listed: the list of its spares; one that is kept
    from the night does not know what moved since, so that is asked: one question where there is none."""
    if isinstance(listed, Spares):
        rows = sorted((row for row in listed.rows if row.on_hand < 0), key=lambda row: (row.on_hand, row.item.pk))
        below = [_below(row.item, row.on_hand) for row in rows[: movement_reads.BELOW_SHOWN]]
    else:
        found = movement_reads.below_nought(plant) if plant is not None else []
        below = [_below(one.item, one.on_hand) for one in found]
    return {"below": below, "count_query": query}


def on_spare(
    item: Item, movements: Sequence[reads.StockMovement], on_hand: int, system: units.System, query: str
) -> dict:
    """The same of one spare, with what is drawn, out and back by all its movements, the oldest first."""
    currency = shop.current().currency
    back = [
        _("{pieces:,} of {day}: {words}").format(
            pieces=row.quantity,
            day=day(timezone.localdate(row.at)),
            words=movement_reads.as_it_is(row, system, currency=currency),
        )
        for row in movement_reads.back_of(movements)
    ]
    return {
        "below": [_below(item, on_hand)] if on_hand < 0 else [], "count_query": query, "moves_item": item.pk,
        "drawn": movement_reads.drawn_of(movements), "away": movement_reads.away_of(movements),
        "back": back,
    }  # fmt: skip


def _below(item: Item, on_hand: int) -> dict:
    return {"item": item, "on_hand": on_hand, "rack": shelf.rack_of(item.shelf_place)}
