"""Orders are reckoned from today by the clock, and not from the last entry: a holiday is no reason to order late."""

from __future__ import annotations

import datetime as dt

import pytest
import time_machine
from django.utils import timezone

from reports.format import how_old
from reports.spares import advice
from reports.spares.use import PlantAhead, day_of_records, today_at
from tests.pages import money_shop

pytestmark = pytest.mark.django_db


@pytest.fixture
def by_the_clock(settings):
    settings.STANDS_STILL = False


@pytest.fixture
def worked(by_the_clock):
    item = money_shop.spare("PP-6.0-M2", on_hand=0, lead_days=20)
    die = money_shop.worked_die("H-900", item, cycles=4)
    from maintenance.forecasts import store

    store.fit_and_forecast(die.plant)
    return die


def seen_at(day: dt.date, plant):
    with time_machine.travel(dt.datetime(day.year, day.month, day.day, 12, tzinfo=dt.UTC), tick=False):
        ahead = PlantAhead.of(plant)
        (row,) = advice.all_spares(plant)
        return ahead, row


def test_after_a_holiday_what_ran_since_is_reckoned_and_the_day_is_the_clocks(worked):
    plant, last = worked.plant, day_of_records(worked.plant)
    ahead, row = seen_at(last, plant)
    later, late_row = seen_at(last + dt.timedelta(days=14), plant)
    assert (row.today, late_row.today) == (last, last + dt.timedelta(days=14))
    pace = ahead.pace[worked.pk]
    assert pace > 0 and later.pace[worked.pk] == pace  # days of which nothing is entered do not make it slower
    assert later.strokes(worked.pk, 30) == pytest.approx(ahead.strokes(worked.pk, 44))
    # What is used within a lead time is counted from the last entry, so the day for the order comes no later.
    assert late_row.order_by <= row.order_by + dt.timedelta(days=1)


def test_a_shop_that_stands_still_is_at_the_end_of_its_records(worked, settings):
    settings.STANDS_STILL = True
    assert today_at(worked.plant) == day_of_records(worked.plant) < timezone.localdate()


def test_an_entry_dated_ahead_makes_no_strokes_less_than_none(worked):
    ahead, _ = seen_at(day_of_records(worked.plant) - dt.timedelta(days=3), worked.plant)
    assert ahead.strokes(worked.pk, 0) == 0


@pytest.mark.no_database
def test_how_old_the_log_is():
    day = dt.date(2026, 11, 20)
    assert how_old(day, day) == how_old(day, day + dt.timedelta(days=1)) == "Entries up to 20 Nov 2026."
    assert "9 days ago" in how_old(day, dt.date(2026, 11, 29)) and "usual pace" in how_old(day, dt.date(2026, 11, 29))
    assert how_old(None, None) == ""
