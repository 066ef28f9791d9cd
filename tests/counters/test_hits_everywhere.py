"""The hits that a counter counts just now, wherever hits are read: clocks, cost, open orders.

The law: the hits that are told, and the strokes that nobody has decided yet, are together what the counter went up by.
"""

from __future__ import annotations

import datetime as dt

import pytest

from maintenance.counters import presses, settle
from maintenance.log import queries, read, write
from maintenance.models import CounterQuestion, OpenCount
from reports.cost import kept, reads, sheets
from reports.models import KeptSheets
from tests import factories as make
from tests.counters import shop

pytestmark = pytest.mark.django_db
NEVER, HALF_A_DAY = dt.timedelta(days=10_000), dt.timedelta(hours=12)


@pytest.fixture(autouse=True)
def not_silent(monkeypatch):
    """The morning of these tests lies months back, and no counter of theirs has fallen silent."""
    monkeypatch.setattr(settle, "SILENT", NEVER)


@pytest.fixture
def box(db):
    shop.press()
    return shop.device().device


def told_everywhere(die, order=None) -> set[int]:
    """The hits of a die as each of its readers tells them."""
    found = {sum(run.hits for run in read.of_die(die).runs), reads.spent_on([die.pk])[die.pk].hits}
    if order is not None:
        (left,) = queries.open_orders(dies=[die])
        found.add(order.parts - left.parts_left)
    return found


def undecided() -> int:
    return sum(row.strokes for row in CounterQuestion.objects.filter(settled_at__isnull=True))


def send(box, totals, **more):
    shop.send(box, totals, **more)
    settle.settle_waiting()


def test_hits_and_undecided_strokes_are_the_counters_wherever_they_are_read(box, monkeypatch):
    """A die set late, silence, and it goes on again."""
    die = make.die()
    order = make.order(die, parts=10_000)
    send(box, {m: 1_000 + 60 * m for m in range(5)})
    assert (told_everywhere(die, order), undecided()) == ({0}, 240)
    shop.set_die(die, minute=2, order=order)
    assert (told_everywhere(die, order), undecided()) == ({120}, 120)
    send(box, {5: 1_300, 6: 1_360})
    assert (told_everywhere(die, order), undecided()) == ({240}, 120)
    monkeypatch.setattr(settle, "SILENT", HALF_A_DAY)
    assert settle.settle_waiting() == {die}
    assert [run[1] for run in shop.runs()] == [240] and not OpenCount.objects.exists()
    assert (told_everywhere(die, order), undecided()) == ({240}, 120)
    monkeypatch.setattr(settle, "SILENT", NEVER)
    send(box, {800: 1_360, 801: 1_420, 802: 1_480})
    assert OpenCount.objects.exists()
    assert (told_everywhere(die, order), undecided()) == ({360}, 120)
    assert 360 + 120 == 1_480 - 1_000


def test_a_typed_run_over_what_is_counted_just_now_counts_once(box):
    die = make.die()
    order = make.order(die, parts=10_000)
    shop.set_die(die, order=order)
    send(box, {m: 60 * m for m in range(10)})
    assert told_everywhere(die, order) == {540}
    write.log_run(by=make.actor(), die=die, started=shop.at(0), ended=shop.at(12), hits=500, order=order)
    assert told_everywhere(die, order) == {500}
    settle.settle_waiting()
    assert (told_everywhere(die, order), undecided()) == ({500}, 540)


def test_strokes_without_stock_make_no_parts(box):
    die = make.die()
    shop.set_die(die)
    send(box, {0: 0, 1: 40, 2: 80}, with_stock=False)
    assert OpenCount.objects.get().hits == 80
    assert reads.spent_on([die.pk])[die.pk].parts == 0


def test_kept_cost_sheets_know_what_is_counted_just_now(box, monkeypatch):
    """Kept while a die is counted; then its hits go to another, and no entry was made."""
    monkeypatch.setattr(kept, "WORTH_KEEPING", 2)
    dies = [make.die(f"H-{n}", build_price=9_000, expected_parts=1_000_000) for n in range(3)]
    for die in dies:
        make.run(die, 1, 9_000)

    def shown() -> dict[str, int]:
        fresh = {row.die.code: row.sheet for row in sheets.cost_per_thousand(dies[0].plant)}
        assert {row.die.code: row.sheet for row in kept.costs_of(dies[0].plant)} == fresh
        return {code: sheet.parts_made for code, sheet in fresh.items()}

    row = shop.set_die(dies[0])
    send(box, {m: 60 * m for m in range(10)})
    kept.keep(kept.work_out(dies[0].plant))
    assert len(KeptSheets.objects.get().sheets) == 3
    before = shown()
    presses.strike_in_press(by=make.actor(), row=row, reason="It was the other one.")
    shop.set_die(dies[1])
    after = shown()
    assert (before["H-0"] - after["H-0"], after["H-1"] - before["H-1"], after["H-2"]) == (540, 540, before["H-2"])
