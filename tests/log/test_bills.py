"""Bills of suppliers: entered whole or not at all, in the shop's money to the cent, struck out with their lines."""

from __future__ import annotations

import datetime as dt
import random
from decimal import ROUND_HALF_UP, Decimal

import pytest
from django.db import IntegrityError, transaction
from django.utils import timezone

from diestore.register.models import Party, Plant
from maintenance.log import bills, changes, freshness, purchases, write
from maintenance.log.bills import BillLine, LineFor
from maintenance.log.rules import EntryRefused
from maintenance.models import BenchWork, Bill, BillPaper, CostLine
from reports.cost import sheets
from tests import factories as make
from tests.history.pictured import drawn

PDF = b"%PDF-1.7\n1 0 obj <<>> endobj\ntrailer <<>>\n%%EOF\n"


def grinder() -> Party:
    return Party.objects.get_or_create(code="ORRELL", defaults={"name": "Orrell Grinding", "role": "supplier"})[0]


def line(amount: str, kind: str = "sharpening", **of) -> BillLine:
    return BillLine(amount=Decimal(amount), kind=kind, of=LineFor(**of))


def enter(*lines: BillLine, **more) -> Bill:
    said = {
        "by": make.actor(), "plant": make.plant(), "number": "R-1", "supplier": grinder(), "on": dt.date(2025, 3, 4),
        "currency": "EUR", "own_currency": "EUR", "lines": lines,
        "total": sum((one.amount for one in lines), Decimal(0)),
    }  # fmt: skip
    return bills.enter_bill(**said | more)


# --- money, without a database ----------------------------------------------------------------------------------------


def test_lines_in_the_shops_money_add_up_to_the_bill_to_the_cent():
    """Three thirds of 100 at 0.85 are 85.00, though each alone would be 28.33."""
    own = bills.in_own_money([Decimal("33.33"), Decimal("33.33"), Decimal("33.34")], Decimal("0.85"))
    assert own == [Decimal("28.33"), Decimal("28.33"), Decimal("28.34")]
    assert bills.in_own_money([], Decimal(1)) == []
    draw = random.Random(7)
    for _ in range(300):
        amounts = [Decimal(draw.randint(1, 10**7)) / 100 for _ in range(draw.randint(1, 12))]
        worth = Decimal(draw.randint(1, 3 * 10**6)) / 10**6
        own = bills.in_own_money(amounts, worth)
        cents = (sum(amounts) * worth * 100).to_integral_value(ROUND_HALF_UP)
        assert sum(own) * 100 == cents
        off = sorted(abs(o - a * worth) for o, a in zip(own, amounts, strict=True))
        assert all(one <= Decimal("0.005") for one in off[:-1])  # only the largest bears the rest
        assert off[-1] <= Decimal("0.005") * (len(own) + 1)


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "no photo and no PDF"),
        (b"<html><script>alert(1)</script>", "no photo and no PDF"),
        (b"GIF89a%PDF-1.4 %%EOF", "no photo and no PDF"),
        (b"%PDF-1.4 and then nothing", "cut off"),
        (b"%PDF-1.4" + b" " * 10_000_000 + b"%%EOF", "10 MB is the most"),
    ],
)
def test_a_paper_is_what_is_in_it(data, words):
    with pytest.raises(EntryRefused, match=words):
        bills.paper_of(data)


def test_a_photo_is_drawn_anew_and_a_pdf_kept():
    assert bills.paper_of(PDF) == bills.Paper(kind="pdf", data=PDF)
    photo = bills.paper_of(drawn("teal") + b"<script>")
    assert photo.kind == "jpg" and photo.data.startswith(b"\xff\xd8") and b"script" not in photo.data


# --- entered ----------------------------------------------------------------------------------------------------------


@pytest.fixture
def die(db):
    made = make.die(build_price=Decimal(30_000), expected_parts=1_000_000)
    make.run(made, 1, 10_000)
    return made


def spent(die, kind: str) -> Decimal:
    element = sheets.cost_per_thousand(die).sheet.element(kind)
    return element.amount if element else Decimal(0)


def test_the_cost_of_the_die_follows_the_bill_and_its_striking(die):
    work = BenchWork.objects.create(die=die, what="wire cut a section")
    mark = freshness.mark()
    bill = enter(line("540.50", die=die), line("120", "repair", die=die, bench_work=work), line("35", "other"),
                 paper=bills.paper_of(PDF))  # fmt: skip
    assert (spent(die, "sharpening"), spent(die, "repair"), spent(die, "other")) == (Decimal("540.5"), 120, 0)
    assert freshness.since(mark).dies_in("price") == {die.pk} and not freshness.since(mark).dies_in("records")
    assert [(one.kind, one.amount) for one in bills.lines_of_die(die)] == [
        ("repair", 120), ("sharpening", Decimal("540.5")),
    ]  # fmt: skip
    assert bytes(bill.paper.data) == PDF
    with pytest.raises(EntryRefused, match="line of a bill"):
        write.strike_out(by=make.actor(), entry=bill.lines.first(), reason="wrong")
    mark = freshness.mark()
    bills.strike_bill(by=make.actor(), bill=bill, reason="of another shop")
    assert (spent(die, "sharpening"), spent(die, "repair")) == (0, 0) and not bills.lines_of_die(die)
    assert freshness.since(mark).dies_in("price") == {die.pk} and CostLine.objects.count() == 3
    assert {(one.struck_by, one.struck_reason) for one in bill.lines.all()} == {(make.person(), "of another shop")}
    with pytest.raises(EntryRefused, match="struck out already"):
        bills.strike_bill(by=make.actor(), bill=bill, reason="again")
    assert enter(line("5", die=die)).pk != bill.pk  # the number is free again


def test_another_currency_and_a_credit_note(die):
    with pytest.raises(EntryRefused, match="what one USD is worth in EUR") as refused:
        enter(line("100", die=die), currency="USD")
    assert refused.value.field == "worth_of_one" and not Bill.objects.exists()
    enter(line("99.99", die=die), line("0.01", die=die), currency="USD", worth_of_one=Decimal("0.925417"))
    assert spent(die, "sharpening") == Decimal("92.54")
    assert Bill.objects.get().worth_of_one == Decimal("0.925417")
    enter(line("50.04", die=die), is_credit=True, number="G-1")
    assert spent(die, "sharpening") == Decimal("42.50")
    with pytest.raises(EntryRefused, match="own money"):
        enter(line("1"), number="R-3", worth_of_one=Decimal(2))


LATER = dt.date(2100, 1, 1)
WRONG = {
    "more than there is": (["1000000000000"], {}, "10,000,000 is the most"),
    "negative": (["-5"], {}, "tick credit note"),
    "nought": (["0"], {}, "more than nought"),
    "not a number": (["NaN"], {}, "not an amount"),
    "half a cent": (["1.005"], {}, "to the cent"),
    "lines that are not the total": (["60", "30"], {"total": Decimal(100)}, "10.00 are missing"),
    "no lines": ([], {"total": Decimal(100)}, "at least one line"),
    "forty-one lines": (["1"] * 41, {}, "40 is the most"),
    "a day to come": (["5"], {"on": LATER}, "still to come"),
    "a day long ago": (["5"], {"on": dt.date(1920, 1, 1)}, "too long ago"),
    "no number": (["5"], {"number": "  "}, "number that stands"),
    "no currency": (["5"], {"currency": "eu"}, "three capital letters"),
    "worth nothing": (["5"], {"currency": "USD", "worth_of_one": Decimal(0)}, "cannot be worth"),
    "worth too much": (["9000000"], {"currency": "USD", "worth_of_one": Decimal(9)}, "is the most"),
    "less than a cent": (["5", "0.01"], {"currency": "JPY", "worth_of_one": Decimal("0.006")}, "less than a cent"),
}


@pytest.mark.parametrize("name", WRONG)
def test_what_cannot_be_is_said_and_nothing_is_saved(db, name):
    amounts, more, words = WRONG[name]
    with pytest.raises(EntryRefused, match=words):
        enter(*(line(amount) for amount in amounts), **more)
    assert not Bill.objects.exists() and not CostLine.objects.exists()


def test_no_kind_and_a_supplier_of_the_past(db):
    with pytest.raises(EntryRefused, match="what kind"):
        enter(line("5", "coffee"))
    past = Party.objects.create(code="gone", role="supplier", retired_at=timezone.now())
    with pytest.raises(EntryRefused, match="no longer dealt with"):
        enter(line("5"), supplier=past)


def test_twice_is_asked_about_and_the_same_form_counts_once(die):
    first = enter(line("5", die=die), key="form-1")
    assert enter(line("5", die=die), key="form-1") == first and CostLine.objects.count() == 1
    with pytest.raises(EntryRefused, match="sent already"):
        enter(line("6", die=die), key="form-1", number="R-2")
    with pytest.raises(EntryRefused, match="entered already") as asked:
        enter(line("7"), number=" r-1 ")
    assert asked.value.field == "other_bill" and CostLine.objects.count() == 1
    enter(line("7"), number="R-1", other_bill=True)
    enter(line("8"), supplier=Party.objects.create(code="other", role="supplier"))
    enter(line("9"), plant=Plant.objects.create(code="second"))  # another plant has its own
    assert Bill.objects.count() == 4


def test_what_a_line_is_for(die):
    plant = make.plant()
    work = BenchWork.objects.create(die=die, what="a spring")
    item = make.item(supplier=grinder(), lead_days=9)
    wanted = [purchases.Wanted(item=item, quantity=2)]
    (order,) = purchases.draft(by=make.actor(), plant=plant, wanted=wanted, currency="EUR").orders
    with pytest.raises(EntryRefused, match="not placed"):
        bills.named(order.number, plant=plant)
    purchases.place(by=make.actor(), order=order)
    assert bills.named(f" {die.code.lower()} ", plant=plant) == LineFor(die=die)
    assert bills.named(f"Work {work.pk}", plant=plant) == LineFor(die=die, bench_work=work)
    assert bills.named(order.number, plant=plant) == LineFor(purchase=order)
    assert bills.named("", plant=plant) == LineFor()
    for text in ("H-999", "work 0", "work 99999999999999999999999", "work x", "\x00x"):
        with pytest.raises(EntryRefused, match="There is no die, order or work"):
            bills.named(text, plant=plant)
    with pytest.raises(EntryRefused):
        bills.named(die.code, plant=Plant.objects.create(code="second"))
    enter(line("5", "other", purchase=order), line("6", "other", die=die))
    assert spent(die, "other") == 6  # freight of an order is in no die's cost
    for text in (die.code, order.number, "orrell", "r-1"):
        assert bills.bills_of(plant, text).count() == 1, text
    assert not bills.bills_of(plant, "H-999\x00").exists()


def test_the_database_keeps_its_rules(die):
    bill = enter(line("5", die=die), paper=bills.paper_of(PDF))
    for rows, wrong in (
        (Bill.objects.filter(pk=bill.pk), {"total": -1}), (Bill.objects.filter(pk=bill.pk), {"million_worth": 0}),
        (Bill.objects.filter(pk=bill.pk), {"number": ""}), (Bill.objects.filter(pk=bill.pk), {"struck_reason": "x"}),
        (bill.lines.all(), {"billed": None}), (bill.lines.all(), {"bill": None}),
    ):  # fmt: skip
        with pytest.raises(IntegrityError), transaction.atomic():
            rows.update(**wrong)
    for row in (bill, Bill.objects.all()):
        with pytest.raises(TypeError, match="never deleted"):
            row.delete()
    assert BillPaper.objects.count() == 1 and changes.BATCH


# --- against an order -------------------------------------------------------------------------------------------------


@pytest.fixture
def ordered(db):
    """Four punches at 48.50 and two plates at 20.00, of which one came and one comes no more."""
    punch, plate = make.item("PP-6.0-M2"), make.item("BP-1")
    for item, price in ((punch, "48.50"), (plate, "20")):
        item.supplier, item.unit_price = grinder(), Decimal(price)
        item.save()
    wanted = [purchases.Wanted(item=punch, quantity=4), purchases.Wanted(item=plate, quantity=2)]
    (order,) = purchases.draft(by=make.actor(), plant=make.plant(), wanted=wanted, currency="EUR").orders
    order = purchases.place(by=make.actor(), order=order)
    of_plate = order.lines.get(item=plate)
    came = {of_plate.pk: purchases.Came(quantity=1, answer=purchases.COMES_NO_MORE)}
    purchases.receive(by=make.actor(), order=order, came=came)
    return order


def test_what_is_billed_stands_beside_what_was_agreed(ordered):
    """4 x 48.50 + 1 x 20.00 = 214.00: what comes no more is agreed no more."""
    told = bills.against(ordered)
    assert told.agreed == Decimal("214") and [one.words for one in told.lines] == ["4 × PP-6.0-M2", "1 × BP-1"]
    assert told.sentence == "214.00 EUR are agreed for the spares; nothing of them is billed yet."
    enter(line("150", "spares", purchase=ordered), line("12", "other", purchase=ordered))
    told = bills.against(ordered)
    assert not told.is_too_much and told.besides == 12
    assert "150.00 are billed: 64.00 less, or still to be billed." in told.sentence
    assert "12.00 EUR more are for other things" in told.sentence
    more = enter(line("70", "spares", purchase=ordered), number="R-2")
    told = bills.against(ordered)
    assert told.is_too_much and "220.00 are billed: 6.00 too much. Ask the supplier" in told.sentence
    enter(line("6", "spares", purchase=ordered), number="R-3", is_credit=True)
    told = bills.against(ordered)
    assert not told.is_too_much and told.sentence.startswith("Billed as agreed: 214.00 EUR.") and len(told.bills) == 3
    bills.strike_bill(by=make.actor(), bill=more, reason="of another shop")
    assert bills.against(ordered).billed == 144, "what is struck out is not billed"
    enter(line("9", "spares", purchase=ordered), number="R-4", currency="USD", worth_of_one=Decimal("0.9"))
    told = bills.against(ordered)
    assert told.billed == 144 and "Bill R-4 is in USD and is not compared." in told.sentence
    assert (bills.agreed_of("2 × PP-6.0-M2", told), bills.agreed_of("punches", told)) == (Decimal("97"), None)


def test_a_line_without_an_agreed_price_is_not_compared(ordered):
    ordered.lines.filter(item__code="BP-1").update(unit_price=None)
    enter(line("194", "spares", purchase=ordered))
    told = bills.against(ordered)
    assert not told.is_too_much and "Of 1 line no price was agreed, so they cannot be compared." in told.sentence


def test_spares_of_an_order_never_count_twice(ordered):
    """Fitted they count by their price; their bill is in no die's cost, and as a line of the die it is asked about."""
    die = make.die()
    make.position(die, item=ordered.lines.first().item)
    with pytest.raises(EntryRefused, match=r"would count them twice\. Enter it for PO-") as refused:
        enter(line("48.50", "spares", die=die))
    assert refused.value.field == "not_ordered" and not Bill.objects.exists()
    enter(line("48.50", "spares", purchase=ordered))
    assert not bills.lines_of_die(die).exists()
    enter(line("48.50", "spares", die=die), number="R-2", not_ordered=True)
    enter(line("48.50", "repair", die=die), number="R-3")
    assert bills.lines_of_die(die).count() == 2
