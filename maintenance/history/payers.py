"""Who pays, and retirements, of a history folder."""

from __future__ import annotations

from diestore.register.models import Die, Party
from maintenance.log import rules
from maintenance.models import CostBearer, Reading, Replacement, Retirement, Stop, Work

from .entries import Entry, EntryLoader
from .files import Row
from .merging import given
from .payer_columns import COST_BEARERS, RETIREMENTS
from .problems import BadRow

ENTRIES = {"work": Work, "replacement": Replacement, "stop": Stop, "reading": Reading}


class CostBearers(EntryLoader):
    """Loaded after the entries that they name."""

    table, model, what = COST_BEARERS, CostBearer, "who pays"
    same, main = ("die_id", "at", "element", *(f"{name}_id" for name in ENTRIES)), "die_id"

    def prepare(self, rows: list[Row]) -> None:
        self.ids = {
            name: dict(model.objects.filter(key__in={r[name] for r in rows if name in r}).values_list("key", "pk"))
            for name, model in ENTRIES.items()
        }

    def convert(self, row: Row) -> Entry:
        die = self.shop.die(row["die"])
        fields = {"die_id": die.pk} | given(row, "at", "element")
        if "payer" in row:
            fields["payer_id"] = self.shop.party(row["payer"], Party.Role.CUSTOMER).pk
        named = [name for name in ENTRIES if name in row]
        if len(named) > 1:
            raise BadRow("Name one entry, or none.", named[1])
        for name in named:
            if row[name] not in self.ids[name]:
                raise BadRow(f"There is no {name} called {row[name][:60]!r}.", name)
            fields[f"{name}_id"] = self.ids[name][row[name]]
        where = [die.code, row["element"], *(row.get(name, "") for name in ENTRIES)]
        label = f"who pays for {row['element']} of {die.code} on {rules.stamp(row['at'])}"
        return self.entry(row, at=row["at"], label=label, where=where, fields=fields)


class Retirements(EntryLoader):
    table, model, what = RETIREMENTS, Retirement, "retirements"
    same, main = ("die_id", "at"), "die_id"

    def __init__(self, *args) -> None:
        super().__init__(*args)
        here = Retirement.objects.standing().filter(die__plant=self.shop.plant)
        self.ended = dict(here.values_list("die_id", "key"))

    def convert(self, row: Row) -> Entry:
        die = self.shop.die(row["die"])
        fields = {"die_id": die.pk} | given(row, "at", "fate", "weight_kg", "worth", "cost", "went_to")
        if "payer" in row:
            fields["payer_id"] = self.shop.party(row["payer"], Party.Role.CUSTOMER).pk
        label = f"the end of {die.code} on {rules.stamp(row['at'])}"
        made = self.entry(row, at=row["at"], label=label, where=[die.code], fields=fields)
        if made.struck:
            return made
        if self.ended.setdefault(die.pk, made.key) != made.key:
            raise BadRow(f"{die.code} is retired by another entry already. Strike that one out first.", "die")
        if die.status != Die.Status.RETIRED:
            self.doubt(made, "die", f"{die.code} is {die.status} in the register, and this says that its life ended.")
        return made
