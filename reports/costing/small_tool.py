"""Does a tool pay? Pieces a year that carry its yearly charge."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from .money import MoneyRefused, amount, quantity


@dataclass(frozen=True, kw_only=True)
class SmallTool:
    """A tool that saves labour, and what it costs a year.

    first_cost C; interest I, tax T and upkeep M, each a share of C a year; years H in which C shall come back, D = 1/H;
    setups_a_year S: money for all set-ups of a year. Where it takes the place of a tool that is not yet paid off,
    old_book_value Co and old_resale Cs: interest on what is lost, (Co - Cs) I, is charged to the new one.

    yearly charge = C (I + T + D + M) + S + (Co - Cs) I
    Source: P. C. Sharma, A Textbook of Production Engineering, 11th ed., S. Chand, 2008, ex. 5.20 to 5.28.
    """

    first_cost: Decimal
    interest: Decimal
    tax: Decimal
    upkeep: Decimal
    years: Decimal
    setups_a_year: Decimal = Decimal(0)
    old_book_value: Decimal = Decimal(0)
    old_resale: Decimal = Decimal(0)

    def __post_init__(self) -> None:
        for name in ("first_cost", "setups_a_year", "old_book_value", "old_resale"):
            amount(getattr(self, name), name.replace("_", " "))
        for name in ("interest", "tax", "upkeep"):
            quantity(getattr(self, name), f"the share for {name}")
        if quantity(self.years, "the years") == 0:
            raise MoneyRefused("the tool shall pay in 0 years; more than nought is needed.")

    @property
    def _share(self) -> Decimal:
        return self.interest + self.tax + self.upkeep + 1 / self.years

    @property
    def _fixed(self) -> Decimal:
        return self.setups_a_year + (self.old_book_value - self.old_resale) * self.interest

    @property
    def yearly_charge(self) -> Decimal:
        return self.first_cost * self._share + self._fixed

    def pieces_to_pay(self, *, saving: Decimal, overhead: Decimal = Decimal(0)) -> Decimal:
        """N = yearly charge / (a (1 + b)): pieces a year. saving a: labour saved on a piece; overhead b on it."""
        return self.yearly_charge / _saved(saving, overhead)

    def may_cost(self, *, pieces: Decimal | int, saving: Decimal, overhead: Decimal = Decimal(0)) -> Decimal:
        """The first cost at which so many pieces a year just pay; negative where even a free tool would not."""
        return (quantity(pieces, "the pieces") * _saved(saving, overhead) - self._fixed) / self._share

    def yearly_gain(self, *, pieces: Decimal | int, saving: Decimal, overhead: Decimal = Decimal(0)) -> Decimal:
        """What is left over in a year after the charge; negative: a loss."""
        return quantity(pieces, "the pieces") * _saved(saving, overhead) - self.yearly_charge


def _saved(saving: Decimal, overhead: Decimal) -> Decimal:
    saved = amount(saving, "the saving on a piece") * (1 + quantity(overhead, "the overhead"))
    if saved == 0:
        raise MoneyRefused("a piece saves nothing, so no number of pieces pays.")
    return saved
