"""Writes of orders to suppliers: drafted, placed, confirmed, chased, received, cancelled.

What was placed, what came and what comes no more are movements of spares that name the line, so the shelf and the
orders are one truth: what is still to come of a line is the sum of its movements. Each write takes `by`, is one
transaction, and is harmless when it is sent twice.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from django.db.models import F, Max
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from diestore.register.models import Item, Party, Plant
from diestore.register.sources import Source
from maintenance.models import PurchaseLine, PurchaseOrder, PurchaseStep, StockMovement, fresh_key
from maintenance.models.purchasing import PIECES_AT_MOST, PRICE_AT_MOST

from . import changes, purchase_reads, supplied
from .rules import EntryRefused, check_moment, check_text, day_of, english, saving
from .write import Actor

Kind, Place, Sort = StockMovement.Kind, StockMovement.Place, PurchaseStep.Sort
LINES_AT_MOST = 400  # of one order
DAYS_AHEAD_AT_MOST = 3_650


@dataclass(frozen=True, kw_only=True)
class Wanted:
    """So many of a spare, to be ordered. unit_price None: as the catalogue says."""

    item: Item
    quantity: int
    unit_price: Decimal | None = None


@dataclass(frozen=True, kw_only=True)
class Drafted:
    """What came of a wish: the drafts that it went into, and what stood in a draft already, with that draft."""

    orders: tuple[PurchaseOrder, ...]
    added: int
    there: tuple[tuple[Item, PurchaseOrder], ...]


# --- drafts -----------------------------------------------------------------------------------------------------------


def draft(*, by: Actor, plant: Plant, wanted: Sequence[Wanted], currency: str) -> Drafted:
    """Spares into drafts, one for each supplier. A spare that stands in a draft of the plant is not put in again."""
    if not wanted:
        raise EntryRefused(_("Tick at least one spare."), field="item")
    for one in wanted:
        check_item(one.item)
        check_pieces(one.quantity, one.item)
    check_currency(currency)
    with saving():
        _one_after_the_other(plant)
        open_ones = {(order.supplier_id, order.currency): order for order in purchase_reads.drafts(plant)}
        sources = supplied.preferred(one.item.pk for one in wanted)
        there = purchase_reads.in_drafts(plant)
        found: list[tuple[Item, PurchaseOrder]] = []
        orders: dict[int, PurchaseOrder] = {}
        added = 0
        for one in wanted:
            if one.item.pk in there:
                found.append((one.item, there[one.item.pk][0]))
                continue
            supplier = one.item.supplier
            if supplier is not None and supplier.retired_at is not None:
                supplier = None  # whoever looks at the draft names another
            source = sources.get(one.item.pk)
            money = currency if source is None or supplier is None else source.currency
            named = (None if supplier is None else supplier.pk, money)
            order = open_ones.get(named)
            if order is None:
                order = open_ones[named] = _opened(by, plant, supplier, money)
            line = _add(order, one, source if supplier is not None else None)
            there[one.item.pk] = (order, line.quantity)
            orders[order.pk] = order
            added += 1
        for order in orders.values():
            _changed(order)
        return Drafted(orders=tuple(orders.values()), added=added, there=tuple(found))


def _one_after_the_other(plant: Plant) -> None:
    """Two at once would each find that there is no draft yet, or the same number free."""
    Plant.objects.select_for_update(no_key=True).get(pk=plant.pk)


def _opened(by: Actor, plant: Plant, supplier: Party | None, currency: str) -> PurchaseOrder:
    order = PurchaseOrder.objects.create(
        plant=plant, number=_next_number(plant), supplier=supplier, currency=currency, opened_at=timezone.now()
    )
    _step(by, order, Sort.OPENED, "Drafted")
    return order


def _next_number(plant: Plant) -> str:
    """Numbers run through the year: PO-2026-0007."""
    head = f"PO-{timezone.localdate().year}-"
    taken = PurchaseOrder.objects.filter(plant=plant, number__startswith=head).values_list("number", flat=True)
    numbers = [int(rest) for name in taken if (rest := name.removeprefix(head)).isascii() and rest.isdigit()]
    return f"{head}{max(numbers, default=0) + 1:04d}"


def _add(order: PurchaseOrder, one: Wanted, source: Source | None = None) -> PurchaseLine:
    """source: of the order's supplier, whose price list says the price; without one the catalogue does."""
    last = order.lines.aggregate(n=Max("sequence"))["n"] or 0
    if order.lines.count() >= LINES_AT_MOST:
        raise EntryRefused(
            _("{order} has {most} lines; that is the most. Place it, then draft another.").format(
                order=order, most=LINES_AT_MOST
            )
        )
    price = one.unit_price
    if price is None:
        of_list = supplied.price_of(source, one.quantity, order.currency)
        price = one.item.unit_price if source is None else of_list  # type: ignore[assignment]
    return PurchaseLine.objects.create(  # type: ignore[misc]
        order=order, sequence=last + 1, item=one.item, quantity=one.quantity, unit_price=price
    )


def add_line(*, by: Actor, order: PurchaseOrder, item: Item, quantity: int) -> PurchaseLine:
    """One more spare on a draft."""
    check_item(item)
    check_pieces(quantity, item)
    with saving(_("{item} is on this order already. Change its pieces there.").format(item=item)):
        order = _draft_of(order)
        source = supplied.by_supplier([item.pk], order.supplier_id).get(item.pk)
        line = _add(order, Wanted(item=item, quantity=quantity), source)
        _changed(order)
        return line


@dataclass(frozen=True, kw_only=True)
class LineTyped:
    """What somebody typed of a line of a draft. quantity 0: it goes."""

    quantity: int
    unit_price: Decimal | None


def change_draft(
    *,
    by: Actor,
    order: PurchaseOrder,
    supplier: Party | None,
    currency: str,
    wanted_on: dt.date | None,
    note: str,
    lines: Mapping[int, LineTyped],
    seen: int | None = None,
) -> PurchaseOrder:
    """A draft as it was typed. Lines that are not named stay as they are. seen: the change that it was typed over."""
    check_currency(currency)
    check_day(wanted_on, field="wanted_on")
    check_text(note, field="note", what=_("The note"), at_most=500)
    if supplier is not None:
        check_supplier(supplier)
    with saving():
        order = _draft_of(order)
        if seen is not None and seen != order.changes:
            raise EntryRefused(
                _(
                    "Somebody changed this draft since you opened it. Open it again and look at it; nothing "
                    "of what you typed is saved."
                )
            )
        items = list(order.lines.values_list("item", flat=True))
        was_from = supplied.by_supplier(items, order.supplier_id)
        now_from = supplied.by_supplier(items, None if supplier is None else supplier.pk)
        for line in order.lines.select_related("item"):
            typed = lines.get(line.pk)
            if typed is None:
                continue
            if typed.quantity == 0:
                line.delete()
                continue
            check_pieces(typed.quantity, line.item, field=f"pieces-{line.pk}")
            check_price(typed.unit_price, line.item, field=f"price-{line.pk}")
            price = typed.unit_price
            if price == line.unit_price:  # nobody typed one: it is that of the price list, where one said it
                listed = supplied.price_of(was_from.get(line.item_id), line.quantity, order.currency)
                if price is None or price == listed:
                    now = supplied.price_of(now_from.get(line.item_id), typed.quantity, currency)
                    price = now if now is not None or order.supplier != supplier else price
            line.quantity, line.unit_price = typed.quantity, price  # type: ignore[assignment]
            line.save(update_fields=["quantity", "unit_price"])
        order.supplier, order.currency, order.wanted_on, order.note = supplier, currency, wanted_on, note.strip()
        order.save(update_fields=["supplier", "currency", "wanted_on", "note"])
        _changed(order)
        return order


def _draft_of(order: PurchaseOrder) -> PurchaseOrder:
    """It as it is now, held until the end of the transaction."""
    found = PurchaseOrder.objects.select_for_update(of=("self",)).select_related("plant").get(pk=order.pk)
    if not found.is_draft:
        what = _("cancelled") if found.cancelled_at else _("placed")
        raise EntryRefused(_("{found} is {what} already. What it says stays as it is.").format(found=found, what=what))
    return found


def _changed(order: PurchaseOrder) -> None:
    PurchaseOrder.objects.filter(pk=order.pk).update(changes=F("changes") + 1)
    order.refresh_from_db(fields=["changes"])


class OddLots(EntryRefused):
    """Fewer than the supplier sells, or no whole packs: nothing is placed until somebody says that it shall be so."""

    def __init__(self, sentences: Sequence[str]) -> None:
        super().__init__(" ".join(sentences), field="odd_lots")


def place(*, by: Actor, order: PurchaseOrder, seen: int | None = None, odd_lots: bool = False) -> PurchaseOrder:
    """The draft goes to the supplier: its lines are on the way from now on. seen: the change that was looked at.
    odd_lots: somebody said that these pieces are meant, whatever pack and least quantity are.

    Placed once however many place it: whoever comes second is told.
    """
    with saving():
        now = timezone.now()
        still = PurchaseOrder.objects.filter(pk=order.pk, placed_at=None, cancelled_at=None)
        if seen is not None:
            still = still.filter(changes=seen)
        if not still.exclude(supplier=None).update(placed_at=now, changes=F("changes") + 1):
            _say_why_not(PurchaseOrder.objects.get(pk=order.pk))
        order = PurchaseOrder.objects.select_related("plant", "supplier").get(pk=order.pk)
        if order.supplier is not None:
            check_supplier(order.supplier)
        lines = list(order.lines.select_related("item"))
        if not lines:
            raise EntryRefused(_("There is nothing on this order. Add a spare first, or cancel the draft."))
        theirs = supplied.by_supplier([line.item_id for line in lines], order.supplier_id)
        for line in lines:
            check_item(line.item)
        odd = [supplied.odd_lot(theirs.get(line.item_id), line.item, line.quantity) for line in lines]
        if any(odd) and not odd_lots:
            raise OddLots([words for words in odd if words])
        StockMovement.objects.bulk_create(
            StockMovement(
                plant=order.plant, item=line.item, quantity=line.quantity, kind=Kind.ORDERED, place=Place.ON_ORDER,
                at=now, line=line, key=f"{line.key}:placed", **by.columns(),
            )
            for line in lines
        )  # fmt: skip
        _step(by, order, Sort.PLACED, f"Placed with {order.supplier}", at=now)
        changes.tell(items=[line.item_id for line in lines])
        return order


def _say_why_not(order: PurchaseOrder) -> None:
    if order.cancelled_at is not None:
        raise EntryRefused(_("{order} is cancelled. Draft a new one.").format(order=order))
    if order.placed_at is not None:
        step = order.steps.filter(sort=Sort.PLACED).select_related("person", "user").first()
        who = step and (step.person or step.user)
        words = _("{order} is placed already. Nothing was ordered twice.")
        if who:
            words = _("{order} is placed already, by {who}. Nothing was ordered twice.")
        raise EntryRefused(words.format(order=order, who=who))
    if order.supplier_id is None:
        raise EntryRefused(_("Name the supplier first."), field="supplier")
    raise EntryRefused(_("Somebody changed this draft since you opened it. Look at it again, then place it."))


# --- placed -----------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Promise:
    """What the supplier confirmed of a line."""

    promised_on: dt.date | None
    unit_price: Decimal | None


def confirm(
    *, by: Actor, order: PurchaseOrder, promises: Mapping[int, Promise], their_number: str = ""
) -> PurchaseOrder:
    """The supplier's own word: days, prices, and what he calls the order."""
    check_text(their_number, field="their_number", what=_("The supplier's number"), at_most=60)
    with saving():
        order = _placed(order)
        moved = False
        days: set[dt.date] = set()
        for line in order.lines.select_related("item"):
            promise = promises.get(line.pk)
            if promise is None:
                continue
            check_promise(promise.promised_on, order, field=f"day-{line.pk}")
            check_price(promise.unit_price, line.item, field=f"price-{line.pk}")
            new = (promise.promised_on, promise.unit_price)
            if new != (line.promised_on, line.unit_price):
                line.promised_on, line.unit_price = new  # type: ignore[assignment]
                line.save(update_fields=["promised_on", "unit_price"])
                moved = True
            if promise.promised_on is not None:
                days.add(promise.promised_on)
        if their_number.strip() != order.their_number:
            order.their_number, moved = their_number.strip(), True
            order.save(update_fields=["their_number"])
        if moved:
            said = english(lambda: ", ".join(day_of(day) for day in sorted(days)[:4])) + (
                " ..." if len(days) > 4 else ""
            )
            _step(by, order, Sort.CONFIRMED, f"Confirmed for {said}" if days else "What was confirmed is put right")
            _changed(order)
            changes.tell(items=list(order.lines.values_list("item", flat=True)))
        return order


def chase(*, by: Actor, order: PurchaseOrder, today: dt.date | None = None) -> PurchaseStep:
    """Somebody asked the supplier where it is. Twice on one day is once."""
    today = today or timezone.localdate()
    with saving():
        order = _placed(order)
        key = f"{order.key}:asked {today.isoformat()}"
        known = PurchaseStep.objects.filter(key=key).first()
        return known or _step(
            by, order, Sort.CHASED, english(lambda: f"Asked the supplier on {day_of(today)}"), key=key
        )


def _placed(order: PurchaseOrder) -> PurchaseOrder:
    found = PurchaseOrder.objects.select_for_update(of=("self",)).select_related("plant").get(pk=order.pk)
    if found.cancelled_at is not None:
        raise EntryRefused(_("{found} is cancelled.").format(found=found))
    if found.placed_at is None:
        raise EntryRefused(_("{found} is a draft. Place it first.").format(found=found))
    return found


# --- received ---------------------------------------------------------------------------------------------------------

TAKE_ALL, TAKE_ORDERED = "all", "ordered"
STILL_TO_COME, COMES_NO_MORE = "still", "no more"


@dataclass(frozen=True, kw_only=True)
class Came:
    """What came of a line. answer: where more or fewer came than are open, what is done about it."""

    quantity: int
    answer: str = ""


@dataclass(frozen=True, kw_only=True)
class Question:
    """What there is to ask of a line before it is taken in: the sentence, and each answer with its words."""

    line: PurchaseLine
    words: str
    answers: tuple[tuple[str, str], ...]


class Asks(EntryRefused):
    """More or fewer came than was ordered: nothing is taken in until it is said what that means."""

    def __init__(self, questions: Sequence[Question]) -> None:
        super().__init__(questions[0].words, field=f"came-{questions[0].line.pk}")
        self.questions = tuple(questions)


def questions_of(lines: Sequence[purchase_reads.LineRow], came: Mapping[int, Came]) -> list[Question]:
    """What there is to ask of a delivery."""
    asked = []
    for row in lines:
        one = came.get(row.line.pk)
        if one is None or one.quantity <= 0 or row.line.item_id is None:
            continue
        n, still, item = one.quantity, row.open, row.line.item
        words = _("{item}: {n:,} came of {still:,} still to come.")
        if still == row.line.quantity:
            words = _("{item}: {n:,} came of {still:,} ordered.")
        words = words.format(item=item, n=n, still=still)
        if n > still and one.answer not in (TAKE_ALL, TAKE_ORDERED):
            back = n - still
            all_words = _("take {n:,}") if still else _("take {n:,} all the same")
            only = ngettext("take {still:,}, {back:,} goes back", "take {still:,}, {back:,} go back", back)
            if not still:
                only = ngettext("none: {back:,} goes back", "none: {back:,} go back", back)
            all_words, only = all_words.format(n=n), only.format(still=still, back=back)
            asked.append(Question(line=row.line, words=words, answers=((TAKE_ALL, all_words), (TAKE_ORDERED, only))))
        elif n < still and one.answer not in (STILL_TO_COME, COMES_NO_MORE):
            rest = still - n
            answers = (
                (STILL_TO_COME, ngettext("{n:,} still comes", "{n:,} still come", rest).format(n=rest)),
                (COMES_NO_MORE, ngettext("{n:,} is cancelled", "{n:,} are cancelled", rest).format(n=rest)),
            )
            asked.append(Question(line=row.line, words=words, answers=answers))
    return asked


def receive(
    *,
    by: Actor,
    order: PurchaseOrder,
    came: Mapping[int, Came],
    at: dt.datetime | None = None,
    note: str = "",
    key: str | None = None,
) -> list[StockMovement]:
    """A delivery, whole or in part: onto the shelf, and off what is on the way. Returns what went onto the shelf.

    The same `key` again takes nothing in twice. Raises `Asks` where more or fewer came than is open and no answer
    says what that means.
    """
    at = at or timezone.now()
    check_moment(at)
    check_text(note, field="note", what=_("The note"), at_most=500)
    key = key or fresh_key()
    with saving():
        order = _placed(order)
        known = list(StockMovement.objects.filter(key__startswith=f"{key}:", line__order=order, place=Place.SHELF))
        if known:
            return known
        if order.placed_at is not None and at < order.placed_at - dt.timedelta(days=1):
            raise EntryRefused(
                _("{order} was placed on {placed_at}, after that. Check the day.").format(
                    order=order, placed_at=day_of(timezone.localdate(order.placed_at))
                ),
                field="at",
            )
        lines = purchase_reads.row_of(order).lines
        for row in lines:
            if (one := came.get(row.line.pk)) is not None and one.quantity:
                check_pieces(one.quantity, row.line.item, field=f"came-{row.line.pk}")
        if not any(came[row.line.pk].quantity > 0 for row in lines if row.line.pk in came):
            raise EntryRefused(_("Enter how many came of at least one line."), field="came")
        if asked := questions_of(lines, came):
            raise Asks(asked)
        made = [move for row in lines for move in _taken(by, row, came.get(row.line.pk), at, note, key)]
        StockMovement.objects.bulk_create(made)
        shelf = [move for move in made if move.place == Place.SHELF]
        said = ", ".join(f"{move.quantity:,} × {move.item}" for move in shelf[:5])
        more = f" and {len(shelf) - 5} more lines" if len(shelf) > 5 else ""
        _step(by, order, Sort.RECEIVED, f"Taken in: {said}{more}"[:500] if shelf else "Sent back", at=timezone.now())
        _changed(order)
        changes.tell(items=[move.item_id for move in made])
        return shelf


def _taken(
    by: Actor, row: purchase_reads.LineRow, one: Came | None, at: dt.datetime, note: str, key: str
) -> list[StockMovement]:
    """The movements of what came of one line."""
    if one is None or one.quantity <= 0:
        return []
    line, still = row.line, row.open
    taken = min(one.quantity, still) if one.answer == TAKE_ORDERED else one.quantity
    notes = [note.strip()] if note.strip() else []
    if one.quantity > still:
        back = f", {one.quantity - taken:,} sent back" if taken < one.quantity else ""
        notes.append(f"{one.quantity:,} came of {still:,}{back}")
    made = []

    def move(quantity: int, kind: str, place: str, end: str, words: Sequence[str]) -> None:
        if quantity:
            made.append(
                StockMovement(
                    plant=line.order.plant, item=line.item, quantity=quantity, kind=kind, place=place, at=at, line=line,
                    note="; ".join(words), key=f"{key}:{line.pk}:{end}", **by.columns(),
                )
            )  # fmt: skip

    move(taken, Kind.DELIVERED, Place.SHELF, "shelf", notes)
    move(-min(taken, still), Kind.DELIVERED, Place.ON_ORDER, "way", ())
    if one.answer == COMES_NO_MORE:
        move(-(still - min(taken, still)), Kind.CANCELLED, Place.ON_ORDER, "rest", ("cancelled",))
    return made


def cancel(*, by: Actor, order: PurchaseOrder, reason: str) -> PurchaseOrder:
    """A draft is dropped; of a placed order what is still to come comes no more. What came stays."""
    reason = " ".join(reason.split())
    if not reason:
        raise EntryRefused(_("Say why it is cancelled."), field="reason")
    check_text(reason, field="reason", what=_("The reason"), at_most=300)
    with saving():
        order = PurchaseOrder.objects.select_for_update(of=("self",)).select_related("plant").get(pk=order.pk)
        row = purchase_reads.row_of(order)
        if row.state in (purchase_reads.CANCELLED, purchase_reads.CLOSED):
            raise EntryRefused(_("{order} is {state} already.").format(order=order, state=row.state))
        now = timezone.now()
        off = [line for line in row.lines if line.open]
        number = order.changes + 1
        StockMovement.objects.bulk_create(
            StockMovement(
                plant=order.plant, item=one.line.item, quantity=-one.open, kind=Kind.CANCELLED, place=Place.ON_ORDER,
                at=now, line=one.line, note=reason, key=f"{one.line.key}:cancelled {number}", **by.columns(),
            )
            for one in off
        )  # fmt: skip
        if not any(line.received for line in row.lines):
            order.cancelled_at, order.cancelled_reason = now, reason
            order.save(update_fields=["cancelled_at", "cancelled_reason"])
        _step(
            by, order, Sort.CANCELLED, f"Cancelled{' the rest' if order.cancelled_at is None else ''}: {reason}", at=now
        )
        _changed(order)
        changes.tell(items=[one.line.item_id for one in off])
        return order


def _step(
    by: Actor, order: PurchaseOrder, sort: str, words: str, *, at: dt.datetime | None = None, key: str | None = None
) -> PurchaseStep:
    return PurchaseStep.objects.create(
        order=order, sort=sort, words=words[:500], at=at or timezone.now(), key=key or fresh_key(), person=by.person,
        user_id=getattr(by.user, "pk", None),
    )  # fmt: skip


# --- what can be ------------------------------------------------------------------------------------------------------


def check_item(item: Item) -> None:
    if item.newer is not None:
        raise EntryRefused(
            _("{newer} took the place of {item}. Order {newer} in its place.").format(newer=item.newer, item=item),
            field="item",
        )
    if item.retired_at is None:
        return
    others = Item.objects.filter(code=item.code, retired_at=None).exclude(pk=item.pk).order_by("-revision", "-pk")
    newer = others.first()
    words = _("{item} is no longer offered (since {day}). Take it off the order.")
    if newer is not None:
        words = _("{item} is no longer offered (since {day}). Order {newer} in its place.")
    day = day_of(timezone.localdate(item.retired_at))
    raise EntryRefused(words.format(item=item, day=day, newer=newer), field="item")


def check_supplier(supplier: Party) -> None:
    if supplier.retired_at is not None:
        raise EntryRefused(
            _("{supplier} is no longer dealt with. Pick another supplier.").format(supplier=supplier), field="supplier"
        )


def check_pieces(quantity: int, item: Item, *, field: str = "quantity") -> None:
    if isinstance(quantity, bool) or not isinstance(quantity, int) or not 1 <= quantity <= PIECES_AT_MOST:
        raise EntryRefused(
            _("{quantity:,} of {item} cannot be. Enter 1 to {most:,} pieces.").format(
                quantity=quantity, item=item, most=PIECES_AT_MOST
            ),
            field=field,
        )


def check_price(price: Decimal | None, item: Item, *, field: str = "price") -> None:
    if price is not None and not (price.is_finite() and 0 <= price <= PRICE_AT_MOST):
        raise EntryRefused(
            _("A price of {price:,.2f} for one {item} cannot be. Enter 0 to {most:,}.").format(
                price=price, item=item, most=PRICE_AT_MOST
            ),
            field=field,
        )


def check_currency(currency: str) -> None:
    if not re.fullmatch(r"[A-Z]{3}", currency):
        raise EntryRefused(_("The currency is three capital letters, such as EUR or USD (ISO 4217)."), field="currency")


def check_day(day: dt.date | None, *, field: str) -> None:
    if day is None:
        return
    today = timezone.localdate()
    if not -DAYS_AHEAD_AT_MOST <= (day - today).days <= DAYS_AHEAD_AT_MOST:
        raise EntryRefused(_("{day} cannot be. Check the year.").format(day=day.isoformat()), field=field)


def check_promise(day: dt.date | None, order: PurchaseOrder, *, field: str) -> None:
    check_day(day, field=field)
    if day is not None and order.placed_at is not None and day < (placed := timezone.localdate(order.placed_at)):
        raise EntryRefused(
            _("{day} lies before the day on which it was ordered ({placed}). Check the date.").format(
                day=day_of(day), placed=day_of(placed)
            ),
            field=field,
        )
