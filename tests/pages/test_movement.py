"""The page on which a spare moves by hand: each thing that can happen, taken back, from a die, without a script."""

from __future__ import annotations

import pytest

from diestore.register.models import Die, Party
from maintenance.log import queries
from maintenance.models import StockMovement
from tests import factories as make
from tests.pages.money_shop import movement

from .as_read import as_read
from .bench_browser import sent

pytestmark = pytest.mark.django_db
PAGE = "/spares/movement/"


@pytest.fixture
def item():
    made = make.item("PP-6.0", shelf_place="E-17")
    make.position(make.die(), "1-A", item=made)
    movement(made, 3)
    return made


def the_die() -> Die:
    return Die.objects.get(code="H-900")


def on_hand(item, plant=None) -> int:
    return queries.stock_of_spares(plant or make.plant())[item.pk].on_hand


def send(client, item, what: str, **change):
    url = f"{PAGE}?item={item.pk}&what={what}"
    return client.post(url, sent(client.get(url), **change), follow=True)


def test_each_thing_that_can_happen_has_its_boxes_and_says_what_came_of_it(as_role, item):
    keeper, grinder = as_role("toolmaker"), Party.objects.create(code="HOLLINS", name="Hollins", role="supplier")
    assert "PP-6.0" in as_read(keeper.get(f"{PAGE}?die={the_die().pk}"))
    assert "1 × PP-6.0 drawn for H-900" in as_read(send(keeper, item, "drawn"))
    out = send(keeper, item, "out", supplier=str(grinder.pk), quantity="2")
    assert "2 × PP-6.0 out to be repaired at Hollins" in as_read(out) and on_hand(item) == 0
    back = send(keeper, item, "back", length_mm="61.3", grinds_left="2", worth="20")
    assert "1 out at Hollins" in as_read(back) and on_hand(item) == 1
    assert "from H-900" in as_read(send(keeper, item, "returned"))
    answer = send(keeper, item, "scrapped")
    assert answer.status_code == 422 and "Say why it is scrapped" in as_read(answer) and on_hand(item) == 2
    answer = send(keeper, item, "scrapped", note="ground out", quantity="3")
    assert "By the record -1 lie there now: count PP-6.0" in as_read(
        answer
    ) and "More went out than ever came" in as_read(answer)
    assert "lies in F-2 from now on" in as_read(send(keeper, item, "place", shelf_place="F-2"))
    for what, wrong in (("drawn", {"quantity": "0"}), ("drawn", {"quantity": "x"}), ("drawn", {"die": "99999"}),
                        ("out", {"supplier": ""}), ("back", {"length_mm": "-3"})):  # fmt: skip
        assert send(keeper, item, what, **wrong).status_code == 422
    for asked in (
        "?item=0",
        "?item=999999",
        "?q=PP",
        "?q=%00",
        "?q=pp-6.0&what=scrapped",
        "?die=9",
        "?item=" + "9" * 30,
    ):
        assert keeper.get(PAGE + asked).status_code == 200
    assert as_role("setter").get(PAGE).status_code == 403


def test_ones_own_slip_is_taken_back_with_one_tap(as_role, item):
    keeper = as_role("toolmaker")
    make.person()
    url = f"{PAGE}?item={item.pk}&what=drawn"
    keeper.post(url, sent(keeper.get(url)))
    StockMovement.objects.filter(kind="drawn").update(person=make.person())
    row = StockMovement.objects.get(kind="drawn", place="shelf")
    assert "undo" in as_read(keeper.get(url))
    assert "Undone" in as_read(keeper.post(url, {"undo": str(row.pk)}, follow=True)) and on_hand(item) == 3
    assert "not there any more" in as_read(keeper.post(url, {"undo": "77777"}, follow=True))


def test_it_goes_to_another_plant_where_somebody_sees_both(as_role, item):
    north = make.plant("north")
    lead = as_role("lead")
    url = f"{PAGE}?item={item.pk}&what=moved&plant={make.plant().pk}"
    answer = lead.post(url, sent(lead.get(url), quantity="2", to=str(north.pk)), follow=True)
    assert "moved to north" in as_read(answer) and (on_hand(item), on_hand(item, north)) == (1, 2)
