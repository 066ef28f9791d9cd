"""Ten minutes in which whoever wrote an entry takes it back with one tap."""

import datetime as dt

import pytest
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from diestore.access import actions, roles
from diestore.access.models import UserSettings
from maintenance.log import take_back, write
from maintenance.models import Stop, Work
from tests import factories as make
from tests.pages.bench_browser import address, page, said, send

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("no_forecasts")]


@pytest.fixture
def setter():
    client = Client()
    client.force_login(make.user(roles.SETTER))
    return client


def back(entry, sort="stop") -> str:
    return reverse("maintenance:take_back", args=[sort, entry.pk])


def stop(client, die, person, **more) -> Stop:
    answer = send(client, "log_stop", die, cause="slug", minutes="5", person=person.pk, follow=True, **more)
    entry = Stop.objects.latest("pk")
    assert back(entry) in page(answer), "the note that it is saved carries the button"
    return entry


def test_a_setter_takes_back_what_they_have_just_written(setter, die, ina):
    entry = stop(setter, die, ina)
    listed = page(setter.get(address("entries")))
    assert back(entry) in listed and "strike/" not in listed
    answer = setter.post(back(entry), follow=True)
    assert "Undone: Stopped 5 minutes" in said(answer)
    entry.refresh_from_db()
    assert (entry.struck_by, entry.struck_reason) == (ina, "undone by whoever made it")
    assert "struck out already" in said(setter.post(back(entry), follow=True))
    assert back(entry) not in page(setter.get(address("entries")))


def test_after_ten_minutes_and_by_anybody_else_it_stands(setter, client, die, ina):
    entry = stop(setter, die, ina)
    client.force_login(make.user(roles.TOOLMAKER))
    assert "Only whoever made an entry can undo it" in said(client.post(back(entry), follow=True))
    Stop.objects.filter(pk=entry.pk).update(recorded_at=timezone.now() - dt.timedelta(minutes=10, seconds=5))
    assert "only for 10 minutes" in said(setter.post(back(entry), follow=True))
    assert back(entry) not in page(setter.get(address("entries")))
    entry.refresh_from_db()
    assert not entry.is_struck
    assert setter.post(back(entry).replace(str(entry.pk), "99999999999999999999")).status_code == 404
    assert setter.get(back(entry)).status_code == 405


def test_a_whole_set_goes_together(lead, die, ina):
    send(lead, "log_sharpening", die, sides="upper", removed="0.1", why="planned", person=ina.pk)
    lead.post(back(Work.objects.first(), "work"))
    assert Work.objects.count() == 2 and not Work.objects.standing().exists()


def test_on_a_shared_tablet_it_is_the_person_that_counts(setter, die, ina):
    UserSettings.objects.create(user=User.objects.get(username="setter"), shared_device=True)
    by = make.user(roles.LEAD, "boss")
    other = make.person("Odo B.")
    for person, pin in ((ina, "4071"), (other, "8802")):
        actions.set_pin(by=by, person=person, pin=pin)
    entry = stop(setter, die, ina, pin="4071")
    stop(setter, die, other, pin="8802")  # from now on it is Odo at the tablet
    assert "Only whoever made" in said(setter.post(back(entry), follow=True))
    assert "Undone" in said(setter.post(back(Stop.objects.latest("pk")), follow=True))


def test_what_another_way_brought_in_is_nobodys_to_take_back(die, ina):
    user = make.user(roles.LEAD)
    entry = write.log_stop(
        by=write.Actor(person=ina, user=user, through="import"), die=die, at=timezone.now(), cause="slug", minutes=3
    )
    assert not take_back.may_take_back(entry, user=user)
    with pytest.raises(write.EntryRefused):
        take_back.take_back(by=write.Actor(person=ina, user=user), entry=entry)
