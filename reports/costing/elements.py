"""A cost element and a sheet of them: an amount of money and the parts that bear it."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from functools import cached_property

from .money import MoneyRefused, amount

THOUSAND = Decimal(1000)


class Stage(StrEnum):
    """Where in the life of the die the money goes, after IEC 60300-3-3 (stage names from memory)."""

    ACQUISITION = "acquisition"
    OWNERSHIP = "ownership"
    DISPOSAL = "disposal"


def per_thousand(total: Decimal, parts: int) -> Decimal:
    """total / parts x 1000. Raises MoneyRefused where no part bears it."""
    if isinstance(parts, bool) or int(parts) != parts or parts < 1:
        raise MoneyRefused(f"{total} is to be spread over {parts} parts; at least one is needed.")
    return total * THOUSAND / Decimal(int(parts))


@dataclass(frozen=True, kw_only=True)
class CostElement:
    """One line of a cost sheet.

    amount: money. parts: the parts over which it is spread. basis: in words, what it was computed from.
    """

    key: str
    name: str
    stage: Stage
    amount: Decimal
    parts: int
    basis: str = ""

    def __post_init__(self) -> None:
        amount(self.amount, self.name, may_be_negative=True)
        per_thousand(self.amount, self.parts)

    @cached_property
    def per_thousand(self) -> Decimal:
        return per_thousand(self.amount, self.parts)


@dataclass(frozen=True, kw_only=True)
class CostSheet:
    """Elements, each spread over its own parts, so that only their costs per thousand can be added.

    left_out: sentences that say what the figure does not hold, and why.
    """

    elements: tuple[CostElement, ...]
    parts_made: int
    left_out: tuple[str, ...] = ()

    @cached_property
    def per_thousand(self) -> Decimal | None:
        """The sum of the elements; None where there is none: unknown, not nought."""
        if not self.elements:
            return None
        return sum((element.per_thousand for element in self.elements), Decimal(0))

    def element(self, key: str) -> CostElement | None:
        return next((element for element in self.elements if element.key == key), None)

    def by_stage(self) -> dict[Stage, Decimal]:
        """Cost per thousand parts of each stage that has an element."""
        sums: dict[Stage, Decimal] = {}
        for element in self.elements:
            sums[element.stage] = sums.get(element.stage, Decimal(0)) + element.per_thousand
        return sums
