"""A change has a date: what was so before stays, in the register and in the cycles that are read from it."""

import datetime as dt

import pytest
from django.contrib.auth.models import User
from django.utils import timezone

from diestore.register import actions
from diestore.register.models import Cut
from maintenance.clockwork import cycles
from maintenance.forecasts import fit, samples, store
from maintenance.log import queries, read
from maintenance.screens.die.state import of_die as state_of_die
from tests import factories as make

pytestmark = pytest.mark.django_db


@pytest.fixture
def by():
    return User.objects.create_superuser("root", password="x")


@pytest.fixture
def die():
    made = make.die()
    edge = make.position(made, "1-A", gap_mm=0.02)
    for n in range(6):
        make.run(made, 4 * n + 1, 20_000 + 1_000 * n)
        make.run(made, 4 * n + 2, 5_000)
        make.sharpen(made, 4 * n + 3, edge, why="dull", found="dull")
    make.run(made, 30, 4_000)
    return made


def gaps(die):
    log = read.of_die(die)
    return [(c.build.gap_mm, c.open) for c in cycles.cycles(log, make.moment(400).timestamp())]


def test_a_gap_that_is_wider_from_now_on_leaves_the_ended_cycles_as_they_were(die, by):
    store.fit_and_forecast(die.plant)
    before = queries.newest_forecast(die)
    after = actions.change_cut(by=by, cut=Cut.objects.get(), at=make.moment(31), gap_mm=0.03)
    assert gaps(die) == [(0.02, False)] * 6 + [(0.02, True)], "most of the cycle under way was run with the old gap"
    assert store.refresh_die(die).remaining == before.remaining
    assert [(c.gap_mm, c.valid_from, c.valid_to) for c in Cut.objects.order_by("pk")] == [
        (0.02, None, make.moment(31)),
        (0.03, make.moment(31), None),
    ]
    assert after.history.get().history_user == by
    make.sharpen(die, 32)
    make.run(die, 33, 3_000)
    assert gaps(die) == [(0.02, False)] * 7 + [(0.03, True)]


def test_a_gap_opened_on_the_bench_after_the_last_entry_is_the_one_that_goes_on(die, by):
    """The forecast of a sharpened die is that of the die as it is built now, on a page, after an entry and by night."""
    make.sharpen(die, 32)
    store.fit_and_forecast(die.plant)
    before = queries.newest_forecast(die)
    actions.change_cut(by=by, cut=Cut.objects.get(), at=make.moment(40), gap_mm=0.06)
    after = store.refresh_die(die)
    assert after.remaining != before.remaining and after.as_of == before.as_of
    store.fit_and_forecast(die.plant)
    by_night = queries.newest_forecast(die)
    assert store.refresh_die(die).remaining == pytest.approx(by_night.remaining)
    (row,) = [row for row in state_of_die(die, "metric").rows if row.cuts]
    assert row.gap_mm == 0.06
    # What somebody asks of the day before it was opened is answered with the gap of then.
    then = fit.compute(die.plant, as_of=make.moment(35))
    (told,) = [outlook for outlook in then.dies if outlook.die == die.pk]
    assert told.prediction.remaining[0.5] == pytest.approx(before.remaining["0.5"], rel=0.01)


def test_what_was_changed_weeks_ago_holds_from_then(die, by):
    actions.change_cut(by=by, cut=Cut.objects.get(), at=make.moment(11), gap_mm=0.03)
    assert gaps(die) == [(0.02, False)] * 3 + [(0.03, False)] * 3 + [(0.03, True)]
    now = Cut.objects.get(valid_to=None)
    actions.change_cut(by=by, cut=now, at=make.moment(19), gap_mm=0.04, length_mm=25.0)
    assert [gap for gap, _ in gaps(die)] == [0.02] * 3 + [0.03] * 2 + [0.04] * 2
    assert [c.length_mm for c in Cut.objects.order_by("valid_to")].count(25.0) == 1


def test_a_cut_that_goes_over_to_another_piece_leaves_the_old_ones_cycles(die, by):
    other = make.position(die, "1-B", length_mm=None)
    actions.change_cut(by=by, cut=Cut.objects.get(), at=make.moment(29), upper=other)
    when = make.moment(400).timestamp()
    part = samples.of_die(read.of_die(die), when)
    old = die.positions.get(code="1-A")
    assert set(part.current) == {other.pk}
    assert sum(c.position == old.pk for _, c in part.rows) == 6


def test_a_typing_error_is_put_right_for_all_of_the_past_with_its_reason_kept(die, by):
    cut = Cut.objects.get()
    cut.gap_mm = 0.03
    actions.correct_cut(by=by, cut=cut)
    assert {gap for gap, _ in gaps(die)} == {0.03}
    newest = Cut.objects.get().history.first()
    assert (newest.history_change_reason, newest.history_user) == (actions.NEVER_SO, by)


def test_another_name_is_that_of_all_rows_of_the_cut(die, by):
    after = actions.change_cut(by=by, cut=Cut.objects.get(), at=make.moment(31), gap_mm=0.03)
    after.code = "hole"
    actions.correct_cut(by=by, cut=after)
    assert set(Cut.objects.values_list("code", flat=True)) == {"hole"}


@pytest.mark.parametrize(
    ("at", "says"),
    [
        (timezone.now() + dt.timedelta(days=1), "is still to come"),
        (make.moment(31), "stands so since .* only"),
        (make.moment(30), "stands so since .* only"),
    ],
)
def test_a_change_that_cannot_be_is_refused_with_a_sentence(die, by, at, says):
    now = actions.change_cut(by=by, cut=Cut.objects.get(), at=make.moment(31), gap_mm=0.03)
    with pytest.raises(actions.ChangeRefused, match=says):
        actions.change_cut(by=by, cut=now, at=at, gap_mm=0.04)
    with pytest.raises(actions.ChangeRefused, match="This is how 1-A was until"):
        actions.change_cut(by=by, cut=Cut.objects.get(valid_from=None), at=make.moment(20), gap_mm=0.04)
    assert Cut.objects.count() == 2


def test_another_usual_stock_leaves_what_was_run_on_the_one_before(die):
    when = make.moment(400).timestamp()
    punch = die.positions.get(code="1-A")
    make.sharpen(die, 31, punch, why="dull", found="dull")
    make.sharpen(die, 31.5, punch, why="chipped")  # without a stroke between
    was = [c.build.stock for c in cycles.cycles(read.of_die(die), when)]
    assert was == [die.usual_stock_id] * len(was)
    die.usual_stock = make.stock(thickness_mm=2.0)
    die.save()
    now = cycles.cycles(read.of_die(die), when)
    assert [c.build.stock for c in now if not c.open] == was[:-1]
    assert now[-1].build.stock == die.usual_stock_id, "nothing was run in it yet"
