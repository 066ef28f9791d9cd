"""A shop of two plants: whoever belongs to one sees that one; whoever belongs to none sees all."""

import datetime as dt
import re

import pytest
from django.urls import reverse

from diestore.access.models import UserSettings
from diestore.register.models import Die
from maintenance.forecasts import store
from maintenance.models import DieForecast, DriftFlag, PastForecasts, StockMovement
from tests import factories as make

pytestmark = pytest.mark.django_db
EVERY_DIE = {"H-1", "H-2"}


@pytest.fixture
def plants():
    """Of each plant a die with an open order that it will not finish, a forecast, and a look back of its own."""
    found = []
    for code, held in (("north", 0.82), ("south", 0.64)):
        plant = make.plant(code)
        die = make.die(f"H-{len(found) + 1}")
        Die.objects.filter(pk=die.pk).update(plant=plant)
        die.refresh_from_db()
        make.position(die)
        make.run(die, 1, 9_000 + len(found))
        make.order(die, f"26-{len(found)}", parts=90_000_000)
        store.fit_and_forecast(plant)
        scores = {"band_80": held, "forecasts": 100}
        PastForecasts.objects.create(plant=plant, as_of=make.moment(9), code_version="4", scores=scores)
        DriftFlag.objects.create(
            die=die, as_of=make.moment(9), since=make.moment(1), dull_ends=4, expected=1.0, chance=0.001
        )
        StockMovement.objects.create(
            plant=plant, item=make.item(), kind="count", place="shelf", quantity=len(found) + 3, at=make.moment(2),
            through="import", key=f"count|{code}",
        )  # fmt: skip
        found.append(plant)
    return found


def seen_by(client, name: str, plant=None) -> str:
    user = make.user("lead")
    UserSettings.objects.create(user=user, plant=plant)
    client.force_login(user)
    return client.get(reverse(name)).content.decode()


def codes(html: str) -> set[str]:
    return set(re.findall(r'<a href="/dies/\d+/[^"]*">(?:<strong>)?(H-\d)<', html))


@pytest.mark.parametrize("name", ["maintenance:due", "reports:today"])
@pytest.mark.parametrize(("own", "theirs"), [(0, {"H-1"}), (1, {"H-2"}), (None, EVERY_DIE)])
def test_everybody_sees_the_dies_of_the_own_plant(client, plants, name, own, theirs):
    html = seen_by(client, name, None if own is None else plants[own])
    assert codes(html) == theirs


@pytest.mark.parametrize(("own", "held"), [(0, "82"), (1, "64")])
def test_how_right_forecasts_were_is_told_of_the_own_plant(client, plants, own, held):
    newest = DieForecast.objects.filter(is_newest=True, die__plant=plants[own])
    newest.update(as_of=dt.datetime(2025, 2, 3 + own, 9, 0, tzinfo=dt.UTC))
    html = seen_by(client, "maintenance:due", plants[own])
    assert re.findall(r"(\d+) of 100 such ranges held", html) == [held]
    assert f"entries up to {3 + own} Feb 2025" in html


def test_of_several_plants_no_record_is_told_for_all(client, plants):
    html = seen_by(client, "maintenance:due")
    assert "of 100" not in html and "entries up to" not in html


def test_with_one_plant_everybody_sees_its_record(client):
    die = make.die("H-1")
    make.position(die)
    make.order(die, "26-0")
    store.fit_and_forecast(die.plant)
    scores = {"band_80": 0.7, "forecasts": 100}
    PastForecasts.objects.create(plant=die.plant, as_of=make.moment(9), code_version="4", scores=scores)
    assert "70 of 100 such ranges held" in seen_by(client, "maintenance:due")


@pytest.mark.parametrize(("own", "hits"), [(0, {"9,000"}), (1, {"9,001"}), (None, {"9,000", "9,001"})])
def test_today_lists_entries_of_the_own_plant(client, plants, own, hits):
    html = seen_by(client, "reports:today", None if own is None else plants[own])
    assert set(re.findall(r"Ran (9,00\d) hits", html)) == hits
    counts = set(re.findall(r"PP-6.0-M2: counted, (\d+) more than booked", html))
    assert counts == ({"3", "4"} if own is None else {f"{own + 3}"})


@pytest.mark.parametrize(("own", "named"), [(0, "north"), (1, "south")])
def test_a_record_names_its_plant_where_there_are_several(client, plants, own, named):
    PastForecasts.objects.update(refusal="Too little")
    assert f"<h1>Track record <span>{named}</span></h1>" in seen_by(client, "maintenance:record", plants[own])
