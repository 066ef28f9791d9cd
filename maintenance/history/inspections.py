"""Inspections of a history folder, in and out."""

from __future__ import annotations

from collections.abc import Iterator

from diestore.register.models import Plant
from maintenance.log import rules
from maintenance.models import Grinder, Inspection, InspectionPlan

from .entries import Entry, EntryLoader
from .files import Row
from .inspection_columns import INSPECTION_PLANS, INSPECTIONS
from .merging import Merger, TableLoader, given
from .problems import BadRow
from .write_bench import told


class InspectionPlans(TableLoader):
    """Loaded after the grinders. A plan that stands already is changed to what the cells say."""

    def load(self) -> None:
        standing = {plan.key: plan for plan in InspectionPlan.objects.filter(plant=self.shop.plant)}
        grinders = {grinder.code: grinder for grinder in Grinder.objects.filter(plant=self.shop.plant)}
        merger = Merger(self.shop, InspectionPlan, "plans of inspections")

        def take(row: Row) -> None:
            key = row["plan"]
            merger.once(key, row.line, f"The plan {key}")
            known = standing.get(key)
            if known is None and InspectionPlan.objects.filter(key=key).exists():
                raise BadRow("Another plant has a plan of that key. Give this one another.", "plan")
            of = self._of(row, grinders)
            if known is not None and any(getattr(known, name) != of.get(name) for name in _THINGS):
                raise BadRow("This plan stands in the record with another die, press or grinder.", "plan")
            values = given(row, "kind", "what", "every_hits", "every_days", "why", "proposal", "since", "retired_at")
            self._check(known, values, of)
            merger.put(key, known, f"the plan {key}", values, {"key": key, "plant": self.shop.plant} | of)

        self.each(INSPECTION_PLANS, take)
        merger.save(standing)

    def _of(self, row: Row, grinders: dict[str, Grinder]) -> dict[str, int]:
        """The column of what it is of, with its number."""
        of = {}
        if "die" in row:
            of["die_id"] = self.shop.die(row["die"]).pk
        if "press" in row:
            of["press_id"] = self.shop.press(row["press"]).pk
        if "grinder" in row:
            if row["grinder"] not in grinders:
                raise BadRow(
                    f"There is no grinder {row['grinder'][:40]!r} in grinders.csv or in the record.", "grinder"
                )
            of["grinder_id"] = grinders[row["grinder"]].pk
        if len(of) > 1:
            raise BadRow("One plan is of one die, press or grinder.", "die")
        return of

    @staticmethod
    def _check(known: InspectionPlan | None, values: dict, of: dict[str, int]) -> None:
        def after(name: str) -> object:
            return values.get(name, getattr(known, name, None))

        if after("kind") and "die_id" not in of:
            raise BadRow("Places of a kind are of a die: name the die.", "kind")
        if after("every_hits") is None and after("every_days") is None:
            raise BadRow("Say every how many hits or days.", "every_days")
        if after("every_hits") is not None and not {"die_id", "press_id"} & set(of):
            raise BadRow("Hits are of a die or a press.", "every_hits")


_THINGS = ("die_id", "press_id", "grinder_id")


class Inspections(EntryLoader):
    table, model, what = INSPECTIONS, Inspection, "inspections"
    same, main = ("plan_id", "at"), "plan_id"

    def __init__(self, *args) -> None:
        super().__init__(*args)
        rows = InspectionPlan.objects.filter(plant=self.shop.plant).select_related("die", "press", "grinder")
        self.plans = {plan.key: plan for plan in rows}

    def convert(self, row: Row) -> Entry:
        plan = self.plans.get(row["plan"])
        if plan is None:
            raise BadRow(f"There is no plan {row['plan'][:60]!r} in inspection_plans.csv or in the record.", "plan")
        if row.get("is_finding") and "note" not in row:
            raise BadRow("Something was found: the note says what.", "note")
        if row.get("parts_scrapped") and not (row.get("is_finding") and plan.die_id):
            raise BadRow("Parts are scrapped for what was found on a die.", "parts_scrapped")
        fields = {"plan_id": plan.pk, "plant_id": plan.plant_id, "die_id": plan.die_id}
        label = f"the look at {plan} on {rules.stamp(row['at'])}"
        return self.entry(
            row,
            at=row["at"],
            label=label,
            where=[plan.key],
            fields=fields | given(row, "at", "is_finding", "parts_scrapped"),
        )


class InspectionTables:
    """Rows of two tables."""

    plant: Plant

    def inspection_plans(self) -> Iterator[dict]:
        names = ("kind", "what", "every_hits", "every_days", "why", "proposal", "since", "retired_at")
        paths = {"plan": "key", "die": "die__code", "press": "press__code", "grinder": "grinder__code"}
        paths |= {name: name for name in names}
        yield from told(InspectionPlan.objects.filter(plant=self.plant), paths, "since", "plan")
