"""Money at other times: present value, payments, unequal lives, economic life, rate of return.

Period 0 is now and is not discounted. Rates are shares a period (0.08 for 8 %).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np

from .money import MoneyRefused, amount

ONE = Decimal(1)


def _rate(rate: Decimal) -> Decimal:
    rate = amount(rate, "the rate of interest", may_be_negative=True)
    if rate <= -1:
        raise MoneyRefused(f"the rate of interest is {rate}; it must lie above -1.")
    return rate


def _periods(periods: int) -> int:
    if isinstance(periods, bool) or int(periods) != periods or periods < 1:
        raise MoneyRefused(f"{periods} periods; at least one whole one is needed.")
    return int(periods)


def _flows(flows: Sequence[Decimal]) -> list[Decimal]:
    if not flows:
        raise MoneyRefused("there is no payment.")
    return [amount(flow, "a payment", may_be_negative=True) for flow in flows]


def present_value(rate: Decimal, flows: Sequence[Decimal]) -> Decimal:
    """sum over t of flow_t / (1 + i)^t, t = 0, 1, 2 ..."""
    growth = 1 + _rate(rate)
    return sum((flow / growth**t for t, flow in enumerate(_flows(flows))), Decimal(0))


def single_factor(rate: Decimal, periods: int) -> Decimal:
    """(1 + i)^-n: today's worth of 1 in n periods."""
    return ONE / (1 + _rate(rate)) ** _periods(periods)


def series_factor(rate: Decimal, periods: int) -> Decimal:
    """(1 - (1 + i)^-n) / i, n where i = 0: today's worth of 1 at the end of each of n periods."""
    if _rate(rate) == 0:
        return Decimal(_periods(periods))
    return (1 - single_factor(rate, periods)) / rate


def payment(rate: Decimal, periods: int, present: Decimal) -> Decimal:
    """The even payment at the end of each of n periods that is worth `present` now."""
    return amount(present, "the present worth", may_be_negative=True) / series_factor(rate, periods)


def annual_equivalent(rate: Decimal, costs: Sequence[Decimal]) -> Decimal:
    """The even yearly cost worth the same as costs now, after one year, after two ...: compares unequal lives.

    Limits: each way is bought again on the same terms when it ends.
    Source: Brealey and Myers, Principles of Corporate Finance, equivalent annual cost.
    """
    if len(costs) < 2:
        raise MoneyRefused("a yearly cost needs a life of at least one year.")
    return payment(rate, len(costs) - 1, present_value(rate, costs))


def periods_to_pay(rate: Decimal, each: Decimal, present: Decimal) -> float | None:
    """How many even payments at the end of a period are worth `present` now: -ln(1 - present i / each) / ln(1 + i).

    present / each where i = 0; None where the payments never come to it. A part of a period is told as such.
    """
    each, present = amount(each, "the payment"), amount(present, "the present worth")
    if present == 0:
        return 0.0
    if _rate(rate) == 0:
        return float(present / each) if each else None
    if each <= present * rate:
        return None
    return float(-(1 - present * rate / each).ln() / (1 + rate).ln())


@dataclass(frozen=True, kw_only=True)
class EconomicLife:
    """years: the life with the least yearly cost; by_year[n - 1]: yearly cost of a life of n years.

    still_falling: the last year given is the cheapest, so that the true answer may lie beyond it.
    """

    years: int
    yearly_cost: Decimal
    by_year: tuple[Decimal, ...]
    still_falling: bool


def economic_life(
    *, first_cost: Decimal, upkeep: Sequence[Decimal], resale: Sequence[Decimal] = (), rate: Decimal = Decimal(0)
) -> EconomicLife:
    """How many years to keep a tool whose upkeep rises: least annual equivalent of price, upkeep and resale.

    upkeep[n - 1]: money at the end of year n. resale[n - 1]: what it brings after n years; none given: nothing.
    The first of equal years is taken.
    Source: R. Panneerselvam, Engineering Economics, PHI, 2010, ex. 8.1, p. 103.
    """
    if not upkeep:
        raise MoneyRefused("no year of upkeep is given.")
    if resale and len(resale) != len(upkeep):
        raise MoneyRefused(f"upkeep of {len(upkeep)} years, but resale of {len(resale)}.")
    flows = [amount(first_cost, "the first cost")]
    by_year = []
    for year, cost in enumerate(upkeep):
        flows.append(amount(cost, f"the upkeep of year {year + 1}", may_be_negative=True))
        back = amount(resale[year], f"the resale after year {year + 1}") if resale else Decimal(0)
        by_year.append(annual_equivalent(rate, [*flows[:-1], flows[-1] - back]))
    best = min(range(len(by_year)), key=lambda n: by_year[n])
    return EconomicLife(
        years=best + 1,
        yearly_cost=by_year[best],
        by_year=tuple(by_year),
        still_falling=best == len(by_year) - 1,
    )


@dataclass(frozen=True, kw_only=True)
class RateOfReturn:
    """rate: where the present value is nought, the nearest to nought if there are several; None: nowhere.

    others: further ones. Where there are any, no single rate says whether it pays: use the present value.
    """

    rate: float | None
    others: tuple[float, ...] = ()

    @property
    def is_plain(self) -> bool:
        return self.rate is not None and not self.others


def rate_of_return(flows: Sequence[Decimal]) -> RateOfReturn:
    """The rates i > -1 with sum flow_t / (1 + i)^t = 0: real roots of the polynomial in 1 / (1 + i)."""
    values = np.array([float(flow) for flow in _flows(flows)])
    if len(values) < 2 or not np.any(values > 0) or not np.any(values < 0):
        return RateOfReturn(rate=None)
    values = values / np.abs(values).max()
    # the roots in growth = 1 + i are those of flow_0 growth^n + flow_1 growth^(n-1) + ...
    roots = np.roots(values)
    growths = [root.real for root in roots if abs(root.imag) <= 1e-7 * max(1.0, abs(root)) and root.real > 1e-9]
    rates = sorted((growth - 1 for growth in growths), key=lambda rate: (abs(rate), rate))
    distinct: list[float] = []
    for rate in rates:
        if all(abs(rate - other) > 1e-6 * max(1.0, abs(rate)) for other in distinct):
            distinct.append(float(rate))
    if not distinct:
        return RateOfReturn(rate=None)
    return RateOfReturn(rate=distinct[0], others=tuple(distinct[1:]))


def return_on_the_dearer(dearer: Sequence[Decimal], cheaper: Sequence[Decimal]) -> RateOfReturn:
    """The rate that the extra money for the dearer of two ways earns: the return of the difference of the payments.

    Money paid by period; the shorter one is taken to have none at its end.
    """
    return rate_of_return(saved_by(dearer, cheaper))


def saved_by(dearer: Sequence[Decimal], cheaper: Sequence[Decimal]) -> list[Decimal]:
    """What the dearer of two ways saves by period, its extra money first and negative. Money paid by period."""
    n = max(len(dearer), len(cheaper))
    first = [*_flows(dearer), *[Decimal(0)] * (n - len(dearer))]
    second = [*_flows(cheaper), *[Decimal(0)] * (n - len(cheaper))]
    return [b - a for a, b in zip(first, second, strict=True)]


def return_reinvested(flows: Sequence[Decimal], *, borrowed: Decimal, lent: Decimal) -> float | None:
    """The rate of return where what is paid is borrowed at one rate and what comes back earns another until the end:

    ((sum of income_t (1 + lent)^(n - t)) / (sum of payments_t / (1 + borrowed)^t))^(1 / n) - 1. Single, whatever the
    signs do. None where money goes one way only.
    """
    money = _flows(flows)
    n = len(money) - 1
    paid = -present_value(borrowed, [min(flow, Decimal(0)) for flow in money])
    back = present_value(lent, [max(flow, Decimal(0)) for flow in money]) * (1 + _rate(lent)) ** n
    if n < 1 or paid <= 0 or back <= 0:
        return None
    return float(back / paid) ** (1 / n) - 1
