"""Reads for the changes made on dies: what is kept of them, and what pieces were fitted with them."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from diestore.register.models import Die, Plant
from maintenance.models import Replacement
from reports.models import KeptChanges


def kept_of(plant: Plant) -> KeptChanges | None:
    return KeptChanges.objects.filter(plant=plant).first()


def dies_of(plant: Plant) -> list[Die]:
    return list(Die.objects.filter(plant=plant).select_related("plant", "usual_stock").order_by("code"))


@dataclass(frozen=True, kw_only=True)
class PieceIn:
    """A piece that went into a place. price: what one like it costs today; None: not known."""

    at: dt.datetime
    item: str
    price: Decimal | None


def pieces_in(positions: Iterable[int]) -> dict[int, list[PieceIn]]:
    """position -> the pieces that sat there, one after the other."""
    rows = (
        Replacement.objects.standing()
        .filter(position__in=list(positions), piece_in__isnull=False)
        .order_by("at", "sequence", "key")
    )
    fitted: dict[int, list[PieceIn]] = defaultdict(list)
    for position, at, code, price in rows.values_list(
        "position_id", "at", "piece_in__item__code", "piece_in__item__unit_price"
    ):
        fitted[position].append(PieceIn(at=at, item=code or "", price=price))
    return fitted
