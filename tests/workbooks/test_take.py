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


def test_set_up_figures_seats_and_springs_come_into_the_register():
    book = {
        "Dies": [
            ["Die", "Strip material", "Strip thickness [mm]", "Strokes per minute", "Parts per hit", "Shut height [in]",
             "Pitch [mm]", "Die weight [lb]", "Oil"],
            ["K-1", "low-carbon steel", 1.2, 80, 1, 11.25, 58, 350, "stamping oil"],
        ],
        "Components": [
            ["Die", "Station", "Position", "Kind", "Tool steel", "Length [mm]", "Cut length [mm]", "Seat [mm]",
             "Spare"],
            ["K-1", "1", "1-A", "pierce punch", "D2", 71, 20, 4, ""],
            ["K-1", "", "SS-1", "die spring", "", "", "", "", "SP-1"],
        ],
        "Stock list": [
            ["Spare", "Description", "On the shelf", "Spring rate [N/mm]", "Spring standard and colour"],
            ["SP-1", "die spring", 4, 70, "ISO 10243 blue"],
        ],
    }  # fmt: skip
    outcome = take.bring(looked(books.xlsx(book)), make.plant(), dry_run=False)
    assert not outcome.problems, outcome.problems
    die = Die.objects.get()
    # 11.25 in = 285.75 mm, 350 lb = 158.757 kg (international inch and pound of 1959)
    assert (die.shut_height_mm, die.feed_pitch_mm, die.oil) == (pytest.approx(285.75), 58, "stamping oil")
    assert die.weight_kg == pytest.approx(158.757, abs=1e-3)
    assert die.positions.get(code="1-A").seat_mm == 4
    spring = die.positions.get(code="SS-1")
    assert (spring.kind, spring.item.spring_rate_n_mm, spring.item.spring_class) == (
        "stripper_spring", 70, "ISO 10243 blue",
    )  # fmt: skip
