"""When the extra money for a dearer way comes back, and what it is worth today."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np
from numpy.typing import ArrayLike

from .discounting import RateOfReturn, periods_to_pay, present_value, rate_of_return
from .money import MoneyRefused, amount, from_float

MOST_YEARS = 200


@dataclass(frozen=True, kw_only=True)
class Payback:
    """flows: money by year, the first now, what is saved at the end of each year; the last year may be a part of one.

    worth: their present value. rate: what the extra money earns a year. years, low, high: until it is back, not
    discounted, as expected and so that 8 in 10 worlds lie between; None: not within the years. with_interest: as
    expected, until it is back with what money costs. chance: share of worlds in which the present value lies above
    nought.
    """

    extra: Decimal
    saved_a_year: Decimal
    life_years: float
    flows: tuple[Decimal, ...]
    worth: Decimal
    rate: RateOfReturn
    years: float | None
    low: float | None
    high: float | None
    with_interest: float | None
    chance: float


def payback(
    *,
    extra: Decimal,
    saved_a_part: ArrayLike,
    parts: int,
    parts_a_year: float,
    interest: Decimal = Decimal(0),
) -> Payback:
    """extra: money more now (negative: less). saved_a_part: float[worlds], money a part, negative where it costs more.

    flows = -extra, then saved x parts of each year at its end, over parts / parts_a_year years;
    worth = sum of flow_t / (1 + i)^t; years until back = extra / saved a year, where that is within the life; with
    interest as many even payments as are worth the extra money.
    Sources: Brealey and Myers, Principles of Corporate Finance, present value and payback; IEC 60300-3-3 for
    discounting in life cycle costing (both from memory).
    Raises MoneyRefused for no parts, no pace, a life of more than 200 years, or saving that is not finite.
    """
    extra = amount(extra, "the extra money", may_be_negative=True)
    saved = np.atleast_1d(np.asarray(saved_a_part, float))
    if saved.size == 0 or not np.isfinite(saved).all():
        raise MoneyRefused("what is saved a part is not finite in some world.")
    if parts < 1:
        raise MoneyRefused(f"{parts} parts are still to be made; at least one is needed.")
    if not (math.isfinite(parts_a_year) and parts_a_year > 0):
        raise MoneyRefused(f"{parts_a_year:g} parts a year; more than nought are needed.")
    if interest <= -1:
        raise MoneyRefused(f"the rate of interest is {interest}; it must lie above -1.")
    life = parts / parts_a_year
    if life > MOST_YEARS:
        raise MoneyRefused(f"{parts:,} parts at {parts_a_year:,.0f} a year take {life:,.0f} years: too long to reckon.")
    per_year = _parts_by_year(parts, parts_a_year)
    mean = float(saved.mean())
    flows = (-extra, *(from_float(mean * n) for n in per_year))
    factors = np.array([float((1 + interest) ** -(t + 1)) for t in range(len(per_year))])
    worth = saved * float(np.dot(per_year, factors)) - float(extra)
    back = np.where(saved > 0, float(extra) / (np.where(saved > 0, saved, 1.0) * parts_a_year), np.inf)
    back = np.where(back <= life, np.maximum(back, 0.0), np.inf)
    low, high = np.quantile(back, 0.1, method="lower"), np.quantile(back, 0.9, method="higher")
    years = max(float(extra), 0.0) / (mean * parts_a_year) if mean > 0 else math.inf
    return Payback(
        extra=extra,
        saved_a_year=from_float(mean * min(parts_a_year, parts)),
        life_years=life,
        flows=flows,
        worth=present_value(interest, flows),
        rate=rate_of_return(flows),
        years=years if years <= life else None,
        low=_within(float(low)),
        high=_within(float(high)),
        with_interest=_with_interest(
            interest, mean * parts_a_year, extra, life, pays=present_value(interest, flows) >= 0
        ),
        chance=float(np.mean(np.where(worth > 0, 1.0, np.where(worth == 0, 0.5, 0.0)))),
    )


def events_to_lose(*, worth: Decimal, extra: Decimal, saved_a_year: Decimal, each: Decimal) -> float | None:
    """How many more events a year, at so much money each, eat up all that a change brings.

    worth = saved x A - extra with A the worth today of one a year; n x each x A = worth, so n = worth x saved / (each x
    (worth + extra)). None where the change brings nothing, or an event costs nothing.
    """
    worth, extra = amount(worth, "the worth", may_be_negative=True), amount(extra, "the extra money")
    each = amount(each, "what an event costs")
    if worth <= 0 or saved_a_year <= 0 or each == 0:
        return None
    return float(worth * saved_a_year / (each * (worth + extra)))


def _with_interest(interest: Decimal, saved: float, extra: Decimal, life: float, *, pays: bool) -> float | None:
    """Of a last year that is a part of one the money comes at its end."""
    if extra <= 0:
        return 0.0 if saved >= 0 else None
    years = periods_to_pay(interest, from_float(saved), extra) if saved > 0 and pays else None
    return None if years is None else min(years, life)


def _within(years: float) -> float | None:
    return years if math.isfinite(years) else None


def _parts_by_year(parts: int, parts_a_year: float) -> Sequence[float]:
    """Parts of each year, the last one what is left."""
    whole = int(parts // parts_a_year)
    rest = parts - whole * parts_a_year
    return [parts_a_year] * whole + ([rest] if rest > 1e-9 * parts else [])
