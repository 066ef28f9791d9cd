"""The kept advice on spares is the one that the log gives, and says so where it is not."""

import datetime as dt
from dataclasses import replace

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from diestore.register import changes as register
from diestore.register.models import Die, Item, Piece, Position
from diestore.service import queue
from maintenance import tasks
from maintenance.log import changes, write
from maintenance.models import Change, Order, Run, StockMovement
from reports import tasks as own
from reports.models import KeptSpare, KeptSpares
from reports.spares import advice, reads, why
from reports.spares import kept as spares_kept
from reports.spares.use import PlantAhead, day_of_records
from tests import factories as make
from tests.pages import money_shop as shop
from tests.pages.as_read import as_read

pytestmark = pytest.mark.django_db

LATER = shop.LAST_DAY + 0.3  # the same day, after the last run


@pytest.fixture
def plant(monkeypatch):
    """Six dies and five spares: two dies share each; one spare lies on the shelf only, one has no lead time."""
    monkeypatch.setattr(spares_kept, "WORTH_KEEPING", 2)
    items = [
        shop.spare(f"PP-{n}.0-M2", on_hand=n, lead_days=40 + 60 * n, kind="pierce_punch", grind_allowance_mm=0.9)
        for n in range(3)
    ]
    for n in range(6):
        shop.worked_die(f"H-{n:03}", items[n % 3], cycles=3)
    shop.spare("ON-THE-SHELF", on_hand=2, criticality=Item.Criticality.STOPS)
    shop.spare("NO-LEAD", lead_days=None)
    Piece.objects.update(grind_allowance_mm=0.7)
    shop.forecast()
    return make.plant()


def night(plant):
    spares_kept.keep(spares_kept.work_out(plant))


def renewed(plant):
    made = spares_kept.work_out_waiting(plant)
    spares_kept.keep(made)
    return made


def shown(plant):
    listed = spares_kept.of_plant(plant)
    assert isinstance(listed, spares_kept.KeptList)
    return list(listed.rows)


def from_the_log(plant):
    """All told from the log, with what the whole shop said in the night."""
    kept = KeptSpares.objects.get(plant=plant)
    ahead = PlantAhead.of_items(plant, reads.items_in_use(plant), shop=replace(spares_kept._shop(kept), die_grinds={}))
    return advice.all_spares(plant, ahead=ahead)


def waiting(plant):
    return sorted(row.code for row in shown(plant) if row.waits)


def entered(die, **more):
    """A run on the last day of the records, and what follows an entry at a form."""
    run = make.run(die, LATER, 90_000, **more)
    changes.tell(dies=[die.pk])
    return run


def test_after_the_night_the_list_is_that_of_the_log(plant):
    night(plant)
    rows = shown(plant)
    assert rows == advice.all_spares(plant) == from_the_log(plant)
    assert len(rows) == 5 and len({row.advice for row in rows}) > 3 and not waiting(plant)


def test_after_an_entry_it_waits_and_is_then_told_anew(plant):
    night(plant)
    before = shown(plant)
    entered(Die.objects.get(code="H-001"))
    assert waiting(plant) == ["PP-1.0-M2"]  # and nothing else
    assert [replace(row, waits=False) for row in shown(plant)] == before
    made = renewed(plant)
    assert {row.code for row in made.rows} == {"PP-1.0-M2"}
    assert shown(plant) == from_the_log(plant) != before and not waiting(plant)


def test_after_a_sharpening_and_a_strike_out(plant):
    night(plant)
    die = Die.objects.get(code="H-002")
    sharpened = make.sharpen(die, LATER, *die.positions.all(), why="dull", found="dull", removed_mm=0.4)[0]
    changes.tell(dies=[die.pk])
    renewed(plant)
    with_it = shown(plant)
    assert with_it == from_the_log(plant)
    write.strike_out(by=make.actor(), entry=sharpened, reason="another die")
    changes.tell(dies=[die.pk])
    assert waiting(plant) == ["PP-2.0-M2"]
    renewed(plant)
    assert shown(plant) == from_the_log(plant) != with_it and not waiting(plant)


def test_after_a_movement_of_stock(plant):
    night(plant)
    shop.movement(Item.objects.get(code="ON-THE-SHELF"), -1, kind="scrapped", day=3)
    moved = shop.movement(Item.objects.get(code="PP-0.0-M2"), 30, kind="delivered", day=3)
    assert waiting(plant) == ["ON-THE-SHELF", "PP-0.0-M2"]
    renewed(plant)
    assert shown(plant) == from_the_log(plant) == advice.all_spares(plant) and not waiting(plant)
    write.strike_out(by=make.actor(), entry=moved, reason="typed twice")
    assert waiting(plant) == ["PP-0.0-M2"]
    renewed(plant)
    assert shown(plant) == advice.all_spares(plant)


def test_what_changes_in_the_register_and_in_orders_waits_too(plant):
    night(plant)
    item = Item.objects.get(code="NO-LEAD")
    register.save(item, lead_days=20)
    assert waiting(plant) == ["NO-LEAD"]
    renewed(plant)
    make.order(Die.objects.get(code="H-000"), parts=700_000, due=make.moment(190).date())
    assert waiting(plant) == ["PP-0.0-M2"]
    renewed(plant)
    register.save(Order.objects.get(), closed_at=timezone.now())
    assert waiting(plant) == ["PP-0.0-M2"]
    renewed(plant)
    place = Position.objects.get(die__code="H-001", code="1-A")
    register.save(place, item=Item.objects.get(code="ON-THE-SHELF"))
    assert waiting(plant) == ["ON-THE-SHELF", "PP-1.0-M2"]  # what it takes now and what it took before
    renewed(plant)
    die = Die.objects.get(code="H-001")
    register.save(die, status="stored")
    assert waiting(plant) == ["ON-THE-SHELF", "PP-1.0-M2"]
    renewed(plant)
    assert shown(plant) == from_the_log(plant) and not waiting(plant)


def test_an_entry_under_way_while_it_was_told_waits_as_soon_as_it_is_there(plant):
    """Its number was given before the mark was made, and the night could not see it yet."""
    make.run(Die.objects.get(code="H-001"), LATER, 90_000)
    under_way = Change.objects.latest("pk").pk
    night(plant)
    kept = KeptSpares.objects.get()
    assert waiting(plant) == [] and under_way in kept.mark["there"]
    kept.mark["there"].remove(under_way)
    kept.save()
    assert waiting(plant) == ["PP-1.0-M2"]
    assert {row.code for row in renewed(plant).rows} == {"PP-1.0-M2"}
    assert waiting(plant) == [] and shown(plant) == from_the_log(plant)


@pytest.mark.parametrize("age", [dt.timedelta(days=7), None])
def test_where_nobody_knows_what_changed_since_all_wait(plant, age):
    """The night was long ago, or of the version before, which made other marks."""
    night(plant)
    kept = KeptSpares.objects.get()
    kept.mark = kept.mark | {"at": (timezone.now() - age).isoformat()} if age else {"last": {"run_number": 3}}
    kept.save()
    assert len(waiting(plant)) == 5
    assert len(renewed(plant).rows) == 5
    assert waiting(plant) == [] and shown(plant) == advice.all_spares(plant)


def test_a_new_day_of_records_tells_all_of_them(plant):
    night(plant)
    die = Die.objects.get(code="H-001")
    make.run(die, shop.LAST_DAY + 4, 9_000)
    changes.tell(dies=[die.pk])
    made = renewed(plant)
    assert len(made.rows) == 5 and made.kept.today > make.moment(shop.LAST_DAY).date()
    assert shown(plant) == advice.all_spares(plant)


def test_one_spare_is_told_from_the_log_at_once(plant):
    by_itself = {item.code: why.why(item, plant) for item in reads.items_in_use(plant)}
    ahead = PlantAhead.of(plant, longest_lead_days=160)
    small = {item.code: why.why(item, plant, ahead=ahead) for item in reads.items_in_use(plant)}
    night(plant)
    longest = KeptSpares.objects.get().shop["horizon_days"]
    assert longest == PlantAhead.days_for(160)
    for item in reads.items_in_use(plant):
        told = spares_kept.why(item, plant)
        assert (told.row.half, told.row.order_by, told.dies and told.dies[0].places) == (
            small[item.code].row.half, small[item.code].row.order_by,
            small[item.code].dies and small[item.code].dies[0].places,
        )  # fmt: skip
        assert told.ground_out == pytest.approx(small[item.code].ground_out, rel=1e-9)
        # reckoned by itself, on the lattice of its own lead time: a hair off
        assert told.row.half == by_itself[item.code].row.half
        assert told.ground_out == pytest.approx(by_itself[item.code].ground_out, abs=5e-4)
    die = Die.objects.get(code="H-001")
    make.sharpen(die, LATER, *die.positions.all(), why="dull", found="dull", removed_mm=0.4)
    changes.tell(dies=[die.pk])
    item = Item.objects.get(code="PP-1.0-M2")
    told = spares_kept.why(item, plant)
    assert told.row == next(row for row in from_the_log(plant) if row.item == item)
    assert not told.row.waits and told.dies[0].places[0].row.die_grinds == 4


def test_a_small_shop_keeps_none(plant, monkeypatch):
    night(plant)
    assert KeptSpare.objects.count() == 5
    monkeypatch.setattr(spares_kept, "WORTH_KEEPING", 100)
    night(plant)
    assert not KeptSpares.objects.exists() and not KeptSpare.objects.exists()
    assert spares_kept.work_out_waiting(plant) is None
    assert spares_kept.of_plant(plant).rows == advice.all_spares(plant)


def test_the_night_that_goes_wrong_leaves_the_old_rows(plant, monkeypatch):
    night(plant)
    before = shown(plant)
    own.keep_spares.enqueue(plant.pk)
    monkeypatch.setattr(KeptSpare.objects, "bulk_create", lambda *a, **k: 1 / 0)
    worker = queue.Worker(name="one")
    assert worker.step()
    assert shown(plant) == before
    monkeypatch.undo()
    assert "ZeroDivisionError" in queue.unfinished().get().traceback


def test_workers_tell_anew_what_waits(plant, settings):
    settings.FORECASTS_BY_WORKERS = True
    die = Die.objects.get(code="H-001")
    changes.tell(dies=[die.pk])
    worker = queue.Worker(name="one")
    while worker.step():
        pass
    assert not KeptSpares.objects.exists()  # a shop that keeps none waits for nothing
    night(plant)
    entered(die)
    assert waiting(plant) == ["PP-1.0-M2"]
    while worker.step():
        pass
    assert not waiting(plant) and shown(plant) == from_the_log(plant)


def test_where_it_takes_long_the_queue_pauses_before_it(plant, settings):
    settings.FORECASTS_BY_WORKERS = True
    night(plant)
    KeptSpares.objects.update(took_s=60)
    before = timezone.now()
    for code in ("H-001", "H-002"):
        tasks.die_foretold.send(sender=Die, die=Die.objects.get(code=code))
    waits = queue.unfinished().get()
    assert dt.timedelta(seconds=115) < waits.run_after - before < dt.timedelta(seconds=130)


def test_the_night_keeps_them(plant):
    tasks.plan_night(plant)
    worker = queue.Worker(name="one")
    while worker.step():
        pass
    assert shown(plant) == advice.all_spares(plant) and not waiting(plant)


COLUMNS = ("code", "state", "on_hand", "on_order", "lead_days", "use", "short_by", "order_by", "quantity")


def test_the_page_is_the_same_from_kept_rows(plant, as_role):
    client = as_role("buyer")
    asked = [f"?sort={sign}{column}" for column in COLUMNS for sign in ("", "-")]
    asked += ["", "?short=1", "?short=28", "?q=h-001", "?kind=pierce_punch", "?supplier=QUILLFEN+Tooling&q=punch"]

    def pages():
        return {query: as_read(client.get(reverse("reports:spares") + query)) for query in asked}

    from_log, csv = pages(), client.get(reverse("reports:spares_csv")).content
    night(plant)
    assert {q: _plain(text) for q, text in pages().items()} == {q: _plain(text) for q, text in from_log.items()}
    assert client.get(reverse("reports:spares_csv")).content == csv
    entered(Die.objects.get(code="H-001"))
    text = as_read(client.get(reverse("reports:spares")))
    assert text.count("entries since do not count yet") == 1 and "1 spare waits to be worked out again" in text


def _plain(text):
    return [line for line in text.splitlines() if "csrf" not in line]


def test_as_many_queries_with_many_rows_and_a_busy_day(plant, as_role):
    client = as_role("lead")
    addresses = [
        reverse("reports:spares"),
        reverse("reports:spares") + "?sort=-use&page=2&q=p",
        reverse("reports:today"),
    ]
    addresses.append(reverse("reports:spare", args=[Item.objects.get(code="PP-1.0-M2").pk]))

    def counts():
        found = []
        for address in addresses:
            client.get(address)
            with CaptureQueriesContext(connection) as queries:
                assert client.get(address).status_code == 200
            found.append(len(queries))
        return found

    night(plant)
    make.run(Die.objects.first(), LATER + 0.17, 500, hours=0.5)  # so that something waits in both
    few = counts()
    for n in range(60):
        shop.spare(f"ZZ-{n:03}", on_hand=n)
    for die in Die.objects.all():
        make.run(die, LATER, 5_000)
    night(plant)
    for die in Die.objects.all():
        make.run(die, LATER + 0.2, 5_000)
    again = counts()
    assert again[:2] + again[3:] == few[:2] + few[3:] and max(again) <= 25
    assert again[2] <= few[2]  # of the entries, a question a sort
    assert Run.objects.count() > 60 and StockMovement.objects.count() > 60


def test_a_large_shops_kept_list_and_the_page_of_one_spare_say_the_same_on_the_next_day(plant, settings):
    settings.STANDS_STILL = False
    last = day_of_records(plant)
    with time_machine.travel(dt.datetime(last.year, last.month, last.day, 12, tzinfo=dt.UTC), tick=False) as clock:
        night(plant)
        listed = {row.code: (row.order_by, row.quantity) for row in spares_kept.of_plant(plant).rows}
        for item in reads.items_in_use(plant):
            row = spares_kept.why(item, plant).row
            assert listed[row.code] == (row.order_by, row.quantity)
        clock.shift(dt.timedelta(days=1))
        made = spares_kept.work_out_waiting(plant)
        assert made.kept.today == last + dt.timedelta(days=1)
        spares_kept.keep(made)
        assert all(row.today == made.kept.today for row in spares_kept.of_plant(plant).rows)


def test_the_sums_over_all_spares_are_kept_and_the_pages_read_no_more_than_they_name(plant, as_role):
    """What the shelf costs and what is spent month by month: the same pages kept and from the log, and kept without
    reading every row."""
    client = as_role("buyer")
    addresses = [reverse("reports:shelf_money"), reverse("reports:spares_ahead"), reverse("reports:spares_ahead_csv")]

    def read(address: str) -> bytes:
        return client.get(address).content.split(b"<main")[-1]  # above it a form has a word of its own each time

    plain = [read(address) for address in addresses]
    night(plant)
    KeptSpare.objects.exclude(item__in=spares_kept.shelf_of(plant)[0].items).delete()
    for address, before in zip(addresses, plain, strict=True):
        with CaptureQueriesContext(connection) as seen:
            assert read(address) == before
        assert len(seen) <= 15
