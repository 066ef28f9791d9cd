"""Who pays is said once of a die or of one entry, and struck out like any entry; a die's life ends by an entry too."""

from __future__ import annotations

from decimal import Decimal

import pytest

from diestore.register.models import Amendment, Die, Party
from maintenance.log import listing, payers, retirements, write
from maintenance.log.rules import EntryRefused
from maintenance.models import Change, CostBearer, Retirement, Stop
from tests import factories as make

pytestmark = pytest.mark.django_db


@pytest.fixture
def owner():
    return Party.objects.create(code="DOVECOTT", name="Dovecott Seating", role="customer")


@pytest.fixture
def die(owner):
    made = make.die(owner=owner)
    make.position(made)
    return made


def say(die, day: float, **who):
    return payers.say_of_die(by=make.actor(), die=die, at=make.moment(day), payers=who)


def test_only_what_is_otherwise_is_kept(die, owner):
    assert [row.element for row in say(die, 1, sharpening=owner, spares=None, stop=None)] == ["sharpening"]
    assert Change.objects.filter(die=die, what=Change.What.PRICE).exists()
    with pytest.raises(EntryRefused, match="other than it was"):
        say(die, 5, sharpening=owner, spares=None)
    say(die, 9, sharpening=None, spares=owner)
    held = payers.holding_at(die, make.moment(8))
    assert {element: one.payer for element, one in held.items()} == {"sharpening": owner}
    held = payers.holding_at(die, make.moment(9))
    assert {element: one.payer for element, one in held.items()} == {"sharpening": None, "spares": owner}
    last = CostBearer.objects.get(element="sharpening", at=make.moment(9))
    write.strike_out(by=make.actor(), entry=last, reason="the letter says otherwise")
    assert payers.holding_at(die, make.moment(9))["sharpening"].payer == owner


def test_what_cannot_be(die):
    seller = Party.objects.create(code="QUILLFEN", role="supplier")
    for who, words in (({"sharpening": seller}, "is a supplier"), ({"build": None}, "from the list")):
        with pytest.raises(EntryRefused, match=words):
            say(die, 1, **who)
    with pytest.raises(EntryRefused, match="still to come"):
        say(die, 100_000, sharpening=None)
    stop = Stop.objects.create(die=die, cause="burr", minutes=3, at=make.moment(3))
    write.strike_out(by=make.actor(), entry=stop, reason="another die")
    with pytest.raises(EntryRefused, match="in no die's cost"):
        payers.say_of_entry(by=make.actor(), entry=stop, payer=None)
    assert not CostBearer.objects.exists()


def test_the_same_form_twice_counts_once(die, owner):
    once = {"by": make.actor(), "die": die, "at": make.moment(1), "payers": {"stop": owner}, "key": "k"}
    assert payers.say_of_die(**once) == payers.say_of_die(**once)
    stop = Stop.objects.create(die=die, cause="burr", minutes=3, at=make.moment(3))
    once = {"by": make.actor(), "entry": stop, "payer": None, "key": "e"}
    assert payers.say_of_entry(**once) == payers.say_of_entry(**once)
    assert CostBearer.objects.count() == 2 and payers.of_entry(stop).payer is None
    words = listing.of_event(payers.of_entry(stop)).words
    assert words.startswith("the shop pays for one entry: stops and scrap of")
    assert listing.find("costbearer", payers.of_entry(stop).pk) is None, "not for whoever sees no cost"


# The end of a die's life


def retire(die, day: float = 30, **more):
    told = {"fate": "scrapped", "weight_kg": 400.0, "worth": Decimal("88.00"), "cost": Decimal("25.50")}
    return retirements.retire(by=make.actor(), die=die, at=make.moment(day), **told | more)


def test_it_retires_the_die_and_struck_out_the_die_is_as_it_was(die):
    Die.objects.filter(pk=die.pk).update(status="stored")
    row = retire(die, key="k")
    assert Die.objects.get(pk=die.pk).status == "retired" and retire(die, key="k") == row
    assert Amendment.objects.get(sort="retired").reason == "By its entry in the log: scrapped"
    assert listing.of_event(row).words == "Retired: scrapped" and listing.of_event(row).facts == ("400.0 kg",)
    with pytest.raises(EntryRefused, match="already"):
        retire(die, 31)
    write.strike_out(by=make.actor(), entry=row, reason="it is the other one")
    assert Die.objects.get(pk=die.pk).status == "stored"
    assert retire(die, 31) and Retirement.objects.standing().count() == 1


def test_a_die_that_was_retired_by_hand_stays_so(die):
    Die.objects.filter(pk=die.pk).update(status="retired")
    row = retire(die)
    write.strike_out(by=make.actor(), entry=row, reason="kept after all")
    assert Die.objects.get(pk=die.pk).status == "retired"


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"fate": "lost"}, "what became of it"), ({"worth": Decimal(-1)}, "nought or more"),
        ({"cost": Decimal("0.001")}, "two decimals"), ({"weight_kg": -1.0}, "nought or more"),
        ({"worth": Decimal("Infinity")}, "no amount|not an amount"), ({"went_to": "x" * 121}, "Say it shorter"),
    ],
)  # fmt: skip
def test_an_end_that_cannot_be(die, more, words):
    with pytest.raises(EntryRefused, match=words):
        retire(die, **more)
    assert not Retirement.objects.exists() and Die.objects.get(pk=die.pk).status == "in service"


def test_only_what_has_an_owner_goes_back_to_him(die, owner):
    assert retire(die, fate="returned").went_to == "Dovecott Seating"
    with pytest.raises(EntryRefused, match="no owner"):
        retire(make.die("H-901"), fate="returned")
