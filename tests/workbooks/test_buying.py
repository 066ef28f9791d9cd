"""Lists of the buyer: counts, price lists, confirmations; row by row what is wrong, all or nothing, and once."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

import pytest
from django.utils import timezone

from diestore.exports import csv_response
from diestore.register.sources import Source, SourcePrice, list_of
from maintenance.log import purchases, queries
from maintenance.models import PurchaseOrder, PurchaseStep, StockMovement
from maintenance.workbooks import buying, out
from maintenance.workbooks.pure.readings import read
from maintenance.workbooks.pure.sheets import BUYING, CONFIRMATION, COUNT, PRICE_LIST, Grid, layout
from maintenance.workbooks.read import BookRefused, read_book
from tests import factories as make
from tests.pages import money_shop as shop

BIG = 10**12


def of(**more) -> buying.Of:
    return buying.Of(**({"plant": make.plant(), "currency": "EUR"} | more))


def brought(sort: str, rows, *, keep: bool = True, seen: str = "", **more) -> buying.Told:
    grids = rows if isinstance(rows, bytes) else [Grid("Sheet1", rows)]
    if isinstance(grids, bytes):
        grids = read_book("list.xlsx", grids).grids
    _number, sheet = buying.sheet_of(grids, sort, {}, make.plant())
    return buying.bring(sheet, of(**more), by=make.actor(), keep=keep, seen=seen)


def wrongs(told: buying.Told) -> str:
    return " | ".join(f"{line.row}: {' '.join(line.wrong)}" for line in told.lines if line.wrong) + str(told.problems)


def on_hand(item) -> int:
    return queries.stock_of_spares(make.plant())[item.pk].on_hand


# --- read -----------------------------------------------------------------------------------------------------------

HEADS = {
    COUNT: [
        (["Place", "Spare", "Should lie there", "Lies there", "Why it differs"],
         ["shelf_place", "spare", "should", "counted", "why"]),
        (["Artikel", "Sollbestand", "gezählt", "Warum", "Inventurdatum"],
         ["spare", "should", "counted", "why", "counted_at"]),
        (["Spare", "On the shelf", "Note"], ["spare", "counted", "why"]),
    ],
    PRICE_LIST: [
        (["Spare", "Their number", "From so many pieces", "Price of one", "Currency", "Holds from", "Lead time [days]",
          "Pack", "Least quantity"],
         ["spare", "part_number", "from_quantity", "unit_price", "currency", "valid_from", "lead_days", "pack_size",
          "least_quantity"]),
        (["Artikel", "Lieferanten-Artikelnummer", "ab Menge", "Einzelpreis", "gültig ab", "Lieferzeit", "VE",
          "Mindestmenge"],
         ["spare", "part_number", "from_quantity", "unit_price", "valid_from", "lead_days", "pack_size",
          "least_quantity"]),
    ],
    CONFIRMATION: [
        (["Line", "Spare", "What it is", "Pieces", "Price of one", "Sum", "Currency", "Promised"],
         ["", "spare", "description", "quantity", "unit_price", "", "currency", "promised_on"]),
        (["Artikel", "Menge", "Preis", "Liefertermin", "Auftragsnummer"],
         ["spare", "quantity", "unit_price", "promised_on", "their_number"]),
    ],
}  # fmt: skip


@pytest.mark.parametrize("sort", HEADS)
def test_what_each_column_is(sort):
    for head, fields in HEADS[sort]:
        assert [column.field for column in layout(Grid("a", [head]), sort=sort).columns] == fields


def test_a_list_of_the_buyer_is_never_guessed():
    assert all(layout(Grid("a", [head]), sort=None).sort not in BUYING for rows in HEADS.values() for head, _ in rows)


@pytest.mark.parametrize(
    ("sort", "head", "row", "words"),
    [
        (COUNT, ["Spare", "Lies there"], ["A", "4 mm"], "is in mm, not in pieces"),
        (COUNT, ["Spare", "Lies there [kg]"], ["A", 4], "is in kg, not in pieces"),
        (COUNT, ["Spare", "Lies there"], ["A", "=2+2"], "is a formula"),
        (COUNT, ["Spare", "Lies there"], ["A", 2.5], "is not a whole number"),
        (PRICE_LIST, ["Spare", "Price", "Lead time"], ["A", 4, "3 kg"], "is no time"),
        (PRICE_LIST, ["Spare", "Price"], ["A", "4 mm"], "is no price of one"),
        (PRICE_LIST, ["Spare", "Price"], ["A", "dear"], "is not a number"),
        (CONFIRMATION, ["Spare", "Promised"], ["A", "soon"], "is not a date"),
    ],
)  # fmt: skip
def test_a_cell_that_cannot_be_is_told_in_a_sentence(sort, head, row, words):
    grid = Grid("a", [head, row])
    assert words in read(grid, layout(grid, sort=sort)).problems[0].text


@pytest.mark.parametrize(
    ("cell", "value", "money"), [("12,50 EUR", 12.5, "EUR"), ("€ 12.50", 12.5, "EUR"), ("12.50", 12.5, ""),
                                 ("USD 3", 3.0, "USD"), ("3 / pc", 3.0, "")],
)  # fmt: skip
def test_a_price_with_its_currency(cell, value, money):
    grid = Grid("a", [["Spare", "Price"], ["A", cell]])
    price = read(grid, layout(grid, sort=PRICE_LIST)).rows[0].values["unit_price"]
    assert (price.value, price.currency) == (value, money)


@pytest.mark.parametrize("data", [b"", b"\x89PNG\r\n\x1a\n1234", b"\xff\xd8\xff\xe0 a photo"])
def test_an_empty_file_and_a_picture_are_told(data):
    with pytest.raises(BookRefused, match=r"empty|no spreadsheet"):
        read_book("list.xlsx", data)


# --- counts ---------------------------------------------------------------------------------------------------------


@pytest.fixture
def rack(db):
    made = {code: make.item(code, shelf_place=place) for code, place in (("A-1", "E-9"), ("B-1", "E-10"))}
    for item in made.values():
        shop.movement(item, 5)
    return made


HEAD = ["Spare", "Should lie there", "Lies there", "Why it differs"]


def test_a_count_sheet_comes_in_once(rack):
    rows = [HEAD, ["A-1", 5, 3, "drawn and not entered"], ["B-1", 5, 5, None]]
    looked = brought(COUNT, rows, keep=False)
    assert looked.changing == 2 and not looked.wrong and on_hand(rack["A-1"]) == 5
    assert "3 lie there, 2 fewer than should: drawn and not entered." in looked.lines[0].says
    assert brought(COUNT, rows, seen=looked.seen).changing == 2
    assert (on_hand(rack["A-1"]), on_hand(rack["B-1"])) == (3, 5)
    again = brought(COUNT, rows)
    assert again.again and not again.changing and StockMovement.objects.filter(kind="count").count() == 4
    later = [HEAD, ["A-1", 3, 3, None], ["B-1", 5, 5, None]]
    assert brought(COUNT, later).changing == 2, "another count of the same shelf is one"


def test_the_count_sheet_that_is_given_out_comes_back_unchanged(rack):
    data = out.list_of_rows("Count sheet of E", *buying.count_rows(make.plant(), "E"))
    told = brought(COUNT, data)
    assert not told.changing and not told.wrong and "Nothing is counted in this list yet" in told.notes[0]
    assert [line.spare for line in told.lines] == ["A-1", "B-1"]


def test_lists_come_back_through_csv(rack, punch):
    """Texts that a spreadsheet would take for formulas among them: they are guarded on the way out, and known again."""
    for item, code in zip(rack.values(), ("=A-1", "-B;=1"), strict=True):
        type(item).objects.filter(pk=item.pk).update(code=code, description="@plate")
    Source.objects.update(part_number="+49-7")
    assert [rack for rack, *_ in buying.count_rows(make.plant(), "")[1]] == ["E-9", "E-10"], "the whole shelf"
    head, rows = buying.count_rows(make.plant(), "E")
    told = brought(COUNT, csv_response("count.csv", head, rows).content)
    assert not told.changing and not told.wrong and [line.spare for line in told.lines] == ["=A-1", "-B;=1"]
    typed = [(*row[:4], 4, "-1 lost") for row in rows]
    assert brought(COUNT, csv_response("count.csv", head, typed).content).changing == 2
    assert {on_hand(item) for item in rack.values()} == {4}
    assert set(StockMovement.objects.filter(note__contains="lost").values_list("note", flat=True)) == {"-1 lost"}
    told = listed(csv_response("prices.csv", *buying.price_rows(shop.supplier(), timezone.localdate())).content)
    assert not told.wrong and not told.changing and len(told.lines) == 2
    assert Source.objects.get().part_number == "+49-7"


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ([["A-1", 5, 3, None]], "2: A-1: 2 fewer than should lie there. Say why."),
        ([["A-1", 5, 5, None], ["A-1", 5, 5, None]], "3: A-1 is in row 2 already"),
        ([["X-9", 5, 5, None]], "2: No spare is called 'X-9'"), ([[None, 5, 5, None]], "2: No spare is named"),
        ([["A-1", 5, -1, "x"]], "2: -1 of A-1 cannot lie there"),
        ([["A-1", 5, BIG, "x"]], "1,000,000,000,000 of A-1 cannot"),
        ([["A-1", 4, 5, None]], "2: A-1: something came or went since this sheet was opened, and 5 should"),
        ([["A-1", 5, 3, "x" * 301]], "Say it shorter"), ([["A-1", 5, "4 mm", None]], "2: C2: '4 mm' is in mm"),
        ([["A-1", 5, True, None]], "Write the number"),
    ],
)  # fmt: skip
def test_a_count_that_cannot_be_is_told_with_its_row_and_nothing_comes_in(rack, rows, words):
    told = brought(COUNT, [HEAD, *rows, ["B-1", 5, 4, "scrapped and not entered"]])
    assert words in wrongs(told) and (on_hand(rack["A-1"]), on_hand(rack["B-1"])) == (5, 5)


def test_a_count_of_an_earlier_day_is_of_that_day(rack):
    shop.movement(rack["B-1"], 1, day=20)
    day = timezone.localdate(make.moment(10))
    head = ["Spare", "On the shelf", "Note", "Counted on"]
    told = brought(COUNT, [head, ["A-1", 4, "lost", day.isoformat()]])
    assert told.changing == 1 and on_hand(rack["A-1"]) == 4
    assert timezone.localdate(StockMovement.objects.get(note="lost").at) == day
    told = brought(COUNT, [head, ["B-1", 4, "lost", day.isoformat()]])
    assert "came or went after the count" in wrongs(told)
    told = brought(COUNT, [head, ["A-1", 4, "", "2060-01-01"]])
    assert "cannot be. Check the date" in wrongs(told)
    told = brought(COUNT, [head, ["A-1", 4, "", "2025-01-01"], ["B-1", 6, "", "2025-01-02"]])
    assert "3: The day of the count is Thu 2 Jan 2025 here and Wed 1 Jan 2025 in a row above" in wrongs(told)


def test_what_would_come_of_it_is_what_was_looked_at(rack):
    rows = [["Spare", "Lies there", "Why"], ["A-1", 3, "lost"]]
    looked = brought(COUNT, rows, keep=False)
    shop.movement(rack["A-1"], 2)
    with pytest.raises(buying.SeenOtherwise):
        brought(COUNT, rows, seen=looked.seen)
    assert on_hand(rack["A-1"]) == 7


def test_revisions_are_told_apart(db):
    old, new = make.item("R-1"), None
    old.revision = "A"
    old.save()
    new = type(old).objects.create(code="R-1", revision="B")
    head = ["Spare", "Revision", "Lies there", "Why"]
    assert "R-1 is there more than once: A, B." in wrongs(brought(COUNT, [head, ["R-1", None, 1, "x"]]))
    assert "no revision C here; known: A, B" in wrongs(brought(COUNT, [head, ["R-1", "C", 1, "x"]]))
    assert brought(COUNT, [head, ["R-1", "B", 1, "new"], ["R-1 A", None, 2, "new"]]).changing == 2
    assert (on_hand(old), on_hand(new)) == (2, 1)


# --- price lists ----------------------------------------------------------------------------------------------------

PRICES = ["Spare", "Their number", "From so many pieces", "Price of one", "Holds from", "Lead time [days]", "Pack",
          "Least quantity"]  # fmt: skip


@pytest.fixture
def punch(db):
    item = make.item("PP-6.0-M2")
    make.source(item, supplier=shop.supplier(), prices=((1, "48.50"), (10, "44")), since=dt.date(2025, 1, 1),
                part_number="Q-77", pack_size=2)  # fmt: skip
    return item


def listed(rows, **more) -> buying.Told:
    return brought(PRICE_LIST, rows, supplier=shop.supplier(), **more)


def holds(source) -> list[tuple[int, Decimal]]:
    return [(row.from_quantity, row.unit_price) for row in list_of(source.prices.all(), dt.date(2026, 6, 1))]


def test_a_price_list_comes_in_once(punch):
    plate = make.item("BP-1")
    rows = [PRICES, ["PP-6.0-M2", "Q-77", 1, "50,20", "2026-03-01", 28, 2, 1], [None, None, 10, "45,10", None, None],
            ["BP-1", "Q-9", None, 240, None, "6 weeks", 1, 1]]  # fmt: skip
    looked = listed(rows, keep=False)
    assert not looked.wrong and looked.changing == 2 and SourcePrice.objects.count() == 2
    said = " ".join(looked.lines[0].says)
    assert "Lead time in days: 20 → 28." in said
    assert "From Sun 1 Mar 2026: 50.20 from 1, 45.10 from 10 EUR, before 48.50 from 1, 44.00 from 10." in said
    assert "A new source, bought finished: their number Q-9, lead time in days 42" in looked.lines[2].says[0]
    listed(rows, seen=looked.seen)
    source, new = punch.sources.get(), plate.sources.get()
    assert holds(source) == [(1, Decimal("50.2")), (10, Decimal("45.1"))]
    assert source.lead_days == 28 and source.preferred
    assert (new.lead_days, new.supplier.code, new.preferred, new.currency) == (42, "QUILLFEN", False, "EUR")
    count, changes = SourcePrice.objects.count(), source.changes
    again = listed(rows)
    assert not again.wrong and not again.changing and "Stands so already." in again.lines[0].says
    source.refresh_from_db()
    assert (SourcePrice.objects.count(), source.changes) == (count, changes)


def test_the_price_list_that_is_given_out_comes_back_unchanged(punch):
    make.source(make.item("BP-1"), supplier=shop.supplier(), prices=(), on_their_shelf=True, lead_days=0)
    data = out.list_of_rows("Price list", *buying.price_rows(shop.supplier(), timezone.localdate()))
    told = listed(data)
    assert not told.wrong and not told.changing and len(told.lines) == 3
    assert SourcePrice.objects.count() == 2


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ([["PP-6.0-M2", "Q-77", 1, 40], ["PP-6.0-M2", "Q-77", 10, 41]], "3: The price rises with the quantity"),
        ([["PP-6.0-M2", "Q-77", 1, 40], ["PP-6.0-M2", "Q-77", 1, 39]], "3: From 1 pieces there are two prices"),
        ([["PP-6.0-M2", "Q-77", 1, 40, None, 0]], "2: A lead time of nought days"),
        ([["PP-6.0-M2", "Q-77", 1, 40, None, -3]], "2: Lead time: "), ([["PP-6.0-M2", "", 1, -4]], "below nought"),
        ([["PP-6.0-M2", "Q-77", 1, BIG]], "cannot be"), ([["PP-6.0-M2", "Q-77", BIG, 4]], "2: From 1,000,000,000,000"),
        ([["PP-6.0-M2", "Q-77", 1, 4, None, BIG]], "2: Lead time: "), ([["X-9", "", 1, 4]], "2: No spare is called"),
        ([["PP-6.0-M2", "Q-77", 1, 40, None, "3 kg"]], "is no time"), ([["PP-6.0-M2", "", 1, "40 USD"]], "says USD"),
        ([["PP-6.0-M2", "Q-77", 1, 40, "2090-01-01"]], "Check the year"),
        ([["PP-6.0-M2", "Q-77", 1, 40, None, 20, 0]], "2: Pack: "), ([["BP-1", "", 1, 40]], "a new one needs its lead"),
        ([["PP-6.0-M2", "Q-77", 1, "=1+1"]], "is a formula"), ([["PP-6.0-M2", "", 5, None]], "2: The price is missing"),
        ([["PP-6.0-M2", "Q-77", 1, 40, None, 5], ["PP-6.0-M2", "Q-77", 9, 4, None, 6]], "3: The lead time is 6 here"),
    ],
)  # fmt: skip
def test_a_price_list_that_cannot_be_is_told_with_its_row(punch, rows, words):
    make.item("BP-1")
    other = make.item("OK-1")
    told = listed([PRICES, *rows, ["OK-1", "", 1, 5, None, 7]])
    assert words in wrongs(told)
    assert not Source.objects.filter(item=other).exists() and SourcePrice.objects.count() == 2, "all or nothing"


def test_a_spare_is_found_by_the_number_of_the_supplier(punch):
    told = listed([["Article no", "Price"], ["Q-77", 41]])
    assert told.lines[0].spare == "PP-6.0-M2" and told.changing == 1 and not told.wrong


# --- confirmations --------------------------------------------------------------------------------------------------


@pytest.fixture
def order(db) -> PurchaseOrder:
    wanted = [purchases.Wanted(item=shop.spare(code), quantity=n) for code, n in (("PP-6.0-M2", 4), ("BP-1", 2))]
    (made,) = purchases.draft(by=make.actor(), plant=make.plant(), wanted=wanted, currency="EUR").orders
    return purchases.place(by=make.actor(), order=made)


CONFIRMED = ["Spare", "Pieces", "Price of one", "Promised"]


def soon(days: int) -> dt.date:
    return timezone.localdate() + dt.timedelta(days=days)


def test_a_confirmation_comes_in_once(order):
    rows = [CONFIRMED, ["PP-6.0-M2", 4, 49.9, soon(30).isoformat()], ["BP-1", 2, "48.50 EUR", soon(40).isoformat()]]
    looked = brought(CONFIRMATION, rows, keep=False, order=order, their_number="AB 7")
    assert not looked.wrong and looked.changing == 2
    assert "Price of one: 49.90 EUR, agreed were 48.50." in looked.lines[0].says
    assert not any("Price" in words for words in looked.lines[1].says), "that is as agreed"
    brought(CONFIRMATION, rows, order=order, their_number="AB 7", seen=looked.seen)
    order.refresh_from_db()
    assert order.their_number == "AB 7"
    assert [line.promised_on for line in order.lines.all()] == [soon(30), soon(40)]
    steps = PurchaseStep.objects.count()
    again = brought(CONFIRMATION, rows, order=order, their_number="AB 7")
    assert not again.would_change and PurchaseStep.objects.count() == steps
    part = brought(CONFIRMATION, [CONFIRMED[:1] + CONFIRMED[3:], ["BP-1", soon(41).isoformat()]], order=order)
    assert part.changing == 1 and "PP-6.0-M2 is not in the list and stays as it is." in part.notes
    assert order.lines.last().unit_price == Decimal("48.5"), "what the list leaves out stays"


@pytest.mark.parametrize(
    ("row", "words"),
    [
        (["PP-6.0-M2", 3, 49, None], "2: PP-6.0-M2: 3 are confirmed, 4 are ordered"),
        (["X-9", 3, 49, None], "No spare is called"), (["Z-1", 3, 49, None], "2: Z-1 is not on PO-"),
        (["PP-6.0-M2", 4, "49 USD", None], "A price in USD; the order is in EUR"),
        (["PP-6.0-M2", 4, -1, None], "cannot be"), (["PP-6.0-M2", 4, BIG, None], "cannot be"),
        (["PP-6.0-M2", 4, 49, "2020-01-01"], "lies before the day on which it was ordered"),
        (["PP-6.0-M2", 4, 49, "2090-01-01"], "Check the year"), (["PP-6.0-M2", BIG, 49, None], "are ordered"),
        (["BP-1", 2, 49, None], "3: BP-1 is in row 2 already"),
    ],
)  # fmt: skip
def test_a_confirmation_that_cannot_be_is_told_with_its_row(order, row, words):
    make.item("Z-1")
    told = brought(CONFIRMATION, [CONFIRMED, row, ["BP-1", 2, 50, soon(9).isoformat()]], order=order)
    assert words in wrongs(told) and not order.lines.exclude(promised_on=None).exists()
