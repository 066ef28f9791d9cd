"""Whatever is written says once which dies it changed, when it is committed; what follows from it harms nothing."""

from __future__ import annotations

import datetime as dt
import inspect
import logging

import pytest
from django.db import transaction
from django.urls import reverse
from django.utils import timezone
from django_tasks_db.models import DBTaskResult

from diestore.register import changes as register
from diestore.register.actions import change_cut, correct_cut
from diestore.register.models import Amendment, Cut, Item, Output, Part, Rate, Stock
from maintenance import tasks
from maintenance.log import changes, freshness, queries, write
from maintenance.models import Change, DieForecast, Run
from maintenance.policy.stop_blocks import BlockReading
from tests import factories as make

pytestmark = pytest.mark.django_db


@pytest.fixture
def die():
    made = make.die()
    make.position(made, item=make.item())
    make.run(made, 1, 20_000)
    return made


@pytest.fixture
def sent():
    """What went out: the arguments of each signal."""
    seen = []

    def hear(sender, **more):
        seen.append({name: more[name] for name in ("dies", "items", "since", "by_night")})

    changes.dies_changed.connect(hear)
    yield seen
    changes.dies_changed.disconnect(hear)


AT = make.moment(3)
WRITES = {
    "log_run": lambda die: dict(die=die, started=AT, ended=AT + dt.timedelta(hours=1), hits=900),
    "log_hit_correction": lambda die: dict(die=die, at=AT, hits=5, with_stock=False, reason="set-up"),
    "log_stop": lambda die: dict(die=die, at=AT, cause="slug", minutes=3),
    "log_incident": lambda die: dict(die=die, at=AT, sort="misfeed"),
    "log_sharpening": lambda die: dict(
        die=die, at=AT, pieces=[write.SharpenedPiece(position=die.positions.get(), found="dull")]
    ),
    "log_replacement": lambda die: dict(position=die.positions.get(), at=AT, why="broken"),
    "log_reading": lambda die: dict(
        cut=die.cuts.get(), at=AT, quantity="burr height", value_si=1e-5, typed_value="10", typed_unit="um"
    ),
    "log_set_up": lambda die: dict(die=die, at=AT, readings=[BlockReading(place="SB-1", crushed_mm=1.9)]),
    "restart_record": lambda die: dict(die=die, at=AT, reason="other oil"),
    "strike_out": lambda die: dict(entry=Run.objects.get(), reason="another die"),
}


def test_every_write_is_tried_below():
    found = {
        name
        for name, thing in inspect.getmembers(write, inspect.isfunction)
        if thing.__module__ == write.__name__ and "by" in inspect.signature(thing).parameters
    }
    assert found == set(WRITES)


@pytest.mark.parametrize("name", WRITES)
def test_a_write_says_once_which_die_it_changed_and_its_forecast_follows(die, sent, name):
    mark = freshness.mark()
    with transaction.atomic():
        getattr(write, name)(by=make.actor(), **WRITES[name](die))
        assert not sent and not DieForecast.objects.exists()  # not before it is committed
    since = make.moment(1) if name == "strike_out" else AT
    assert sent == [{"dies": {die.pk}, "items": frozenset(), "since": since, "by_night": False}]
    assert freshness.since(mark).dies_in("records") == {die.pk}
    assert queries.newest_forecast(die) is not None


def test_a_spare_off_the_shelf_is_said_too(die, sent):
    position = die.positions.get()
    row = write.log_replacement(by=make.actor(), position=position, at=AT, why="broken", from_shelf=True)
    write.strike_out(by=make.actor(), entry=row, reason="another die")
    assert [(one["dies"], one["items"]) for one in sent] == [({die.pk}, {position.item_id})] * 2


@pytest.mark.parametrize("name", WRITES)
def test_what_is_taken_back_changed_nothing(die, sent, name):
    mark = freshness.mark()
    with pytest.raises(ZeroDivisionError), transaction.atomic():
        getattr(write, name)(by=make.actor(), **WRITES[name](die))
        raise ZeroDivisionError
    assert not sent and not freshness.since(mark).dies and not DieForecast.objects.exists()


def test_a_follower_that_fails_loses_nothing_and_is_logged_with_the_die(die, monkeypatch, caplog):
    other = make.die("H-901")
    broken = die.pk
    plain = tasks.store.refresh_die
    monkeypatch.setattr(tasks.store, "refresh_die", lambda one: 1 / 0 if one.pk == broken else plain(one))
    with caplog.at_level(logging.ERROR), changes.following() as outcome:
        write.log_run(by=make.actor(), **WRITES["log_run"](die))
        changes.tell(dies=[die.pk, other.pk])
    assert Run.objects.count() == 2 and outcome.behind == {die.pk}
    assert f"The forecast of die {die.pk} could not be made anew" in caplog.text
    assert queries.newest_forecast(other) is not None and queries.newest_forecast(die) is None


def test_another_follower_that_fails_keeps_none_from_following(die, caplog):
    def breaks(sender, **more):
        raise ValueError("on purpose")

    changes.dies_changed.connect(breaks)
    try:
        with caplog.at_level(logging.ERROR), changes.following() as outcome:
            write.log_run(by=make.actor(), **WRITES["log_run"](die))
    finally:
        changes.dies_changed.disconnect(breaks)
    assert outcome.behind == {die.pk} and queries.newest_forecast(die) is not None
    assert f"did not follow a change of the dies [{die.pk}]: on purpose" in caplog.text


# --- many dies at once, the night -------------------------------------------------------------------------------------


def test_of_many_dies_the_forecasts_are_a_nights_work(die, settings, monkeypatch):
    monkeypatch.setattr(tasks, "AT_ONCE", 2)
    many = [make.die(f"H-{n}").pk for n in range(3)]
    changes.tell(dies=many)
    changes.tell(dies=[die.pk], by_night=True)
    assert not DieForecast.objects.exists() and not DBTaskResult.objects.exists()
    settings.FORECASTS_BY_WORKERS = True
    changes.tell(dies=many)
    changes.tell(dies=[die.pk], by_night=True)
    assert [row.task_path.rsplit(".", 1)[-1] for row in DBTaskResult.objects.order_by("enqueued_at")] == [
        "look_back",
        "fit_fleet",
    ]


def test_the_night_forgets_what_no_mark_looks_at(die):
    Change.objects.update(at=timezone.now() - dt.timedelta(days=8))
    newest = Change.objects.latest("pk")
    make.run(die, 2)
    freshness.forget()
    assert Change.objects.count() == 1
    Change.objects.update(at=timezone.now() - dt.timedelta(days=8))
    freshness.forget()
    assert Change.objects.get().pk > newest.pk  # the last one stays


# --- the register -----------------------------------------------------------------------------------------------------


@pytest.fixture
def others():
    """Dies that have nothing to do with what is changed below."""
    made = make.die("H-999", of=make.stock("spring steel", 1200, 0.5))
    make.position(made)
    return made


def touched(mark):
    found = freshness.since(mark)
    return found.dies_in("records"), found.items, found.dies_in("price")


def with_gap(cut: Cut, gap_mm: float) -> Cut:
    cut.gap_mm = gap_mm
    return cut


REGISTER = {
    "its stock": lambda die: register.save(die, usual_stock=make.stock("stainless", 700, 1.2)),
    "the stock itself": lambda die: register.save(die.usual_stock, tensile_mpa=420),
    "a stock that it ran once": lambda die: register.save(Stock.objects.get(code__startswith="brass"), tensile_mpa=420),
    "a part's output": lambda die: register.save(Output.objects.get(variant__die=die), parts_per_hit=2),
    "a part's burr limit": lambda die: register.save(Part.objects.get(outputs__variant__die=die), burr_limit_um=20),
    "a gap": lambda die: register.save(Cut.objects.get(die=die), gap_mm=0.05),
    "a gap from a day on": lambda die: change_cut(
        by=None, cut=Cut.objects.get(die=die), at=make.moment(1.5), gap_mm=0.05
    ),
    "a gap typed wrong": lambda die: correct_cut(by=None, cut=with_gap(Cut.objects.get(die=die), 0.05)),
    "a place": lambda die: register.save(die.positions.get(), stroke_share=0.5),
    "the price of the die": lambda die: register.save(die, build_price=9_000),
    "an order": lambda die: register.tell(make.order(die)),
}


@pytest.mark.parametrize("name", REGISTER)
def test_a_changed_row_of_the_register_touches_its_dies(die, others, name):
    make.run(die, 2, stock=make.stock("brass", 380, 0.8))
    mark = freshness.mark()
    DieForecast.objects.all().delete()
    REGISTER[name](die)
    dies, _, priced = touched(mark)
    assert (dies, priced) == ({die.pk}, set())
    assert queries.newest_forecast(die) is not None and queries.newest_forecast(others) is None


def test_a_spare_and_a_rate_touch_what_rests_on_them(die, others):
    mark = freshness.mark()
    register.save(Item.objects.get(), unit_price=12)
    assert touched(mark) == (set(), {Item.objects.get().pk}, {die.pk})
    mark = freshness.mark()
    register.tell(Rate.objects.create(plant=die.plant, kind="press hour", valid_from="2026-01-01", amount=90))
    assert touched(mark) == (set(), frozenset(), {die.pk, others.pk})
    assert not DieForecast.objects.exists()


def test_a_place_that_takes_another_spare_touches_both(die):
    place = die.positions.get()
    before = place.item_id
    mark = freshness.mark()
    register.save(place, item=make.item("PP-7.0-M2"))
    assert touched(mark)[1] == {before, place.item_id}


def test_a_change_on_a_card_is_followed(die, as_role, monkeypatch):
    """A stock's strength put right by hand: the stored forecast of its die is made anew at once."""
    client = as_role("lead")
    make.sharpen(die, 2)
    tasks.store.refresh_die(die)
    before = queries.newest_forecast(die)
    stock = die.usual_stock
    address = reverse("diestore:stocks_card", args=[stock.pk])
    sent = {"code": stock.code, "material": stock.material, "tensile_mpa": 900, "thickness_mm": stock.thickness_mm,
            "how": "never so", "reason": "certificate"}  # fmt: skip
    assert client.post(address, sent).status_code == 302
    after = queries.newest_forecast(die)
    assert after.pk != before.pk and after.half_hits < before.half_hits
    sent["opened"] = Amendment.objects.get().pk
    assert client.post(address, sent).status_code == 422
    assert queries.newest_forecast(die).pk == after.pk  # nothing was changed
    monkeypatch.setattr(tasks, "AT_ONCE", 0)
    answer = client.post(address, sent | {"tensile_mpa": 340}, follow=True).content.decode()
    assert "Dies touched by this: 1. Their forecasts follow with the night&#x27;s work." in answer
    assert queries.newest_forecast(die).pk == after.pk


def test_what_a_die_makes_is_followed(die, as_role):
    client, output = as_role("lead"), Output.objects.get()
    address, mark = reverse("maintenance:die_card", args=[die.pk]), freshness.mark()
    sent = {"do": "makes", f"makes-hit{output.pk}": "3", "makes-reason": "two cavities more"}
    assert client.post(address, sent).status_code == 302
    assert Output.objects.get().parts_per_hit == 3 and touched(mark)[0] == {die.pk}
    mark = freshness.mark()
    assert client.post(address, sent | {f"makes-gone{output.pk}": "on"}).status_code == 302
    assert not Output.objects.exists() and touched(mark)[0] == {die.pk}


def test_a_row_deleted_on_its_card_is_followed(die, as_role):
    client, order = as_role("lead"), make.order(die)
    mark = freshness.mark()
    address = reverse("maintenance:jobs_card", args=[order.pk])
    assert client.post(address, {"delete": "1", "reason": "twice"}).status_code == 302
    assert touched(mark)[0] == {die.pk}
