"""A place comes with its cut, its piece and its first entry, all or none; a copied die equals itself but for names."""

from __future__ import annotations

import datetime as dt
import itertools
from dataclasses import replace

import pytest
from django.db.models import Model

from diestore.register import build
from diestore.register.actions import ChangeRefused
from diestore.register.models import Cut, Die, Piece, Position
from maintenance.clockwork import states
from maintenance.forecasts import samples
from maintenance.history.load import load as load_history
from maintenance.history.write import write as write_history
from maintenance.log import building, read, write
from maintenance.log.building import Opening, PlaceSpec
from maintenance.log.rules import EntryRefused
from maintenance.models import Fitting, Replacement
from tests import factories as make
from tests.history.shop import empty_the_database

pytestmark = pytest.mark.django_db


@pytest.fixture
def by():
    return write.Actor(person=make.person(), user=make.user("lead"))


@pytest.fixture
def die(by):
    made = build.new_die(
        by=by.user, plant=make.plant(), code="H-900", usual_stock=make.stock(), strokes_per_minute=60.0
    )
    for operation in ("pierce", "pilot", "cut off"):
        build.add_station(by=by.user, die=made, operation=operation)
    return made


def station(die, code="1"):
    return die.stations.get(code=code)


def punch(die, code="1-A", **more):
    values = {"code": code, "kind": "pierce_punch", "side": "upper", "station": station(die), "tool_steel": "M2",
              "hardness_hrc": 64.0, "cut_length_mm": 20.0, "gap_mm": 0.1, "length_mm": 60.0, "grind_allowance_mm": 3.0,
              "x_mm": 20.0, "y_mm": 16.0, "height_group": "1"} | more  # fmt: skip
    return PlaceSpec(**values)


def button(die, code="1-AD", **more):
    values = {"code": code, "kind": "die_button", "side": "lower", "station": station(die), "tool_steel": "D2",
              "upper_of": "1-A", "y_mm": 16.0} | more  # fmt: skip
    return PlaceSpec(**values)


def counts() -> dict[type[Model], int]:
    return {m: m.objects.count() for m in (Position, Cut, Piece, Replacement, Fitting, Die)}


# --- a place ----------------------------------------------------------------------------------------------------------


def test_a_pair_has_one_cut_two_pieces_and_two_first_entries(die, by):
    building.add_places(by=by, die=die, places=[punch(die), button(die)])
    cut = Cut.objects.get()
    assert (cut.code, cut.upper.code, cut.lower.code, cut.length_mm, cut.gap_mm) == ("1-A", "1-A", "1-AD", 20.0, 0.1)
    assert [(r.position.code, r.why, r.since_start, r.person) for r in Replacement.objects.order_by("pk")] == [
        ("1-A", "first", True, by.person),
        ("1-AD", "first", True, by.person),
    ]
    assert [(f.position.code, f.piece.tool_steel, f.since, f.until) for f in Fitting.objects.order_by("pk")] == [
        ("1-A", "M2", None, None),
        ("1-AD", "D2", None, None),
    ]
    assert {row.history_user for row in cut.history.all()} == {by.user}
    assert Position.objects.first().history.get().history_user == by.user


def test_what_it_runs_is_counted_on_its_edges_at_once(die, by):
    opening = Opening(how="counted", life_hits=900_000, since_sharpening=12_000)
    building.add_places(by=by, die=die, places=[punch(die, opening=opening), button(die, opening=Opening())])
    make.run(die, 1, 5_000)
    log = read.of_die(die)
    at = {log.positions[key].code: state for key, state in states.states(log, make.moment(9).timestamp()).items()}
    assert (at["1-A"].hits_since_sharpening, at["1-A"].life_hits) == (17_000, 905_000)
    assert at["1-AD"].hits_since_sharpening == 5_000
    assert len(samples.of_die(log, make.moment(9).timestamp()).specs) == 2


def test_a_place_added_on_a_day_holds_from_that_day(die, by):
    building.add_places(by=by, die=die, places=[punch(die)])
    make.run(die, 1, 5_000)
    building.add_places(by=by, die=die, places=[punch(die, "1-B")], since=make.moment(2), reason="one more hole")
    make.run(die, 3, 700)
    log = read.of_die(die)
    at = {log.positions[key].code: state for key, state in states.states(log, make.moment(9).timestamp()).items()}
    assert (at["1-A"].hits_since_sharpening, at["1-B"].hits_since_sharpening) == (5_700, 700)
    assert Position.objects.get(code="1-B").valid_from == make.moment(2) == Cut.objects.get(code="1-B").valid_from
    assert Position.objects.get(code="1-B").history.get().history_change_reason == "one more hole"


def test_a_die_side_added_on_a_day_to_a_cut_that_stands_leaves_the_past(die, by):
    building.add_places(by=by, die=die, places=[punch(die)])
    building.add_places(by=by, die=die, places=[button(die)], since=make.moment(2), reason="insert instead of plate")
    rows = Cut.objects.order_by("pk").values_list("lower__code", "valid_from", "valid_to")
    assert list(rows) == [(None, None, make.moment(2)), ("1-AD", make.moment(2), None)]


@pytest.mark.parametrize(
    ("values", "field"),
    [
        ({"code": "1-a"}, "code"),
        ({"code": ""}, "code"),
        ({"kind": "hammer"}, "kind"),
        ({"side": "left"}, "side"),
        ({"hardness_hrc": 600.0}, "hardness_hrc"),
        ({"cut_length_mm": 0.0}, "cut_length_mm"),
        ({"gap_mm": -1.0}, "gap_mm"),
        ({"stroke_share": 0.0}, "stroke_share"),
        ({"kind": "pilot"}, "cut_length_mm"),
        ({"tool_steel": "x" * 41}, "tool_steel"),
        ({"opening": Opening(how="counted", life_hits=5, since_sharpening=9)}, "opening_hits_since_sharpening"),
        ({"opening": Opening(how="old")}, "opening"),
        ({"length_mm": float("nan")}, "length_mm"),
    ],
)
def test_one_that_cannot_be_is_refused_and_nothing_of_the_rest_is_there(die, by, values, field):
    building.add_places(by=by, die=die, places=[punch(die)])
    before = counts()
    with pytest.raises((EntryRefused, ChangeRefused)) as refused:
        building.add_places(by=by, die=die, places=[punch(die, "1-C"), replace(punch(die, "1-B"), **values)])
    assert refused.value.field == field
    assert counts() == before


def test_another_dies_station_and_a_punch_without_a_cut_are_refused(die, by):
    other = build.new_die(by=by.user, plant=die.plant, code="H-1", usual_stock=die.usual_stock, strokes_per_minute=9.0)
    there = build.add_station(by=by.user, die=other)
    for spec in (punch(die, station=there), button(die), button(die, upper_of="9-Z")):
        with pytest.raises(EntryRefused):
            building.add_places(by=by, die=die, places=[spec])
    assert not die.positions.exists()


# --- like another -----------------------------------------------------------------------------------------------------


def facts(die: Die) -> dict:
    """All that a die is made of, without the names of pieces and keys."""
    pieces = {f.position_id: f.piece for f in Fitting.objects.filter(position__die=die).select_related("piece")}
    names = ("tool_steel", "coating", "hardness_hrc", "length_mm", "grind_allowance_mm", "opening", "item_id")
    return {
        "stations": list(die.stations.order_by("sequence").values_list("code", "sequence", "operation")),
        "variants": sorted(die.variants.values_list("code", "is_default")),
        "outputs": sorted(die.variants.values_list("code", "outputs__part__number", "outputs__parts_per_hit")),
        "places": [
            (p.code, p.station and p.station.code, p.kind, p.side, p.x_mm, p.y_mm, p.height_group, p.stroke_share,
             p.item_id, p.wear_of, p.wear_limit, sorted(v.code for v in p.variants.all()),
             *(getattr(pieces[p.pk], name) for name in names))
            for p in die.positions.select_related("station").order_by("code")
        ],
        "cuts": sorted(
            (c.code, c.upper and c.upper.code, c.lower and c.lower.code, c.length_mm, c.gap_mm)
            for c in die.cuts.select_related("upper", "lower")
        ),
    }  # fmt: skip


@pytest.fixture
def built(die, by):
    long = die.variants.create(code="long")
    building.add_places(
        by=by,
        die=die,
        places=[
            punch(die),
            button(die),
            punch(die, "1-B", y_mm=-16.0, variants=(long,), stroke_share=0.5),
            punch(die, "3-A", kind="cut_off_punch", station=station(die, "3"), item=make.item()),
            PlaceSpec(code="2-P", kind="pilot", side="upper", station=station(die, "2"), length_mm=70.0),
            PlaceSpec(code="SS-1", kind="stripper_spring", side="upper", wear_of="spring force", wear_limit=600.0),
        ],
    )
    Cut.objects.filter(code="1-B").update(code="hole 2")
    return die


def test_the_second_copy_of_a_build_equals_it_but_for_names_and_has_pieces_of_its_own(built, by):
    part = make.Part.objects.create(number="AB-1")
    build.default_variant(built).outputs.create(part=part, parts_per_hit=2)
    copy = building.copy_die(by=by, die=built, code="H-900/2")
    assert facts(copy) == facts(built)
    assert not set(Piece.objects.filter(fittings__position__die=copy)) & set(
        Piece.objects.filter(fittings__position__die=built)
    )
    assert (copy.usual_stock, copy.strokes_per_minute) == (built.usual_stock, built.strokes_per_minute)
    assert copy.runs.count() == 0


def test_a_like_die_makes_another_part_and_may_be_old(built, by):
    copy = building.copy_die(by=by, die=built, code="H-901", same_part=False, opening=Opening(how="unknown"))
    assert facts(copy)["outputs"] == [("long", None, None), ("standard", None, None)]
    assert set(Piece.objects.filter(fittings__position__die=copy).values_list("opening", flat=True)) == {"unknown"}
    assert facts(copy)["cuts"] == facts(built)["cuts"]


def test_a_die_that_was_typed_or_copied_written_out_and_read_back_equals_itself(built, by, tmp_path):
    make.run(built, 1, 5_000)
    part = make.Part.objects.create(number="AB-1")
    build.default_variant(built).outputs.create(part=part, parts_per_hit=2)
    building.copy_die(by=by, die=built, code="H-900/2")
    before, plant = facts(built), built.plant.code
    write_history(tmp_path / "out", built.plant)
    again = load_history(tmp_path / "out", plant=plant, allow_future=True)
    assert not any(again.counts.added.values()), "what was typed is known again by its keys"
    assert facts(Die.objects.get(code="H-900")) == before
    empty_the_database()
    load_history(tmp_path / "out", plant=plant, allow_future=True)
    new, copy = (facts(Die.objects.get(code=code)) for code in ("H-900", "H-900/2"))
    for row in (before, new, copy):
        row["places"] = [(*p[:8], *p[9:]) for p in row["places"]]  # the number of its spare in the database
        row["places"] = [p[:-1] for p in row["places"]]
        row["outputs"] = [p[:1] + p[2:] for p in row["outputs"]]  # and of its part
    assert new == before == copy


def test_a_station_is_copied_with_names_of_its_own(built, by):
    made = building.copy_station(by=by, station=station(built))
    assert [s.code for s in built.stations.order_by("sequence")] == ["1", "4", "2", "3"]
    assert sorted(made.positions.values_list("code", flat=True)) == ["4-A", "4-AD", "4-B"]
    cut = Cut.objects.get(code="4-A")
    assert (cut.upper.code, cut.lower.code, cut.length_mm, cut.gap_mm) == ("4-A", "4-AD", 20.0, 0.1)


def test_the_same_again_takes_the_next_name_and_its_die_side_with_it(built, by):
    made = building.again(by=by, position=Position.objects.get(code="1-A"))
    assert [p.code for p in made] == ["1-C", "1-CD"]
    assert [p.x_mm for p in made] == [None, None], "where it stands is not the same"
    assert Cut.objects.get(code="1-C").gap_mm == 0.1
    (alone,) = building.again(by=by, position=Position.objects.get(code="SS-1"))
    assert alone.code == "SS-2"


def test_left_and_right_stand_across_the_middle_of_the_strip(built, by):
    made = building.again(by=by, position=Position.objects.get(code="1-A"), mirrored=True)
    assert [(p.code, p.x_mm, p.y_mm) for p in made] == [("1-C", 20.0, -16.0), ("1-CD", None, -16.0)]


# --- opening ----------------------------------------------------------------------------------------------------------


def test_how_the_pieces_stood_is_said_once_for_the_die_with_exceptions(built, by):
    spare = Position.objects.get(code="1-B")
    said = building.open_pieces(by=by, die=built, opening=Opening(how="estimated", life_hits=500_000), but=[spare.pk])
    assert said == 5
    openings = dict(Piece.objects.values_list("fittings__position__code", "opening"))
    assert openings.pop("1-B") == "new" and set(openings.values()) == {"estimated"}


# --- taken back -------------------------------------------------------------------------------------------------------


def test_what_was_entered_by_mistake_goes_without_a_rest(die, by):
    building.add_places(by=by, die=die, places=[punch(die)])
    before = counts()
    building.add_places(by=by, die=die, places=[button(die), punch(die, "1-B")])
    for code in ("1-AD", "1-B"):
        building.take_back_place(by=by, position=Position.objects.get(code=code))
    assert counts() == before
    assert Cut.objects.get().lower is None
    building.add_places(by=by, die=die, places=[punch(die, "1-B")])  # its name is free again


@pytest.mark.parametrize("what", ["sharpened", "replaced", "measured", "damaged"])
def test_nothing_with_a_log_is_deleted(die, by, what):
    building.add_places(by=by, die=die, places=[punch(die)])
    make.run(die, 1, 5_000)
    place, at = Position.objects.get(), make.moment(2)
    if what == "sharpened":
        make.sharpen(die, 2, place)
    elif what == "replaced":
        write.log_replacement(by=by, position=place, at=at, why="dull")
    elif what == "measured":
        write.log_reading(by=by, at=at, quantity="burr height", value_si=1e-5, typed_value="10", typed_unit="µm",
                          cut=Cut.objects.get())  # fmt: skip
    else:
        write.log_incident(by=by, die=die, at=at, sort="misfeed", positions=[place])
    before = counts()
    with pytest.raises(EntryRefused, match="has a log"):
        building.take_back_place(by=by, position=place)
    assert counts() == before


# --- the order of entering --------------------------------------------------------------------------------------------


def test_the_order_of_entering_places_does_not_matter(by):
    told = []
    for n, order in enumerate(itertools.permutations(range(3))):
        die = build.new_die(
            by=by.user, plant=make.plant(), code=f"H-{n}", usual_stock=make.stock(), strokes_per_minute=60.0
        )
        build.add_station(by=by.user, die=die, operation="pierce")
        specs = [punch(die), punch(die, "1-B", y_mm=-16.0), replace(punch(die, "1-C"), cut_length_mm=31.4)]
        for i in order:
            building.add_places(by=by, die=die, places=[specs[i]])
        with make.nothing_follows():
            write.log_run(by=by, die=die, started=make.moment(1), ended=make.moment(1) + dt.timedelta(hours=4),
                          hits=9_000)  # fmt: skip
        log = read.of_die(die)
        at = states.states(log, make.moment(9).timestamp())
        edges = sorted((log.positions[k].code, s.hits_since_sharpening, s.life_hits) for k, s in at.items())
        told.append((facts(die), edges))
    assert all(one == told[0] for one in told)
