"""What is wrong with a die: it stands there until somebody has put it right."""

import pytest

from diestore.register.models import Output, Part, Variant
from maintenance.forecasts import part_wear
from maintenance.log import read, write
from maintenance.log.damage import Damage, briefly, in_a_list, open_damage, sentences
from maintenance.log.held_back import of_damage, said_of, since_good
from tests import factories as make

pytestmark = pytest.mark.django_db


@pytest.fixture
def die():
    made = make.die()
    for code in ("1-A", "4-A"):
        make.position(made, code, gap_mm=0.04)
    make.position(made, "2-P", kind="pilot", length_mm=None)
    Part.objects.update(burr_limit_um=20)
    return made


def at(die, code):
    return die.positions.get(code=code)


def mishap(die, *codes, day=5.0):
    places = [at(die, code) for code in codes]
    return write.log_incident(by=make.actor(), die=die, at=make.moment(day), sort="misfeed", positions=places)


def stop(die, day=5.0, cause="burr"):
    return write.log_stop(by=make.actor(), die=die, at=make.moment(day), cause=cause, minutes=20)


def burr(die, um, day=5.0, code="4-A", **more):
    thing = {"position": at(die, code)} if code else {"die": die}
    return write.log_reading(
        by=make.actor(), at=make.moment(day), quantity=more.get("quantity", "burr height"), value_si=um * 1e-6,
        typed_value=str(um), typed_unit="um", **thing,
    )  # fmt: skip


def work(die, code, operation, day=6.0, **more):
    piece = write.SharpenedPiece(position=at(die, code), operation=operation, why="other", **more)
    return write.log_sharpening(by=make.actor(), die=die, at=make.moment(day), pieces=[piece])


def replace(die, code, day=6.0):
    return write.log_replacement(by=make.actor(), position=at(die, code), at=make.moment(day), why="other")


def wrong(die):
    return [briefly([one]) for one in open_damage([die.pk]).get(die.pk, [])]


def test_a_damaged_piece_is_damaged_until_it_is_put_right(die):
    entry = mishap(die, "1-A", "4-A", "2-P")
    assert sorted(wrong(die)) == ["1-A damaged", "2-P damaged", "4-A damaged"]
    work(die, "4-A", "ground", day=4.9)
    work(die, "1-A", "dressed in the press")
    work(die, "1-A", "recoated", coating_after="TiN")
    assert sorted(wrong(die)) == ["1-A damaged", "2-P damaged", "4-A damaged"], "before it, or no mending"
    work(die, "4-A", "ground")
    replace(die, "2-P")
    assert wrong(die) == ["1-A damaged"]
    assert sentences(open_damage([die.pk])[die.pk]) == [
        "1-A was damaged in a mishap (misfeed, 11 Jan 2025, 06:00) and has not been ground or replaced since."
    ]
    write.strike_out(by=make.actor(), entry=entry, reason="another die")
    assert wrong(die) == []


@pytest.mark.parametrize("operation", ["welded and recut", "repaired", "turned to a fresh edge"])
def test_other_works_put_a_damaged_piece_right_too(die, operation):
    mishap(die, "4-A")
    work(die, "4-A", operation)
    assert wrong(die) == []


def test_a_mishap_that_damaged_nothing_or_what_lies_on_the_shelf_leaves_the_die_well(die):
    mishap(die)
    mishap(die, "4-A", day=6)
    write.log_replacement(by=make.actor(), position=at(die, "4-A"), at=make.moment(7), why="other", take_out_only=True)
    assert wrong(die) == []
    place = at(die, "4-A")
    piece = place.replacements.get(why="first").piece_in
    write.log_replacement(by=make.actor(), position=place, at=make.moment(8), why="other", piece=piece)
    assert wrong(die) == [], "whoever puts it back has looked at it"


def test_a_stop_for_burr_stands_until_something_is_done(die):
    stop(die, cause="slug")
    assert wrong(die) == []
    struck = stop(die)
    assert wrong(die) == ["stopped for burr"]
    work(die, "1-A", "recoated", coating_after="TiN")
    burr(die, 45, day=4)
    work(die, "4-A", "ground", day=4.5)
    assert wrong(die) == ["stopped for burr"], "what was done before it, or not to the edge, does not answer it"
    write.strike_out(by=make.actor(), entry=struck, reason="another die")
    assert wrong(die) == []


@pytest.mark.parametrize(
    "answer",
    [
        lambda die: work(die, "1-A", "ground"),
        lambda die: work(die, "1-A", "ground", day=5.0),
        lambda die: work(die, "1-A", "dressed in the press"),
        lambda die: replace(die, "4-A"),
        lambda die: burr(die, 18, day=6),
    ],
)
def test_what_answers_a_stop_for_burr(die, answer):
    stop(die)
    answer(die)
    assert wrong(die) == []
    stop(die, day=7)
    assert wrong(die) == ["stopped for burr"]


def test_burr_over_the_limit_stands_until_renewed_or_measured_well_there(die):
    burr(die, 45)
    assert wrong(die) == ["burr over the limit on 4-A"]
    work(die, "1-A", "ground")
    burr(die, 12, day=6, code="1-A")
    work(die, "4-A", "dressed in the press")
    assert wrong(die) == ["burr over the limit on 4-A"], "another place, and a touch that nobody measured after"
    found = open_damage([die.pk])[die.pk]
    assert sentences(found) == ["The burr on 4-A was 45 µm on 11 Jan 2025, 06:00; the limit is 20 µm."]
    assert sentences(found, "inch") == ["The burr on 4-A was 1.8 thou on 11 Jan 2025, 06:00; the limit is 0.79 thou."]
    burr(die, 20, day=7)
    assert wrong(die) == [], "at the limit is within it"


@pytest.mark.parametrize("renew", [lambda die: work(die, "4-A", "ground"), lambda die: replace(die, "4-A")])
def test_grinding_and_replacing_answer_burr(die, renew):
    burr(die, 45)
    burr(die, 30, day=5.5)
    (one,) = open_damage([die.pk])[die.pk]
    assert round(one.burr_um) == 30, "the last one counts"
    renew(die)
    assert wrong(die) == []


def test_without_a_limit_nothing_is_over_it_and_other_readings_have_none(die):
    burr(die, 45, quantity="wear land")
    assert wrong(die) == []
    Part.objects.update(burr_limit_um=None)
    burr(die, 45)
    assert wrong(die) == []


def test_burr_of_the_whole_die_and_the_highest_of_one_moment(die):
    burr(die, 30, code=None)
    burr(die, 25, code="4-A")
    burr(die, 35, code="4-A")
    assert sorted(wrong(die)) == ["burr over the limit", "burr over the limit on 4-A"]
    assert {round(one.burr_um) for one in open_damage([die.pk])[die.pk]} == {30, 35}
    work(die, "1-A", "ground")
    assert wrong(die) == ["burr over the limit on 4-A"]


def test_a_place_is_held_to_the_parts_that_it_works_on(die):
    wide = Variant.objects.create(die=die, code="wide")
    Output.objects.create(variant=wide, part=Part.objects.create(number="W", burr_limit_um=60))
    at(die, "4-A").variants.add(wide)
    burr(die, 45)
    assert wrong(die) == []
    burr(die, 65, day=5.5)
    assert wrong(die) == ["burr over the limit on 4-A"]


def test_what_is_said_at_once_of_the_parts_to_hold_back(die):
    job = make.order(die, "26-0007")
    make.run(die, 1, 9_000, order=job, lot="C-10")
    assert said_of(burr(die, 12, day=3)) == ""
    make.run(die, 3.1, 6_000, order=job, lot="C-11")
    make.run(die, 4, 4_000, order=job, lot="C-12", good_parts=3_900)
    make.run(die, 4.5, 1_000)
    parts = "about 10,900 parts (job 26-0007; coils C-11, C-12): made since the last good reading, 9 Jan 2025, 06:00."
    assert said_of(burr(die, 45)) == f"The burr on 4-A is 45 µm, over the limit of 20 µm. Hold back {parts}"
    assert said_of(stop(die, day=5.5)) == f"Stopped for burr. Hold back {parts}"
    held = since_good(die.pk, at(die, "4-A"), make.moment(5))
    assert [(one.job, one.hits, one.parts, one.coils) for one in held.made] == [
        ("26-0007", 10_000, 9_900, ("C-11", "C-12")), ("", 1_000, 1_000, ())
    ]  # fmt: skip
    assert of_damage(die.pk, open_damage([die.pk])[die.pk]) == held
    work(die, "4-A", "ground", day=6)
    make.run(die, 6.5, 2_000, order=job, good_parts=2_000)
    assert said_of(burr(die, 25, day=7)).endswith(
        "Hold back 2,000 parts (job 26-0007): made since the last sharpening, 12 Jan 2025, 06:00: no good reading is "
        "logged since."
    )
    assert said_of(stop(die, cause="slug")) == "" == said_of(make.run(die, 9))


def test_parts_to_hold_back_of_a_run_under_way_and_of_what_a_place_works_on(die):
    make.run(die, 1, 8_000, hours=4)
    burr(die, 12, day=1 + 1 / 24)
    held = since_good(die.pk, at(die, "4-A"), make.moment(5))
    assert (held.hits, held.what) == (6_000, "about 6,000 parts"), "three of its four hours came after the good reading"
    wide = Variant.objects.create(die=die, code="wide")
    Output.objects.create(variant=wide, part=Part.objects.create(number="W"), parts_per_hit=2)
    Output.objects.create(variant=wide, part=Part.objects.create(number="V"), parts_per_hit=1)
    make.run(die, 2, 1_000, variant=wide)
    at(die, "4-A").variants.add(wide)
    assert since_good(die.pk, at(die, "4-A"), make.moment(5)).parts == 3_000
    assert since_good(die.pk, at(die, "1-A"), make.moment(5)).parts == 11_000, "no good reading there, all its inserts"
    other = make.die("H-901")
    assert said_of(stop(other)) == (
        "Stopped for burr. Hold back what was made since it last ran well: no good reading and no sharpening is logged "
        "before. No run is logged since."
    )


def worn(die, value_si, day=5.0, code="2-P", quantity="diameter"):
    return write.log_reading(
        by=make.actor(), at=make.moment(day), quantity=quantity, value_si=value_si, typed_value="1", typed_unit="mm",
        position=at(die, code),
    )  # fmt: skip


def test_a_piece_at_its_measured_limit_is_wrong_until_it_is_another_one(die):
    worn(die, 6.000e-3, day=2)
    worn(die, 5.981e-3, day=3)
    assert wrong(die) == [], "a pilot by custom: half of the smallest gap under its first reading"
    worn(die, 5.979e-3)
    assert wrong(die) == ["2-P past its limit (diameter)"]
    assert sentences(open_damage([die.pk])[die.pk]) == [
        "The diameter of 2-P was 5.979 mm on 11 Jan 2025, 06:00; it is changed at 5.980 mm (common practice, no "
        "source)."
    ]
    worn(die, 5.985e-3, day=5.5)
    assert wrong(die) == [], "measured again, and well"
    worn(die, 5.97e-3, day=6)
    replace(die, "2-P", day=7)
    assert wrong(die) == []
    worn(die, 5.95e-3, day=8)
    assert wrong(die) == [], "its own first reading"


def test_several_worn_pieces_are_told_in_few_words(die):
    make.position(die, "3-P", kind="pilot", length_mm=None)
    for code in ("3-P", "2-P"):
        worn(die, 6.0e-3, day=2, code=code)
        worn(die, 5.9e-3, code=code)
    mishap(die, "4-A")
    rows = open_damage([die.pk])[die.pk]
    assert briefly(rows) == "4-A damaged; 2-P and 3-P past their limit" and len(sentences(rows)) == 3
    assert in_a_list(rows) == ["4-A damaged; 2-P and 3-P past their limit."]
    assert in_a_list(rows[:2]) == sentences(rows[:2])


@pytest.mark.parametrize("mend", ["repaired", "welded and recut"])
def test_a_worn_piece_is_put_right_by_work_and_held_to_the_shops_own_limit(die, mend):
    place = at(die, "2-P")
    place.wear_of, place.wear_limit = "diameter", 5.9
    place.save()
    worn(die, 6.0e-3, day=2)
    worn(die, 5.95e-3, day=3)
    assert wrong(die) == []
    worn(die, 5.9e-3)
    assert wrong(die) == ["2-P past its limit (diameter)"], "at the limit is past it"
    assert "it is changed at 5.900 mm." in sentences(open_damage([die.pk])[die.pk])[0]
    work(die, "2-P", mend)
    assert wrong(die) == []


def test_what_tells_of_no_limit_is_no_damage(die):
    worn(die, 1.0, quantity="temperature")
    worn(die, 1.0, quantity="wear land", code="4-A")
    worn(die, 1.0, quantity="wear", code="4-A")
    assert wrong(die) == []


def test_the_limit_of_each_die_goes_by_its_own_gap(die):
    """One of 0.0175 mm a side lets its bushing have 0.00875 across, one of 0.1 mm 0.05; without a gap there is none."""
    others = [make.die(code) for code in ("H-1", "H-2", "H-3")]
    for other, gap in zip(others, (0.0175, 0.1, None), strict=True):
        make.position(other, gap_mm=gap)
        make.position(other, "GB-1", kind="bushing", length_mm=None)
        worn(other, 9e-6, code="GB-1", quantity="bore clearance")
    assert list(open_damage([die.pk, *(other.pk for other in others)])) == [others[0].pk]


@pytest.mark.parametrize("values", [(6.0e-3, 5.979e-3), (6.0e-3, 5.99e-3), (6.0e-3, 5.97e-3, 5.99e-3), (5.0e-3,)])
def test_wear_is_judged_here_as_on_the_page_of_wear(die, values):
    for day, value in enumerate(values, 2):
        worn(die, value, day=day)
    (told,) = part_wear.of_log(read.of_die(die), make.moment(20).timestamp())
    assert told.is_past == bool(wrong(die))


def test_what_one_mishap_damaged_is_told_together(die):
    mishap(die, "4-A", "1-A", "2-P", day=6)
    mishap(die, "4-A", day=7)
    stop(die)
    rows = open_damage([die.pk])[die.pk]
    assert briefly(rows) == "4-A damaged; 1-A, 2-P and 4-A damaged; stopped for burr"
    assert sentences(rows)[1] == (
        "1-A, 2-P and 4-A were damaged in a mishap (misfeed, 12 Jan 2025, 06:00) and have not been ground or replaced "
        "since."
    )


def test_what_is_kept_beside_a_forecast_comes_back_whole(die):
    mishap(die, "4-A")
    burr(die, 45, code="1-A")
    stop(die)
    rows = open_damage([die.pk])[die.pk]
    assert len(rows) == 3 and [Damage.of_kept(one.kept()) for one in rows] == rows


def test_any_number_of_dies_in_as_many_questions(die, django_assert_max_num_queries):
    several = [die, *(make.die(f"H-{n}") for n in range(20))]
    for one in several[1:]:
        make.position(one, "4-A")
    Part.objects.update(burr_limit_um=20)
    for one in several:
        burr(one, 45)
        stop(one)
        mishap(one, "4-A")
    with django_assert_max_num_queries(9):  # one more: what was measured of pieces that wear
        assert sum(len(rows) for rows in open_damage([one.pk for one in several]).values()) == 63


def test_the_log_of_a_die_names_its_stops_for_burr_and_what_mishaps_damaged(die):
    mishap(die, "4-A", "2-P")
    mishap(die, day=5.1)
    stop(die, day=6)
    stop(die, day=6.5, cause="slug")
    struck = stop(die, day=7)
    write.strike_out(by=make.actor(), entry=struck, reason="another die")
    pieces = sorted(at(die, code).replacements.get().piece_in_id for code in ("4-A", "2-P"))
    known = read.of_die(die)
    assert [(t.at, t.piece) for t in known.troubles] == [
        *((make.moment(5).timestamp(), piece) for piece in pieces), (make.moment(6).timestamp(), None)
    ]  # fmt: skip
    assert known.last_moment == make.moment(6).timestamp()
