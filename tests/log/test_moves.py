"""A die goes to another plant: what goes along, what stays, and what has to be done first."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

import pytest
from django.contrib.auth.models import User
from django.urls import reverse
from django.utils import timezone

from diestore.access import roles
from diestore.access.models import PlantOfUser
from diestore.register import actions
from diestore.register.actions import ChangeRefused
from diestore.register.models import Amendment, Die, Piece, Press, Rate
from maintenance.counters import presses
from maintenance.forecasts import due, store
from maintenance.log import moves, queries, write
from maintenance.models import Counter, CounterDevice, CounterQuestion, DieForecast, Fitting, Run
from reports.cost.sheets import cost_per_thousand
from reports.spares import kept as spares_kept
from tests import factories as make
from tests.pages import money_shop

pytestmark = pytest.mark.django_db


@pytest.fixture
def north():
    return make.plant("north")


@pytest.fixture
def die():
    made = make.die(usual_press=make.press())
    make.position(made, "1-A", item=make.item(lead_days=30))
    make.run(made, 1, 9_000)
    make.sharpen(made, 3)
    make.run(made, 4, 9_000)
    return made


def lead() -> User:
    return User.objects.filter(username="lead").first() or make.user(roles.LEAD)


def move(die, to, **more) -> Die:
    return moves.move_die(by=lead(), die=die, to=to, reason="the job goes there", **more)


def test_open_orders_and_the_pieces_in_it_go_along_and_the_past_stays(die, north):
    open_one, closed = make.order(die, "26-1"), make.order(die, "25-9", closed_at=make.moment(5))
    loose = Piece.objects.create(plant=die.plant, key="loose", mark="K7", item=make.item())
    before, run = die.plant, die.runs.first()
    moved = move(die, north)
    assert moved.plant == north and moved.usual_press is None
    for row, plant in ((open_one, north), (closed, before), (loose, before)):
        row.refresh_from_db()
        assert row.plant == plant
    (fitting,) = Fitting.objects.filter(position__die=die, until=None)
    assert fitting.piece.plant == north
    run.refresh_from_db()
    assert run.person.plant == before and Run.objects.filter(die=die).count() == 2
    assert [row.code for row in due.rows(north)] == [die.code] and due.rows(before) == []


def test_the_move_stands_in_the_history_with_day_reason_and_name(die, north):
    move(die, north, press=Press.objects.create(plant=north, code="N1"))
    (change,) = Amendment.objects.filter(die=die)
    assert change.sort == "changed" and change.reason == "the job goes there" and change.user == lead()
    assert set(change.fields) == {"plant", "usual_press"} and change.plant == north
    assert change.fields["plant"]["now_read"] == "north"
    assert Die.objects.get(pk=die.pk).usual_press.code == "N1"
    with pytest.raises(ChangeRefused, match="Move the die back"):
        actions.take_back(by=lead(), amendment=change, reason="wrong")


@pytest.mark.parametrize("how", ["amend", "correct"])
def test_the_plant_is_not_changed_without_what_goes_along(die, north, how):
    values = {"values": {"plant": north}, "reason": "moved"}
    with pytest.raises(ChangeRefused, match="move of its own"):
        if how == "amend":
            actions.amend(by=lead(), row=die, at=timezone.now(), **values)
        else:
            actions.correct(by=lead(), row=die, **values)
    assert Die.objects.get(pk=die.pk).plant == die.plant


def test_forecast_cost_and_advice_follow_at_once(die, north, monkeypatch):
    """As if it had stood there all along: by that plant's fit, its rates, its shelf."""
    money_shop.rates()
    Rate.objects.create(plant=north, kind="toolroom hour", valid_from=dt.date(2025, 1, 1), amount=Decimal("120"))
    other = make.die("N-1")
    Die.objects.filter(pk=other.pk).update(plant=north)
    make.position(other, "1-A")
    make.run(other, 2, 30_000)
    here, there = store.fit_and_forecast(die.plant), store.fit_and_forecast(north)
    assert DieForecast.objects.get(die=die, is_newest=True).fit == here
    cost = cost_per_thousand(die).sheet.element("sharpening").amount
    monkeypatch.setattr(spares_kept, "WORTH_KEEPING", 1)
    old = die.plant
    spares_kept.keep(spares_kept.work_out(old))
    assert [row.code for row in spares_kept.of_plant(old).rows] == ["PP-6.0-M2"]
    moved = move(die, north)
    assert DieForecast.objects.get(die=die, is_newest=True).fit == there
    assert cost_per_thousand(moved).sheet.element("sharpening").amount == 2 * cost
    assert spares_kept.of_plant(old).waiting, "the plant that it left is told anew too"
    spares_kept.keep(spares_kept.work_out_waiting(old))
    assert list(spares_kept.of_plant(old).rows) == []


def test_a_die_in_a_press_is_taken_out_first(die, north):
    row = presses.set_in_press(by=make.actor(), press=make.press(), die=die, at=timezone.now())
    with pytest.raises(ChangeRefused, match="is in press P1"):
        move(die, north)
    presses.take_out(by=make.actor(), row=row, at=timezone.now() + dt.timedelta(seconds=1))
    assert move(die, north).plant == north


def test_counts_of_its_own_counter_are_settled_first(die, north):
    device = CounterDevice.objects.create(plant=die.plant, name="box")
    counter = Counter.objects.create(device=device, die=die, waiting_since=make.moment(3))
    with pytest.raises(ChangeRefused, match="not settled yet"):
        move(die, north)
    Counter.objects.update(waiting_since=None)
    asked = CounterQuestion.objects.create(
        counter=counter, kind="jump", strokes=4, since=make.moment(4), until=make.moment(5)
    )
    with pytest.raises(ChangeRefused, match="not settled yet"):
        move(die, north)
    CounterQuestion.objects.filter(pk=asked.pk).update(verdict="to nobody", settled_at=timezone.now())
    assert move(die, north).plant == north


@pytest.mark.parametrize("what", ["code", "order", "mark", "same plant", "press"])
def test_what_stands_against_it_is_said_and_nothing_is_moved(die, north, what):
    plant, more, says = north, {}, {
        "code": "a die H-900 in north already", "order": "a job 26-1 for the same part",
        "mark": "a piece marked K7 already", "same plant": "stands in main already", "press": "P1 is not in north",
    }[what]  # fmt: skip
    ordered = make.order(die, "26-1")
    if what == "code":
        Die.objects.create(plant=north, code="h-900", usual_stock=make.stock(), strokes_per_minute=60)
    elif what == "order":
        type(ordered).objects.create(
            plant=north, number="26-1", part=ordered.part, parts=5, due=dt.date(2026, 1, 1), closed_at=make.moment(3)
        )
    elif what == "mark":
        Piece.objects.filter(fittings__position__die=die).update(mark="K7")
        Piece.objects.create(plant=north, key="other", mark="K7")
    elif what == "same plant":
        plant = die.plant
    else:
        more = {"press": make.press()}
    with pytest.raises(ChangeRefused, match=says):
        move(die, plant, **more)
    ordered.refresh_from_db()
    assert Die.objects.get(pk=die.pk).plant == die.plant == ordered.plant and not Amendment.objects.exists()


def test_moved_there_and_back_all_is_as_it_was(die, north):
    make.order(die, "26-1")
    store.fit_and_forecast(die.plant)
    before = (
        [row.hits_left for row in queries.open_orders(plant=die.plant)],
        DieForecast.objects.get(die=die, is_newest=True).remaining,
    )
    home = die.plant
    move(move(die, north), home)
    after = (
        [row.hits_left for row in queries.open_orders(plant=home)],
        DieForecast.objects.get(die=die, is_newest=True).remaining,
    )
    assert after == before
    write.log_run(
        by=make.actor(), die=Die.objects.get(pk=die.pk), started=make.moment(9), ended=make.moment(9.1), hits=3_000
    )


# --- the page -------------------------------------------------------------------------------------------------------


def test_the_lead_moves_it_on_a_page(client, die, north):
    client.force_login(lead())
    url = reverse("maintenance:move", args=[die.pk])
    assert f'href="{url}"' in client.get(reverse("diestore:die", args=[die.pk])).content.decode()
    assert client.post(url, {"to": north.pk, "reason": ""}).status_code == 422
    assert client.post(url, {"to": die.plant_id, "reason": "x"}).status_code == 422
    answer = client.post(url, {"to": north.pk, "reason": "the job goes there"}, follow=True)
    assert "stands in north now" in answer.content.decode() and Die.objects.get(pk=die.pk).plant == north
    presses.set_in_press(by=make.actor(), press=Press.objects.create(plant=north, code="N1"),
                         die=Die.objects.get(pk=die.pk), at=timezone.now())  # fmt: skip
    held = client.post(url, {"to": make.plant().pk, "reason": "back"})
    assert held.status_code == 422 and "Take it out first" in held.content.decode()


def test_nobody_moves_a_die_to_a_plant_that_he_does_not_see(client, die, north):
    for plants, status in (((die.plant, make.plant("west")), 422), ((die.plant,), 422)):
        PlantOfUser.objects.filter(user=lead()).delete()
        PlantOfUser.objects.bulk_create(PlantOfUser(user=lead(), plant=plant) for plant in plants)
        client.force_login(lead())
        url = reverse("maintenance:move", args=[die.pk])
        assert client.post(url, {"to": north.pk, "reason": "x"}).status_code == status
        shown = f'href="{url}"' in client.get(reverse("diestore:die", args=[die.pk])).content.decode()
        assert shown == (len(plants) > 1)
    assert Die.objects.get(pk=die.pk).plant != north


def test_the_card_of_a_die_does_not_change_its_plant(client, die, north):
    client.force_login(lead())
    html = client.get(reverse("diestore:dies_card", args=[die.pk])).content.decode()
    assert 'name="plant"' not in html and 'name="code"' in html
