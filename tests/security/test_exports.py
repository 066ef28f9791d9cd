"""No sheet that is given out carries a live formula, whatever people typed; numbers stay numbers."""

from __future__ import annotations

import csv
import datetime as dt
import io
import re
from decimal import Decimal

import pytest
from django.urls import reverse
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from openpyxl import load_workbook

from diestore.access.models import Person
from diestore.exports import as_typed, safe_cell
from diestore.register.models import Die, Item, Part, Party, Plant, Position, Press, Stock
from maintenance.history.cells import written
from maintenance.log import purchases, write
from maintenance.models import Order, PurchaseOrder
from tests.history.shop import scratch
from tests.pages import money_shop

from . import addresses

NUMBER = re.compile(r"-?\d+(\.\d+)?(e[+-]?\d+)?", re.I)
LIVE = re.compile(r"[ \u00a0\ufeff]*[=+\-@\t\r\n＝＋－＠]")
WORD = st.one_of(
    st.sampled_from(
        ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "=cmd|'/c calc'!A0", '=HYPERLINK("http://x")', " =1",
         "\u00a0=1", "'=1", "''=1", '"=1', "a;=1+1", "a\t=1", "a\n=1", "a\r\n@x", "x;y; -1", "＝1+1", "\ufeff=1",
         ",=1", '","=1', "%0A=1", "=1\x00"]
    ),
    st.text(max_size=20),
    st.text("=+-@\t\r\n;,\"' \u00a0a1", max_size=12),
)  # fmt: skip


def is_live(cell: str) -> bool:
    """What a spreadsheet might compute: text that begins so, and no plain number."""
    return bool(LIVE.match(cell)) and not NUMBER.fullmatch(cell)


def live_cells(text: str) -> list[str]:
    """Cells that a spreadsheet might compute, parted by commas as written, or by semicolons, tabs and line ends."""
    cells = [cell for row in csv.reader(io.StringIO(text, newline="")) for cell in row]
    for cell in list(cells):
        cells += [piece for piece in re.split(r"[;\t\r\n]", cell)[1:] if not NUMBER.fullmatch(piece.strip())]
    return [cell for cell in cells if is_live(cell)]


@pytest.mark.no_database
@given(WORD)
def test_a_text_never_begins_a_formula_at_a_start_or_behind_a_cut(text):
    made = safe_cell(text)
    assert not LIVE.match(made)
    assert not any(re.match(r"[ \u00a0\ufeff]*[=+\-@＝＋－＠]", piece) for piece in re.split(r"[;\t\r\n]", made)[1:])
    assert made.replace("'", "") == text.replace("'", ""), "and nothing of it is lost"
    if "'" not in text:
        assert as_typed(made) == text, "a cell that comes back is what was typed"


@pytest.mark.no_database
@given(st.one_of(st.integers(), st.floats(allow_nan=False), st.decimals(allow_nan=False), st.dates(), st.booleans()))
def test_what_is_no_text_stays_what_it_is(value):
    assert safe_cell(value) is value


@pytest.mark.no_database
@given(WORD)
def test_the_history_folder_guards_its_texts_too(text):
    made = written(text)
    assert not made[:1] or made[0] not in "=+-@\t\r" or NUMBER.fullmatch(made.replace("+", "")) or _is_a_number(made)


def _is_a_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def exports() -> list[str]:
    """Every address of the table that gives out a sheet."""
    found = []
    for name, row in addresses.TABLE.items():
        there = reverse(name, kwargs={k: 1 if k in ("pk", "source") else v for k, v in row.parts.items()})
        assert not re.search(r"\.(xls|ods|tsv)$", there), "teach this test to read such a sheet"
        if there.endswith((".csv", ".xlsx")):
            found.append(name)
    return found


def kinds_of_cells(made: bytes) -> list[str]:
    """Of a workbook what each cell holds, as a spreadsheet reads it: "f" a formula, "n" a figure, "s" text."""
    return [cell.data_type for page in load_workbook(io.BytesIO(made)) for row in page for cell in row]


def name_all(words: list[str]) -> None:
    """Put a text into every place that people name things in, without what no database holds."""
    taken = iter(f"{word.replace(chr(0), '')[:18]}{n}" for n, word in enumerate(words * 40))
    for model, fields in (
        (Item, ("code", "description", "revision")),
        (Die, ("code", "description")),
        (Part, ("number", "description")),
        (Party, ("code", "name")),
        (Person, ("name",)),
        (Plant, ("name",)),
        (Press, ("code",)),
        (Stock, ("code", "material")),
        (Position, ("code",)),
        (Order, ("number",)),
        (PurchaseOrder, ("number", "their_number", "note")),
    ):
        for thing in model.objects.all():
            for field in fields:
                setattr(thing, field, next(taken)[: model._meta.get_field(field).max_length])
            thing.save()


@pytest.fixture
def buyer(as_role):
    money_shop.spare("PP-6.0-M2", on_hand=0, lead_days=200)
    item = Item.objects.get()
    Press.objects.create(plant=Plant.objects.get(), code="press 3")
    die = money_shop.worked_die("H-900", item, cycles=1)
    Order.objects.create(
        plant=die.plant, number="26-1", part=Part.objects.first(), die=die, parts=90_000, due=dt.date(2025, 9, 1)
    )
    Item.objects.update(unit_price=Decimal("-0") + Decimal("3.5"))
    money_shop.rates()
    money_shop.purchasing_record(item)
    purchases.draft(by=write.Actor(), plant=die.plant, wanted=[purchases.Wanted(item=item, quantity=4)], currency="EUR")
    return as_role("administrator")


@pytest.mark.django_db
def test_every_sheet_is_found():
    assert "reports:spares_csv" in exports()


@pytest.mark.django_db
@given(words=st.lists(WORD, min_size=16, max_size=32))  # as many words as sixty short lists, with a third of the pages
@example(words=["\u0100", 'a"b', "a\nb", "=1+1"])
@settings(max_examples=20, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_no_sheet_carries_a_live_formula(buyer, words):
    with scratch():
        name_all(words)
        numbers = {"die": Die.objects.first().pk, "item": Item.objects.first().pk}
        numbers["purchase"] = PurchaseOrder.objects.get().pk
        outline = addresses.outlined_tool(Die.objects.first().plant)
        for n, way in enumerate(outline.ways.all()):
            way.name = words[n % len(words)].replace(chr(0), "")[:60]
            way.save()
        numbers["outline"] = outline.pk
        for name in exports():
            answer = buyer.get(addresses.address(name, numbers))
            made = b"".join(answer)
            assert answer.status_code == 200 and "attachment" in answer["Content-Disposition"]
            assert answer["X-Content-Type-Options"] == "nosniff"
            if answer["Content-Type"].startswith("text/csv"):
                text = made.decode("utf-8-sig")
                assert text.count("\n") >= 2, "a sheet with a row"
                assert live_cells(text) == []
            else:
                assert sum(kind == "n" for kind in kinds_of_cells(made)) >= 2, "a sheet with a row"
                assert "f" not in kinds_of_cells(made)


@pytest.mark.django_db
def test_the_watch_over_sheets_sees_what_it_looks_for(buyer, monkeypatch):
    monkeypatch.setattr("diestore.exports.safe_cell", lambda value: value)
    name_all(["=1+1", "a;=1+1"])
    text = b"".join(buyer.get(reverse("reports:spares_csv"))).decode("utf-8-sig")
    assert len(live_cells(text)) >= 2


@pytest.mark.django_db
def test_numbers_stay_numbers(buyer):
    text = b"".join(buyer.get(reverse("reports:spares_csv"))).decode("utf-8-sig")
    head, row, *_ = csv.reader(io.StringIO(text))
    told = dict(zip(head, row, strict=True))
    assert sum(bool(NUMBER.fullmatch(cell)) for cell in told.values()) >= 5, told
    assert not [cell for cell in told.values() if re.fullmatch(r"'-?\d+(\.\d+)?", cell)]
