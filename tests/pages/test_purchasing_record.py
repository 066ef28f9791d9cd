"""The record for purchasing: the advice of then knows what was entered by then, and the page says what came of it."""

import csv
import datetime as dt
import io

import pytest
from django.db.models import F
from django.urls import reverse
from django.utils import timezone

from diestore.register.models import Plant
from maintenance.forecasts import store
from maintenance.life.fleet import FleetFit
from maintenance.log import write
from maintenance.models import Replacement, Run, StockMovement, Work
from reports.models import PurchasingRecord
from reports.purchasing.reorder import StockNow
from reports.record import reads, then, work
from reports.spares import advice
from tests import factories as make

from . import money_shop as shop
from .as_read import as_read

pytestmark = pytest.mark.django_db


def said(client, **asked) -> str:
    return as_read(client.get(reverse("reports:spares_record"), asked))


def test_it_speaks_first_and_names_what_cannot_be_known(as_role):
    items = [shop.spare("PP-6.0-M2"), shop.spare("PL-3")]
    shop.purchasing_record(*items)
    text = said(as_role("buyer"))
    assert (
        "The advice would have left 2 pieces fewer short than a fixed minimum, with 97 EUR less on the shelf." in text
    )
    assert "4 (4 to 6)" in text, "the least and the most of what never happened"
    assert "With as much money as the advice, a minimum would have left 3 short; the advice 2." in text
    assert "To be short no more often than the advice, a minimum takes 242 EUR." in text
    assert "PP-6.0-M2" in text
    assert "PL-3" in text


def test_the_file_has_the_same_figures(as_role):
    shop.purchasing_record(shop.spare("PP-6.0-M2"))
    raw = as_role("buyer").get(reverse("reports:spares_record_csv")).content.decode("utf-8-sig")
    head, row = csv.reader(io.StringIO(raw))
    line = dict(zip(head, row, strict=True))
    assert line["advice, short"] == "1"
    assert line["fixed minimum, short at most"] == "3"
    assert line["fixed minimum, on the shelf"] == "145.50"
    assert line["pieces needed"] == "7"


def test_before_the_first_look_back_and_where_there_is_nothing(as_role):
    shop.spare("PP-6.0-M2")
    client = as_role("buyer")
    assert "Nobody has looked back yet." in said(client)
    row = work.work_out(Plant.objects.get(), {})
    assert row.refusal == work.TOO_SHORT
    work.keep(row)
    assert "It takes a quarter of a year of records" in said(client)
    assert reverse("reports:spares_record") in client.get(reverse("reports:spares")).content.decode()


def broke(place, day: float) -> None:
    write.log_replacement(by=make.actor(), position=place, at=make.moment(day), why="broken", found="broken")


@pytest.fixture
def worn():
    """A die whose two punches break now and then; three on the shelf at first, two more came on day 100."""
    item = shop.spare("PP-6.0-M2", on_hand=3, lead_days=20, kind="pierce_punch", grind_allowance_mm=2.0)
    die = shop.worked_die("H-900", item, cycles=8)
    place = die.positions.get(code="1-A")
    for day in (30, 55, 101, 120, 150):
        broke(place, day)
    shop.movement(item, 2, kind="ordered", place="on order", day=90)
    shop.movement(item, -2, kind="delivered", place="on order", day=100)
    shop.movement(item, 2, kind="delivered", day=100)
    for model in (Run, Work, Replacement, StockMovement):  # everything was entered as it happened
        model.objects.update(recorded_at=F("at"))
    shop.forecast()
    return item, die


def fits(*days: int) -> dict[dt.datetime, FleetFit]:
    return {make.moment(day): store.fleet_of(make.plant()) for day in days}


def test_the_past_is_ordered_again_by_both_rules(worn):
    item, _ = worn
    row = work.work_out(make.plant(), fits(40, 100))
    assert not row.refusal
    (of,) = row.figures["rows"]
    assert of["item"] == item.pk
    assert of["needed"] == 4, "after the first fit"
    for rule in ("advice", "minimum"):
        low, likely, high = of[rule]["short"]
        assert low <= likely <= high <= of["needed"]
    assert of["minimum"]["money"][1] > 0
    work.keep(row)
    work.keep(work.work_out(make.plant(), fits(40)))
    assert PurchasingRecord.objects.count() == 1


def test_the_advice_of_then_knows_nothing_of_later(worn):
    """The same evening is advised the same, whether or not anything happened after it, and differs where it had."""
    item, die = worn
    evening = dt.timedelta(days=60)

    def told():
        records = then.Records(make.plant(), {item.pk: item}, {make.moment(40): store.of_the_past(
            make.plant(), make.moment(40), store.fleet_of(make.plant()))})  # fmt: skip
        first = timezone.localdate(make.moment(0))
        rule = then.AdviceThen(records, items=[item.pk], first=first)
        ahead, point = rule._told(evening.days)[item.pk]
        return point, ahead.breaks(item.pk), ahead.rows, ahead.pace

    before = told()
    broke(die.positions.get(code="1-B"), 110)
    make.run(die, 165, 500_000)
    assert told() == before
    broke(die.positions.get(code="1-B"), 58)
    Replacement.objects.filter(position__code="1-B", at=make.moment(58)).update(recorded_at=make.moment(61.5))
    assert told() == before, "it had happened, and nobody had entered it"
    Replacement.objects.filter(position__code="1-B", at=make.moment(58)).update(recorded_at=make.moment(58))
    assert told()[1] != before[1]


def test_at_the_end_of_the_records_the_advice_of_then_is_that_of_the_page(worn):
    """By the same forecasts, on the same day, with as many there: the same order."""
    item, _ = worn
    plant = make.plant()
    moment = make.moment(shop.LAST_DAY + 0.9)
    said_then = store.of_the_past(plant, moment, store.fleet_of(plant))
    records = then.Records(plant, {item.pk: item}, {moment: said_then})
    rule = then.AdviceThen(records, items=[item.pk], first=timezone.localdate(moment))
    ahead, _ = rule._told(0)[item.pk]
    page = advice.whole_plant(plant, records_until=timezone.localdate(moment))
    page.today = page.records_until
    now = StockNow(on_hand=1, on_order=0, lead_days=item.lead_days)
    theirs, mine = (advice.reckoned(now, item, one) for one in (page, ahead))
    assert mine.point == theirs.point
    assert mine.quantity == theirs.quantity
    assert mine.yearly == pytest.approx(theirs.yearly, rel=0.02)


def test_a_piece_fitted_as_soon_as_it_came_may_have_been_wanted_before(worn):
    item, _ = worn
    moves = reads.movements(make.plant(), [item.pk])
    first = timezone.localdate(make.moment(40))
    shelf = work._Shelf.of(moves, first, 130)
    filled = (timezone.localdate(make.moment(100)) - first).days
    assert shelf.came[item.pk] == [filled]
    assert shelf.coming[item.pk] == {}, "ordered after the replay begins: not of its beginning"
    full = shelf.of_item(item.pk)
    assert shelf.earliest(item.pk, filled + 1) == filled + 1, "some lay there before"
    full[:filled] = 0
    full[:50] = 1
    assert shelf.earliest(item.pk, filled + 1) == 50, "since the shelf was empty"
    assert shelf.earliest(item.pk, filled + 5) == filled + 5
