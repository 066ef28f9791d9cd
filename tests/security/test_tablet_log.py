"""What is logged on a shared tablet carries the name that was picked with its PIN, and nobody else's."""

import datetime as dt

import pytest
import time_machine
from django.contrib.auth.models import Permission, User

from diestore.access import actions, throttle
from diestore.access.models import Person
from maintenance.models import Run, Stop
from tests import factories as make
from tests.pages.bench_browser import address, everything, page, send, sent, start_to_end

from .conftest import ina, jory

pytestmark = pytest.mark.django_db
NOW = dt.datetime(2025, 6, 3, 6, 0, tzinfo=dt.UTC)


def stop(client, die, **more):
    return send(client, "log_stop", die, **{"cause": "misfeed", "minutes": "12"} | more)


def test_the_first_entry_asks_for_a_name_and_its_pin_in_the_form_itself(bench, die):
    shown = page(bench.get(address("log_stop", die)))
    assert 'name="pin"' in shown and "Jory T." in shown and "Odd B." not in shown
    for name, pin, words in (
        (None, "", "Pick a name."),
        (ina().pk, "", "Tap your PIN."),
        (ina().pk, "9999", "This PIN does not fit that name."),
        (make.person("Odd B.").pk, "4071", "Pick a name of the list."),
    ):
        answer = stop(bench, die, person=name, pin=pin)
        assert answer.status_code == 422 and words in page(answer)
        assert 'value="12"' in page(answer), "what was typed is still there"
        assert pin not in page(answer) if pin else True, "and the PIN is not"
    assert not Stop.objects.exists()
    assert stop(bench, die, person=ina().pk, pin="4071").status_code == 302
    row = Stop.objects.get()
    assert row.person == ina() and row.user.username == row.device == "bench 2"


def test_the_next_entry_needs_neither_and_the_name_stays_longer_with_each(bench, die):
    with time_machine.travel(NOW, tick=False) as clock:
        stop(bench, die, person=ina().pk, pin="4071")
        for _ in range(3):
            clock.shift(dt.timedelta(minutes=9))
            assert "Logged by <strong>Ina T.</strong>" in page(bench.get(address("log_stop", die)))
            assert stop(bench, die).status_code == 302
    assert set(Stop.objects.values_list("person__name", flat=True)) == {"Ina T."} and Stop.objects.count() == 4


def test_after_a_while_the_same_person_taps_the_name_and_the_button(bench, die):
    """Two taps: no PIN for the name that was there, which is not picked by itself."""
    with time_machine.travel(NOW, tick=False) as clock:
        stop(bench, die, person=ina().pk, pin="4071")
        clock.shift(dt.timedelta(minutes=30))
        shown = bench.get(address("log_stop", die))
        assert "no PIN needed" in page(shown) and "person" not in sent(shown)
        assert stop(bench, die).status_code == 422
        assert stop(bench, die, person=jory().pk).status_code == 422
        assert stop(bench, die, person=ina().pk).status_code == 302
        clock.shift(dt.timedelta(minutes=61))
        assert stop(bench, die, person=ina().pk).status_code == 422
    assert Stop.objects.count() == 2


def test_somebody_else_takes_over_within_the_form(bench, die):
    stop(bench, die, person=ina().pk, pin="4071")
    assert stop(bench, die, person=jory().pk).status_code == 422
    assert stop(bench, die, person=jory().pk, pin="880215").status_code == 302
    assert list(Stop.objects.order_by("pk").values_list("person__name", flat=True)) == ["Ina T.", "Jory T."]


def test_a_name_that_ran_out_while_the_form_was_open_keeps_what_was_typed(bench, die):
    with time_machine.travel(NOW, tick=False) as clock:
        stop(bench, die, person=ina().pk, pin="4071")
        data = sent(bench.get(address("log_stop", die)), cause="burr", minutes="7")
        clock.shift(dt.timedelta(minutes=90))
        answer = bench.post(address("log_stop", die), data)
        assert answer.status_code == 422 and "Tap your PIN." in page(answer) and 'value="7"' in page(answer)
        assert bench.post(address("log_stop", die), data | {"pin": "4071"}).status_code == 302


def test_a_right_pin_holds_though_something_else_was_wrong(bench, die):
    answer = stop(bench, die, person=ina().pk, pin="4071", minutes="x")
    assert answer.status_code == 422 and "Logged by <strong>Ina T.</strong>" in page(answer)
    assert stop(bench, die).status_code == 302


def test_guessing_in_the_form_is_held_as_everywhere(bench, die):
    with time_machine.travel(NOW, tick=False):
        for _ in range(throttle.PIN.free):
            assert stop(bench, die, person=ina().pk, pin="0815").status_code == 422
        answer = stop(bench, die, person=ina().pk, pin="4071")
        assert answer.status_code == 422 and "Wait 30 seconds" in page(answer)
    assert not Stop.objects.exists()


def test_a_doubt_is_confirmed_without_the_pin_a_second_time(bench, die):
    times = start_to_end(2)
    answer = send(bench, "log_run", die, hits="100", person=ina().pk, pin="4071", **times)
    assert answer.status_code == 422 and "It is right as typed" in page(answer)
    data = sent(answer, confirm=answer.context["form"].doubt_mark)
    assert bench.post(address("log_run", die), data).status_code == 302
    assert Run.objects.get().person == ina()


def test_the_same_form_with_the_pin_typed_again_is_the_same_form(bench, die):
    data = sent(bench.get(address("log_stop", die)), cause="burr", minutes="7", person=ina().pk, pin="4071")
    assert bench.post(address("log_stop", die), data).status_code == 302
    assert bench.post(address("log_stop", die), data | {"pin": ""}).status_code == 302
    assert Stop.objects.count() == 1


def test_striking_out_asks_likewise(bench, die):
    run = make.run(die, 1)
    User.objects.get(username="bench 2").user_permissions.add(Permission.objects.get(codename="strike_entry"))
    there = f"/log/entries/run/{run.pk}/strike/"
    assert 'name="pin"' in page(bench.get(there))
    assert bench.post(there, {"reason": "twice", "person": ina().pk}).status_code == 422
    assert not Run.objects.get().is_struck
    assert bench.post(there, {"reason": "twice", "person": ina().pk, "pin": "4071"}).status_code == 302
    assert Run.objects.get().struck_by == ina()


def test_where_nobody_has_a_pin_the_form_says_so_and_works(bench, die):
    root = User.objects.get(username="root")
    for person in Person.objects.all():
        actions.remove_pin(by=root, person=person)
    assert "Nobody of this plant has a PIN yet" in page(bench.get(address("log_stop", die)))
    before = everything()
    assert stop(bench, die).status_code == 302
    assert everything() != before and Stop.objects.get().person is None


def test_whoever_signs_in_by_name_picks_without_a_pin_as_before(client, die):
    client.force_login(make.user("toolmaker"))
    make.person()
    shown = page(client.get(address("log_stop", die)))
    assert 'name="pin"' not in shown
    assert stop(client, die, person=make.person().pk).status_code == 302
    assert Stop.objects.get().device == ""
