"""Who supplies a spare: what is refused, what the item follows, prices of a day, a level by hand."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.utils import timezone

from diestore.register import sourcing
from diestore.register.models import Item, Party
from diestore.register.sources import Source, SourcePrice, SpareLevel, priced
from diestore.register.writing import ChangeRefused
from tests import factories as make

pytestmark = pytest.mark.django_db
D = Decimal


@pytest.fixture
def quillfen():
    return Party.objects.create(code="QUILLFEN", name="Quillfen Tooling", role="supplier")


@pytest.fixture
def sallowby():
    return Party.objects.create(code="SALLOWBY", name="Sallowby Grinding", role="supplier")


@pytest.fixture
def punch(quillfen):
    return make.item("PP-6.0", supplier=quillfen, unit_price=D("48.50"), lead_days=20)


def told(item: Item) -> tuple:
    item.refresh_from_db()
    return item.supplier_id, item.lead_days, item.pack_size, item.unit_price


def test_the_item_says_what_its_preferred_source_says(punch, quillfen, sallowby):
    first = make.source(punch, supplier=quillfen, lead_days=30, pack_size=5, prices=((1, "50"), (10, "45")))
    assert told(punch) == (quillfen.pk, 30, 5, D(50))
    make.source(punch, supplier=sallowby, lead_days=12, preferred=False, why_preferred="")
    assert told(punch) == (quillfen.pk, 30, 5, D(50))  # another one changes nothing
    second = Source.objects.get(supplier=sallowby)
    sourcing.change(by=None, source=second, in_its_place=True, values={"preferred": True, "why_preferred": "faster"})
    assert told(punch) == (sallowby.pk, 12, 1, D("48.50"))
    first.refresh_from_db()
    assert not first.preferred and first.why_preferred == ""
    sourcing.end(by=None, source=second, day=timezone.localdate(), reason="closed")
    assert told(punch) == (sallowby.pk, 12, 1, D("48.50"))  # nobody is preferred: the catalogue stays as it is


def test_a_price_list_begins_on_its_day(punch, quillfen):
    today = timezone.localdate()
    source = make.source(punch, supplier=quillfen, prices=((1, "50"),), since=today - dt.timedelta(days=30))
    sourcing.put_prices(by=None, source=source, prices=[(1, D(60))], day=today + dt.timedelta(days=3))
    assert told(punch)[3] == D(50)
    SourcePrice.objects.filter(unit_price=60).update(valid_from=today)  # as if three days had passed
    assert sourcing.follow() == 1 and told(punch)[3] == D(60) and sourcing.follow() == 0


def test_what_a_preferred_source_says_is_changed_there(punch, quillfen):
    make.source(punch, supplier=quillfen)
    punch.refresh_from_db()
    punch.description = "round punch"
    punch.clean()
    punch.lead_days = 3
    with pytest.raises(ValidationError, match="is its preferred source and says so"):
        punch.clean()


@pytest.mark.parametrize(
    ("more", "prices", "field", "words"),
    [
        ({}, ((1, "40"), (10, "41")), "prices", "The price rises with the quantity: 40 from 1 pieces, 41 from 10"),
        ({}, ((1, "-0.01"),), "prices", "below nought"),
        ({}, ((1, "1000000000000"),), "prices", "cannot be"),
        ({}, ((1, "5"), (1, "4")), "prices", "two prices"),
        ({"pack_size": 25}, ((1, "5"), (10, "4")), "prices", "packs of 25"),
        ({"lead_days": 0}, (), "lead_days", "is it on the shelf of the supplier"),
        ({"lead_days": 99_999}, (), "lead_days", "3,650 is the most"),
        ({"currency": "euro"}, (), "currency", "ISO 4217"),
        ({"why_preferred": " "}, (), "why_preferred", "why it is preferred"),
        ({"sort": "service"}, (), "service", "which service"),
        ({"sort": "in house"}, (), "supplier", "has no supplier"),
        ({"priced_by": "hour"}, (), "minutes_each", "how many minutes"),
        ({"pack_size": 0}, (), "pack_size", "1 is the least"),
    ],
)
def test_what_cannot_be_is_refused_whole(punch, quillfen, more, prices, field, words):
    before = told(punch)
    with pytest.raises(ChangeRefused, match=words) as refused:
        make.source(punch, supplier=quillfen, prices=prices, **more)
    assert refused.value.field == field
    assert not Source.objects.exists() and not SourcePrice.objects.exists() and told(punch) == before


def test_only_one_is_preferred_and_a_retired_spare_takes_none(punch, quillfen, sallowby):
    make.source(punch, supplier=quillfen)
    values = {"supplier": sallowby, "lead_days": 5, "currency": "EUR", "preferred": True, "why_preferred": "cheaper"}
    with pytest.raises(ChangeRefused, match="Quillfen Tooling is preferred"):
        sourcing.enter(by=None, item=punch, values=values)
    with pytest.raises(IntegrityError), transaction.atomic():
        Source.objects.create(item=punch, **values)
    Item.objects.filter(pk=punch.pk).update(retired_at=timezone.now())
    with pytest.raises(ChangeRefused, match="no longer offered"):
        sourcing.enter(by=None, item=punch, values=values | {"preferred": False})


def test_the_second_of_two_is_told(punch, quillfen):
    source = make.source(punch, supplier=quillfen)
    sourcing.change(by=None, source=source, values={"lead_days": 21}, seen=0)
    with pytest.raises(ChangeRefused, match="Somebody changed"):
        sourcing.change(by=None, source=source, values={"lead_days": 22}, seen=0)
    assert Source.objects.get().lead_days == 21


def test_on_their_shelf_takes_no_days(punch, quillfen):
    assert make.source(punch, supplier=quillfen, lead_days=0, on_their_shelf=True).lead_days == 0


def test_prices_of_a_lot(punch, quillfen):
    """All pieces at the break reached; stepped, each at the price of its own number: 9 x 50 + 3 x 45 = 585."""
    source = make.source(punch, supplier=quillfen, prices=((1, "50"), (10, "45"), (25, "41.2")))
    day, rows = timezone.localdate(), source.prices.all()
    for pieces, total in ((1, 50), (9, 450), (10, 450), (24, 1080), (25, 1030)):
        assert priced(source, rows, pieces, day).total == total
    source.incremental = True
    for pieces, total in ((9, D(450)), (12, D(585)), (26, 450 + 15 * 45 + 2 * D("41.2"))):
        assert priced(source, rows, pieces, day).total == total
    assert priced(source, rows, 12, day).each == D("48.75")
    assert priced(source, rows, 12, day - dt.timedelta(days=1)) is None


def test_by_the_hour_and_in_another_currency(punch, quillfen):
    """Ninety minutes at 80 an hour are 120; at 0.9 of the shop's money 108."""
    make.source(punch, supplier=quillfen, sort="service", service="wire cutting", priced_by="hour", minutes_each=90,
                currency="USD", shop_money=0.9, prices=((1, "80"), (10, "60")))  # fmt: skip
    assert told(punch)[3] == D(108)
    Source.objects.update(shop_money=None)
    sourcing.follow()
    assert told(punch)[3] is None  # nobody said what a dollar is worth: no price rather than a wrong one


def test_a_level_by_hand_is_set_and_taken_back(punch):
    plant, lead = make.plant(), make.user("buyer")
    for wrong, words in (({}, "one of the two"), ({"chance_percent": 95, "least_pieces": 3}, "one of the two"),
                         ({"chance_percent": 100}, "99.9 is the most")):  # fmt: skip
        with pytest.raises(ChangeRefused, match=words):
            sourcing.set_level(by=lead, plant=plant, item=punch, reason="a customer asks", **wrong)
    with pytest.raises(ChangeRefused, match="why"):
        sourcing.set_level(by=lead, plant=plant, item=punch, least_pieces=3, reason=" ")
    assert not SpareLevel.objects.exists()
    sourcing.set_level(by=lead, plant=plant, item=punch, least_pieces=3, reason="a customer asks")
    sourcing.set_level(by=lead, plant=plant, item=punch, chance_percent=97, reason="all the more")
    assert SpareLevel.objects.get(back_on=None).chance_percent == 97
    sourcing.take_level_back(by=lead, plant=plant, item=punch)
    assert not SpareLevel.objects.filter(back_on=None).exists() and SpareLevel.objects.count() == 2
    with pytest.raises(ChangeRefused, match="No level"):
        sourcing.take_level_back(by=lead, plant=plant, item=punch)
