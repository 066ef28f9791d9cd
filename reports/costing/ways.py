"""Two to five ways of building a tool over the years of its parts: cash, present value, payback, crossings, odds."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np
from numpy.typing import NDArray

from .break_even import BreakEven, break_even
from .builds import Figure
from .discounting import (
    RateOfReturn,
    annual_equivalent,
    present_value,
    return_on_the_dearer,
    return_reinvested,
    saved_by,
)
from .elements import per_thousand
from .money import MoneyRefused, amount, from_float
from .outlined import worth_of_saving

Array = NDArray[np.float64]
LEAST_WAYS, MOST_WAYS, MOST_YEARS = 1, 5, 20
TIE = 1e-9  # of the larger amount: differences below it are those of rounding


@dataclass(frozen=True, kw_only=True)
class Way:
    """running: money a part in each world, at today's prices. lasts_parts: parts after which the tool is built again;
    None: it outlasts them all."""

    name: str
    price: Decimal
    running: Array
    lasts_parts: int | None = None

    def __post_init__(self) -> None:
        amount(self.price, f"the price of {self.name}")
        if self.running.size == 0 or not np.isfinite(self.running).all() or (self.running < 0).any():
            raise MoneyRefused(f"what {self.name} costs a part is not known in some world.")
        if self.lasts_parts is not None and self.lasts_parts < 1:
            raise MoneyRefused(f"{self.name} lasts {self.lasts_parts} parts; at least one is needed.")

    @property
    def a_part(self) -> Decimal:
        return Decimal(repr(float(np.mean(self.running))))


@dataclass(frozen=True, kw_only=True)
class Programme:
    """The parts of each year, what money costs and by what prices rise a year, as shares."""

    parts_by_year: tuple[int, ...]
    interest: Decimal = Decimal(0)
    rise: Decimal = Decimal(0)

    def __post_init__(self) -> None:
        if not 1 <= len(self.parts_by_year) <= MOST_YEARS:
            raise MoneyRefused(f"{len(self.parts_by_year)} years; between 1 and {MOST_YEARS} can be reckoned.")
        if min(self.parts_by_year) < 0 or sum(self.parts_by_year) < 1:
            raise MoneyRefused("No part is to be made in all those years: enter the parts of each year.")
        if self.interest <= -1 or self.rise <= -1:
            raise MoneyRefused("A rate of -100 % or less leaves nothing.")

    @property
    def parts(self) -> int:
        return sum(self.parts_by_year)


@dataclass(frozen=True, kw_only=True)
class Money:
    """A way over the programme. flows: what is paid now and at the end of each year; cumulative: up to then.

    worth: present value of what is paid. yearly: annual equivalent over the way's own life, None where that is under a
    year. thousand: all money over all parts, not discounted, of which build (share of acquisition) and running.
    """

    way: Way
    flows: tuple[Decimal, ...]
    cumulative: tuple[Decimal, ...]
    worth: Decimal
    yearly: Decimal | None
    life_years: int
    thousand: Decimal
    build_thousand: Decimal
    running: Figure

    @property
    def acquisition_share(self) -> Decimal:
        return self.build_thousand / self.thousand if self.thousand else Decimal(0)


@dataclass(frozen=True, kw_only=True)
class Against:
    """A way against the one it is measured by. extra: money more for building it. worth: today's worth of choosing it.

    rate: what the extra money earns a year; None in it: nowhere. reinvested: the same where what comes back earns what
    money costs. years, low, high: until the extra money is back, not
    discounted, as expected and so that 8 in 10 worlds lie between; None: not within the programme. crossing: parts at
    which both have cost the same. chance: share of worlds in which its present value is above nought, ties half.
    """

    money: Money
    extra: Decimal
    worth: Decimal
    rate: RateOfReturn
    reinvested: float | None
    years: float | None
    low: float | None
    high: float | None
    crossing: BreakEven
    chance: float

    @property
    def is_alike(self) -> bool:
        return self.extra == 0 and self.crossing.cheaper_above == self.crossing.cheaper_below == "same"


@dataclass(frozen=True, kw_only=True)
class Weighed:
    """base: what the others are measured by, the cheapest to build. others: in the order they were given in."""

    programme: Programme
    ways: tuple[Money, ...]
    base: Money
    others: tuple[Against, ...]

    @property
    def best(self) -> Money:
        """The least present value."""
        return min(self.ways, key=lambda one: (one.worth, one.way.price, one.way.name))


def weigh(ways: Sequence[Way], programme: Programme) -> Weighed:
    """Every way over the programme, and each against the cheapest to build.

    A year's money is paid at its end: parts x running x (1 + rise)^t, and the price again, as risen, in a year in which
    a tool is worn out and parts remain to be made.
    Sources: Brealey and Myers, Principles of Corporate Finance (present value, payback, annual equivalent, return of
    the increment); IEC 60300-3-3 (life cycle costing); both from memory.
    Raises MoneyRefused for no way or too many, worlds that differ in number, and what a way or programme refuses.
    """
    if not LEAST_WAYS <= len(ways) <= MOST_WAYS:
        raise MoneyRefused(f"{len(ways)} ways; between {LEAST_WAYS} and {MOST_WAYS} can be compared.")
    if len({way.running.size for way in ways}) > 1:
        raise MoneyRefused("The ways are told in different numbers of worlds.")
    told = tuple(_money(way, programme) for way in ways)
    base = min(told, key=lambda one: (one.way.price, one.way.a_part, one.way.name))
    others = tuple(_against(one, base, programme) for one in told if one is not base)
    return Weighed(programme=programme, ways=told, base=base, others=others)


def tools_bought(way: Way, programme: Programme) -> list[int]:
    """How many more tools are built in each year: whenever one is worn out and parts remain."""
    made, bought, all_parts = 0, [], programme.parts
    for parts in programme.parts_by_year:
        before, made = made, made + parts
        if way.lasts_parts is None:
            bought.append(0)
        else:
            ends = [min(n, all_parts - 1) // way.lasts_parts for n in (before, made)]
            bought.append(ends[1] - ends[0])
    return bought


def _money(way: Way, programme: Programme) -> Money:
    growth = 1 + programme.rise
    bought = tools_bought(way, programme)
    flows = [way.price]
    builds = way.price
    for year, (parts, more) in enumerate(zip(programme.parts_by_year, bought, strict=True), start=1):
        flows.append((way.a_part * parts + way.price * more) * growth**year)
        builds += way.price * more * growth**year
    cumulative, total = [], Decimal(0)
    for flow in flows:
        total += flow
        cumulative.append(total)
    life = _life(way, programme)
    own = [way.price, *(way.a_part * p * growth**t for t, p in enumerate(programme.parts_by_year[:life], start=1))]
    return Money(
        way=way,
        flows=tuple(flows),
        cumulative=tuple(cumulative),
        worth=present_value(programme.interest, flows),
        yearly=annual_equivalent(programme.interest, own) if life else None,
        life_years=life,
        thousand=per_thousand(total, programme.parts),
        build_thousand=per_thousand(builds, programme.parts),
        running=_figure(way.running * 1000),
    )


def _life(way: Way, programme: Programme) -> int:
    """Whole years that one tool serves within the programme; nought where it is worn out within the first."""
    if way.lasts_parts is None:
        return len(programme.parts_by_year)
    made = np.cumsum(programme.parts_by_year)
    return int((made <= way.lasts_parts).sum())


def _against(one: Money, base: Money, programme: Programme) -> Against:
    extra = one.way.price - base.way.price
    saved = base.way.running - one.way.running
    saved = np.where(np.abs(saved) <= TIE * np.maximum(base.way.running, one.way.running), 0.0, saved)
    more = [
        float(one.way.price) * a - float(base.way.price) * b
        for a, b in zip(tools_bought(one.way, programme), tools_bought(base.way, programme), strict=True)
    ]
    interest, rise = np.array(float(programme.interest)), np.array(float(programme.rise))
    worths = worth_of_saving(
        saved, extra=float(extra), parts_by_year=programme.parts_by_year, interest=interest, rise=rise,
        extra_by_year=more,
    )  # fmt: skip
    saving = saved_by(one.flows, base.flows)
    back = _years_back(saved, float(extra), programme, more)
    low, high = np.quantile(back, 0.1, method="lower"), np.quantile(back, 0.9, method="higher")
    mean = _years_back(np.array([float(saved.mean())]), float(extra), programme, more)[0]
    return Against(
        money=one,
        extra=extra,
        worth=base.worth - one.worth,
        rate=return_on_the_dearer(one.flows, base.flows),
        reinvested=return_reinvested(saving, borrowed=programme.interest, lent=programme.interest),
        years=_within(float(mean)),
        low=_within(float(low)),
        high=_within(float(high)),
        crossing=break_even(
            tool_cost_a=base.way.price,
            part_cost_a=base.way.a_part,
            tool_cost_b=one.way.price,
            part_cost_b=one.way.a_part,
        ),
        chance=float(np.mean(np.where(worths > 0, 1.0, np.where(worths == 0, 0.5, 0.0)))),
    )


def _years_back(saved: Array, extra: float, programme: Programme, more: Sequence[float]) -> Array:
    """float[worlds]: years until what is saved has paid the extra money, straight within a year; inf: never."""
    back = np.full(saved.shape, math.inf)
    if extra <= 0 and not any(more):
        return np.where(saved >= 0, 0.0, back) if extra == 0 else np.zeros(saved.shape)
    total = np.full(saved.shape, -extra)
    for year, (parts, later) in enumerate(zip(programme.parts_by_year, more, strict=True)):
        step = (saved * parts - later) * (1 + float(programme.rise)) ** (year + 1)
        after = total + step
        reached = np.isinf(back) & (after >= 0) & (step > 0)
        back = np.where(reached, year + np.clip(-total / np.where(step > 0, step, 1.0), 0.0, 1.0), back)
        total = after
    return back


def _within(years: float) -> float | None:
    return years if math.isfinite(years) else None


def _figure(values: Array) -> Figure:
    low, high = np.quantile(values, [0.1, 0.9])
    return Figure(expected=from_float(float(np.mean(values))), low=from_float(float(low)), high=from_float(float(high)))


def thousand_at(way: Way, parts: int) -> Decimal:
    """Cost per thousand at a volume over the life of the tool, at today's prices: one build for as many as it lasts."""
    tools = 1 if way.lasts_parts is None else -(-parts // way.lasts_parts)
    return per_thousand(way.price * tools, parts) + way.a_part * 1000
