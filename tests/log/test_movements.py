"""Spares moved by hand: drawn and returned, out and back, scrapped, to another plant; the shelf stays exact."""

from __future__ import annotations

import threading
import time
from decimal import Decimal

import pytest
from django.db import OperationalError, connections, transaction

from diestore import units
from diestore.register.models import Party
from maintenance.log import movement_reads, movements, queries, take_back, write
from maintenance.log.movements import AsItIs
from maintenance.log.rules import EntryRefused
from maintenance.models import Change, StockMovement
from reports.spares import reads as spares_reads
from tests import factories as make
from tests.pages.money_shop import movement

pytestmark = pytest.mark.django_db
Place = StockMovement.Place


@pytest.fixture
def die():
    made = make.die()
    make.position(made, "1-A", item=make.item())
    return made


@pytest.fixture
def item(die):
    made = make.item()
    movement(made, 4)
    return made


@pytest.fixture
def grinder():
    return Party.objects.create(code="HOLLINS", name="Hollins Grinding", role="supplier")


def there(item, place: str = "shelf", *, plant=None) -> int:
    rows = StockMovement.objects.standing().filter(item=item, place=place, plant=plant or make.plant())
    return sum(rows.values_list("quantity", flat=True))


def told(item, **more) -> dict:
    return {"by": make.actor(), "plant": make.plant(), "item": item, **more}


def test_what_is_drawn_is_off_the_shelf_until_it_is_fitted_or_returned(die, item):
    movements.draw(**told(item, die=die, quantity=3, key="a tap"))
    movements.draw(**told(item, die=die, quantity=3, key="a tap"))
    assert (there(item), there(item, "drawn")) == (1, 3), "sent twice, it is drawn once"
    assert Change.objects.filter(item=item).exists()
    write.log_replacement(by=make.actor(), position=die.positions.get(), at=make.moment(3), why="dull", from_shelf=True)
    assert (there(item), there(item, "drawn")) == (1, 2), "what is fitted is the one that was drawn"
    movements.bring_back(**told(item, die=die, quantity=1))
    ((one),) = movement_reads.drawn(make.plant().pk)
    assert [one] == movement_reads.drawn_of(spares_reads.movements_of(make.plant(), one.item.pk))
    assert (there(item), one.pieces, one.die) == (2, 1, die)
    movements.bring_back(**told(item, die=die, quantity=3))
    assert (there(item), there(item, "drawn")) == (5, 0), "taken out of the die, it was never drawn"
    write.log_replacement(by=make.actor(), position=die.positions.get(), at=make.moment(4), why="dull", from_shelf=True)
    assert (there(item), there(item, "drawn")) == (4, 0)
    assert queries.stock_of_spares(make.plant())[item.pk].on_hand == 4


def test_both_halves_are_struck_out_together_and_not_under_what_rests_on_them(die, item):
    row = movements.draw(**told(item, die=die, quantity=2))
    fitted = write.log_replacement(
        by=make.actor(), position=die.positions.get(), at=make.moment(3), why="dull", from_shelf=True
    )
    with pytest.raises(EntryRefused, match=r"fitted or returned already\. Strike that out first"):
        write.strike_out(by=make.actor(), entry=row, reason="another die")
    write.strike_out(by=make.actor(), entry=fitted, reason="another die")
    assert there(item, "drawn") == 2
    assert len(write.strike_out(by=make.actor(), entry=row, reason="another die")) == 2
    assert (there(item), there(item, "drawn")) == (4, 0)
    slip = movements.draw(by=write.Actor(person=make.person(), user=make.user("toolmaker")), plant=make.plant(),
                          item=item, die=die)  # fmt: skip
    take_back.take_back(by=write.Actor(user=slip.user), entry=slip)
    assert (there(item), there(item, "drawn")) == (4, 0)


def test_what_comes_back_from_repair_is_what_it_now_is(item, grinder):
    movements.send_out(**told(item, supplier=grinder, quantity=2, note="regrind the face"))
    assert (there(item), there(item, "repair")) == (2, 2)
    (out,) = movement_reads.away(make.plant().pk, item.pk)
    assert (out.supplier, out.pieces) == ("Hollins Grinding", 2)
    now = AsItIs(length_mm=61.25, grinds_left=3, worth=Decimal("22.5"))
    row = movements.take_back(**told(item, supplier=grinder, quantity=1, now=now))
    assert (there(item), there(item, "repair")) == (3, 1)
    moved = spares_reads.movements_of(make.plant(), item.pk)
    (back,) = movement_reads.back_of(moved)
    assert movement_reads.away_of(moved) == movement_reads.away(make.plant().pk, item.pk)
    assert back == row
    said = movement_reads.as_it_is(back, units.System.METRIC, currency="EUR")
    assert said.startswith("61.25 mm long") and said.endswith("3 grinds left, worth 22.50 EUR")
    for wrong, words in ((AsItIs(length_mm=0), "cannot be"), (AsItIs(grinds_left=-1), "cannot be"),
                         (AsItIs(worth=Decimal(10) ** 12), "cannot be worth"), (AsItIs(length_mm=float("nan")),
                          "cannot be")):  # fmt: skip
        with pytest.raises(EntryRefused, match=words):
            movements.take_back(**told(item, supplier=grinder, now=wrong))
    movements.take_back(**told(item, supplier=grinder, quantity=2))
    assert (there(item), there(item, "repair")) == (5, 0), "one more came than went out by the record"


def test_a_shelf_below_nought_is_a_question_and_no_refusal(die, item):
    assert movement_reads.below_nought(make.plant()) == []
    movements.scrap(**told(item, quantity=5, reason=" broken in  handling "))
    (row,) = movement_reads.below_nought(make.plant())
    assert (row.item, row.on_hand) == (item, -1)
    assert StockMovement.objects.latest("pk").note == "broken in handling"
    with pytest.raises(EntryRefused, match="Say why it is scrapped"):
        movements.scrap(**told(item, reason="  "))


def test_to_another_plant_is_one_act(item):
    north = make.plant("north")
    row = movements.move_to(**told(item, to=north, quantity=3, key="over"))
    movements.move_to(**told(item, to=north, quantity=3, key="over"))
    assert (there(item), there(item, plant=north)) == (1, 3) and row.elsewhere == "north"
    with pytest.raises(EntryRefused, match="Pick another plant"):
        movements.move_to(**told(item, to=make.plant()))
    write.strike_out(by=make.actor(), entry=StockMovement.objects.get(plant=north), reason="stays here")
    assert (there(item), there(item, plant=north)) == (4, 0)


def test_what_cannot_be_is_refused_and_nothing_is_saved(die, item, grinder):
    before = StockMovement.objects.count()
    elsewhere = make.die("H-905")
    type(elsewhere).objects.filter(pk=elsewhere.pk).update(plant=make.plant("north"))
    elsewhere.refresh_from_db()
    grinder.retired_at = make.moment(1)
    for act, words in (
        (lambda: movements.draw(**told(item, die=die, quantity=0)), "1 or more"),
        (lambda: movements.draw(**told(item, die=die, quantity=2_000_000)), "Enter 1 to"),
        (lambda: movements.draw(**told(item, die=elsewhere)), "another plant"),
        (lambda: movements.draw(**told(item, die=die, at=make.moment(9_000))), "still to come"),
        (lambda: movements.draw(**told(item, die=die, note="x" * 301)), "Say it shorter"),
        (lambda: movements.send_out(**told(item, supplier=grinder)), "no longer dealt with"),
        (lambda: movements.put_in_place(by=make.actor(), item=item, place=item.shelf_place, reason=""), "already"),
    ):  # fmt: skip
        with pytest.raises(EntryRefused, match=words):
            act()
    assert StockMovement.objects.count() == before
    movements.put_in_place(by=make.actor(), item=item, place=" F-3 ", reason="")
    item.refresh_from_db()
    assert item.shelf_place == "F-3"


@pytest.mark.django_db(transaction=True)
def test_two_who_fit_the_one_piece_that_was_drawn_take_one_of_them_off_the_shelf(die, item):
    other = make.position(die, "1-B", item=item)
    movements.draw(**told(item, die=die, quantity=1))
    by, failed, until = make.actor(), [], time.monotonic() + 30

    def fit(position) -> None:
        try:
            while True:
                try:
                    with transaction.atomic():
                        write.log_replacement(by=by, position=position, at=make.moment(5), why="dull", from_shelf=True)
                    return
                except OperationalError:  # SQLite in memory does not wait for the other, as a file does
                    if time.monotonic() > until:
                        raise
                    time.sleep(0.01)
        except Exception as error:
            failed.append(error)
        finally:
            connections.close_all()

    threads = [threading.Thread(target=fit, args=(one,)) for one in (die.positions.get(code="1-A"), other)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    assert not failed
    assert (there(item), there(item, "drawn")) == (2, 0), "the other one came off the shelf"
