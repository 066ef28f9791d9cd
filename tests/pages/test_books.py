"""The page on which a spreadsheet is brought: upload, what was understood, questions, import, result."""

from __future__ import annotations

import html

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from diestore.access.models import PlantOfUser
from diestore.register.models import Die, Item
from maintenance.models import DieForecast, KnownHeading, Run, StockMovement, Work, Workbook
from tests import factories as make
from tests.workbooks import books

from .as_read import as_read as with_marks

pytestmark = pytest.mark.django_db
NEW = "maintenance:book_new"


def as_read(answer) -> str:
    return html.unescape(with_marks(answer))


def brought(client, data: bytes, name: str = "book.xlsx"):
    make.plant()
    return client.post(reverse(NEW), {"file": SimpleUploadedFile(name, data)}, follow=True)


def only_book() -> str:
    return reverse("maintenance:book", args=[Workbook.objects.get().pk])


ANSWERS = {f"book-{key}": value for key, value in books.ANSWERS.items()}


def test_a_german_book_from_the_upload_to_a_forecast(lead):
    page = as_read(brought(lead, books.xlsx({"Schleifbuch": books.GERMAN_BOOK})))
    assert "sharpening book" in page and "3 Apr 2025<small>03.04.25</small>" in page and "41,200<small>41.200" in page
    assert "1 row is not data: a sum of other rows (row 9)" in page
    assert "How thick is the strip they run, in mm?" in page
    refused = lead.post(only_book(), {"sheet": "0", "bring": "1"})
    assert refused.status_code == 422 and not Die.objects.exists()
    page = as_read(lead.post(only_book(), ANSWERS | {"sheet": "0"}, follow=True))
    assert "This would come in: 2 dies, 2 places" in page and not Die.objects.exists()
    page = as_read(lead.post(only_book(), {"sheet": "0", "bring": "1"}, follow=True))
    assert "book.xlsx is in" in page and "5 sharpenings" in page
    assert Work.objects.count() == 5 and set(DieForecast.objects.values_list("die__code", flat=True)) == {"K-1", "K-2"}
    assert not bytes(Workbook.objects.get().cells), "the cells are not kept once the book is in"
    again = lead.post(only_book(), {"sheet": "0", "bring": "1"}, follow=True)
    assert "is in already" in as_read(again) and Work.objects.count() == 5


def test_the_same_file_again_adds_nothing(lead):
    data = books.xlsx({"Schleifbuch": books.GERMAN_BOOK})
    for _ in range(2):
        brought(lead, data)
        pk = Workbook.objects.order_by("-pk").first().pk
        url = reverse("maintenance:book", args=[pk])
        lead.post(url, ANSWERS | {"sheet": "0"})
        page = as_read(lead.post(url, {"sheet": "0", "bring": "1"}, follow=True))
    assert "Nothing was added" in page and Work.objects.count() == 5


def test_a_column_is_chosen_and_remembered(lead):
    table = [["Tool", "Ground when", "Lot of it"], ["K-1", "2025-04-03", 41_200], ["K-1", "2025-05-15", 38_000]]
    brought(lead, books.xlsx({"Grinding": table}))
    lead.post(only_book(), ANSWERS | {"sheet": "0", "column-1": "date", "column-2": "hits"})
    lead.post(only_book(), ANSWERS | {"sheet": "0", "answer-hits": "each"})
    page = as_read(lead.post(only_book(), {"sheet": "0", "bring": "1"}, follow=True))
    assert "is in" in page and Run.objects.exists()
    assert KnownHeading.objects.get(heading="lot of it").field == "hits"
    brought(lead, books.xlsx({"Grinding": table}))
    page = as_read(lead.get(reverse("maintenance:book", args=[Workbook.objects.order_by("-pk").first().pk])))
    assert '<option value="hits" selected>hits</option>' in page


def test_a_cell_that_cannot_be_read_is_marked_and_stops_the_import(lead):
    rows = [
        *books.GERMAN_BOOK[:4],
        ["K-1", "31.02.25", "38.000", "0,2", "stumpf", "Ina T."],
        ["K-1", "15.05.25", "x9", "0,2", None, None],
    ]
    brought(lead, books.xlsx({"Schleifbuch": rows}))
    page = as_read(lead.post(only_book(), ANSWERS | {"sheet": "0"}, follow=True))
    assert "! '31.02.25' is not a date. Write it like 2026-03-31." in page and "'x9' is not a number" in page
    assert lead.post(only_book(), {"sheet": "0", "bring": "1"}).status_code == 422
    assert not Die.objects.exists() and Workbook.objects.get().brought_at is None


def test_what_differs_in_the_register_is_shown_and_left(lead):
    item = make.item("PP-6")
    Item.objects.filter(pk=item.pk).update(unit_price=10, lead_days=None)
    data = books.xlsx({"Prices": [["Spare", "Price", "Lead time [days]"], ["PP-6", 12.5, 20]]})
    page = as_read(brought(lead, data, "prices.xlsx"))
    assert "Different in the register" in page and "PP-6, price of one: 10 here, 12.5 in the file" in page
    lead.post(only_book(), {"sheet": "0", "bring": "1"})
    item.refresh_from_db()
    assert (item.unit_price, item.lead_days) == (10, 20), "what stands is left, what is empty is filled in"
    Workbook.objects.all().delete()
    brought(lead, data, "prices.xlsx")
    lead.post(only_book(), {"sheet": "0", "register": "take", "bring": "1"})
    item.refresh_from_db()
    assert item.unit_price == 12.5 and "prices.xlsx" in item.history.first().history_change_reason


def test_the_buyer_brings_spares_and_nothing_else(client):
    client.force_login(make.user("buyer"))
    both = {"Lager": [["Artikel", "Bestand", "Preis"], ["PP-6", 4, "12,50"]], "Schleifbuch": books.GERMAN_BOOK}
    page = as_read(brought(client, books.xlsx(both)))
    assert "stock list" in page and "sharpening book" not in page
    client.post(only_book(), {"sheet": "0", "bring": "1"})
    assert StockMovement.objects.get().quantity == 4 and not Die.objects.exists()
    assert client.get(reverse("maintenance:book_whole")).status_code == 403


@pytest.mark.parametrize(
    ("name", "data", "sentence"),
    [
        ("a.xls", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600), "old .xls file"),
        ("a.pdf", b"%PDF-1.7 ...", "no spreadsheet"),
        ("a.xlsx", b"PK\x03\x04 broken", "damaged"),
        ("a.csv", bytes(range(256)) * 9, "no spreadsheet"),
        ("a.csv", b"\n\n", "This file is empty"),
    ],
)
def test_what_is_no_spreadsheet_is_told_in_a_sentence(lead, name, data, sentence):
    answer = brought(lead, data, name)
    assert answer.status_code == 422 and sentence in as_read(answer) and not Workbook.objects.exists()


def test_without_a_file_it_says_what_to_pick(lead):
    assert "Pick a file" in as_read(lead.post(reverse(NEW), {}))


def test_a_book_of_another_plant_is_not_there(client):
    north, south = make.plant("north"), make.plant("south")
    lead = make.user("lead")
    PlantOfUser.objects.create(user=lead, plant=north)
    client.force_login(lead)
    data = books.xlsx({"Lager": [["Artikel", "Bestand"], ["PP-6", 4]]})
    client.post(reverse(NEW), {"file": SimpleUploadedFile("a.xlsx", data)})
    mine = Workbook.objects.get()
    assert mine.plant == north
    Workbook.objects.filter(pk=mine.pk).update(plant=south)
    assert client.get(reverse("maintenance:book", args=[mine.pk])).status_code == 404
    assert "a.xlsx" not in as_read(client.get(reverse(NEW)))
    assert client.get(reverse("maintenance:book_whole") + "?plant=south").status_code in (200, 404)


def test_a_template_is_a_workbook(lead):
    answer = lead.get(reverse("maintenance:book_template", args=["sharpenings"]))
    assert answer.content[:2] == b"PK" and "sharpening-book.xlsx" in answer["Content-Disposition"]
    assert lead.get(reverse("maintenance:book_template", args=["poems"])).status_code == 404


@pytest.mark.parametrize("n", [3, 30])
def test_the_questions_do_not_grow_with_the_rows(lead, n):
    rows = [["Spare", "On the shelf", "Price"], *([f"PP-{i}", i + 1, 10 + i] for i in range(n))]
    brought(lead, books.xlsx({"Stock": rows}))
    with CaptureQueriesContext(
        connection,
    ) as seen:
        page = as_read(lead.get(only_book()))
    assert f"{n} spares" in page
    counts = test_the_questions_do_not_grow_with_the_rows.__dict__.setdefault("counts", {})
    counts[n] = len(seen)
    assert len(set(counts.values())) == 1, counts


def test_the_empty_register_and_the_dies_lead_here(lead):
    assert reverse(NEW) in as_read(lead.get(reverse("diestore:dies")))
    make.die()
    assert reverse(NEW) in as_read(lead.get(reverse("diestore:dies")))
