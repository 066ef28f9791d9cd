"""A die comes with its usual inserts, whichever way it comes in; stations stand along the strip."""

from __future__ import annotations

import pytest

from diestore.register import build
from diestore.register.actions import ChangeRefused
from diestore.register.models import Die, Station, Variant
from maintenance.log import write
from tests import factories as make

pytestmark = pytest.mark.django_db


@pytest.fixture
def by():
    return make.user("lead")


def new(by, code="H-900", **more):
    values = {"plant": make.plant(), "usual_stock": make.stock(), "strokes_per_minute": 60.0} | more
    return build.new_die(by=by, code=code, **values)


def usual(die):
    return list(die.variants.values_list("code", "is_default"))


# --- the usual inserts ------------------------------------------------------------------------------------------------


def test_a_new_die_has_its_usual_inserts_and_says_who_entered_it(by):
    die = new(by)
    assert usual(die) == [("standard", True)]
    assert die.history.get().history_user == by


@pytest.mark.parametrize(
    ("there", "then"),
    [
        ((), [("standard", True)]),
        (("standard",), [("standard", True)]),
        (("Standard",), [("Standard", True)]),
        (("short",), [("short", True)]),
        (("long", "short"), [("standard", True), ("long", False), ("short", False)]),
        (("long", "standard"), [("standard", True), ("long", False)]),
    ],
)
def test_inserts_entered_by_hand_without_a_mark_do_not_stop_the_first_run(there, then):
    die = Die.objects.create(plant=make.plant(), code="H-1", usual_stock=make.stock(), strokes_per_minute=60)
    for code in there:
        Variant.objects.create(die=die, code=code)
    run = write.log_run(by=make.actor(), die=die, started=make.moment(0), ended=make.moment(0.1), hits=4_000)
    assert usual(die) == then and run.variant.is_default


# --- what is refused --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("values", "field"),
    [
        ({"code": "  "}, "code"),
        ({"code": "h-900"}, "code"),
        ({"code": "K" * 61}, "code"),
        ({"code": "H-9\x00"}, "code"),
        ({"code": "H-9", "strokes_per_minute": 0}, "strokes_per_minute"),
        ({"code": "H-9", "expected_parts": 0}, "expected_parts"),
    ],
)
def test_a_die_that_cannot_be_is_refused_with_the_field(by, values, field):
    new(by)
    with pytest.raises(ChangeRefused) as refused:
        new(by, **values)
    assert refused.value.field == field and str(refused.value).endswith(".")
    assert Die.objects.count() == 1


# --- stations ---------------------------------------------------------------------------------------------------------


def along(die):
    return [(s.code, s.operation) for s in die.stations.order_by("sequence", "pk")]


def test_stations_are_added_moved_and_named(by):
    die = new(by)
    first, second, third = (build.add_station(by=by, die=die, operation=o) for o in ("pierce", "pilot", "cut off"))
    assert along(die) == [("1", "pierce"), ("2", "pilot"), ("3", "cut off")]
    between = build.add_station(by=by, die=die, operation="idle", before=third)
    assert along(die) == [("1", "pierce"), ("2", "pilot"), ("4", "idle"), ("3", "cut off")]
    build.move_station(by=by, station=between, steps=-1)
    assert [code for code, _ in along(die)] == ["1", "4", "2", "3"]
    build.move_station(by=by, station=first, steps=-5)
    build.move_station(by=by, station=first, steps=9)
    assert [code for code, _ in along(die)] == ["4", "2", "3", "1"]
    build.name_station(by=by, station=second, code="2a", operation="  pilot   and notch ")
    assert along(die)[1] == ("2a", "pilot and notch")
    assert sorted(Station.objects.values_list("sequence", flat=True)) == [1, 2, 3, 4]


def test_two_stations_of_one_name_are_refused(by):
    die = new(by)
    one, other = build.add_station(by=by, die=die, code="A"), build.add_station(by=by, die=die, code="B")
    for act in (
        lambda: build.add_station(by=by, die=die, code="a"),
        lambda: build.name_station(by=by, station=other, code="A", operation=""),
    ):
        with pytest.raises(ChangeRefused):
            act()
    assert along(die) == [(one.code, ""), (other.code, "")]


def test_a_station_with_places_stays(by):
    die = new(by)
    make.position(die, "1-A")
    station = die.stations.get()
    with pytest.raises(ChangeRefused):
        build.take_back_station(by=by, station=station)
    empty = build.add_station(by=by, die=die)
    build.take_back_station(by=by, station=empty)
    assert list(die.stations.all()) == [station]
