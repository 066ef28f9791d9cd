"""The whole shop as one workbook: read back it adds nothing, and into an empty service it gives the same shop."""

from __future__ import annotations

import csv
import io
import zipfile
from dataclasses import replace

import openpyxl
import pytest
from django.contrib.auth.models import User
from hypothesis import given, settings

from diestore.register.models import Plant
from maintenance.models import Stop
from maintenance.workbooks import exact, out, take
from maintenance.workbooks.read import read_book
from tests import factories as make
from tests.history import old_names
from tests.history.shop import as_written, empty_the_database, scratch
from tests.history.test_laws import load_in, shops
from tests.history.test_round_trip import everything

pytestmark = pytest.mark.django_db


def out_and_look(plant: Plant) -> take.Looked:
    with out.whole_shop(plant) as path:
        book = read_book("shop.xlsx", path.read_bytes())
    return take.look(take.unpacked(take.packed(book.grids)), {}, plant)


def without_files(written: dict[str, str]) -> dict[str, str]:
    """What a workbook can hold: no photos, no signed reports, and of a bill all but its paper."""
    rest = {name: text for name, text in written.items() if not name.startswith(("photos", "signed_reports", "bills/"))}
    rows = list(csv.DictReader(io.StringIO(rest["bills.csv"])))
    assert rows and all(row.pop("paper") in ("", "pdf", "jpg") for row in rows)
    return rest | {"bills.csv": str(rows)}


def by_old_names_the_same(looked: take.Looked) -> None:
    """A workbook that an earlier version wrote: sheets and headings by their names then."""
    for number, file in looked.exact.items():
        grid, table = looked.grids[number], exact.BY_FILE[file]
        head = [old_names.old(file, name) for name in grid.rows[0]]
        name = old_names.FILES.get(file, file).removesuffix(".csv")
        then = replace(grid, name=name, rows=[head, *grid.rows[1:]])
        assert exact.table_of(then) is table, file
        assert exact.rows_of(then, table) == exact.rows_of(grid, table)


def test_a_full_plant_comes_back_the_same():
    everything()
    plant = Plant.objects.get()
    before = as_written(plant)
    looked = out_and_look(plant)
    assert not looked.is_open and len(looked.exact) == len(looked.grids)
    by_old_names_the_same(looked)
    again = take.bring(looked, plant, dry_run=False, take_register=True)
    assert not again.problems and not again.added and not again.changes, again
    assert as_written(plant) == before
    code = plant.code
    empty_the_database()
    User.objects.all().delete()
    came = take.bring(looked, Plant.objects.create(code=code), dry_run=False)
    assert not came.problems and came.added
    after = as_written()
    before, after = without_files(before), without_files(after)
    assert after.keys() == before.keys()
    for name, text in before.items():
        assert after[name] == text, name


@settings(max_examples=3)
@given(tables=shops())
def test_any_shop_comes_back_the_same(tables):
    with scratch():
        load_in(tables)
        plant = Plant.objects.get()
        before = as_written(plant)
        looked = out_and_look(plant)
        assert not take.bring(looked, plant, dry_run=False).added
        empty_the_database()
        take.bring(looked, Plant.objects.create(code=plant.code), dry_run=False)
        assert as_written() == before


@pytest.mark.parametrize(
    "note", ["=1+1", "'quoted", "+49 30", "@home", "a\nb", " spaced ", "007", "1e5", "#N/A", "_x0041_"]
)
def test_text_stays_text(note):
    die = make.die()
    Stop.objects.create(die=die, at=make.moment(1), cause="other", minutes=5, note=note, through="form", key="k1")
    before = as_written()
    with out.whole_shop(make.plant()) as path:
        data = path.read_bytes()
        with zipfile.ZipFile(path) as packed:
            assert not any(b"<f>" in packed.read(name) for name in packed.namelist() if "sheet" in name)
    looked = take.look(read_book("shop.xlsx", data).grids, {}, make.plant())
    empty_the_database()
    take.bring(looked, Plant.objects.create(code="main"), dry_run=False)
    assert as_written() == before


def test_the_sheets_are_named_as_the_tables():
    make.run(make.die(), 1, 9_000)
    with out.whole_shop(make.plant()) as path:
        book = openpyxl.load_workbook(path, read_only=True)
        assert {"dies", "runs", "parts"} <= set(book.sheetnames)
        assert book["runs"].cell(2, 4).value == 9_000, "a figure is a figure"
