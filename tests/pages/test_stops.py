"""A stop: where it was, what it broke; which die stands in which press; a first fitting."""

import pytest
from django.utils import timezone

from diestore.register.models import Press
from maintenance.models import DieInPress, Incident, Replacement, Stop
from tests import factories as make
from tests.pages.bench_browser import address, at, page, said, send, sent

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("no_forecasts")]

BEFORE = {"misfeed", "burr", "broken", "slug", "stuck part", "mended in press", "setting", "other"}


def test_a_stop_names_its_place_or_its_station(lead, die, ina):
    punch = at("3-A", die)
    values = {"cause": "die protection", "minutes": "4", "person": ina.pk}
    answer = send(lead, "log_stop", die, place=f"place-{punch.pk}", follow=True, **values)
    assert "Stopped 4 minutes: die protection tripped" in said(answer)
    row = Stop.objects.get()
    assert (row.position, row.station) == (punch, punch.station)
    send(lead, "log_stop", die, place=f"station-{punch.station_id}", **values)
    assert (Stop.objects.latest("pk").position, Stop.objects.latest("pk").station) == (None, punch.station)
    listed = page(lead.get(address("entries")))
    assert "at 3-A" in listed and "in station 3" in listed
    elsewhere = make.position(make.die("X-9"))
    answer = send(lead, "log_stop", die, place=f"place-{elsewhere.pk}", **values)
    assert answer.context["form"].errors["place"] == ["Pick a station or a position of this die."]


def test_a_stop_that_broke_something_is_a_mishap_and_typed_once(lead, die, ina):
    punch = at("1-A", die)
    values = {"minutes": "40", "person": ina.pk, "damaged": str(punch.pk), "note": "strip stepped short"}
    answer = send(lead, "log_stop", die, cause="misfeed", follow=True, **values)
    mishap = Incident.objects.get()
    assert (mishap.sort, mishap.note, Stop.objects.get().at) == ("misfeed", "strip stepped short", mishap.at)
    assert list(mishap.pieces.all()) == [punch.fittings.get().piece]
    assert "1 damaged piece has no entry yet" in page(answer)
    answer = send(lead, "log_stop", die, cause="waiting", **values)
    assert "A stop for this breaks nothing" in answer.context["form"].errors["damaged"][0]
    assert Stop.objects.count() == Incident.objects.count() == 1


def test_what_old_records_call_a_cause_is_still_one():
    assert {value for value, _ in Stop.Cause.choices} >= BEFORE


def test_the_die_in_a_press_is_offered_first_and_its_press_with_it(lead, die):
    press = Press.objects.create(plant=die.plant, code="press 9")
    DieInPress.objects.create(die=die, press=press, since=timezone.now())
    assert f"press 9: {die.code}" in page(lead.get(address("log")))
    assert f"press 9: {die.code}" in page(lead.get(address("log_run")))
    for name in ("log_run", "log_stop"):
        assert sent(lead.get(address(name, die)))["press"] == str(press.pk)


def test_a_first_fitting_asks_nothing_about_what_came_out(lead, die, ina):
    punch = at("3-A", die)
    send(lead, "log_replacement", die, position=punch.pk, why="other", goes_in="nothing", person=ina.pk)
    form = lead.get(address("log_replacement", die, position=punch.pk)).context["form"]
    assert form.is_first and form.empty == str(punch.pk)
    values = {"position": punch.pk, "why": "dull", "found": "dull", "from_shelf": "no", "person": ina.pk}
    assert send(lead, "log_replacement", die, **values).status_code == 302
    row = Replacement.objects.latest("pk")
    assert (row.why, row.found) == ("first", "")


def test_a_broken_piece_was_found_broken(lead, die, ina):
    values = {"position": at("3-A", die).pk, "why": "broken", "from_shelf": "no", "person": ina.pk}
    answer = send(lead, "log_replacement", die, found="sharp", **values)
    assert "It came out as broken, but its edge was found sharp" in answer.context["form"].doubt
    send(lead, "log_replacement", die, **values)
    assert Replacement.objects.latest("pk").found == "broken"
