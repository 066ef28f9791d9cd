"""A book is brought in: what was understood becomes entries, all or nothing, and the same book again adds nothing."""

from __future__ import annotations

import pytest

from diestore.register.models import Die
from maintenance.models import DieForecast, Work
from maintenance.workbooks import take
from maintenance.workbooks.read import read_book
from tests import factories as make

from . import books

pytestmark = pytest.mark.django_db


def looked(data, plant=None, **choices):
    book = read_book("book.xlsx", data)
    grids = take.unpacked(take.packed(book.grids))
    return take.look(grids, choices, plant or make.plant(), book=book.name)


def test_a_german_sharpening_book_into_an_empty_shop():
    found = looked(books.xlsx({"Tabelle1": books.GERMAN_BOOK}), answers=books.ANSWERS)
    for r in found.reads:
        for a in r.assumed:
            print(a.sure, a.key, a.text)
    for a in found.lists.assumed:
        print(a.sure, a.key, a.text, a.chosen)
    assert not found.is_open
    outcome = take.bring(found, make.plant(), dry_run=True)
    print(outcome)
    assert not outcome.problems and not Die.objects.exists()
    outcome = take.bring(found, make.plant(), dry_run=False)
    assert Work.objects.count() == 5
    print(outcome)
    print(DieForecast.objects.values())
    again = take.bring(
        looked(books.xlsx({"Tabelle1": books.GERMAN_BOOK}), answers=books.ANSWERS), make.plant(), dry_run=False
    )
    print(again)
    assert not again.added
