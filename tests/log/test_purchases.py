"""Orders to suppliers: drafted, placed once, confirmed, received in parts, chased, cancelled, struck out."""

from __future__ import annotations

import datetime as dt
import threading
import time
from decimal import Decimal

import pytest
from django.db import IntegrityError, OperationalError, connection, connections, transaction
from django.utils import timezone

from diestore.register.models import Item, Party
from maintenance.log import changes, purchase_reads, purchases, queries, write
from maintenance.log.purchases import Asks, Came, LineTyped, Promise, Wanted
from maintenance.log.rules import EntryRefused
from maintenance.models import Change, PurchaseLine, PurchaseOrder, PurchaseStep, StockMovement
from tests import factories as make

pytestmark = pytest.mark.django_db
TODAY = timezone.localdate


@pytest.fixture
def quillfen():
    return Party.objects.create(code="QUILLFEN", name="Quillfen Tooling", role="supplier")


@pytest.fixture
def punch(quillfen):
    return make.item("PP-6.0", supplier=quillfen, unit_price=Decimal("48.50"), lead_days=20)


@pytest.fixture
def pilot(quillfen):
    return make.item("PI-3.2", supplier=quillfen, unit_price=Decimal("12"), lead_days=9)


def drafted(*items: Item, quantity: int = 4, by=None) -> PurchaseOrder:
    wanted = [Wanted(item=item, quantity=quantity) for item in items]
    return purchases.draft(by=by or make.actor(), plant=make.plant(), wanted=wanted, currency="EUR").orders[0]


def placed(*items: Item, quantity: int = 4) -> PurchaseOrder:
    return purchases.place(by=make.actor(), order=drafted(*items, quantity=quantity))


def stock(item: Item) -> tuple[int, int]:
    row = queries.stock_of_spares(make.plant()).get(item.pk)
    return (row.on_hand, row.on_order) if row else (0, 0)


def receive(order, came: dict, **more):
    """came: spare -> pieces, or pieces and what is answered."""
    lines = {line.item: line.pk for line in order.lines.all()}
    told = {lines[item]: Came(quantity=n) if isinstance(n, int) else Came(quantity=n[0], answer=n[1])
            for item, n in came.items()}  # fmt: skip
    return purchases.receive(by=make.actor(), order=order, came=told, **more)


def state(order) -> str:
    return purchase_reads.row_of(PurchaseOrder.objects.get(pk=order.pk)).state


def test_ticked_spares_go_into_one_draft_for_each_supplier_and_stand_there_once(punch, pilot):
    other = make.item("S-1", supplier=Party.objects.create(code="OTHER", role="supplier"))
    nobody = make.item("N-1")
    wanted = [Wanted(item=item, quantity=2) for item in (punch, pilot, other, nobody)]
    told = purchases.draft(by=make.actor(), plant=make.plant(), wanted=wanted, currency="EUR")
    assert told.added == 4 and len(told.orders) == 3 and not told.there
    assert [order.number for order in told.orders] == [f"PO-{TODAY().year}-000{n}" for n in (1, 2, 3)]
    mine = next(order for order in told.orders if order.supplier == punch.supplier)
    assert [(line.item, line.quantity, line.unit_price) for line in mine.lines.all()] == [
        (punch, 2, Decimal("48.50")), (pilot, 2, Decimal(12)),
    ]  # fmt: skip
    again = purchases.draft(by=make.actor(), plant=make.plant(), wanted=wanted, currency="EUR")
    assert again.added == 0 and {item for item, _ in again.there} == {punch, pilot, other, nobody}
    assert PurchaseLine.objects.count() == 4, "two buyers who tick the same line have it in one draft once"
    assert stock(punch) == (0, 0), "a draft is on no way yet"


def test_a_placed_order_is_on_the_way_and_is_placed_once(punch, pilot):
    order = drafted(punch, pilot)
    placed_one = purchases.place(by=make.actor(), order=order, seen=order.changes)
    assert stock(punch) == (0, 4) and state(order) == "placed"
    with pytest.raises(EntryRefused, match=r"placed already.*Nothing was ordered twice"):
        purchases.place(by=make.actor(), order=order, seen=order.changes)
    assert stock(punch) == (0, 4) and placed_one.steps.filter(sort="placed").count() == 1
    (coming,) = purchase_reads.on_the_way(make.plant())[punch.pk]
    assert (coming.pieces, coming.is_promised) == (4, False)
    assert coming.due_on == TODAY() + dt.timedelta(days=20), "until he names a day: the lead time"
    assert Change.objects.filter(item=punch).exists(), "kept advice knows that it is behind"


def test_what_was_changed_since_it_was_looked_at_is_not_placed(punch, pilot):
    order = drafted(punch)
    seen = order.changes
    purchases.add_line(by=make.actor(), order=order, item=pilot, quantity=7)
    with pytest.raises(EntryRefused, match="Somebody changed this draft"):
        purchases.place(by=make.actor(), order=order, seen=seen)
    assert stock(punch) == (0, 0) and state(order) == "draft"


def test_a_draft_is_changed_as_it_is_typed(punch, pilot, quillfen):
    order = drafted(punch, pilot)
    lines = {line.item: line.pk for line in order.lines.all()}
    typed = {lines[punch]: LineTyped(quantity=6, unit_price=Decimal("45.25")), lines[pilot]: LineTyped(quantity=0,
             unit_price=None)}  # fmt: skip
    said = {"supplier": quillfen, "currency": "USD", "wanted_on": TODAY() + dt.timedelta(days=30), "note": "= by van"}
    purchases.change_draft(by=make.actor(), order=order, lines=typed, **said)
    order.refresh_from_db()
    (line,) = order.lines.all()
    assert (line.item, line.quantity, line.unit_price) == (punch, 6, Decimal("45.25"))
    assert (order.currency, order.note, order.wanted_on) == ("USD", "= by van", said["wanted_on"])
    for wrong, words in (
        ({"currency": "euro"}, "three capital letters"), ({"note": "x" * 501}, "Say it shorter"),
        ({"wanted_on": dt.date(1000, 1, 1)}, "Check the year"),
        ({"lines": {line.pk: LineTyped(quantity=2_000_000, unit_price=None)}}, "Enter 1 to 1,000,000"),
        ({"lines": {line.pk: LineTyped(quantity=1, unit_price=Decimal(10) ** 12)}}, "cannot be. Enter 0 to"),
    ):  # fmt: skip
        with pytest.raises(EntryRefused, match=words):
            purchases.change_draft(by=make.actor(), order=order, **{"lines": {}} | said | wrong)
    line.refresh_from_db()
    assert line.quantity == 6 and line.unit_price == Decimal("45.25"), "nothing half saved"


@pytest.mark.parametrize("wrong", ["no line", "no supplier", "retired item", "retired supplier", "cancelled"])
def test_what_cannot_be_placed_says_what_to_do(punch, pilot, quillfen, wrong):
    order = drafted(punch, pilot)
    words = {"no line": "nothing on this order", "no supplier": "Name the supplier", "retired item": "no longer",
             "retired supplier": "no longer dealt with", "cancelled": "Draft a new one"}[wrong]  # fmt: skip
    if wrong == "no line":
        order.lines.all().delete()
    elif wrong == "no supplier":
        PurchaseOrder.objects.update(supplier=None)
    elif wrong == "retired item":
        Item.objects.filter(pk=punch.pk).update(retired_at=timezone.now())
        newer = Item.objects.create(code="PP-6.0", revision="B", supplier=quillfen)
        words = f"no longer offered.*Order {newer} in its place"
    elif wrong == "retired supplier":
        Party.objects.update(retired_at=timezone.now())
        other = drafted(make.item("AA-1", supplier=Party.objects.get()))
        assert other.supplier is None and other != order, "nobody is named who is no longer dealt with"
    else:
        purchases.cancel(by=make.actor(), order=order, reason="not needed")
    with pytest.raises(EntryRefused, match=words):
        purchases.place(by=make.actor(), order=order)
    assert not StockMovement.objects.exists() and not PurchaseStep.objects.filter(sort="placed").exists()


def test_a_receipt_in_parts_moves_the_shelf_and_the_order_closes_by_itself(punch, pilot):
    order = placed(punch, pilot)
    receive(order, {punch: (3, "still")})
    assert stock(punch) == (3, 1) and stock(pilot) == (0, 4) and state(order) == "part received"
    receive(order, {punch: 1, pilot: 4})
    assert stock(punch) == (4, 0) and stock(pilot) == (4, 0) and state(order) == "closed"
    seen = purchase_reads.lead_times_seen(plant=make.plant())
    assert [(one.item_id, one.days, one.pieces) for one in seen] == [(punch.pk, 0, 4), (pilot.pk, 0, 4)]
    assert not purchase_reads.on_the_way(make.plant()) and list(purchase_reads.over(make.plant())) == [order]


def test_a_receipt_that_is_sent_twice_counts_once(punch):
    order = placed(punch)
    for _ in range(2):
        receive(order, {punch: (3, "still")}, key="one form")
    assert stock(punch) == (3, 1) and PurchaseStep.objects.filter(sort="received").count() == 1


def test_more_or_fewer_than_ordered_is_asked_about_before_anything_is_taken_in(punch, pilot):
    order = placed(punch, pilot)
    with pytest.raises(Asks) as asked:
        receive(order, {punch: 5, pilot: 3})
    over, short = asked.value.questions
    assert over.words == "PP-6.0: 5 came of 4 ordered." and dict(over.answers) == {
        "all": "take 5", "ordered": "take 4, 1 goes back"}  # fmt: skip
    assert short.words == "PI-3.2: 3 came of 4 ordered." and dict(short.answers) == {
        "still": "1 still comes", "no more": "1 is cancelled"}  # fmt: skip
    assert stock(punch) == (0, 4) and not PurchaseStep.objects.filter(sort="received").exists()
    receive(order, {punch: (5, "all"), pilot: (3, "no more")})
    assert stock(punch) == (5, 0) and stock(pilot) == (3, 0) and state(order) == "closed"
    assert StockMovement.objects.get(item=punch, place="shelf").note == "5 came of 4"


def test_what_is_too_many_goes_back(punch):
    order = placed(punch)
    receive(order, {punch: (5, "ordered")})
    assert stock(punch) == (4, 0) and "1 sent back" in StockMovement.objects.get(place="shelf").note
    with pytest.raises(Asks, match="2 came of 0 still to come"):
        receive(order, {punch: 2})
    assert receive(order, {punch: (2, "ordered")}) == [] and stock(punch) == (4, 0)


def test_nothing_absurd_is_taken_in(punch):
    order = placed(punch)
    for came, more, words in (
        ({}, {}, "at least one line"), ({punch: 0}, {}, "at least one line"), ({punch: -3}, {}, "cannot be"),
        ({punch: 10**12}, {}, "cannot be"),
        ({punch: 4}, {"at": timezone.now() + dt.timedelta(days=2)}, "still to come"),
        ({punch: 4}, {"at": timezone.now() - dt.timedelta(days=9)}, "after that"),
    ):  # fmt: skip
        with pytest.raises(EntryRefused, match=words):
            receive(order, came, **more)
    with pytest.raises(EntryRefused, match="is a draft"):
        receive(drafted(make.item("X-1")), {})
    assert stock(punch) == (0, 4)


def test_struck_out_a_receipt_is_on_the_way_again(punch):
    order = placed(punch)
    (shelf,) = receive(order, {punch: (3, "no more")})
    assert stock(punch) == (3, 0) and state(order) == "closed"
    rows = write.strike_out(by=make.actor(), entry=shelf, reason="counted wrong")
    assert len(rows) == 3 and stock(punch) == (0, 4) and state(order) == "placed"
    ordered = StockMovement.objects.get(kind="ordered")
    with pytest.raises(EntryRefused, match="Cancel it on its own page"):
        write.strike_out(by=make.actor(), entry=ordered, reason="no")
    receive(order, {punch: 4})
    assert stock(punch) == (4, 0)


def test_a_promise_is_the_day_that_counts_and_late_orders_stand_out(punch, pilot):
    order = placed(punch, pilot)
    first, second = order.lines.all()
    day = TODAY() + dt.timedelta(days=12)
    promises = {first.pk: Promise(promised_on=day, unit_price=Decimal(50)), second.pk: Promise(promised_on=None,
                unit_price=second.unit_price)}  # fmt: skip
    purchases.confirm(by=make.actor(), order=order, promises=promises, their_number="Q-77")
    assert state(order) == "placed", "one line is not confirmed"
    promises[second.pk] = Promise(promised_on=TODAY(), unit_price=second.unit_price)
    purchases.confirm(by=make.actor(), order=order, promises=promises, their_number="Q-77")
    row = purchase_reads.row_of(PurchaseOrder.objects.get())
    assert (row.state, row.due_on, row.order.their_number) == ("confirmed", TODAY(), "Q-77") and row.is_promised
    assert purchase_reads.late(make.plant()) == []
    (coming,) = purchase_reads.on_the_way(make.plant(), items=[punch.pk])[punch.pk]
    assert (coming.due_on, coming.is_promised) == (day, True)
    PurchaseLine.objects.filter(pk=second.pk).update(promised_on=TODAY() - dt.timedelta(days=5))
    (late,) = purchase_reads.late(make.plant())
    assert late.days_late == 5 and late.chased_at is None
    for _ in range(2):
        purchases.chase(by=make.actor(), order=order)
    (late,) = purchase_reads.late(make.plant())
    assert late.chased_at is not None and PurchaseStep.objects.filter(sort="chased").count() == 1
    for wrong in (dt.date(1, 1, 1), TODAY() - dt.timedelta(days=2)):
        with pytest.raises(EntryRefused, match="Check the"):
            purchases.confirm(by=make.actor(), order=order, promises={first.pk: Promise(promised_on=wrong,
                              unit_price=None)})  # fmt: skip


def test_cancelled_comes_no_more_and_what_came_stays(punch, pilot):
    order = placed(punch, pilot)
    receive(order, {punch: (1, "still")})
    with pytest.raises(EntryRefused, match="Say why"):
        purchases.cancel(by=make.actor(), order=order, reason=" ")
    purchases.cancel(by=make.actor(), order=order, reason="too late")
    assert stock(punch) == (1, 0) and stock(pilot) == (0, 0) and state(order) == "closed"
    with pytest.raises(EntryRefused, match="closed already"):
        purchases.cancel(by=make.actor(), order=order, reason="again")
    other = placed(make.item("Z-1", supplier=punch.supplier))
    purchases.cancel(by=make.actor(), order=other, reason="drawing changed")
    assert state(other) == "cancelled"
    with pytest.raises(EntryRefused, match="cancelled as a whole"):
        write.strike_out(by=make.actor(), entry=StockMovement.objects.get(kind="cancelled", line__order=other),
                         reason="after all")  # fmt: skip


def test_the_database_keeps_to_it_too(punch):
    order = placed(punch)
    for broken in ({"supplier": None}, {"cancelled_reason": "so"}, {"number": ""}):
        with pytest.raises(IntegrityError), transaction.atomic():
            PurchaseOrder.objects.filter(pk=order.pk).update(**broken)
    for broken in ({"quantity": 0}, {"unit_price": -1}):
        with pytest.raises(IntegrityError), transaction.atomic():
            PurchaseLine.objects.update(**broken)


@pytest.mark.django_db(transaction=True)
def test_two_at_once_place_one_order_and_take_one_delivery_in(punch):
    """On both databases: whoever comes second learns that it is done."""
    order = drafted(punch)
    seen, outcome, ready = order.changes, [], threading.Barrier(2)

    def at_once(act) -> None:
        ready.wait(timeout=20)
        until = time.monotonic() + 30
        try:
            while True:
                try:
                    outcome.append(act())
                    return
                except EntryRefused as refused:
                    outcome.append(refused)
                    return
                except OperationalError:  # SQLite in memory does not wait for the other, as a file does
                    if time.monotonic() > until:
                        raise
                    time.sleep(0.01)
        finally:
            connections.close_all()

    def both(act) -> None:
        threads = [threading.Thread(target=at_once, args=[act]) for _ in range(2)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join(timeout=60)

    with changes.following():
        both(lambda: purchases.place(by=make.actor(), order=order, seen=seen))
    assert sum(isinstance(one, EntryRefused) for one in outcome) == 1 and len(outcome) == 2
    assert stock(punch) == (0, 4)
    outcome.clear()
    both(lambda: receive(order, {punch: 4}, key="the same form"))
    assert len(outcome) == 2 and stock(punch) == (4, 0), f"{outcome} on {connection.vendor}"
