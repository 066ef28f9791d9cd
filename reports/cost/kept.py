"""The cost sheets of a large shop, kept from night to night; those of dies that were changed since are worked out anew.

A shop of a thousand dies has a million rows of work: its sheets take seconds, and a page may take a tenth of one.
"""

from __future__ import annotations

from decimal import Decimal

from diestore.register.models import Plant
from maintenance.log import freshness
from reports.costing.elements import CostElement, CostSheet, Stage
from reports.models import KeptSheets

from . import reads
from .sheets import DieCost, cost_per_thousand, in_order

WORTH_KEEPING = 100  # dies; a smaller shop is told from its log at once


def work_out(plant: Plant) -> KeptSheets:
    """All sheets of a plant, where it is large enough to keep them; not saved yet."""
    mark, costs = freshness.mark(), []
    if reads.dies_of(plant).count() >= WORTH_KEEPING:
        costs = cost_per_thousand(plant)
    return KeptSheets(plant=plant, mark=mark, sheets={str(cost.die.pk): _columns(cost) for cost in costs})


def keep(made: KeptSheets) -> None:
    """In the place of those kept before; none where the shop is too small for it."""
    KeptSheets.objects.filter(plant=made.plant).delete()
    if made.sheets:
        made.save()


def costs_of(plant: Plant) -> list[DieCost]:
    """As cost_per_thousand of the plant, from what is kept and what was entered since."""
    row = KeptSheets.objects.filter(plant=plant).first()
    changes = None if row is None else freshness.since(row.mark)
    if changes is None:
        return cost_per_thousand(plant)
    changed = changes.dies_in("records", "price") | reads.fitted_with(changes.items)
    dies = {str(die.pk): die for die in reads.dies_of(plant)}
    kept = {pk: _read(sheet, dies[pk]) for pk, sheet in row.sheets.items() if pk in dies and int(pk) not in changed}
    anew = cost_per_thousand([die for pk, die in dies.items() if pk not in kept])
    return in_order([*kept.values(), *anew])


def _columns(cost: DieCost) -> dict:
    sheet = cost.sheet
    return {
        "elements": [[e.key, e.name, e.stage.value, str(e.amount), e.parts, e.basis] for e in sheet.elements],
        "parts_made": sheet.parts_made,
        "left_out": list(sheet.left_out),
        "notes": list(cost.notes),
        "failed": cost.failed,
    }


def _read(columns: dict, die) -> DieCost:
    elements = tuple(
        CostElement(key=key, name=name, stage=Stage(stage), amount=Decimal(amount), parts=parts, basis=basis)
        for key, name, stage, amount, parts, basis in columns["elements"]
    )
    sheet = CostSheet(elements=elements, parts_made=columns["parts_made"], left_out=tuple(columns["left_out"]))
    return DieCost(die=die, sheet=sheet, spent=None, notes=tuple(columns["notes"]), failed=columns.get("failed", ""))
