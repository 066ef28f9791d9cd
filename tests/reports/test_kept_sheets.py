"""The kept cost sheets say what the log says, whatever was entered since."""

from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from diestore.register import changes as register
from diestore.register.models import Rate
from maintenance.log import write
from maintenance.models import Run
from reports.cost import kept, sheets
from reports.models import KeptSheets
from tests import factories as make

pytestmark = pytest.mark.django_db


@pytest.fixture
def dies(monkeypatch):
    monkeypatch.setattr(kept, "WORTH_KEEPING", 2)
    Rate.objects.create(plant=make.plant(), kind="toolroom hour", valid_from="2020-01-01", amount=60)
    made = [make.die(f"H-{n}", build_price=9_000, expected_parts=1_000_000) for n in range(3)]
    for die in made:
        position = make.position(die)
        make.run(die, 1, 9_000)
        make.sharpen(die, 2, position)
    return made


def told(rows):
    return [(row.die.code, row.sheet, row.notes) for row in rows]


def alike(plant):
    fresh, shown = told(sheets.cost_per_thousand(plant)), told(kept.costs_of(plant))
    assert shown == fresh
    return shown


def test_kept_sheets_are_those_of_the_log(dies):
    plant = dies[0].plant
    kept.keep(kept.work_out(plant))
    before = alike(plant)
    assert before[0][1].per_thousand > 9
    with CaptureQueriesContext(connection) as queries:
        assert [row.spent for row in kept.costs_of(plant)] == [None] * 3
    assert len(queries) <= 5


def test_what_was_entered_or_struck_out_since_counts(dies):
    plant = dies[0].plant
    kept.keep(kept.work_out(plant))
    make.run(dies[1], 5, 20_000)
    alike(plant)
    kept.keep(kept.work_out(plant))
    write.strike_out(by=make.actor(), entry=Run.objects.filter(die=dies[1]).last(), reason="never ran")
    alike(plant)
    register.tell(Rate.objects.create(plant=plant, kind="toolroom hour", valid_from="2021-01-01", amount=Decimal("80")))
    alike(plant)
    make.die("H-new")
    assert len(alike(plant)) == 4


def test_a_small_shop_keeps_none(dies, monkeypatch):
    plant = dies[0].plant
    kept.keep(kept.work_out(plant))
    assert KeptSheets.objects.count() == 1
    monkeypatch.setattr(kept, "WORTH_KEEPING", 100)
    kept.keep(kept.work_out(plant))
    assert not KeptSheets.objects.exists()
    assert len(alike(plant)) == 3
