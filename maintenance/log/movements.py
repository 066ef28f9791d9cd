"""Writes of what moves by hand: drawn for a die and returned, out to be repaired and back, scrapped, moved to another
plant, put in another place.

Each takes `by`, is one transaction, and is harmless when it is sent twice with the same `key`. What happened is never
refused because the record says that too few lie there: the shelf then stands below nought, which is a question to
settle by a count.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from django.utils import timezone
from django.utils.translation import gettext as _

from diestore.register import actions
from diestore.register.models import Die, Item, Party, Plant
from maintenance.models import BenchWork, StockMovement, fresh_key
from maintenance.models.purchasing import PIECES_AT_MOST, PRICE_AT_MOST

from . import changes, movement_reads
from .rules import EntryRefused, check_moment, check_text, saving
from .write import Actor

Kind, Place = StockMovement.Kind, StockMovement.Place
LENGTH_AT_MOST_MM = 10_000
GRINDS_AT_MOST = 10_000


@dataclass(frozen=True, kw_only=True)
class AsItIs:
    """What a piece is that comes back onto the shelf; nothing where nobody measured it. worth: of one."""

    length_mm: float | None = None
    grinds_left: int | None = None
    worth: Decimal | None = None

    def check(self) -> None:
        if self.length_mm is not None and not (
            math.isfinite(self.length_mm) and 0 < self.length_mm <= LENGTH_AT_MOST_MM
        ):
            raise EntryRefused(
                _("A length of {length_mm:g} mm cannot be.").format(length_mm=self.length_mm), field="length_mm"
            )
        if self.grinds_left is not None and not 0 <= self.grinds_left <= GRINDS_AT_MOST:
            raise EntryRefused(
                _("{grinds_left:,} grinds left cannot be. Enter 0 to {most:,}.").format(
                    grinds_left=self.grinds_left, most=GRINDS_AT_MOST
                ),
                field="grinds_left",
            )
        if self.worth is not None and not (self.worth.is_finite() and 0 <= self.worth <= PRICE_AT_MOST):
            raise EntryRefused(
                _("One piece cannot be worth {worth:,.2f}. Enter 0 to {most:,}.").format(
                    worth=self.worth, most=PRICE_AT_MOST
                ),
                field="worth",
            )

    def columns(self) -> dict:
        return {"length_mm": self.length_mm, "grinds_left": self.grinds_left, "worth": self.worth}


NEW = AsItIs()


def draw(
    *,
    by: Actor,
    plant: Plant,
    item: Item,
    die: Die,
    quantity: int = 1,
    work: BenchWork | None = None,
    at: dt.datetime | None = None,
    note: str = "",
    key: str | None = None,
) -> StockMovement:
    """Off the shelf for a die. It is drawn until it is fitted there or comes back."""
    _check_die(die, plant)
    if work is not None and work.die_id != die.pk:
        raise EntryRefused(_("This work is not on {die}.").format(die=die), field="die")
    told = {"die": die, "bench_work": work}
    return _between(by, plant, item, -quantity, Kind.DRAWN, Place.DRAWN, at, note, key, told)


def bring_back(
    *,
    by: Actor,
    plant: Plant,
    item: Item,
    die: Die,
    quantity: int = 1,
    work: BenchWork | None = None,
    now: AsItIs = NEW,
    at: dt.datetime | None = None,
    note: str = "",
    key: str | None = None,
) -> StockMovement:
    """Back onto the shelf: drawn and not used, or taken out of the die. now: where it is not what was bought."""
    _check_die(die, plant)
    now.check()
    told = {"die": die, "bench_work": work}
    return _between(by, plant, item, quantity, Kind.RETURNED, Place.DRAWN, at, note, key, told, now.columns())


def send_out(
    *,
    by: Actor,
    plant: Plant,
    item: Item,
    supplier: Party,
    quantity: int = 1,
    at: dt.datetime | None = None,
    note: str = "",
    key: str | None = None,
) -> StockMovement:
    """Off the shelf to whoever repairs or regrinds it."""
    if supplier.retired_at is not None:
        raise EntryRefused(
            _("{supplier} is no longer dealt with. Pick another supplier.").format(supplier=supplier), field="supplier"
        )
    return _between(by, plant, item, -quantity, Kind.SENT_OUT, Place.REPAIR, at, note, key, {"supplier": supplier})


def take_back(
    *,
    by: Actor,
    plant: Plant,
    item: Item,
    supplier: Party,
    quantity: int = 1,
    now: AsItIs = NEW,
    at: dt.datetime | None = None,
    note: str = "",
    key: str | None = None,
) -> StockMovement:
    """Back onto the shelf from whoever repaired it, as what it is now."""
    now.check()
    told = {"supplier": supplier}
    return _between(by, plant, item, quantity, Kind.BACK, Place.REPAIR, at, note, key, told, now.columns())


def scrap(
    *,
    by: Actor,
    plant: Plant,
    item: Item,
    reason: str,
    quantity: int = 1,
    at: dt.datetime | None = None,
    key: str | None = None,
    sent_back: bool = False,
) -> StockMovement:
    """Off the shelf for good, with the reason: scrapped, or returned to the supplier."""
    reason = " ".join(reason.split())
    if not reason:
        raise EntryRefused(_("Say why it is returned.") if sent_back else _("Say why it is scrapped."), field="note")
    at, key = _checked(item, quantity, at, reason, key)
    kind = Kind.SENT_BACK if sent_back else Kind.SCRAPPED

    def rows() -> list[StockMovement]:
        return [_row(by, plant, item, -quantity, kind, Place.SHELF, at, reason, f"{key}:shelf")]

    return _once(f"{key}:shelf", [plant], rows)


def move_to(
    *,
    by: Actor,
    plant: Plant,
    to: Plant,
    item: Item,
    quantity: int = 1,
    at: dt.datetime | None = None,
    note: str = "",
    key: str | None = None,
) -> StockMovement:
    """Off the shelf here and onto the shelf of another plant: one act. Returns what left here."""
    if to.pk == plant.pk:
        raise EntryRefused(_("It lies in {plant} already. Pick another plant.").format(plant=plant), field="to")
    at, key = _checked(item, quantity, at, note, key)

    def rows() -> list[StockMovement]:
        here = _row(by, plant, item, -quantity, Kind.MOVED, Place.SHELF, at, note, f"{key}:leaves", elsewhere=to.code)
        there = _row(by, to, item, quantity, Kind.MOVED, Place.SHELF, at, note, f"{key}:arrives", elsewhere=plant.code)
        there.person = None  # people are a plant's; the sign-in says who it was
        return [here, there]

    return _once(f"{key}:leaves", [plant, to], rows)


def put_in_place(*, by: Actor, item: Item, place: str, reason: str) -> Item:
    """It lies in another place on the shelf from now on: a change of the catalogue, with its day."""
    place = " ".join(place.split())
    check_text(place, field="shelf_place", what=_("The place"), at_most=40)
    if place == item.shelf_place:
        raise EntryRefused(_("That is its place already."), field="shelf_place")
    said = " ".join(reason.split()) or "lies in another place"
    try:
        with saving():
            actions.amend(by=by.user, row=item, values={"shelf_place": place}, at=timezone.now(), reason=said)
    except actions.ChangeRefused as refused:
        raise EntryRefused(str(refused), field="shelf_place") from refused
    item.refresh_from_db()
    return item


# --- what each write does ---------------------------------------------------------------------------------------------


def _check_die(die: Die, plant: Plant) -> None:
    if die.plant_id != plant.pk:
        raise EntryRefused(_("{die} is in another plant. Move the spare there first.").format(die=die), field="die")


def _checked(item: Item, quantity: int, at: dt.datetime | None, note: str, key: str | None) -> tuple[dt.datetime, str]:
    quantity = abs(quantity)
    if isinstance(quantity, bool) or not isinstance(quantity, int) or not 1 <= quantity <= PIECES_AT_MOST:
        raise EntryRefused(
            _("{quantity:,} of {item} cannot be. Enter 1 to {most:,} pieces.").format(
                quantity=quantity, item=item, most=PIECES_AT_MOST
            ),
            field="quantity",
        )
    at = at or timezone.now()
    check_moment(at)
    check_text(note, field="note", what=_("The note"), at_most=300)
    return at, key or fresh_key()


def _once(key: str, plants: Sequence[Plant], rows: Callable[[], list[StockMovement]]) -> StockMovement:
    """The rows of one act, all or none; what it made the first time where it is sent again. key: of the first row,
    which is returned. Whoever moves, counts and takes in waits for the others: each sees what the one before did."""
    with saving():
        list(Plant.objects.select_for_update(no_key=True).filter(pk__in=[plant.pk for plant in plants]).order_by("pk"))
        if known := StockMovement.objects.filter(key=key).first():
            return known
        made = StockMovement.objects.bulk_create(rows())
        changes.tell(items=[made[0].item_id])
        return made[0]


def _row(
    by: Actor,
    plant: Plant,
    item: Item,
    quantity: int,
    kind: str,
    place: str,
    at: dt.datetime,
    note: str,
    key: str,
    **more,
) -> StockMovement:
    return StockMovement(
        plant=plant, item=item, quantity=quantity, kind=kind, place=place, at=at, note=" ".join(note.split()), key=key,
        **more, **by.columns(),
    )  # fmt: skip


def _between(
    by: Actor, plant: Plant, item: Item, quantity: int, kind: str, beside: str, at: dt.datetime | None, note: str,
    key: str | None, told: dict, now: dict | None = None,
) -> StockMovement:  # fmt: skip
    """Between the shelf and another place. quantity: onto the shelf. No more leaves the other place than is in it: a
    piece may come out of a die into which it went before anybody kept a record."""
    if quantity == 0:
        raise EntryRefused(_("Enter 1 or more pieces."), field="quantity")
    at, key = _checked(item, quantity, at, note, key)

    def rows() -> list[StockMovement]:
        row = _row(by, plant, item, quantity, kind, Place.SHELF, at, note, f"{key}:shelf", **told, **(now or {}))
        return [row, *_beside(by, row, beside, f"{key}:beside", told)]

    return _once(f"{key}:shelf", [plant], rows)


def _beside(by: Actor, row: StockMovement, place: str, key: str, told: dict) -> Sequence[StockMovement]:
    if row.quantity < 0:
        return [_row(by, row.plant, row.item, -row.quantity, row.kind, place, row.at, "", key, **told)]
    made, left = [], row.quantity
    for more, there in _in_place(row, place, told):
        taken = min(left, max(there, 0))
        if taken:
            end = f"{key} {len(made)}" if made else key
            made.append(_row(by, row.plant, row.item, -taken, row.kind, place, row.at, "", end, **told | more))
            left -= taken
    return made


def _in_place(row: StockMovement, place: str, told: dict) -> list[tuple[dict, int]]:
    """What can leave the other place, with the columns that say which it is: of the work that is named first."""
    if place == Place.DRAWN:
        drawn = movement_reads.drawn(row.plant_id, item=row.item_id, die=row.die_id)
        drawn.sort(key=lambda one: one.work != told.get("bench_work"))
        return [({"bench_work": one.work}, one.pieces) for one in drawn]
    rows = StockMovement.objects.standing().filter(plant=row.plant_id, item=row.item_id, place=place, **told)
    return [({}, movement_reads.sum_of(rows))]
