"""Who pays, and a die whose life ended, with every column of theirs filled."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal

from diestore.register.models import Die, Party, Variant
from maintenance.log import payers, retirements, write
from maintenance.models import Reading, Replacement, Stop, Work


def paid(*, die: Die, by: write.Actor, customer: Party, at: Callable) -> None:
    payers.say_of_die(
        by=by, die=die, at=at(2), payers={"sharpening": customer, "stop": None, "spares": customer}, note="contract; 7"
    )
    payers.say_of_die(by=by, die=die, at=at(6), payers={"spares": None})
    work = Work.objects.standing().filter(position__die=die).order_by("at", "pk").first()
    fitted = Replacement.objects.standing().filter(position__die=die, since_start=False).order_by("at", "pk").first()
    stop, reading = Stop.objects.filter(die=die).first(), Reading.objects.filter(die=die).first()
    for entry in (work, fitted, stop, reading):
        payers.say_of_entry(by=by, entry=entry, payer=customer, note="by letter")
    ended = Die.objects.create(plant=die.plant, code="E-9", usual_stock=die.usual_stock, strokes_per_minute=90)
    Variant.objects.create(die=ended, is_default=True)
    retirements.retire(
        by=by, die=ended, at=at(15), fate="scrapped", weight_kg=412.5, worth=Decimal("82.50"), cost=Decimal("40.25"),
        payer=customer, went_to="a yard; by the river", note="worn out",
    )  # fmt: skip
