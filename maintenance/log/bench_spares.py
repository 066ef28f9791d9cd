"""Which spares of a work on the bench are there: on the shelf, set aside, drawn, on order, missing."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from django.db.models import Max, Q, Sum

from diestore.register.models import Item, Plant
from maintenance.models import BenchPiece, BenchWork, StockMovement

from . import purchase_reads

Kind, Place = StockMovement.Kind, StockMovement.Place


@dataclass(frozen=True, kw_only=True)
class SpareOfWork:
    """A spare that a work may need. aside: set aside for it and not drawn yet. others: of the pieces on the shelf those
    set aside for older works. drawn: for it, and neither fitted nor returned. newest: number of the last drawing."""

    item: Item
    places: tuple[str, ...]
    on_shelf: int
    aside: int
    others: int
    drawn: int
    coming: purchase_reads.Coming | None
    on_order: int
    newest: int | None = None

    @property
    def free(self) -> int:
        return max(self.on_shelf - self.others, 0)

    @property
    def missing(self) -> int:
        return max(self.aside - self.free, 0)

    @property
    def draws(self) -> int:
        """How many one tap takes."""
        return self.aside or 1


def of_work(
    work: BenchWork,
    *,
    codes: Mapping[int, Sequence[str]],
    known: Iterable[Item],
    pieces: Iterable[BenchPiece],
    others: Iterable[BenchWork] = (),
) -> list[SpareOfWork]:
    """The spares set aside for a work, those drawn for it, and those of its places, by code. One question; one more
    where something is on order, and one where something was drawn that no place of the die takes.

    codes: spare -> the planned places that take it. known: spares of the die. pieces: what the work has set aside;
    others: the open works, with theirs, read as the plan reads them (`bench_reads.still_aside`).
    """
    items = {item.pk: item for item in known}
    mine = [piece for piece in pieces if piece.item is not None]
    items |= {piece.item.pk: piece.item for piece in mine if piece.item is not None}
    wanted = {pk for pk in codes if pk in items} | {piece.item_id for piece in mine if piece.item_id is not None}
    aside = dict.fromkeys(wanted, 0)
    for piece in mine:
        aside[piece.item_id] += getattr(piece, "still", piece.quantity)  # type: ignore[index]
    taken: dict[int, int] = {}
    for other in others:
        if other.pk != work.pk and other.opened_at < work.opened_at:
            for piece in other.pieces.all():
                if piece.item_id is not None:
                    taken[piece.item_id] = taken.get(piece.item_id, 0) + piece.still  # type: ignore[attr-defined]
    plant = work.die.plant
    rows = {row["item_id"]: row for row in _moved(plant, work, wanted)}
    if strange := [pk for pk in rows if pk not in items]:
        items |= Item.objects.in_bulk(strange)
    on_order = [pk for pk, row in rows.items() if (row["on_order"] or 0) > 0]
    coming = purchase_reads.on_the_way(plant, items=on_order) if on_order else {}
    made = []
    for item in sorted((items[pk] for pk in wanted | rows.keys()), key=lambda one: (one.code, one.revision, one.pk)):
        row = rows.get(item.pk, {})
        drawn = row.get("drawn") or 0
        made.append(
            SpareOfWork(
                item=item, places=tuple(codes.get(item.pk, ())), on_shelf=row.get("on_shelf") or 0,
                aside=aside.get(item.pk, 0), others=taken.get(item.pk, 0), drawn=drawn,
                coming=next(iter(coming.get(item.pk, ())), None), on_order=row.get("on_order") or 0,
                newest=row.get("newest") if drawn else None,
            )
        )  # fmt: skip
    return made


def _moved(plant: Plant, work: BenchWork, items: Iterable[int]) -> Iterable[dict]:
    """What the movements say of some spares, and of those drawn for the work. One question."""
    of_work = Q(bench_work=work)
    rows = StockMovement.objects.standing().filter(Q(item__in=list(items)) | of_work, plant=plant)
    return rows.order_by().values("item_id").annotate(
        on_shelf=Sum("quantity", filter=Q(place=Place.SHELF)), on_order=Sum("quantity", filter=Q(place=Place.ON_ORDER)),
        drawn=Sum("quantity", filter=Q(place=Place.DRAWN) & of_work),
        newest=Max("pk", filter=Q(place=Place.SHELF, kind=Kind.DRAWN) & of_work),
    )  # fmt: skip
