"""Every change of the register has a date and a reason, and struck out it restores what was."""

import datetime as dt
from decimal import Decimal

import pytest
from django.contrib.auth.models import User
from django.utils import timezone
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase

from diestore.register import actions, amendments
from diestore.register.models import (
    Amendment,
    Cut,
    Die,
    Item,
    Output,
    Part,
    Party,
    Plant,
    Position,
    Press,
    Station,
    Stock,
    Variant,
)
from maintenance.clockwork import cycles
from maintenance.log import read
from maintenance.models import Change, Reading, Run
from tests import factories as make

pytestmark = pytest.mark.django_db
WHY = "measured at the bench"


@pytest.fixture
def by():
    return User.objects.create_superuser("root", password="x", first_name="Ina", last_name="T.")


@pytest.fixture
def cut(by):
    make.position(make.die(), "1-A", gap_mm=0.02)
    return Cut.objects.get()


def rows_of(cut):
    return [
        (row.gap_mm, row.length_mm, row.valid_from, row.valid_to)
        for row in amendments.rows_of_cut(Cut.objects.filter(die=cut.die_id).first())
    ]


# --- plain rows -------------------------------------------------------------------------------------------------------


def test_a_change_says_what_was_and_what_is_as_stored_and_as_read(by):
    item = make.item(length_mm=60.0)
    made = actions.amend(by=by, row=item, values={"length_mm": 63.5}, at=make.moment(3), reason=WHY)
    item.refresh_from_db()
    assert item.length_mm == 63.5
    entry = made.fields["length_mm"]
    assert (entry["was"], entry["now"]) == ("60.0", "63.5")
    assert (entry["was_read"], entry["now_read"]) == ("60.00 mm", "63.50 mm")
    assert (made.reason, made.user, made.who, made.at) == (WHY, by, "Ina T.", make.moment(3))
    assert amendments.told(made, "inch").lines == (amendments.Line("length", "2.362 in", "2.500 in"),)
    assert item.history.first().history_change_reason == WHY and item.history.first().history_user == by


@pytest.mark.parametrize(
    ("model", "values"),
    [
        ("item", {"unit_price": Decimal("12.3456"), "lead_days": 21, "criticality": "can wait", "coating": "TiN"}),
        (
            "die",
            {"strokes_per_minute": 0.1 + 0.2, "expected_parts": 10**12, "status": "in repair", "usual_press": None},
        ),
        ("part", {"last_needed": dt.date(2027, 3, 4), "burr_limit_um": 1 / 3, "customer": None}),
    ],
)
def test_a_change_struck_out_restores_every_value_exactly(by, model, values):
    die = make.die(usual_press=make.press())
    customer = Party.objects.create(code="C1", role="customer")
    Part.objects.update(customer=customer, burr_limit_um=0.1)
    row = {"item": lambda: make.item(unit_price="0.0385"), "die": lambda: die, "part": Part.objects.get}[model]()
    before = type(row).objects.filter(pk=row.pk).values().get()
    made = actions.amend(by=by, row=row, values=values, at=make.moment(3), reason=WHY)
    assert set(made.fields) == set(values)
    for name, value in values.items():
        assert getattr(type(row).objects.get(pk=row.pk), name) == value
    actions.take_back(by=by, amendment=made, reason="wrong die")
    assert type(row).objects.filter(pk=row.pk).values().get() == before
    made.refresh_from_db()
    assert made.is_struck and (made.struck_by, made.struck_who, made.struck_reason) == (by, "Ina T.", "wrong die")


def test_a_change_told_of_late_takes_its_place_by_its_date(by):
    item = make.item(coating="none")
    later = actions.amend(by=by, row=item, values={"coating": "TiCN"}, at=make.moment(20), reason=WHY)
    earlier = actions.amend(by=by, row=item, values={"coating": "TiN"}, at=make.moment(10), reason=WHY)
    item.refresh_from_db()
    later.refresh_from_db()
    assert item.coating == "TiCN"
    assert [(a.fields["coating"]["was"], a.fields["coating"]["now"]) for a in (earlier, later)] == [
        ("none", "TiN"),
        ("TiN", "TiCN"),
    ]
    actions.take_back(by=by, amendment=later, reason="no")
    item.refresh_from_db()
    assert item.coating == "TiN"


def test_a_typing_error_put_right_in_what_a_change_said_is_struck_out_first(by):
    item = make.item(coating="none")
    change = actions.amend(by=by, row=item, values={"coating": "TiN"}, at=make.moment(10), reason=WHY)
    put_right = actions.correct(by=by, row=item, values={"coating": "TiCN"}, reason="a slip")
    with pytest.raises(actions.ChangeRefused, match=r"put right as a typing error on .* Strike that out first"):
        actions.take_back(by=by, amendment=change, reason="no")
    actions.take_back(by=by, amendment=put_right, reason="it was right")
    actions.take_back(by=by, amendment=change, reason="no")
    item.refresh_from_db()
    assert item.coating == "none"


def test_what_was_loaded_otherwise_since_is_not_undone(by):
    item = make.item(coating="none")
    made = actions.amend(by=by, row=item, values={"coating": "TiN"}, at=make.moment(10), reason=WHY)
    Item.objects.update(coating="AlTiN")
    with pytest.raises(actions.ChangeRefused, match="coating is no longer TiN; it was loaded or typed otherwise"):
        actions.take_back(by=by, amendment=made, reason="no")


@pytest.mark.parametrize(
    ("values", "at", "reason", "says"),
    [
        ({"coating": "TiN"}, make.moment(1), " ", "Say why"),
        ({"coating": "TiN"}, make.moment(1), "x" * 301, "301 characters"),
        ({"coating": "TiN"}, timezone.now() + dt.timedelta(days=2), WHY, "still to come"),
        ({"tool_steel": "M2"}, make.moment(1), WHY, "Nothing here is other"),
        ({"hardness_hrc": 600.0}, make.moment(1), WHY, "hardness: .*600"),
        ({"hardness_hrc": "hard"}, make.moment(1), WHY, "must be a float"),
    ],
)
def test_a_change_that_cannot_be_is_refused_with_a_sentence_and_changes_nothing(by, values, at, reason, says):
    item = make.item()
    before = Item.objects.values().get()
    with pytest.raises(actions.ChangeRefused, match=says):
        actions.amend(by=by, row=item, values=values, at=at, reason=reason)
    assert Item.objects.values().get() == before and not Amendment.objects.exists()


@pytest.mark.parametrize("values", [{"stroke_share": 0.5}, {"kind": "trim_punch"}, {"side": "lower"}])
def test_what_runs_were_counted_with_is_put_right_and_not_changed(by, cut, values):
    place, name = Position.objects.get(), next(iter(values))
    with pytest.raises(actions.ChangeRefused, match="let this position end and enter another one") as refused:
        actions.amend(by=by, row=place, values=values, at=make.moment(1), reason=WHY)
    assert list(refused.value.errors) == [name]
    before = getattr(place, name)
    made = actions.correct(by=by, row=place, values=values)
    assert getattr(Position.objects.get(), name) == values[name]
    actions.take_back(by=by, amendment=made, reason="no")
    assert getattr(Position.objects.get(), name) == before


def test_several_rows_named_in_one_column_come_back_too(by, cut):
    place = Position.objects.get()
    wide = Variant.objects.create(die=place.die, code="wide")
    made = actions.correct(by=by, row=place, values={"variants": [wide]})
    assert list(place.variants.all()) == [wide] and made.fields["variants"]["now_read"] == "wide"
    actions.take_back(by=by, amendment=made, reason="no")
    assert not place.variants.exists()


def test_the_second_of_two_people_is_told_what_the_first_changed(by):
    item = make.item(coating="none")
    opened = amendments.newest_of(item)
    other = make.user("lead", "olaf")
    actions.amend(by=other, row=item, values={"coating": "TiN"}, at=make.moment(1), reason=WHY, opened=opened)
    with pytest.raises(actions.ChangedMeanwhile, match="While this was open, olaf changed") as told:
        actions.amend(by=by, row=item, values={"lead_days": 3}, at=make.moment(1), reason=WHY, opened=opened)
    assert [a.fields["coating"]["now"] for a in told.value.since] == ["TiN"]
    now = amendments.newest_of(item)
    actions.amend(by=by, row=item, values={"lead_days": 3}, at=make.moment(1), reason=WHY, opened=now)
    item.refresh_from_db()
    assert (item.coating, item.lead_days) == ("TiN", 3)


def test_the_apps_above_hear_of_it(by):
    die = make.die()
    Change.objects.all().delete()
    made = actions.amend(by=by, row=die, values={"strokes_per_minute": 90}, at=make.moment(1), reason=WHY)
    assert Change.objects.filter(die=die).count() >= 1
    Change.objects.all().delete()
    actions.take_back(by=by, amendment=made, reason="no")
    assert Change.objects.filter(die=die).count() >= 1


# --- a new row, out of use, duplicates, mistakes ----------------------------------------------------------------------


def test_a_row_entered_by_mistake_is_struck_out(by):
    made = actions.enter(by=by, row=Press(plant=make.plant(), code="P9", rated_force_n=1e6))
    assert made.fields["rated_force_n"]["now_read"] == "1,000.0 kN" and made.called == "P9"
    actions.take_back(by=by, amendment=made, reason="no such press")
    assert not Press.objects.exists() and amendments.Amendment.objects.get().is_struck


def test_a_row_that_cannot_be_is_not_entered(by):
    with pytest.raises(actions.ChangeRefused, match="thickness") as refused:
        actions.enter(by=by, row=Stock(code="S", material="steel", tensile_mpa=300, thickness_mm=-1))
    assert list(refused.value.errors) == ["thickness_mm"] and not Stock.objects.exists()


@pytest.mark.parametrize("made", [make.press, make.item, make.die, make.stock, make.person])
def test_out_of_use_and_back_and_both_struck_out(by, made):
    row = made()
    before = type(row).objects.filter(pk=row.pk).values().get()
    out = actions.retire(by=by, row=row, at=make.moment(5), reason="scrapped")
    row.refresh_from_db()
    assert actions.is_retired(row) and out.sort == "retired"
    back = actions.restore(by=by, row=row, at=make.moment(6), reason="found again")
    row.refresh_from_db()
    assert not actions.is_retired(row) and back.sort == "restored"
    for change in (back, out):
        actions.take_back(by=by, amendment=change, reason="no")
    assert type(row).objects.filter(pk=row.pk).values().get() == before


def test_a_place_ends_on_a_day(by, cut):
    place = Position.objects.get()
    out = actions.retire(by=by, row=place, at=make.moment(5), reason="taken out")
    place.refresh_from_db()
    assert place.valid_to == make.moment(5)
    with pytest.raises(actions.ChangeRefused, match="It would end before it begins"):
        actions.correct(by=by, row=place, values={"valid_from": make.moment(6)})
    actions.take_back(by=by, amendment=out, reason="no")
    place.refresh_from_db()
    assert place.valid_to is None


def test_a_duplicate_is_joined_and_parted_again(by):
    one, two = make.press("P1"), make.press("P01")
    die = make.die(usual_press=two)
    make.run(die, 1, press=two)
    make.run(die, 2, press=one)
    made = actions.merge(by=by, row=two, into=one, reason="typed twice")
    assert list(Press.objects.values_list("code", flat=True)) == ["P1"]
    assert Run.objects.filter(press=one).count() == 2 and Die.objects.get().usual_press == one
    actions.take_back(by=by, amendment=made, reason="they are two")
    assert Press.objects.count() == 2 and Die.objects.get().usual_press_id == two.pk
    assert Run.objects.get(press_id=two.pk).at == make.moment(1) + dt.timedelta(hours=4)


def test_what_both_have_cannot_be_joined(by):
    die = make.die()
    other = Part.objects.create(number="P-2")
    Output.objects.create(variant=die.variants.get(), part=other)
    with pytest.raises(actions.ChangeRefused, match="both have the same under them"):
        actions.merge(by=by, row=other, into=Part.objects.get(number="P-H-900"), reason="twice")
    assert Part.objects.count() == 2 and Output.objects.count() == 2
    with pytest.raises(actions.ChangeRefused, match="has a past of its own"):
        actions.merge(by=by, row=die, into=make.die("H-901"), reason="twice")


def test_what_has_a_log_is_not_deleted_and_is_told_what_stands_on_it(by):
    die = make.die()
    make.position(die)
    make.run(die, 1)
    for row, says in (
        (die, "stays: .*stand.* on it. Retire it instead"),
        (die.usual_stock, "1 die"),
        (Position.objects.get(), "on it"),
    ):
        with pytest.raises(actions.ChangeRefused, match=says):
            actions.delete(by=by, row=row, reason="mistake")
    assert Die.objects.exists() and Cut.objects.exists() and not Amendment.objects.exists()


def test_a_die_without_a_log_goes_with_all_of_it_and_comes_back_whole(by):
    die = make.die()
    station = Station.objects.create(die=die, sequence=1, code="1")
    place = Position.objects.create(die=die, station=station, code="1-A", kind="pierce_punch", side="upper")
    place.variants.set(die.variants.all())
    Cut.objects.create(die=die, code="1-A", upper=place, length_mm=1 / 3, gap_mm=0.1)
    change = actions.amend(by=by, row=die, values={"description": "bracket"}, at=make.moment(1), reason=WHY)
    models = (Die, Variant, Output, Station, Position, Cut)
    before = [list(model.objects.order_by("pk").values()) for model in models]
    made = actions.delete(by=by, row=die, reason="another shop's")
    assert not any(model.objects.exists() for model in models)
    actions.take_back(by=by, amendment=made, reason="ours after all")
    assert [list(model.objects.order_by("pk").values()) for model in models] == before
    assert list(Position.objects.get().variants.all()) == list(Variant.objects.all())
    change.refresh_from_db()
    assert change.die_id == die.pk


def test_one_called_alike_by_now_keeps_a_deleted_one_from_coming_back(by):
    press = make.press()
    made = actions.delete(by=by, row=press, reason="mistake")
    make.press()
    with pytest.raises(actions.ChangeRefused, match="another one is called like it by now"):
        actions.take_back(by=by, amendment=made, reason="no")


# --- cuts -------------------------------------------------------------------------------------------------------------


def test_a_gap_changed_in_the_past_is_read_by_the_cycles_and_struck_out_restores_them(by):
    die = make.die()
    edge = make.position(die, "1-A", gap_mm=0.02)
    for n in range(6):
        make.run(die, 4 * n + 1, 20_000)
        make.sharpen(die, 4 * n + 3, edge, why="dull", found="dull")
    cut = Cut.objects.get()

    def gaps():
        return [c.build.gap_mm for c in cycles.cycles(read.of_die(die), make.moment(400).timestamp())]

    before, rows = gaps(), list(Cut.objects.order_by("pk").values())
    made = actions.amend(by=by, row=cut, values={"gap_mm": 0.03}, at=make.moment(11), reason=WHY)
    assert gaps() == [0.02] * 3 + [0.03] * 4
    late = actions.amend(by=by, row=cut, values={"gap_mm": 0.025}, at=make.moment(3), reason=WHY)
    assert gaps() == [0.02] + [0.025] * 2 + [0.03] * 4
    actions.take_back(by=by, amendment=made, reason="no")
    assert gaps() == [0.02] + [0.025] * 6
    actions.take_back(by=by, amendment=late, reason="no")
    assert gaps() == before and list(Cut.objects.order_by("pk").values()) == rows


def test_readings_of_the_row_that_goes_are_of_the_one_that_stays(by, cut):
    made = actions.amend(by=by, row=cut, values={"gap_mm": 0.03}, at=make.moment(11), reason=WHY)
    new = Cut.objects.get(valid_to=None)
    Reading.objects.create(
        at=make.moment(12), cut=new, quantity="gap", value_si=3e-5, typed_value="0.03", typed_unit="mm"
    )
    actions.take_back(by=by, amendment=made, reason="no")
    assert Reading.objects.get().cut == Cut.objects.get() == cut


def test_a_cut_put_right_is_right_for_as_long_as_it_stood_so(by, cut):
    actions.amend(by=by, row=cut, values={"length_mm": 25.0}, at=make.moment(5), reason=WHY)
    actions.amend(by=by, row=cut, values={"gap_mm": 0.04}, at=make.moment(9), reason=WHY)
    middle = Cut.objects.get(valid_from=make.moment(5))
    made = actions.correct(by=by, row=middle, values={"gap_mm": 0.021}, reason="a slip")
    assert [row[0] for row in rows_of(cut)] == [0.021, 0.021, 0.04]
    actions.take_back(by=by, amendment=made, reason="no")
    assert [row[0] for row in rows_of(cut)] == [0.02, 0.02, 0.04]


def test_rows_that_were_loaded_stay_borders(by, cut):
    Cut.objects.filter(pk=cut.pk).update(valid_to=make.moment(10))
    Cut.objects.create(
        die=cut.die, code=cut.code, upper=cut.upper, length_mm=20.0, gap_mm=0.03, valid_from=make.moment(10)
    )
    rows = list(Cut.objects.order_by("pk").values())
    cut.refresh_from_db()
    made = actions.amend(by=by, row=cut, values={"gap_mm": 0.03}, at=make.moment(4), reason=WHY)
    assert [row[0] for row in rows_of(cut)] == [0.02, 0.03, 0.03]
    actions.take_back(by=by, amendment=made, reason="no")
    assert list(Cut.objects.order_by("pk").values()) == rows


def test_a_cut_ends_and_is_not_changed_after(by, cut):
    out = actions.retire(by=by, row=cut, at=make.moment(9), reason="welded shut")
    with pytest.raises(actions.ChangeRefused, match="There was no cut 1-A on"):
        actions.amend(by=by, row=cut, values={"gap_mm": 0.03}, at=make.moment(11), reason=WHY)
    actions.amend(by=by, row=cut, values={"gap_mm": 0.03}, at=make.moment(4), reason=WHY)
    assert rows_of(cut)[-1] == (0.03, 20.0, make.moment(4), make.moment(9))
    actions.take_back(by=by, amendment=out, reason="no")
    assert rows_of(cut)[-1] == (0.03, 20.0, make.moment(4), None)


GAPS, LENGTHS = st.sampled_from([0.02, 0.03, 0.1 + 0.2]), st.sampled_from([20.0, 25.0, 1 / 3])
CHANGES = st.lists(
    st.tuples(
        st.integers(1, 6), st.one_of(st.tuples(st.just("gap_mm"), GAPS), st.tuples(st.just("length_mm"), LENGTHS))
    ),
    unique_by=lambda c: (c[0], c[1][0]),
    max_size=6,
)
BASE = {"gap_mm": 0.02, "length_mm": 20.0}


def naive(changes):
    """How the cut stands on each day, told without any rows."""
    state, days = dict(BASE), []
    for day in range(8):
        state = state | dict(what for at, what in changes if at == day)
        days.append(state)
    return days


def on_each_day(cut):
    found = []
    for day in range(8):
        at = make.moment(day)
        row = next(
            row
            for row in Cut.objects.filter(die=cut.die_id)
            if (row.valid_from is None or row.valid_from <= at) and (row.valid_to is None or at < row.valid_to)
        )
        found.append({"gap_mm": row.gap_mm, "length_mm": row.length_mm})
    return found


class Laws(TestCase):
    """On a cut, whose changes are rows, and on a part's place in the list, whose changes are not."""

    @settings(max_examples=60, suppress_health_check=list(HealthCheck))
    @given(CHANGES, st.randoms(use_true_random=False))
    @make.nothing_follows()  # no forecast is read here, and one after each change is most of what this takes
    def test_the_order_of_entering_does_not_matter_and_struck_out_all_is_as_before(self, wanted, luck):
        by = User.objects.create_superuser("root", password="x")
        make.position(make.die(), "1-A", gap_mm=0.02)
        cut, rows, item = Cut.objects.get(), list(Cut.objects.order_by("pk").values()), make.item(length_mm=1.0)
        items = Item.objects.values().get()
        entered, of_items = [], []
        for at, (name, value) in luck.sample(wanted, len(wanted)):
            try:
                made = actions.amend(
                    by=by, row=Cut.objects.earliest("pk"), values={name: value}, at=make.moment(at), reason=WHY
                )
                entered.append((made, at, (name, value)))
            except actions.ChangeRefused as refused:
                assert "Nothing here is other" in str(refused)
            if name == "gap_mm":
                made = actions.amend(
                    by=by, row=item, values={"length_mm": 2.0 + at + value}, at=make.moment(at), reason=WHY
                )
                of_items.append((made, at, 2.0 + at + value))
        assert on_each_day(cut) == naive([(at, what) for _, at, what in entered])
        luck.shuffle(entered)
        luck.shuffle(of_items)
        while entered:
            actions.take_back(by=by, amendment=entered.pop()[0], reason="no")
            assert on_each_day(cut) == naive([(at, what) for _, at, what in entered])
        assert list(Cut.objects.order_by("pk").values()) == rows
        while of_items:
            newest = max(of_items, key=lambda one: one[1])
            item.refresh_from_db()
            assert item.length_mm == newest[2]
            actions.take_back(by=by, amendment=of_items.pop()[0], reason="no")
        assert Item.objects.values().get() == items

    def test_what_is_not_other_when_it_is_typed_is_refused_and_kept_nowhere(self):
        by = User.objects.create_superuser("root", password="x")
        make.position(make.die(), "1-A", gap_mm=0.02)
        with pytest.raises(actions.ChangeRefused, match="Nothing here is other"):
            actions.amend(by=by, row=Cut.objects.get(), values={"gap_mm": 0.02}, at=make.moment(3), reason=WHY)
        assert Cut.objects.count() == 1


def test_a_plants_own_change_is_kept_under_it(by):
    made = actions.amend(by=by, row=make.plant(), values={"name": "North"}, at=make.moment(1), reason=WHY)
    assert made.plant == Plant.objects.get()
