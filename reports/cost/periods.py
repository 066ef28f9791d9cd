"""The ledger period by period: the newest months one by one, what was before them by the year."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from reports.costing.ledger import By, Ledger, LedgerEntry, Payer, Plan, cut, month_of
from reports.costing.own_log import ELEMENTS

MONTHS_SHOWN = 24
ZERO = Decimal(0)


@dataclass(frozen=True, kw_only=True)
class Period:
    """A month or a whole year. key: as addresses name it, 2025-03 or 2025. used: by element, and by plan."""

    key: str
    name: str
    elements: dict[str, Decimal]
    plans: dict[Plan, Decimal]
    used: Decimal
    paid: Decimal


@dataclass(frozen=True, kw_only=True)
class OfElement:
    """One element over the whole life: paid, used up, and what was paid parted by plan and by payer."""

    key: str
    name: str
    stage: str
    paid: Decimal
    used: Decimal
    plans: dict[Plan, Decimal]
    payers: dict[Payer, Decimal]

    @property
    def held(self) -> Decimal:
        return self.paid - self.used


def keys_of(ledger: Ledger) -> dict[dt.date, str]:
    """Each month with the key of the period that it is told in."""
    shown = set(ledger.months[-MONTHS_SHOWN:])
    first = min(shown, default=None)
    # a year of which some months are told one by one is told so whole
    return {
        month: f"{month:%Y-%m}" if month in shown or (first and month.year == first.year) else f"{month.year}"
        for month in ledger.months
    }


def periods_of(ledger: Ledger) -> list[Period]:
    """The newest first."""
    keys = keys_of(ledger)

    def period(_: LedgerEntry, day: dt.date) -> str:
        return keys[month_of(day)]

    used, paid = (cut(ledger.entries, by, period) for by in (By.ACCRUAL, By.CASH))
    elements: dict[str, dict[str, Decimal]] = defaultdict(dict)
    for (key, element), money in cut(ledger.entries, By.ACCRUAL, period, lambda entry, _: entry.element).items():
        elements[key][element] = money
    plans: dict[str, dict[Plan, Decimal]] = defaultdict(dict)
    for (key, plan), money in cut(ledger.entries, By.ACCRUAL, period, lambda entry, _: entry.plan).items():
        plans[key][plan] = money
    return [
        Period(
            key=key,
            name=f"{dt.date.fromisoformat(f'{key}-01'):%b %Y}" if "-" in key else key,
            elements=elements[key],
            plans=plans[key],
            used=used.get((key,), ZERO),
            paid=paid.get((key,), ZERO),
        )
        for key in sorted(set(keys.values()), reverse=True)
    ]


def elements_of(ledger: Ledger) -> list[OfElement]:
    """The elements that have an entry, in their order."""
    paid, used = ledger.by_element(By.CASH), ledger.by_element(By.ACCRUAL)
    by_plan = cut(ledger.entries, By.CASH, lambda entry, _: entry.element, lambda entry, _: entry.plan)
    by_payer = cut(ledger.entries, By.CASH, lambda entry, _: entry.element, lambda entry, _: entry.payer)
    return [
        OfElement(
            key=key,
            name=name,
            stage=stage.value,
            paid=paid.get(key, ZERO),
            used=used.get(key, ZERO),
            plans={plan: by_plan.get((key, plan), ZERO) for plan in Plan},
            payers={payer: by_payer.get((key, payer), ZERO) for payer in Payer},
        )
        for key, (name, stage) in ELEMENTS.items()
        if key in paid or key in used
    ]


@dataclass(frozen=True, kw_only=True)
class OfPayer:
    """What one of those who pay was asked for. name: "" for the shop. elements, months: by element, by month."""

    payer: Payer
    name: str
    paid: Decimal
    elements: dict[str, Decimal]
    months: dict[dt.date, Decimal]

    @property
    def words(self) -> str:
        if self.payer == Payer.SHOP:
            return "the shop"
        return f"the owner, {self.name}" if self.payer == Payer.OWNER else self.name or "a customer"


def payers_of(ledger: Ledger, names: Mapping[str, str]) -> list[OfPayer]:
    """Who paid what: the shop, the owner, customers by name. names: by the key of an entry. Together they are all that
    was paid."""
    sums: dict[tuple[Payer, str], list[LedgerEntry]] = defaultdict(list)
    for entry in ledger.entries:
        if entry.paid is not None:
            sums[entry.payer, names.get(entry.key, "")].append(entry)
    order = list(Payer)
    made = []
    for (payer, name), entries in sorted(sums.items(), key=lambda one: (order.index(one[0][0]), one[0][1])):
        elements = cut(entries, By.CASH, lambda entry, _: entry.element)
        months = cut(entries, By.CASH, lambda _, day: month_of(day))
        made.append(
            OfPayer(
                payer=payer, name=name, paid=sum((entry.amount for entry in entries), ZERO),
                elements={key: money for (key,), money in elements.items()},
                months={month: money for (month,), money in months.items()},
            )
        )  # fmt: skip
    return made


def within(entries: Sequence[LedgerEntry], key: str) -> list[LedgerEntry]:
    """Those paid or used up in a month or a year; all of them where no period is named."""
    if not key:
        return list(entries)
    return [e for e in entries if any(day is not None and f"{day:%Y-%m}".startswith(key) for day in (e.paid, e.used))]
