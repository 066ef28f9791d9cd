"""Presses, coils and hands from the log: what is read, what is kept, and that it comes with the look back."""

import datetime as dt

import pytest
from django.db.models import F

from diestore.register.models import Position
from diestore.service import queue
from maintenance import tasks
from maintenance.clockwork import cycles
from maintenance.forecasts import causes, store
from maintenance.life import LifeSamples, fit_fleet
from maintenance.log import read
from maintenance.models import Run, WearCause, Work
from tests import factories as make

from .long_shop import shop

pytestmark = pytest.mark.django_db


@pytest.fixture
def worn():
    """Twelve dies; the first four have their lives halved from the middle on, and run in press B since then."""
    dies = shop(weeks=70, halved=4, halved_from_week=35)
    a, b = make.press("A"), make.press("B")
    Run.objects.update(press=a, lot="coil 7")
    Run.objects.filter(die__in=dies[:4], started__gte=make.moment(7 * 35)).update(press=b, lot="Coil 8")
    for n, place in enumerate(Position.objects.order_by("pk")):
        place.x_mm, place.y_mm = 50.0 * (n % 2), 10.0 * n
        place.save()
    return dies


def test_the_press_in_which_lives_are_halved_is_told(worn):
    told = causes.compute(make.plant(), fit=store.fleet_of(make.plant())).told.of("press")
    bad = told[make.press("B").pk]
    assert bad.times < 0.8 and bad.chance > 0.95 and bad.dull > bad.expected
    assert told[make.press("A").pk].chance < 0.3
    plain = Work.objects.filter(found="dull").count()
    assert told[make.press("A").pk].dull + bad.dull == pytest.approx(plain, abs=1e-6)


def test_shares_of_a_cycle_by_press_and_coil(worn):
    """A cycle that ran across the change is shared by hits, and its parts make the whole."""
    change = make.moment(7 * 35).timestamp()
    log = read.of_die(worn[0])
    across = [c for c in cycles.cycles(log, 1e12) if c.started and c.started < change < c.ended]
    assert across
    for cycle in across:
        had = causes.of_cycle(log, cycle)
        before = Run.objects.filter(
            die=worn[0], started__gt=read.moment(cycle.started), started__lt=make.moment(7 * 35)
        )
        share = sum(before.values_list("hits", flat=True)) / cycle.hits
        assert had.presses.get(make.press("A").pk, 0.0) == pytest.approx(share)
        assert sum(had.presses.values()) == pytest.approx(1.0) == sum(had.lots.values())
        assert set(had.lots) <= {(worn[0].pk, "coil 7", None), (worn[0].pk, "coil 8", None)}


def test_it_comes_with_the_look_back_and_replaces_what_was_kept(worn):
    tasks.look_back.enqueue(make.plant().pk)
    assert queue.Worker(name="one").step()
    first = set(WearCause.objects.values_list("pk", flat=True))
    assert set(WearCause.objects.values_list("sort", flat=True)) == {"press", "lot", "person"}
    assert WearCause.objects.get(press__code="B").slope["refusal"] == ""
    causes.keep(causes.compute(make.plant()))
    assert WearCause.objects.count() == len(first) and not first & set(WearCause.objects.values_list("pk", flat=True))


def test_a_struck_run_and_an_unknown_press_say_nothing(worn):
    Run.objects.filter(press__code="B").update(press=None)
    told = causes.compute(make.plant()).told.of("press")
    assert set(told) == {make.press("A").pk}
    by = make.person()
    Run.objects.update(struck_at=F("at"), struck_by=by, struck_reason="never ran")
    assert causes.compute(make.plant()).told.of("press") == {}


def test_an_empty_log():
    assert causes.compute(make.plant()) is None
    die = make.die()
    make.run(die, 1, 1_000)
    assert causes.compute(make.plant(), fit=fit_fleet([], LifeSamples.of([], [], []))).told.slopes == ()


def test_what_is_entered_later_than_the_moment_does_not_count(worn):
    early = causes.compute(make.plant(), as_of=make.moment(7 * 30))
    assert set(early.told.of("press")) == {make.press("A").pk}
    assert early.as_of == make.START + dt.timedelta(days=210)
