"""The Decimal border: every amount of money passes here on its way in and on its way out."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, ROUND_HALF_UP, Decimal, InvalidOperation

STEP = Decimal("0.0001")  # the records keep money in ten-thousandths
LARGEST = (
    Decimal(10) ** 14
)  # beyond it an amount is a slip of the finger, and ten-thousandths no longer fit the records
CENT = Decimal("0.01")


class MoneyRefused(ValueError):
    """An amount, a rate or a quantity that cannot be; the message carries it."""


class NoRate(MoneyRefused):
    """No rate holds on the day asked for."""


def amount(value: Decimal | int | str, what: str = "the amount", *, may_be_negative: bool = False) -> Decimal:
    """An amount of money as a Decimal. Floats are refused: 0.1 as a float is not a tenth.

    Raises MoneyRefused for a float, for what is not a number, for infinity, for amounts beyond `LARGEST`, and for
    negative ones unless they may be.
    """
    if isinstance(value, bool | float):
        raise MoneyRefused(f"{what} is {value!r}: money is given as a Decimal, a whole number or text.")
    try:
        result = Decimal(value)
    except (InvalidOperation, TypeError, ValueError) as error:
        raise MoneyRefused(f"{what} is {value!r}, which is not a number.") from error
    return _checked(result, what, may_be_negative=may_be_negative)


def quantity(value: Decimal | int | float | str, what: str = "the quantity") -> Decimal:
    """Hours, minutes, pieces, shares: nought or more. A float counts as what it prints as (0.1 is a tenth).

    Raises MoneyRefused for what is not a number, infinite, negative or beyond `LARGEST`.
    """
    if isinstance(value, bool):
        raise MoneyRefused(f"{what} is {value!r}, which is not a number.")
    try:
        result = Decimal(repr(float(value))) if isinstance(value, float) else Decimal(value)
    except (InvalidOperation, TypeError, ValueError) as error:
        raise MoneyRefused(f"{what} is {value!r}, which is not a number.") from error
    return _checked(result, what)


def _checked(value: Decimal, what: str, *, may_be_negative: bool = False) -> Decimal:
    if not value.is_finite():
        raise MoneyRefused(f"{what} is {value}, which is not a number.")
    if abs(value) > LARGEST:
        raise MoneyRefused(f"{what} is {value:.3g}; amounts go up to {LARGEST:.0e}.")
    if value < 0 and not may_be_negative:
        raise MoneyRefused(f"{what} is {value}; it must be nought or more.")
    return value


def from_float(value: float) -> Decimal:
    """Back over the border: the result of a distribution, to the ten-thousandth.

    Raises MoneyRefused where it is not finite.
    """
    if not math.isfinite(value):
        raise MoneyRefused(f"a computed amount is {value!r}, which is not a number.")
    return Decimal(repr(float(value))).quantize(STEP, rounding=ROUND_HALF_EVEN)


def rounded(value: Decimal, step: Decimal = CENT) -> Decimal:
    """For showing: halves are rounded up, as on an invoice. Never used between two computations."""
    return value.quantize(step, rounding=ROUND_HALF_UP)


@dataclass(frozen=True, kw_only=True)
class DatedRate:
    """What an hour costs from a day on, until the next rate of its kind begins."""

    valid_from: dt.date
    amount: Decimal

    def __post_init__(self) -> None:
        amount(self.amount, "the rate")


def rate_on(rates: Iterable[DatedRate], day: dt.date, what: str = "rate") -> Decimal:
    """The amount that holds on a day. Raises NoRate where none does: a later rate is never carried back."""
    rates = list(rates)
    holding = [rate for rate in rates if rate.valid_from <= day]
    if not holding:
        known = f"the first holds from {min(rate.valid_from for rate in rates)}" if rates else "none is entered"
        raise NoRate(f"No {what} holds on {day}: {known}.")
    return max(holding, key=lambda rate: rate.valid_from).amount
