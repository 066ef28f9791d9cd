"""Who supplies a spare, on its page; forms; what the advice and an order make of it; a level by hand."""

from __future__ import annotations

from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils import timezone

from diestore.register import sourcing
from diestore.register.models import Party
from diestore.register.sources import Source, SourcePrice, SpareLevel
from maintenance.log import purchases
from maintenance.log.purchases import LineTyped, OddLots, Wanted
from maintenance.models import PurchaseOrder, StockMovement
from reports.spares import advice
from tests import factories as make
from tests.pages import money_shop as shop

from .as_read import as_read

pytestmark = pytest.mark.django_db


@pytest.fixture
def quillfen():
    return Party.objects.create(code="QUILLFEN", name="Quillfen Tooling", role="supplier")


@pytest.fixture
def punch(quillfen):
    item = shop.spare("PP-6.0-M2", on_hand=0, lead_days=200)
    shop.worked_die("H-900", item)
    shop.worked_die("H-901", item)
    shop.forecast()
    return item


def row(item):
    return next(r for r in advice.all_spares(make.plant()) if r.item == item)


def typed(supplier, **more) -> dict:
    return {
        "sort": "finished", "supplier": supplier.pk, "lead_days": "200", "currency": "EUR", "priced_by": "piece",
        "from-0": "1", "price-0": "50", "from-1": "12", "price-1": "40", "preferred": "on", "why_preferred": "cheap",
        "prices_from": timezone.localdate().isoformat(), "act": "save",
    } | more  # fmt: skip


def test_a_buyer_enters_changes_and_ends_a_source(punch, quillfen, as_role):
    client = as_role("buyer")
    new, there = reverse("reports:source_new", args=[punch.pk]), reverse("reports:spare", args=[punch.pk])
    assert "No source is entered" in as_read(client.get(there))
    wrong = client.post(new, typed(quillfen, **{"price-1": "60"}))
    assert wrong.status_code == 422 and "The price rises with the quantity" in as_read(wrong)
    assert not Source.objects.exists()
    assert client.post(new, typed(quillfen)).status_code == 302
    page = as_read(client.get(there))
    assert "50.00 from 1" in page and "40.00 from 12" in page and "no order yet" in page and "cheap" in page
    source = Source.objects.get()
    one = reverse("reports:source", args=[punch.pk, source.pk])
    assert client.get(one).context["form"]["price-1"].value() == "40"
    again = typed(quillfen, lead_days="0", seen="0")
    assert "is it on the shelf of the supplier?" in as_read(client.post(one, again))
    assert client.post(one, typed(quillfen, lead_days="30", seen="0")).status_code == 302
    punch.refresh_from_db()
    assert (punch.lead_days, punch.unit_price, punch.supplier) == (30, Decimal(50), quillfen)
    assert SourcePrice.objects.count() == 2  # the same list is no other one
    assert client.post(one, {"act": "end", "day": timezone.localdate().isoformat()}).status_code == 422
    done = client.post(one, {"act": "end", "day": timezone.localdate().isoformat(), "reason": "closed down"})
    assert done.status_code == 302 and not Source.objects.get().stands
    assert "closed down" in as_read(client.get(reverse("reports:sources", args=[punch.pk])))


def test_others_read_and_do_not_write(punch, quillfen, as_role):
    source = make.source(punch, supplier=quillfen)
    for role in ("toolmaker", "lead"):
        client = as_role(role)
        assert "Quillfen Tooling" in as_read(client.get(reverse("reports:spare", args=[punch.pk])))
        for name, args in (("source", [punch.pk, source.pk]), ("source_new", [punch.pk]), ("level", [punch.pk])):
            assert client.get(reverse(f"reports:{name}", args=args)).status_code == 403


def test_the_advice_goes_by_breaks_packs_and_the_least_quantity(punch, quillfen, as_role):
    """All-units break: from 12 the twelve cost 12 x 10, less than eleven at 50."""
    make.source(punch, supplier=quillfen, lead_days=200, prices=((1, "50"), (12, "10")), least_quantity=3, pack_size=2)
    punch.refresh_from_db()
    told = row(punch)
    pieces = [rung.pieces for rung in told.advice.ladder]
    assert pieces[0] == 0 and all(n % 2 == 0 and n >= 4 for n in pieces[1:])
    (first,) = (rung for rung in told.advice.ladder if rung.is_break)
    assert first.pieces == 12 and first.each == 10
    assert told.quantity == 12 and told.each == 10 and told.value == 120  # four would cost 200
    client = as_role("buyer")
    page = as_read(client.get(reverse("reports:spare", args=[punch.pk])))
    assert "10.00 EUR each from here" in page
    file = client.get(reverse("reports:spares_csv")).content.decode()
    assert ",12,2,10.00," in file


def test_a_level_by_hand_counts_beside_the_reckoned_one(punch, as_role):
    client, address = as_role("buyer"), reverse("reports:level", args=[punch.pk])
    before = row(punch)
    assert client.post(address, {"least_pieces": "40", "reason": "a customer asks"}).status_code == 302
    told = row(punch)
    assert told.advice.point == 40 and told.short_by == 40 - before.on_hand - before.on_order
    assert told.quantity >= told.short_by and told.is_due
    page = as_read(client.get(reverse("reports:spare", args=[punch.pk])))
    assert "By hand: 40 pieces at least" in page and "a customer asks" in page and "Worked out: enough" in page
    assert client.post(address, {"chance_percent": "60", "reason": "slow"}).status_code == 302
    assert row(punch).advice.service == 0.6
    assert client.post(address, {"act": "back"}).status_code == 302
    assert row(punch).advice == before.advice and SpareLevel.objects.filter(back_on=None).count() == 0


def test_order_lines_take_the_price_of_the_break(punch, quillfen):
    make.source(punch, supplier=quillfen, prices=((1, "50"), (12, "40")), least_quantity=4, pack_size=4)
    punch.refresh_from_db()
    order = purchases.draft(
        by=make.actor(), plant=make.plant(), currency="EUR", wanted=[Wanted(item=punch, quantity=2)]
    ).orders[0]
    line = order.lines.get()
    assert line.unit_price == 50 and order.supplier == quillfen
    say = {"supplier": quillfen, "currency": "EUR", "wanted_on": None, "note": ""}

    def change(pieces, price):
        lines = {line.pk: LineTyped(quantity=pieces, unit_price=price)}
        purchases.change_draft(by=make.actor(), order=order, lines=lines, **say)
        line.refresh_from_db()

    change(14, Decimal(50))
    assert line.unit_price == 40  # as the list says for so many
    with pytest.raises(OddLots, match=r"sells packs of 4\. Take 12 or 16"):
        purchases.place(by=make.actor(), order=order)
    assert not StockMovement.objects.filter(line=line).exists()
    change(2, Decimal("44"))
    assert line.unit_price == 44  # somebody typed it
    with pytest.raises(OddLots, match="sells 4 at least"):
        purchases.place(by=make.actor(), order=order)
    purchases.place(by=make.actor(), order=order, odd_lots=True)
    assert PurchaseOrder.objects.get().placed_at is not None


def test_another_currency_is_another_order(punch, quillfen):
    other = make.item("PI-3.2", supplier=quillfen, unit_price=Decimal(12), lead_days=9)
    make.source(punch, supplier=quillfen, currency="USD", prices=((1, "50"),))
    punch.refresh_from_db()
    wanted = [Wanted(item=item, quantity=2) for item in (punch, other)]
    told = purchases.draft(by=make.actor(), plant=make.plant(), currency="EUR", wanted=wanted)
    assert {(order.currency, order.lines.get().unit_price) for order in told.orders} == {("USD", 50), ("EUR", 12)}


def test_the_lead_time_is_that_of_the_preferred_source(punch, quillfen):
    """What another supplier took does not count."""
    other = Party.objects.create(code="SALLOWBY", role="supplier")
    make.source(punch, supplier=other, lead_days=30, preferred=False, why_preferred="")
    source = make.source(punch, supplier=quillfen, lead_days=30)
    for supplier, days in ((other, 90), (other, 80), (quillfen, 31)):
        order = PurchaseOrder.objects.create(
            plant=make.plant(),
            number=f"{supplier} {days}",
            supplier=supplier,
            currency="EUR",
            placed_at=make.moment(400),
        )
        line = order.lines.create(item=punch, quantity=1)
        for place, n in (("shelf", 1), ("on order", -1)):
            StockMovement.objects.create(
                plant=make.plant(), item=punch, line=line, quantity=n, kind="delivered", place=place,
                at=make.moment(400 + days), key=f"{order}{place}",
            )  # fmt: skip
        StockMovement.objects.create(
            plant=make.plant(), item=punch, line=line, quantity=1, kind="ordered", place="on order", at=make.moment(400)
        )
    assert row(punch).advice.lead_seen == 1
    sourcing.end(by=None, source=source, day=timezone.localdate(), reason="closed")
    assert row(punch).advice.lead_seen == 3


def test_what_else_goes_on_an_order_is_added_with_one_tap(quillfen, as_role):
    """A spare of the same supplier that comes soon is offered with what it saves; another supplier's is not."""
    first, other = make.item("first", supplier=quillfen, lead_days=20), Party.objects.create(code="X", role="supplier")
    punch = shop.spare("PP-6.0-M2", on_hand=0, lead_days=200)
    shop.worked_die("H-900", punch)
    shop.forecast()
    punch.supplier, punch.unit_price = quillfen, Decimal(5)
    punch.save()
    wanted = [Wanted(item=first, quantity=2)]
    order = purchases.draft(by=make.actor(), plant=make.plant(), currency="EUR", wanted=wanted).orders[0]
    client, address = as_role("buyer"), reverse("reports:order_more", args=[order.pk])
    told = client.get(address)
    (line,) = told.context["lines"]
    assert line["row"].item == punch and "PP-6.0-M2" in as_read(told)
    tick = f"{punch.pk}:{line['row'].quantity}"
    client.post(reverse("maintenance:purchase_new"), {"item": tick})
    assert {one.item for one in order.lines.all()} == {first, punch}
    assert client.get(address).context["lines"] == []  # it stands in the draft
    PurchaseOrder.objects.update(supplier=other)
    order.lines.get(item=punch).delete()
    assert client.get(address).context["lines"] == []
