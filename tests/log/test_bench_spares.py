"""Spares of a work on the bench: which are there, drawn with one tap, undone, and returned when they were not used."""

from __future__ import annotations

import pytest

from maintenance.log import bench, bench_plan, bench_spares, write
from maintenance.log.rules import EntryRefused
from maintenance.models import StockMovement
from tests import factories as make
from tests.pages.as_read import as_read
from tests.pages.bench_browser import sent
from tests.pages.money_shop import movement

pytestmark = pytest.mark.django_db


@pytest.fixture
def die():
    made = make.die()
    item = make.item("PP-6.0", lead_days=12)
    make.position(made, "1-A", item=item)
    movement(item, 3)
    return made


@pytest.fixture
def item(die):
    return die.positions.get().item


@pytest.fixture
def work(die):
    return opened(die)


def opened(die):
    edges = [bench.EdgeToGrind(position=die.positions.get(), grind_mm=0.1)]
    return bench.open_work(by=make.actor(), die=die, what="sharpen the set", edges=edges)


def seen(work) -> bench_spares.SpareOfWork:
    rows = bench_plan.plan_of(work.die.plant).rows
    mine = next(row.work for row in rows if row.work.pk == work.pk)
    item = work.die.positions.get().item
    (one,) = bench_spares.of_work(
        work, codes={item.pk: ["1-A"]}, known=[item], pieces=mine.pieces.all(), others=[row.work for row in rows]
    )
    return one


def test_a_place_that_is_planned_shows_its_spare_and_what_is_missing(die, item, work):
    one = seen(work)
    assert (one.places, one.on_shelf, one.aside, one.drawn, one.missing) == (("1-A",), 3, 0, 0, 0)
    bench.reserve(by=make.actor(), work=work, item=item, quantity=2)
    later = opened(die)
    bench.reserve(by=make.actor(), work=later, item=item, quantity=3)
    assert (seen(work).aside, seen(work).missing) == (2, 0)
    assert (seen(later).others, seen(later).free, seen(later).missing) == (2, 1, 2)


def test_drawing_uses_what_is_set_aside_and_stands_behind_the_work(die, item, work):
    bench.reserve(by=make.actor(), work=work, item=item, quantity=2)
    later = opened(die)
    bench.reserve(by=make.actor(), work=later, item=item, quantity=1)
    assert bench.draw_spare(by=make.actor(), work=work, item=item, key="tap") == 2
    assert bench.draw_spare(by=make.actor(), work=work, item=item, key="tap") == 2, "the second tap draws nothing"
    one = seen(work)
    assert (one.on_shelf, one.aside, one.drawn, one.missing) == (1, 0, 2, 0)
    assert seen(later).missing == 0, "what is drawn is not set aside once more"
    assert bench.clash_of(later.pieces.get(), die.plant_id) == ""
    assert not any(row.waits for row in bench_plan.plan_of(die.plant).rows)
    assert StockMovement.objects.filter(bench_work=work).count() == 2
    assert work.steps.filter(words__startswith="drawn").count() == 1
    write.log_replacement(by=make.actor(), position=die.positions.get(), at=make.moment(4), why="dull", from_shelf=True)
    assert seen(work).drawn == 1
    assert bench.return_spare(by=make.actor(), work=work, item=item) == 1
    assert (seen(work).on_shelf, seen(work).drawn) == (2, 0)
    with pytest.raises(EntryRefused, match="is drawn for this work any more"):
        bench.return_spare(by=make.actor(), work=work, item=item)


def test_a_toolmaker_draws_and_undoes_it_on_the_works_page(as_role, item, work):
    bench.reserve(by=make.actor(), work=work, item=item, quantity=2)
    client, url = as_role("toolmaker"), f"/bench/{work.pk}/"
    page = client.get(url)
    assert "Spares for it" in as_read(page) and "Draw 2" in as_read(page)
    key = page.context["draw_key"]
    person = {"person": str(make.person().pk)}
    answer = client.post(url, sent(page, act=f"draw {item.pk} {key}", **person), follow=True)
    assert "2 × PP-6.0 drawn" in as_read(answer) and seen(work).drawn == 2
    undo = sent(answer, act=f"undraw {seen(work).newest}", **person)
    answer = client.post(url, undo, follow=True)
    assert "Undone: 2 × PP-6.0" in as_read(answer) and (seen(work).on_shelf, seen(work).aside) == (3, 2)
    answer = client.post(url, undo, follow=True)
    assert answer.status_code == 422 and "undone already" in as_read(answer)
    client.post(url, sent(client.get(url), act=f"draw {item.pk} other", **person))
    answer = client.post(url, sent(client.get(url), act=f"unused {item.pk} third", **person), follow=True)
    assert "2 × PP-6.0 returned to the shelf" in as_read(answer) and seen(work).on_shelf == 3
    for wrong in ("draw 99999", "draw x", "unused", "undraw 5", f"unused {item.pk}"):
        assert client.post(url, sent(client.get(url), act=wrong, **person)).status_code == 422
