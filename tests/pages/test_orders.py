"""Orders to suppliers as a buyer makes them: ticked, changed, placed, confirmed, chased, taken in; on paper too."""

from __future__ import annotations

import datetime as dt
import io
import re
import zipfile
from decimal import Decimal

import openpyxl
import pytest
from django.urls import reverse
from django.utils import timezone

from diestore.register.models import Party
from maintenance.log import bench_plan, purchase_reads, purchases, write
from maintenance.models import PurchaseLine, PurchaseOrder, PurchaseStep, StockMovement
from maintenance.screens.orders import paper
from tests import factories as make
from tests.pages import money_shop as shop

from .as_read import as_read
from .bench_browser import sent

pytestmark = pytest.mark.django_db
LIST = "/spares/orders/"
SPARES = "/spares/"
ALL = f"{SPARES}?short=all"


@pytest.fixture
def punch():
    return shop.spare("PP-6.0-M2", on_hand=0, lead_days=200)


@pytest.fixture
def used(punch):
    """The same, in a die that will want some."""
    shop.worked_die("H-900", punch, cycles=3)
    shop.forecast()
    return punch


def page_of(order) -> str:
    return reverse("maintenance:purchase", args=[order.pk])


def take_in(order) -> str:
    return reverse("maintenance:purchase_take_in", args=[order.pk])


def placed(item, quantity: int = 4) -> PurchaseOrder:
    wanted = [purchases.Wanted(item=item, quantity=quantity)]
    (order,) = purchases.draft(by=make.actor(), plant=make.plant(), wanted=wanted, currency="EUR").orders
    return purchases.place(by=make.actor(), order=order)


def test_from_the_list_to_the_shelf(as_role, used):
    """Ticked, changed, placed; then the list says no longer that it has to be ordered. What came is on the shelf."""
    buyer = as_role("buyer")
    shown = buyer.get(f"{SPARES}?short=1&tick=now")
    ticked = re.findall(r'name="item" value="(\d+:\d+)" aria-label="Order PP-6.0-M2" checked', shown.content.decode())
    assert len(ticked) == 1 and "Order 1 spare now" in as_read(shown)
    answer = buyer.post(f"{LIST}new/", {"item": ticked}, follow=True)
    order = PurchaseOrder.objects.get()
    assert "1 line is in a draft" in as_read(answer) and "Nothing is ordered before it is placed" in as_read(answer)
    assert "in draft" in as_read(buyer.get(SPARES)) and order.number in as_read(buyer.get(SPARES))
    line = order.lines.get()
    typed = {f"pieces-{line.pk}": "30", f"price-{line.pk}": "44.10", "note": "to the gate", "act": "place"}
    data = sent(answer, **typed)
    answer = buyer.post(page_of(order), data, follow=True)
    assert "is placed" in as_read(answer) and "30 of 30 pieces still to come" in as_read(answer)
    listed = as_read(buyer.get(ALL))
    assert "Nothing has to be ordered today" in listed and "30 expected" in listed
    form = buyer.get(take_in(order))
    answer = buyer.post(take_in(order), sent(form) | {"all": "yes"}, follow=True)
    assert "30 pieces are on the shelf" in as_read(answer) and "Closed" in as_read(answer)
    row = StockMovement.objects.get(place="shelf", kind="delivered")
    assert (row.quantity, row.line, row.user.username) == (30, line, "buyer")
    assert "1 order came" in as_read(buyer.get(reverse("reports:spare", args=[used.pk])))


def test_two_buyers_who_tick_the_same_line_have_it_once(as_role, punch):
    for buyer in (as_role("buyer"), as_role("lead")):
        answer = buyer.post(f"{LIST}new/", {"item": [f"{punch.pk}:4"]}, follow=True)
    assert "Stands in a draft already and was not put in twice" in as_read(answer)
    assert PurchaseLine.objects.get().quantity == 4


def test_what_is_ticked_wrong_is_told(as_role, punch):
    buyer = as_role("buyer")
    for wrong in ([], ["x"], ["99999999999999999999:1"], ["-1:2"], [f"{punch.pk}:99999999999"][:0]):
        assert "Tick at least one spare" in as_read(buyer.post(f"{LIST}new/", {"item": wrong}, follow=True))
    punch.retired_at = timezone.now()
    punch.save()
    answer = buyer.post(f"{LIST}new/", {"item": [f"{punch.pk}:4"]}, follow=True)
    assert "is no longer offered" in as_read(answer) and not PurchaseOrder.objects.exists()


def test_a_draft_that_somebody_else_changed_is_not_placed_over(as_role, punch):
    buyer = as_role("buyer")
    buyer.post(f"{LIST}new/", {"item": [f"{punch.pk}:4"]})
    order, line = PurchaseOrder.objects.get(), PurchaseLine.objects.get()
    old = sent(buyer.get(page_of(order)), act="place")
    buyer.post(page_of(order), sent(buyer.get(page_of(order)), **{f"pieces-{line.pk}": "9", "act": "save"}))
    answer = buyer.post(page_of(order), old)
    assert answer.status_code == 422 and "Somebody changed this draft" in as_read(answer)
    assert PurchaseLine.objects.get().quantity == 9 and not StockMovement.objects.filter(kind="ordered").exists()


def test_a_draft_says_what_is_wrong_and_keeps_what_was_typed(as_role, punch):
    buyer = as_role("buyer")
    buyer.post(f"{LIST}new/", {"item": [f"{punch.pk}:4"]})
    order, line = PurchaseOrder.objects.get(), PurchaseLine.objects.get()
    other = make.item("PI-3.2", pack_size=5)
    for typed, said in (
        ({f"pieces-{line.pk}": "many"}, "is not a number"), ({f"price-{line.pk}": "lots"}, "begin with a number"),
        ({f"price-{line.pk}": "999999999999"}, "cannot be"), ({"currency": "EURO"}, "Three letters"),
        ({"currency": "e1"}, "three capital letters"), ({"more": "NO-SUCH"}, "There is no spare “NO-SUCH”"),
        ({"wanted_on": "soon"}, "not a date"), ({"supplier": "99999"}, "Pick a supplier"),
        ({f"pieces-{line.pk}": "-2"}, "Enter 1 to"), ({"supplier": "", "act": "place"}, "Name the supplier first"),
    ):  # fmt: skip
        answer = buyer.post(page_of(order), sent(buyer.get(page_of(order)), **({"act": "save"} | typed)))
        assert answer.status_code == 422 and said in as_read(answer), typed
    assert PurchaseLine.objects.get().quantity == 4 and PurchaseOrder.objects.get().placed_at is None
    answer = buyer.post(page_of(order), sent(buyer.get(page_of(order)), more="pi-3.2", act="save"), follow=True)
    assert order.lines.get(item=other).quantity == 5, "a pack, where no number is typed"
    answer = buyer.post(page_of(order), {"act": "cancel", "reason": "", "csrfmiddlewaretoken": ""})
    assert answer.status_code == 422 and "Say why it is cancelled" in as_read(answer)
    answer = buyer.post(page_of(order), {"act": "cancel", "reason": "not needed"}, follow=True)
    assert "Cancelled" in as_read(answer) and "not needed" in as_read(answer)
    assert buyer.post(page_of(order), {"act": "dance"}).status_code == 302


def test_more_than_ordered_is_asked_about_and_a_form_sent_twice_counts_once(as_role, punch):
    order = placed(punch)
    line, keeper = order.lines.get(), as_role("toolmaker")
    data = sent(keeper.get(take_in(order)), **{f"came-{line.pk}": "5"})
    answer = keeper.post(take_in(order), data)
    text = as_read(answer)
    assert answer.status_code == 422 and "5 came of 4 ordered" in text
    assert "take 5" in text and "take 4, 1 goes back" in text
    assert not StockMovement.objects.filter(kind="delivered").exists()
    data |= {f"answer-{line.pk}": "ordered"}
    assert "4 pieces are on the shelf" in as_read(keeper.post(take_in(order), data, follow=True))
    for again in (data, data | {f"came-{line.pk}": "2", f"answer-{line.pk}": "all"}):
        assert "taken in already. It counts once" in as_read(keeper.post(take_in(order), again, follow=True))
    assert StockMovement.objects.filter(place="shelf", kind="delivered").count() == 1
    for wrong, said in (({f"came-{line.pk}": "some"}, "not a number"), ({}, "at least one line"), ({"at": ""}, "date")):
        fresh = sent(keeper.get(take_in(order)), **wrong)
        answer = keeper.post(take_in(order), fresh)
        assert answer.status_code == 422 and said in as_read(answer)


def test_a_late_order_stands_out_and_asking_is_one_tap(as_role, punch):
    order = placed(punch)
    make.die("H-900")
    promise = {order.lines.get().pk: purchases.Promise(promised_on=timezone.localdate(), unit_price=Decimal(50))}
    purchases.confirm(by=make.actor(), order=order, promises=promise)
    buyer = as_role("buyer")
    assert "Nothing is late" in as_read(buyer.get(LIST)) and "4 promised" in as_read(buyer.get(ALL))
    PurchaseLine.objects.update(promised_on=timezone.localdate() - dt.timedelta(days=6))
    for there in (SPARES, LIST, page_of(order), "/"):
        assert "6 days late" in as_read(buyer.get(there)), there
    assert "nobody has asked the supplier yet" in as_read(buyer.get(SPARES))
    for _ in range(2):
        answer = buyer.post(LIST, {"asked": order.pk, "back": "spares"}, follow=True)
    assert answer.request["PATH_INFO"] == SPARES and "asked the supplier on" in as_read(answer)
    assert PurchaseStep.objects.filter(sort="chased").count() == 1
    for wrong in ("x", "", "999999", "9" * 40):
        assert "Tap one of the orders" in as_read(buyer.post(LIST, {"asked": wrong}, follow=True))
    assert as_role("toolmaker").post(LIST, {"asked": order.pk}).status_code == 403


def test_what_the_supplier_confirmed_is_typed_once_for_all_lines_or_by_line(as_role, punch):
    order = placed(punch)
    buyer, line, day = as_role("buyer"), order.lines.get(), timezone.localdate() + dt.timedelta(days=8)
    data = sent(buyer.get(page_of(order)), their_number="Q 77", day=day.isoformat(), act="confirm")
    answer = buyer.post(page_of(order), data | {f"price-{line.pk}": "49"}, follow=True)
    line.refresh_from_db()
    assert (line.promised_on, line.unit_price) == (day, Decimal(49)) and "theirs: Q 77" in as_read(answer)
    data = sent(buyer.get(page_of(order)), act="confirm", **{f"day-{line.pk}": (day - dt.timedelta(20)).isoformat()})
    answer = buyer.post(page_of(order), data)
    assert answer.status_code == 422 and "lies before the day on which it was ordered" in as_read(answer)


def test_a_bench_work_waits_for_the_promised_day(punch):
    order = placed(punch)
    day = timezone.localdate() + dt.timedelta(days=3)
    purchases.confirm(by=make.actor(), order=order, promises={order.lines.get().pk: purchases.Promise(
                      promised_on=day, unit_price=None)})  # fmt: skip
    (coming,) = purchase_reads.on_the_way(make.plant())[punch.pk]
    known = type("Known", (), {"today": timezone.localdate()})()
    words, days = bench_plan._waits_for(known, punch, None, [coming])
    assert order.number in words and "promised for" in words and days == 3


def test_the_paper_is_the_same_bytes_and_the_spreadsheet_has_no_formula(as_role, punch):
    items = [make.item(f"=1+{n}", description="@SUM(A1) punch", supplier=punch.supplier, unit_price=Decimal("0.0385"),
                       length_mm=71.0, hardness_hrc=61.0) for n in range(45)]  # fmt: skip
    wanted = [purchases.Wanted(item=item, quantity=1_000) for item in items]
    (order,) = purchases.draft(by=make.actor(), plant=make.plant(), wanted=wanted, currency="EUR").orders
    buyer = as_role("buyer")
    first, again = (buyer.get(reverse("maintenance:purchase_pdf", args=[order.pk])) for _ in range(2))
    assert first.content == again.content and first.content.startswith(b"%PDF")
    assert first["Content-Type"] == "application/pdf"
    told = paper.read(purchase_reads.row_of(order), shop_name="Shop")
    assert told.total == Decimal("1732.5000") and told.mark == "draft, not ordered yet" and len(told.lines) == 45
    assert "71.00 mm (2.795 in)" in told.lines[0].what and "61 HRC" in told.lines[0].what
    answer = buyer.get(reverse("maintenance:purchase_xlsx", args=[order.pk]))
    page = openpyxl.load_workbook(io.BytesIO(answer.content)).active
    cells = [cell for row in page.iter_rows() for cell in row if cell.value is not None]
    assert all(cell.data_type != "f" for cell in cells) and {"=1+0", "=1+44"} <= {cell.value for cell in cells}
    parts = zipfile.ZipFile(io.BytesIO(answer.content))
    assert not any(b"<f>" in parts.read(name) for name in parts.namelist())


def test_who_may_what(as_role, punch):
    order = placed(punch)
    for role, sees, orders, takes_in in (
        ("buyer", 1, 1, 1), ("lead", 1, 1, 1), ("toolmaker", 1, 0, 1), ("setter", 0, 0, 0), ("sales", 0, 0, 0),
    ):  # fmt: skip
        client = as_role(role)
        assert (client.get(page_of(order)).status_code == 200) == bool(sees), role
        assert (client.post(f"{LIST}new/", {"item": "0:1"}).status_code == 302) == bool(orders), role
        assert (client.get(take_in(order)).status_code == 200) == bool(takes_in), role
        assert (client.post(page_of(order), {"act": "x"}).status_code == 302) == bool(orders), role
        assert ('name="item"' in client.get(ALL).content.decode()) == bool(orders), role


def test_the_search_finds_the_supplier_and_nobody_is_led_to_a_refusal(as_role, punch):
    other = Party.objects.create(code="STANMOOR", name="Stanmoor Gauges", role="supplier")
    item = make.item("ZZ-1", supplier=other, shelf_place="C2-14")
    shop.movement(item, 3)
    buyer = as_role("buyer")
    for asked in ("stanmoor", "c2-14"):
        assert [r.code for r in buyer.get(f"{SPARES}?q={asked}").context["wanted"]] == ["ZZ-1"]
    entries = buyer.get("/log/entries/").content.decode()
    assert "New entry" not in entries, "the buyer may not log"
    assert "New entry" in as_role("setter").get("/log/entries/").content.decode()


def test_a_receipt_is_one_entry_and_struck_out_it_is_on_the_way_again(as_role, punch):
    order = placed(punch)
    line = order.lines.get()
    (shelf,) = purchases.receive(by=make.actor(), order=order, came={line.pk: purchases.Came(quantity=4)})
    lead = as_role("lead")
    shown = as_read(lead.get("/log/entries/?sort=shelf-move"))
    assert shown.count(f"order {order.number}") == 2, "placed, and what came: the other half of it is no entry"
    write.strike_out(by=make.actor(), entry=shelf, reason="another box")
    assert "4 of 4 pieces still to come" in as_read(lead.get(page_of(order)))
