"""What a spare cost on its day, from the tables: its order, the price list of its source, the register as it was."""

from __future__ import annotations

from decimal import Decimal

import pytest
import time_machine

from diestore.register import actions, sourcing
from diestore.register.models import Item, Party
from maintenance.log import purchases, write
from maintenance.log.purchases import Came, Wanted
from reports.cost import reads, sheets
from reports.costing.day_prices import From
from tests import factories as make

pytestmark = pytest.mark.django_db


@pytest.fixture
def die():
    """The spare costs 48.50 since long before the records."""
    with time_machine.travel(make.moment(-90), tick=False):
        item = make.item(unit_price=Decimal("48.50"), lead_days=20, supplier=None)
    made = make.die(build_price=Decimal(30_000), expected_parts=1_000_000)
    make.position(made, item=item)
    make.run(made, 1, 10_000)
    return made


def fit(die, day: float, **more) -> None:
    write.log_replacement(
        by=make.actor(), position=die.positions.get(), at=make.moment(day), why="ground out", key=f"fit {day}", **more
    )


def fitted(die) -> list[tuple[Decimal, From]]:
    spent = reads.spent_and_rates([die.pk], die.plant)[0][die.pk]
    return [(row.price.amount, row.price.told_by) for row in spent.spares]


@pytest.fixture(params=[1_000, 0], ids=["by name", "all"])
def asked(request, monkeypatch):
    monkeypatch.setattr(reads, "ONE_BY_ONE", request.param)


def spares(die) -> Decimal:
    return sheets.cost_per_thousand(die).sheet.element("spares").amount


def test_a_price_change_changes_no_month_before_it(die, asked):
    """By hand in the register, and by a source that somebody prefers from now on: what was fitted stays as it cost."""
    fit(die, 20)
    assert fitted(die) == [(Decimal("48.50"), From.REGISTER)] and spares(die) == Decimal("48.50")
    with time_machine.travel(make.moment(30), tick=False):
        actions.amend(by=make.user("lead"), row=Item.objects.get(), values={"unit_price": Decimal(60)},
                      at=make.moment(30), reason="dearer")  # fmt: skip
        assert spares(die) == Decimal("48.50")
    fit(die, 35)
    with time_machine.travel(make.moment(40), tick=False):
        make.source(Item.objects.get(), prices=((1, "70"), (10, "55")), since=make.moment(40).date())
        assert Item.objects.get().unit_price == 70
    fit(die, 50)
    with time_machine.travel(make.moment(60), tick=False):
        source = Item.objects.get().sources.get()
        sourcing.put_prices(by=None, source=source, prices=[(1, Decimal(90))], day=make.moment(60).date())
    fit(die, 70)
    assert fitted(die) == [
        (Decimal("48.50"), From.REGISTER), (Decimal(60), From.REGISTER), (Decimal(70), From.PRICE_LIST),
        (Decimal(90), From.PRICE_LIST),
    ]  # fmt: skip
    assert spares(die) == Decimal("268.50")


def test_the_price_of_the_order_that_a_piece_came_by(die):
    """Two at 40 and two at 45: the first two that are fitted cost 40, the third 45."""
    item = Item.objects.get()
    supplier = Party.objects.get_or_create(code="QUILLFEN", defaults={"role": "supplier"})[0]
    for day, price in ((2, 40), (5, 45)):
        with time_machine.travel(make.moment(day), tick=False):
            wanted = [Wanted(item=item, quantity=2)]
            order = purchases.draft(by=make.actor(), plant=make.plant(), wanted=wanted, currency="EUR").orders[0]
            order.supplier = supplier
            order.save()
            line = order.lines.get()
            line.unit_price = Decimal(price)
            line.save()
            order = purchases.place(by=make.actor(), order=order)
            purchases.receive(by=make.actor(), order=order, came={line.pk: Came(quantity=2)})
    for day in (10, 20, 30):
        fit(die, day, from_shelf=True)
    assert fitted(die) == [(40, From.ORDER), (40, From.ORDER), (45, From.ORDER)]
    spent = reads.spent_and_rates([die.pk], die.plant)[0][die.pk]
    assert spent.spares[0].price.came == make.moment(2) and spent.spares[0].price.order is not None


def test_before_the_first_price_that_is_kept_it_is_that_one(die):
    Item.history.all().delete()
    fit(die, 20)
    assert fitted(die) == [(Decimal("48.50"), From.TODAY)]
    with time_machine.travel(make.moment(25), tick=False):
        Item.objects.get().save()
    assert fitted(die) == [(Decimal("48.50"), From.FIRST)]
