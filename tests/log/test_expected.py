"""What sits where in a die is told twice: with the clocks of its log, and by its fittings alone. Both say the same."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from diestore.register.models import Item
from maintenance.log import expected, heights, write
from tests import factories as make

pytestmark = pytest.mark.django_db


@pytest.fixture
def die():
    made = make.die("E-1")
    for code in ("1-A", "2-A", "3-A"):
        make.position(made, code, item=make.item(f"P-{code}"))
    make.position(made, "4-P", kind="pilot", length_mm=None)
    make.position(made, "5-A", item=make.item("P-old", retired_at=make.moment(1)))
    for day in range(1, 4):
        make.run(made, day, 9_000)
    out, swapped, gone = (made.positions.get(code=code) for code in ("2-A", "3-A", "1-A"))
    make.sharpen(made, 4.5, out)
    by = make.actor()
    write.log_replacement(by=by, position=swapped, at=make.moment(5), why="broken")
    made.positions.filter(pk=gone.pk).update(valid_to=make.moment(6))
    return made


def test_what_sits_where_is_the_same_with_and_without_the_log(die):
    with_clocks = expected.places(die)
    with CaptureQueriesContext(connection) as seen:
        now = expected.places_now(die)
    assert len(seen) == 1
    assert [place.position.code for place in now.places] == ["2-A", "3-A", "4-P", "5-A"]
    told = [(p.position, p.kind, p.fitted, p.tool_steel) for p in with_clocks]
    assert [(p.position, p.kind, p.fitted, p.tool_steel) for p in now.places] == told


@pytest.mark.parametrize("day", [0.5, 4.9, 5, 5.1, 7])
def test_and_so_it_was_at_any_moment(die, day):
    at = make.moment(day)
    now, with_clocks = expected.places_now(die, at), expected.places(die, at)
    assert [(p.position, p.fitted) for p in now.places] == [(p.position, p.fitted) for p in with_clocks]


def test_an_empty_place_is_not_fitted(die):
    place = make.position(die, "6-A", since_start=False)
    place.fittings.all().delete()
    (empty,) = [p for p in expected.places_now(die).places if p.position == place]
    assert not empty.fitted and empty.tool_steel == ""


def test_the_spares_are_those_that_any_place_of_the_die_takes_and_that_are_not_retired(die):
    rows = Item.objects.filter(positions__die=die, retired_at=None).distinct().order_by("code", "revision")
    assert expected.places_now(die).spares == list(rows) != []


def test_heights_of_places_that_are_read_already_are_the_same(die):
    make.run(die, 8, 500)
    read = heights.of_die(die)
    given = heights.of_die(die, positions=expected.places_now(die).positions)
    assert given.ledger == read.ledger and given.grinds == read.grinds and list(given.places) == list(read.places)
