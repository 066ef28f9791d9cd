"""The ledger of a die: its entries, cut by month, element, planned or not, and payer; cash beside accrual.

Cash is told on the day on which money went, accrual on the day on which what it bought was used. What was paid and is
not used up yet is held: the rest of the build price still stands in the die.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from enum import StrEnum
from functools import cached_property

from .elements import Stage
from .money import MoneyRefused, amount, rounded
from .own_log import ELEMENTS


class Plan(StrEnum):
    PLANNED = "planned"
    UNPLANNED = "unplanned"
    NOT_SAID = "not said"


class Payer(StrEnum):
    SHOP = "shop"
    OWNER = "owner"
    CUSTOMER = "customer"


class By(StrEnum):
    """The day by which an entry counts."""

    CASH = "paid"
    ACCRUAL = "used"


@dataclass(frozen=True, kw_only=True)
class LedgerEntry:
    """amount: money, less than nought where it came back. element: a key of `ELEMENTS`.

    paid: the day on which it counts as cash, used: as accrual; None: not at all. Raises MoneyRefused for an unknown
    element or no day at all.
    """

    key: str
    element: str
    amount: Decimal
    paid: dt.date | None
    used: dt.date | None
    plan: Plan = Plan.NOT_SAID
    payer: Payer = Payer.SHOP
    words: str = ""
    basis: str = ""

    def __post_init__(self) -> None:
        amount(self.amount, self.words or self.element, may_be_negative=True)
        if self.element not in ELEMENTS:
            raise MoneyRefused(f"an entry is of the element {self.element!r}; known are {', '.join(ELEMENTS)}.")
        if self.paid is None and self.used is None:
            raise MoneyRefused(f"{self.words or self.key} has no day.")

    def day(self, by: By) -> dt.date | None:
        return self.paid if by == By.CASH else self.used

    @property
    def stage(self) -> Stage:
        return ELEMENTS[self.element][1]


@dataclass(frozen=True, kw_only=True)
class Bearer:
    """Who pays for an element from a moment on, or for one entry alone, which `entry` names. payer None: the shop.

    said: in which order it was entered; of two for the same moment, or the same entry, the later one holds.
    """

    element: str
    since: dt.datetime
    payer: int | None
    entry: str = ""
    said: int = 0


def bearer_of(bearers: Iterable[Bearer], *, element: str, at: dt.datetime, entry: str) -> Bearer | None:
    """Who pays for an entry of that moment: by what is said of it alone, else of its element by then. None: nothing
    is said, and the shop pays."""
    own = [one for one in bearers if one.entry == entry]
    if own:
        return max(own, key=lambda one: one.said)
    held = [one for one in bearers if not one.entry and one.element == element and one.since <= at]
    return max(held, key=lambda one: (one.since, one.said)) if held else None


Cut = Callable[[LedgerEntry, dt.date], object]


def month_of(day: dt.date) -> dt.date:
    """The first day of its month."""
    return day.replace(day=1)


def cut(entries: Iterable[LedgerEntry], by: By, *ways: Cut) -> dict[tuple, Decimal]:
    """The sum of each group that the ways part the entries into: of an entry and its day they tell a group."""
    sums: dict[tuple, Decimal] = {}
    for entry in entries:
        day = entry.day(by)
        if day is None:
            continue
        group = tuple(way(entry, day) for way in ways)
        sums[group] = sums.get(group, Decimal(0)) + entry.amount
    return sums


def in_cents(entries: Iterable[LedgerEntry]) -> list[LedgerEntry]:
    """The same entries in whole cents, in the order of their days.

    Those of an element add up to the exact sum of the element, rounded: a cost sheet and the ledger agree to the cent.
    An entry differs from its exact amount by a cent at most, and one that comes later changes none before it.
    """
    exact: dict[str, Decimal] = {}
    made = []
    for entry in sorted(entries, key=lambda entry: (entry.paid or entry.used or dt.date.max, entry.key)):
        before = exact.get(entry.element, Decimal(0))
        exact[entry.element] = before + entry.amount
        made.append(replace(entry, amount=rounded(exact[entry.element]) - rounded(before)))
    return made


@dataclass(frozen=True, kw_only=True)
class Ledger:
    """entries: in whole cents, as `in_cents` and `used_up` make them. Raises MoneyRefused for parts of a cent."""

    entries: tuple[LedgerEntry, ...]

    def __post_init__(self) -> None:
        for entry in self.entries:
            if entry.amount != rounded(entry.amount):
                raise MoneyRefused(f"{entry.words or entry.key}: {entry.amount} is no whole cent.")

    @cached_property
    def paid(self) -> Decimal:
        return self.total(By.CASH)

    @cached_property
    def used(self) -> Decimal:
        return self.total(By.ACCRUAL)

    @property
    def held(self) -> Decimal:
        """Paid and not used up yet."""
        return self.paid - self.used

    @cached_property
    def months(self) -> tuple[dt.date, ...]:
        """Every month from the first entry to the last, also those without one."""
        days = [day for entry in self.entries for day in (entry.paid, entry.used) if day is not None]
        if not days:
            return ()
        month, last, found = month_of(min(days)), month_of(max(days)), []
        while month <= last:
            found.append(month)
            month = month_of(month + dt.timedelta(days=32))
        return tuple(found)

    def total(self, by: By) -> Decimal:
        return sum((entry.amount for entry in self.entries if entry.day(by) is not None), Decimal(0))

    def by_element(self, by: By) -> dict[str, Decimal]:
        return {group[0]: money for group, money in cut(self.entries, by, lambda entry, _: entry.element).items()}


def used_up(
    money: Decimal, since: dt.date, made: Mapping[dt.date, int], expected: int | None
) -> list[tuple[dt.date, Decimal]]:
    """What of a sum that is spread over the parts a tool is built for is used up in each month, in whole cents.

    made: good parts by month. Until the end of a month money x parts made by then / parts expected is used up, all of
    it at most; what was made before `since` is made good in its month. expected None: not known, and nothing is used.
    """
    if expected is None:
        return []
    if expected < 1:
        raise MoneyRefused(f"the die is built for {expected} parts; at least one is needed.")
    shares, parts, before = [], 0, Decimal(0)
    for month in sorted(made):
        if made[month] < 0:
            raise MoneyRefused(f"{made[month]} parts made in {month:%B %Y}; it must be nought or more.")
        parts += made[month]
        if month < month_of(since):
            continue
        until = rounded(money * min(parts, expected) / expected)
        if until != before:
            shares.append((month, until - before))
        before = until
    return shares


def plan_of(whys: Sequence[str], *, planned: frozenset[str], unplanned: frozenset[str]) -> Plan:
    """Of what is done at once: unplanned where one of the reasons is, else planned where one is, else not said."""
    if any(why in unplanned for why in whys):
        return Plan.UNPLANNED
    return Plan.PLANNED if any(why in planned for why in whys) else Plan.NOT_SAID
