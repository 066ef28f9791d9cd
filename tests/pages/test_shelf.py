"""The shelf counted: a rack at a time, differences with a reason, and nothing counted over what moved meanwhile."""

from __future__ import annotations

import pytest

from diestore.register.models import Item
from maintenance.log import queries, shelf
from maintenance.log.rules import EntryRefused
from maintenance.log.shelf import Counted
from maintenance.models import StockMovement
from tests import factories as make
from tests.pages import money_shop as shop

from .as_read import as_read
from .bench_browser import sent

pytestmark = pytest.mark.django_db
PAGE = "/spares/shelf/"


@pytest.fixture
def rack():
    """Three spares in rack E, one in rack F, one without a place."""
    places = {"A-1": "E-10", "B-1": "E-9", "C-1": "E-9", "D-1": "F-2", "N-1": ""}
    made = {code: make.item(code, shelf_place=place) for code, place in places.items()}
    for item in made.values():
        shop.movement(item, 5)
    return made


def on_hand(item) -> int:
    return queries.stock_of_spares(make.plant())[item.pk].on_hand


def count(counted: dict, **more) -> list[StockMovement]:
    told = {item.pk: one for item, one in counted.items()}
    return shelf.count(by=make.actor(), plant=make.plant(), counted=told, **more)


def test_racks_stand_in_the_order_in_which_one_walks_along_them(rack):
    assert shelf.racks(make.plant()) == {"E": 3, "F": 1, "no place": 1}
    assert [row.item.code for row in shelf.lies_in(make.plant(), "E")] == ["B-1", "C-1", "A-1"]
    assert [row.item.code for row in shelf.lies_in(make.plant(), "no place")] == ["N-1"]


def test_a_count_sets_what_lies_there_and_a_difference_says_why(rack):
    a, b = rack["A-1"], rack["B-1"]
    for wrong, words in (
        ({a: Counted(found=3, shown=5)}, "2 fewer than should lie there. Say why"),
        ({a: Counted(found=6, shown=5)}, "1 more than should lie there. Say why"),
        ({a: Counted(found=-1, shown=5)}, "cannot lie there"), ({a: Counted(found=10**9, shown=5)}, "cannot lie there"),
        ({a: Counted(found=3, shown=5, reason="x" * 301)}, "Say it shorter"), ({}, "at least one spare"),
    ):  # fmt: skip
        with pytest.raises(EntryRefused, match=words):
            count({b: Counted(found=5, shown=5)} | wrong if wrong else {})
    assert not StockMovement.objects.exclude(at=make.moment(0)).exists(), "all or none"
    moves = count({a: Counted(found=3, shown=5, reason="drawn and not entered"), b: Counted(found=5, shown=5)})
    assert [move.quantity for move in moves] == [-2, 0] and (on_hand(a), on_hand(b)) == (3, 5)
    assert shelf.lies_in(make.plant(), "E")[0].counted_at == moves[1].at, "what is as it should be was counted too"


def test_what_is_drawn_while_somebody_counts_is_not_counted_over(rack):
    item = rack["A-1"]
    shop.movement(item, -2, kind="fitted", day=1)
    with pytest.raises(EntryRefused, match=r"came or went since this sheet was opened, and 3 should lie there now"):
        count({item: Counted(found=5, shown=5)})
    assert on_hand(item) == 3


def test_a_sheet_that_is_sent_twice_counts_once(rack):
    item = rack["A-1"]
    for _ in range(2):
        count({item: Counted(found=3, shown=5, reason="lay in another place")}, key="one sheet")
    assert on_hand(item) == 3 and StockMovement.objects.filter(kind="count", quantity=-2).count() == 1


def test_a_toolmaker_counts_a_rack(as_role, rack):
    keeper, a, b = as_role("toolmaker"), rack["A-1"], rack["B-1"]
    shown = keeper.get(f"{PAGE}?rack=E")
    text = as_read(shown)
    assert f"of=spares&amp;pick={b.pk}&amp;pick={rack['C-1'].pk}&amp;pick={a.pk}" in shown.content.decode()
    assert "E-10" in text and "F-2" not in text and "drawn and not entered" in shown.content.decode()
    data = sent(shown, **{f"found-{a.pk}": "4"})
    answer = keeper.post(f"{PAGE}?rack=E", data)
    assert answer.status_code == 422 and "1 fewer than should lie there. Say why" in as_read(answer) and on_hand(a) == 5
    data |= {f"reason-{a.pk}": "scrapped and not entered", "rest": "yes"}
    answer = keeper.post(f"{PAGE}?rack=E", data, follow=True)
    assert "3 spares counted: 1 of them differs" in as_read(answer) and (on_hand(a), on_hand(b)) == (4, 5)
    for wrong in ({f"found-{a.pk}": "some"}, {f"shown-{a.pk}": "x"}, {f"shown-{a.pk}": "9" * 30}):
        answer = keeper.post(f"{PAGE}?rack=E", sent(keeper.get(f"{PAGE}?rack=E"), **wrong))
        assert answer.status_code == 422
    assert keeper.get(f"{PAGE}?rack=%00").status_code == 200
    assert as_role("setter").get(PAGE).status_code == 403 and "Count the shelf" in as_read(
        as_role("buyer").get("/spares/")
    )


def test_a_shop_without_spares_says_what_to_do(as_role):
    make.plant()
    assert not Item.objects.exists()
    assert "Nothing lies on the shelf yet" in as_read(as_role("buyer").get(PAGE))
