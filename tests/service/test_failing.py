"""One die, spare, sheet or piece that cannot be worked out: it is shown as that in its row, and the others as ever."""

from __future__ import annotations

import logging

import pytest
from django.contrib.auth.models import User
from django.db import DatabaseError, connection
from django.test import Client
from django.urls import reverse

from diestore.access import roles
from diestore.register.models import Die, Item
from diestore.service import failing
from maintenance.forecasts import drift, due, fleet_log, part_wear, predict, samples, store, track_record
from maintenance.log import read, write
from maintenance.models import DieForecast
from reports.cost import sheets
from reports.spares import advice, use
from tests import factories as make
from tests.pages import money_shop
from tests.pages.as_read import as_read
from tests.security.addresses import TABLE, address, shop

pytestmark = pytest.mark.django_db
SAYS = "It could not be worked out: RuntimeError, out of true. Tell the administrator."


def breaks(*args, **kwargs):
    raise RuntimeError("out of true")


def fails_for(function, which):
    """The function, that fails for some of what it is given."""

    def made(*args, **kwargs):
        return breaks() if which(*args) else function(*args, **kwargs)

    return made


@pytest.fixture
def dies():
    numbers = shop()
    make.order(Die.objects.get(code="H-901"), "26-0002", parts=70_000)
    store.fit_and_forecast(make.plant())
    return Die.objects.get(pk=numbers["die"]), Die.objects.get(code="H-901")


def newest(die) -> DieForecast:
    return DieForecast.objects.get(die=die, is_newest=True)


def test_what_is_of_the_database_or_the_whole_request_is_no_rows_own(caplog):
    with pytest.raises(DatabaseError):
        failing.attempt(lambda: (_ for _ in ()).throw(DatabaseError("gone")), lambda why: "", what="x")
    with caplog.at_level(logging.ERROR):
        assert failing.attempt(breaks, lambda why: why, what="die H-900") == SAYS
    (record,) = caplog.records
    assert record.exc_info and "die H-900 could not be worked out" in record.getMessage()


@pytest.mark.parametrize("where", ["samples", "told", "rows"])
def test_a_die_that_fails_is_told_as_that_and_the_others_as_without_it(dies, monkeypatch, where):
    bad, good = dies
    before = newest(good).remaining
    if where == "samples":
        monkeypatch.setattr(samples, "of_die", fails_for(samples.of_die, lambda log, *rest, **more: log.die == bad.pk))
        for module in (fleet_log, store):
            assert module.samples is samples
    elif where == "told":
        of_bad = lambda logs, *rest: any(log.die == bad.pk for log in logs)  # noqa: E731
        monkeypatch.setattr(predict, "tell_dies", fails_for(predict.tell_dies, of_bad))
    else:
        monkeypatch.setattr(store, "_edge_rows", fails_for(store._edge_rows, lambda row, told: told.die == bad.pk))
    row = store.fit_and_forecast(bad.plant)
    assert newest(bad).refusal == SAYS and newest(bad).fit == row and not newest(bad).remaining
    assert newest(good).fit == row and newest(good).refusal == ""
    if where != "samples":  # without its samples the fleet has less to go by
        assert newest(good).remaining == before
    store.refresh_die(bad)
    assert newest(bad).refusal == SAYS
    rows = {one.code: one for one in due.rows()}
    assert rows[bad.code].refusal == SAYS and rows[good.code].chance is not None
    client = Client()
    client.force_login(make.user(roles.LEAD))
    for name in ("maintenance:due", "reports:today"):
        assert SAYS in as_read(client.get(reverse(name)))
    monkeypatch.undo()
    store.refresh_die(bad)
    assert newest(bad).refusal == "" and newest(bad).remaining


def test_a_die_with_which_no_fit_can_be_made_is_left_out_of_it(dies, monkeypatch):
    bad, good = dies
    fit = fleet_log.fleet.fit
    heavy = Die.objects.get(pk=bad.pk).usual_stock
    thick = make.stock(thickness_mm=2.4)
    Die.objects.filter(pk=bad.pk).update(usual_stock=thick)
    bad.runs.update(stock=thick)

    def refuses(specs, life, **options):
        return breaks() if any(spec.thickness_mm == 2.4 for spec in specs) else fit(specs, life, **options)

    monkeypatch.setattr(fleet_log.fleet, "fit", refuses)
    row = store.fit_and_forecast(bad.plant)
    assert row.cycles > 0 and newest(good).refusal == ""
    monkeypatch.setattr(fleet_log.fleet, "fit", breaks)
    with pytest.raises(RuntimeError):  # no die's by itself: the night says so
        store.fit_and_forecast(bad.plant)
    assert heavy.thickness_mm != 2.4


def test_half_of_a_die_is_not_among_the_samples(dies, monkeypatch):
    bad, good = dies
    logs = list(read.of_dies([bad, good]))
    at = make.moment(400).timestamp()
    whole, other = (samples.of_die(log, at) for log in logs)
    torn = samples.DieSamples(die=1, specs=whole.specs, rows=[*whole.rows, (0, None)], current={})
    gathered = samples.Gathered()
    with pytest.raises(AttributeError):
        gathered.add(torn)
    gathered.add(other)
    alone = samples.Gathered([other])
    assert gathered.specs == alone.specs and len(gathered.life) == len(alone.life) and gathered.first == alone.first
    assert (gathered.life.hits == alone.life.hits).all()


def test_drift_and_the_look_back_pass_a_die_that_fails(dies, monkeypatch):
    bad, good = dies
    monkeypatch.setattr(drift, "_of_die", fails_for(drift._of_die, lambda log, *rest: log.die == bad.pk))
    held = {one.code: one for one in drift.compute(bad.plant, since=make.moment(20)).dies}
    assert held[bad.code].refusal == SAYS and held[good.code].refusal != SAYS
    of_bad = lambda logs, *rest: any(log.die == bad.pk for log in logs)  # noqa: E731
    monkeypatch.setattr(predict, "tell_dies", fails_for(predict.tell_dies, of_bad))
    known = fleet_log.read_fleet([bad, good], make.moment(100))
    said = {one.code: one for one in track_record._said_then(known, known.fit(), {})}
    assert said[bad.code].failed == SAYS and said[bad.code].prediction is None
    assert said[good.code].prediction is not None


def test_a_stored_forecast_that_cannot_be_read_keeps_its_row(dies, monkeypatch):
    monkeypatch.setattr(due, "chance_of_going", fails_for(due.chance_of_going, lambda left, hits: hits < 65_000))
    rows = {one.code: one for one in due.rows()}
    assert rows["H-900"].refusal == SAYS and rows["H-901"].chance is not None


@pytest.mark.parametrize("where", ["place", "advice"])
def test_a_spare_that_fails_is_listed_as_that(dies, monkeypatch, where):
    other = money_shop.spare("ZZ-1", on_hand=3)
    dies[1].positions.filter(code="1-B").update(item=other)
    if where == "place":
        monkeypatch.setattr(use, "place_of", fails_for(use.place_of, lambda row, *rest: row.item_id == other.pk))
    else:
        monkeypatch.setattr(advice, "_advised", fails_for(advice._advised, lambda now, item, ahead: item == other))
    rows = {row.code: row for row in advice.all_spares(dies[0].plant)}
    assert rows["ZZ-1"].refusal == SAYS and rows["ZZ-1"].on_hand == 3
    assert rows["PP-6.0-M2"].refusal == "" and rows["PP-6.0-M2"].advice is not None
    client = Client()
    client.force_login(make.user(roles.BUYER))
    assert client.get(reverse("reports:spares")).status_code == 200
    assert client.get(reverse("reports:spare", args=[other.pk])).status_code == 200


def test_a_sheet_that_fails_is_listed_as_that(dies, monkeypatch):
    monkeypatch.setattr(sheets, "_cost", fails_for(sheets._cost, lambda die, *rest: die.code == "H-900"))
    rows = {row.die.code: row for row in sheets.cost_per_thousand(dies[0].plant)}
    assert rows["H-900"].failed == SAYS and rows["H-901"].per_thousand is not None
    client = Client()
    client.force_login(make.user(roles.SALES))
    assert SAYS in as_read(client.get(reverse("reports:cost")))
    assert client.get(reverse("diestore:die", args=[dies[0].pk])).status_code == 200


def test_a_worn_piece_that_fails_is_listed_as_that(dies, monkeypatch):
    die = dies[0]
    for code, mm in (("3-P", 6.0), ("1-A", 0.02)):
        place = die.positions.get(code=code)
        for day in (1, 60):
            write.log_reading(
                by=make.actor(),
                at=make.moment(day),
                quantity="bore clearance",
                value_si=mm / 1000,
                position=place,
                typed_value=str(mm),
                typed_unit="mm",
            )
    monkeypatch.setattr(part_wear, "_wear", fails_for(part_wear._wear, lambda log, place, *rest: place.code == "3-P"))
    told = {wear.code: wear for wear in part_wear.of_log(read.of_die(die), make.moment(200).timestamp())}
    assert told["3-P"].refusal == SAYS and told["3-P"].last_si == 0.006 and told["1-A"].refusal != SAYS
    client = Client()
    client.force_login(make.user(roles.LEAD))
    for url in (reverse("diestore:die", args=[die.pk]), reverse("maintenance:edge", args=[told["3-P"].position])):
        answer = client.get(url)
        assert answer.status_code == 200
    assert SAYS in as_read(answer)


def test_a_panel_of_a_dies_page_that_fails_takes_the_others_from_nobody(dies, monkeypatch):
    monkeypatch.setattr("maintenance.screens.die.panels.how_it_stands", breaks)
    client = Client()
    client.force_login(make.user(roles.LEAD))
    html = as_read(client.get(reverse("diestore:die", args=[dies[0].pk])))
    assert SAYS in html and "H-900" in html and "Ran 12,000 hits" in html


# --- rows that were written past the limits, in an older database -----------------------------------------------------

PAST = {
    "strokes a minute": (Die, "strokes_per_minute", 1e308),
    "grind allowance": (Item, "grind_allowance_mm", 1e308),
    "lead time": (Item, "lead_days", 20_261_201),
}


@pytest.mark.parametrize("what", PAST)
def test_a_row_past_every_limit_takes_no_page_from_anybody(what):
    numbers = shop()
    model, column, value = PAST[what]
    table = model._meta.db_table
    with connection.cursor() as cursor:
        cursor.execute(f"UPDATE {table} SET {column} = %s WHERE id IN (SELECT MIN(id) FROM {table})", [value])
    assert model.objects.filter(**{column: value}).count() == 1
    row = store.fit_and_forecast(make.plant())
    assert row.cycles > 0
    wrong = []
    client = Client(raise_request_exception=False)
    client.force_login(User.objects.create_superuser("root"))
    for name, at in TABLE.items():
        if roles.ADMINISTRATOR in at.get and not at.by_token and name != "diestore:service_json":
            answer = client.get(address(name, numbers))
            if answer.status_code >= 500:
                wrong.append((name, answer.status_code))
    assert wrong == []
