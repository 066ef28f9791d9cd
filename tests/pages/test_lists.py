"""Lists of the buyer on their pages: given out, brought, looked at row by row, brought in once."""

from __future__ import annotations

import datetime as dt
import html
import io
import re

import openpyxl
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from django.utils import timezone

from diestore.register.sources import SourcePrice
from maintenance.log import purchases, queries
from maintenance.models import StockMovement, Workbook
from tests import factories as make
from tests.pages import money_shop as shop
from tests.workbooks import books

from .as_read import as_read as with_marks

pytestmark = pytest.mark.django_db


def as_read(answer) -> str:
    return html.unescape(with_marks(answer))


def typed(data: bytes, cells: dict[str, object]) -> bytes:
    """A spreadsheet that the service gave out, with some cells typed in."""
    book = openpyxl.load_workbook(io.BytesIO(data))
    for place, value in cells.items():
        book.active[place] = value
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def brought(client, address: str, data: bytes, **more):
    return client.post(address, {"file": SimpleUploadedFile("list.xlsx", data)} | more, follow=True)


def bring_in(client, page):
    """The last button of the page of a list."""
    seen = re.search(r'name="seen" value="(\w+)"', page.content.decode())
    assert seen is not None
    return client.post(page.request["PATH_INFO"], {"seen": seen[1], "bring": "1"}, follow=True)


def test_a_count_sheet_from_the_shelf_and_back(as_role):
    client, item = as_role("toolmaker"), shop.spare("PP-6.0-M2", on_hand=5, shelf_place="E-9")
    new = reverse("maintenance:list_new", args=["count"])
    assert f"{new}?rack=E" in client.get("/spares/shelf/").content.decode()
    given = client.get(reverse("maintenance:list_out", args=["count"]) + "?rack=E").content
    page = brought(client, new, given)
    assert "Nothing would change" in as_read(page) and "type what lies there" in as_read(page)
    page = brought(client, new, typed(given, {"E5": 3}))
    assert "1 to put right in the file" in as_read(page) and "2 fewer than should lie there. Say why." in as_read(page)
    page = brought(client, new, typed(given, {"E5": 3, "F5": "drawn and not entered"}))
    assert "1 of 1 rows is a count to bring in" in as_read(page)
    done = bring_in(client, page)
    assert "is in" in as_read(done) and "3 lie there, 2 fewer than should" in as_read(done)
    assert queries.stock_of_spares(make.plant())[item.pk].on_hand == 3
    assert StockMovement.objects.get(note="drawn and not entered").user.username == "toolmaker"
    again = bring_in(client, page)
    assert "Nothing was changed twice" in as_read(again)
    page = brought(client, new, typed(given, {"E5": 3, "F5": "drawn and not entered"}))
    assert "This list is in already" in as_read(page) and 'name="bring"' not in page.content.decode()
    assert StockMovement.objects.filter(kind="count", item=item).count() == 2


def test_a_price_list_from_the_sources_and_back(as_role):
    client, item = as_role("buyer"), shop.spare("PP-6.0-M2")
    make.source(item, supplier=shop.supplier(), prices=((1, "48.50"), (10, "44")))
    new = f"{reverse('maintenance:list_new', args=['price-list'])}?supplier={shop.supplier().pk}"
    assert new in html.unescape(client.get(reverse("reports:sources", args=[item.pk])).content.decode())
    out = f"{reverse('maintenance:list_out', args=['price-list'])}?supplier={shop.supplier().pk}"
    page = brought(client, new, client.get(out).content, supplier=str(shop.supplier().pk))
    assert "Nothing would change" in as_read(page)
    page = brought(client, new, typed(client.get(out).content, {"E6": 60}), supplier=str(shop.supplier().pk))
    assert "The price rises with the quantity: 48.5 from 1 pieces, 60 from 10." in as_read(page)
    assert bring_in(client, page).status_code == 422 and SourcePrice.objects.count() == 2
    page = brought(client, new, typed(client.get(out).content, {"E6": 41.5}), supplier=str(shop.supplier().pk))
    done = bring_in(client, page)
    assert "48.50 from 1, 41.50 from 10 EUR, before 48.50 from 1, 44.00 from 10" in as_read(done)
    assert "no supplier" not in as_read(done) and SourcePrice.objects.get(from_quantity=10).unit_price == 41.5
    assert "Pick the supplier" in as_read(brought(client, new, b"x", supplier=""))


def test_a_confirmation_from_the_order_and_back(as_role):
    client = as_role("buyer")
    wanted = [purchases.Wanted(item=shop.spare("PP-6.0-M2"), quantity=4)]
    (order,) = purchases.draft(by=make.actor(), plant=make.plant(), wanted=wanted, currency="EUR").orders
    order = purchases.place(by=make.actor(), order=order)
    new = f"{reverse('maintenance:list_new', args=['confirmation'])}?order={order.pk}"
    assert new in client.get(reverse("maintenance:purchase", args=[order.pk])).content.decode()
    given = client.get(reverse("maintenance:purchase_xlsx", args=[order.pk])).content
    assert "Nothing would change" in as_read(brought(client, new, given))
    plain = client.get(reverse("maintenance:purchase_csv", args=[order.pk])).content
    assert "PP-6.0-M2" in plain.decode() and "Nothing would change" in as_read(brought(client, new, plain))
    assert re.search(f'href="{reverse("reports:spares")}"[^>]* aria-current', client.get(new).content.decode())
    head = next(row[0].row for row in openpyxl.load_workbook(io.BytesIO(given)).active.rows if row[0].value == "Line")
    day = timezone.localdate() + dt.timedelta(days=20)
    page = brought(client, new, typed(given, {f"H{head + 1}": day.isoformat(), f"E{head + 1}": 50}), their_number="AB7")
    assert "Price of one: 50.00 EUR, agreed were 48.50." in as_read(page) and "Promised for" in as_read(page)
    bring_in(client, page)
    order.refresh_from_db()
    assert (order.their_number, order.lines.get().promised_on) == ("AB7", day)


def test_a_column_that_is_not_known_is_chosen_once_for_all(as_role):
    client = as_role("buyer")
    item = shop.spare("PP-6.0-M2", on_hand=5)
    data = books.xlsx({"Blatt": [["Spare", "Zzz"], ["PP-6.0-M2", 5]]})
    page = brought(client, reverse("maintenance:list_new", args=["count"]), data)
    assert "A column is missing: lies there" in as_read(page)
    page = client.post(page.request["PATH_INFO"], {"column-1": "counted", "heading": "1"}, follow=True)
    assert "1 of 1 rows is a count" in as_read(page)
    bring_in(client, page)
    assert StockMovement.objects.filter(item=item, quantity=0).exists()
    data = books.xlsx({"Blatt": [["Spare", "Zzz", "Why"], ["PP-6.0-M2", 4, "lost"]]})
    page = brought(client, reverse("maintenance:list_new", args=["count"]), data)
    assert "1 of 1 rows is a count" in as_read(page)


@pytest.mark.parametrize("data", [b"", b"\x89PNG\r\n\x1a\n...", b"PK\x03\x04 broken"])
def test_what_is_no_list_is_told_in_a_sentence(as_role, data):
    make.plant()
    answer = brought(as_role("buyer"), reverse("maintenance:list_new", args=["count"]), data)
    assert answer.status_code == 422 and not Workbook.objects.exists()
    assert any(words in as_read(answer) for words in ("is empty", "no spreadsheet", "is damaged"))


def test_who_may_bring_which(client, as_role):
    as_role("toolmaker")
    assert client.get(reverse("maintenance:list_new", args=["price-list"])).status_code == 403
    assert client.get(reverse("maintenance:list_new", args=["stock"])).status_code == 404
    book = Workbook.objects.create(plant=make.plant(), name="a", cells=b"", choices={"list": "price-list"})
    assert client.get(reverse("maintenance:list", args=[book.pk])).status_code == 404
    as_role("lead")
    assert client.get(reverse("maintenance:book", args=[book.pk])).status_code == 404, "no book of the register"
