"""Another revision takes the place of a spare: its places follow, its pieces are used up first or retired, and back."""

from __future__ import annotations

import pytest

from diestore.register import actions
from diestore.register.models import Amendment, Item, Plant, Position
from diestore.register.writing import ChangeRefused
from maintenance.log import freshness, movement_reads, movements, purchase_reads, purchases, queries, revisions, write
from maintenance.log.rules import EntryRefused
from maintenance.models import Replacement, StockMovement
from tests import factories as make
from tests.pages import money_shop as shop

pytestmark = pytest.mark.django_db
USABLE, RETIRED = Item.OldStock.USABLE, Item.OldStock.RETIRED


@pytest.fixture
def old():
    return shop.spare("PP-6.0", on_hand=4)


@pytest.fixture
def newer(old):
    return Item.objects.create(code="PP-6.0", revision="B", kind=old.kind, lead_days=20, unit_price=50)


@pytest.fixture
def die(old):
    die = shop.worked_die("H-900", old, cycles=1)
    assert die.positions.filter(item=old).exists()
    return die


def replace(old, newer, old_stock=USABLE, **more) -> Amendment:
    told = {"at": make.moment(200), "reason": "radius 0.2 instead of 0.1", "plants": [make.plant()]}
    return revisions.replace(by=write.Actor(user=None), old=old, newer=newer, old_stock=old_stock, **(told | more))


def stock(item):
    return queries.stock_of_spares(make.plant(), items=[item.pk]).get(item.pk)


def test_places_follow_and_usable_pieces_are_used_up_first(die, old, newer):
    mark = freshness.mark()
    made = replace(old, newer)
    place = die.positions.get(item=newer, code="1-A")
    assert not Position.objects.filter(item=old).exists()
    of_places = Amendment.objects.filter(table="diestore.position", fields__has_key="item")
    assert {(one.at, one.reason) for one in of_places} == {(made.at, made.reason)}, "dated changes of their own"
    assert [(one.name, one.pieces) for one in stock(newer).older] == [("PP-6.0", 4)] and stock(newer).on_hand == 0
    assert stock(old).on_hand == 4 and queries.stock_of_spares(make.plant())[newer.pk] == stock(newer)
    assert {old.pk, newer.pk} <= freshness.items_of(freshness.since(mark), make.plant())
    mark = freshness.mark()
    movements.draw(by=make.actor(), plant=make.plant(), item=old, die=die)
    assert newer.pk in freshness.items_of(freshness.since(mark), make.plant()), "its advice counts them"
    for n in range(4):
        write.log_replacement(by=make.actor(), position=place, at=make.moment(201 + n), why="dull", from_shelf=True)
    assert stock(newer) is None and stock(old).on_hand == 0
    write.log_replacement(by=make.actor(), position=place, at=make.moment(206), why="dull", from_shelf=True)
    last = Replacement.objects.order_by("at").last()
    assert (stock(old).on_hand, stock(newer).on_hand, last.piece_in.item) == (0, -1, newer)
    assert not movement_reads.drawn(make.plant().pk), "the one that was drawn went in first"


def test_what_is_retired_counts_nought_and_goes_at_once_or_later(die, old, newer):
    replace(old, newer, RETIRED)
    old.refresh_from_db()
    assert old.retired_at is not None and stock(newer) is None and stock(old).on_hand == 4
    movements.scrap(by=make.actor(), plant=make.plant(), item=old, reason="drawing changed", quantity=4)
    assert stock(old).on_hand == 0


@pytest.mark.parametrize(("pieces", "kind"), [("scrap", "scrapped"), ("send back", "sent back")])
def test_retired_pieces_leave_every_shelf_with_the_reason(old, newer, pieces, kind):
    other = Plant.objects.create(code="second")
    StockMovement.objects.create(plant=other, item=old, quantity=3, kind="count", at=make.moment(1), key="there")
    shop.movement(old, -2, day=2)
    replace(old, newer, RETIRED, pieces=pieces, plants=[make.plant(), other])
    left = StockMovement.objects.filter(kind=kind)
    assert sorted(left.values_list("plant__code", "quantity", "note")) == sorted(
        [(make.plant().code, -2, "radius 0.2 instead of 0.1"), ("second", -3, "radius 0.2 instead of 0.1")]
    )


def test_struck_out_all_is_as_it_was(die, old, newer):
    first = Item.objects.create(code="PP-6.0", revision="0", kind=old.kind)
    replace(first, old, reason="the first change")
    made = replace(old, newer, RETIRED)
    first.refresh_from_db()
    assert (first.newer, first.old_stock) == (newer, RETIRED), "what stood on it follows"
    actions.take_back(by=make.user("lead"), amendment=made, reason="the drawing stays")
    old.refresh_from_db()
    first.refresh_from_db()
    assert (old.newer, old.old_stock, old.retired_at) == (None, "", None)
    assert (first.newer, first.old_stock) == (old, USABLE) and die.positions.filter(item=old).exists()
    assert not Position.objects.filter(item=newer).exists()
    replace(old, newer)  # and it can be entered anew


def test_what_cannot_be_is_told_in_a_sentence(old, newer):
    other = make.item("DB-1", kind="die_button")
    third = Item.objects.create(code="PP-6.0", revision="C", kind=old.kind)
    gone = Item.objects.create(code="PP-6.0", revision="D", kind=old.kind, retired_at=make.moment(1))
    for item, words, more in (
        (old, "cannot take its own place", {}), (other, "Pick one of the same kind", {}),
        (gone, "is no longer used", {}), (newer, "moved on .* still", {"at": make.moment(-3)}),
        (newer, "still to come", {"at": make.moment(90_000)}), (newer, "Say why", {"reason": " "}),
        (newer, "what becomes of the pieces", {"old_stock": ""}), (newer, "used up first", {"pieces": "scrap"}),
    ):  # fmt: skip
        with pytest.raises(ChangeRefused, match=words):
            replace(old, item, **more)
    assert not Amendment.objects.exists() and Item.objects.get(pk=old.pk).newer is None
    replace(old, newer)
    newer.refresh_from_db()
    for one, item, words in ((old, third, "took the place of PP-6.0 already"), (newer, old, "in a circle"),
                             (third, old, "PP-6.0 B took the place of PP-6.0. Pick that one")):  # fmt: skip
        one.refresh_from_db()
        with pytest.raises(ChangeRefused, match=words):
            replace(one, item)
    with pytest.raises(ChangeRefused, match=r"PP-6\.0 B took the place of PP-6\.0\. Name that one"):
        place = make.position(make.die("H-1")).refresh_from_db() or Position.objects.get(die__code="H-1")
        actions.amend(by=None, row=place, values={"item": old.pk}, at=make.moment(201), reason="back")


def test_an_order_for_what_was_replaced_names_the_newer_one(old, newer):
    wanted = [purchases.Wanted(item=old, quantity=4)]
    (draft,) = purchases.draft(by=make.actor(), plant=make.plant(), wanted=wanted, currency="EUR").orders
    replace(old, newer)
    old.refresh_from_db()
    words = r"PP-6\.0 B took the place of PP-6\.0\. Order PP-6\.0 B in its place"
    with pytest.raises(EntryRefused, match=words):
        purchases.place(by=make.actor(), order=draft)
    with pytest.raises(EntryRefused, match=words):
        purchases.add_line(by=make.actor(), order=draft, item=old, quantity=1)
    (line,) = purchase_reads.open_lines_of(old.pk, [make.plant().pk])
    assert (line.order, line.quantity) == (draft, 4)
