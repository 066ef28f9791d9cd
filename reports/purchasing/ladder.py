"""One piece, two, three ...: what each further one buys and what it costs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .demand import Demand, DemandRefused
from .lots import PriceFrom

MOST_RUNGS = 12


@dataclass(frozen=True, kw_only=True)
class Rung:
    """pieces: ordered; enough: the chance that nothing is missing before the order after this one could come.

    missing: pieces expected to be missing by then. tied_up: money in pieces on the shelf, the mean of when this order
    comes and when the next one could. cost: expected, of what is missing, what is left over, the order and its price
    over the best one. None without a price. best: the recommended one. each: price of one when so many are ordered;
    is_break: a lower price begins here.
    """

    pieces: int
    enough: float
    missing: float
    tied_up: float | None = None
    cost: float | None = None
    best: bool = False
    each: float | None = None
    is_break: bool = False


@dataclass(frozen=True, kw_only=True)
class Prices:
    """What the rungs of one spare are priced by. price: of a piece; breaks: cheaper ones from so many on; incremental:
    a lower price holds only for the pieces from there on. short, left_over: one piece too few, one too many. lot: that
    is bought as a rule: what it costs by the piece there is what a piece is worth."""

    price: float
    short: float
    left_over: float
    order_cost: float = 0.0
    breaks: tuple[PriceFrom, ...] = ()
    incremental: bool = False
    lot: int = 0

    @property
    def worth(self) -> float:
        """Of one piece: what it costs in the lot that is bought as a rule, the price of one where none is told."""
        return self.of(self.lot) / self.lot if self.lot > 0 else self.price

    def of(self, pieces: int) -> float:
        """What so many come to at once."""
        if not self.breaks:
            return self.price * pieces
        rows = sorted(self.breaks, key=lambda row: row.pieces)
        if not self.incremental:
            each = self.price
            for row in rows:
                if pieces >= row.pieces:
                    each = float(row.unit_price)
            return each * pieces
        total, each, start = 0.0, self.price, 1
        for row in rows:
            first = max(row.pieces, 1)
            upto = min(pieces, first - 1)
            total += each * max(upto - start + 1, 0)
            each, start = float(row.unit_price), max(start, first)
        return total + each * max(pieces - start + 1, 0)


def ladder(
    *,
    position: int,
    in_lead: Demand,
    until_next: Demand,
    pack_size: int = 1,
    prices: Prices | None = None,
    level: float | None = None,
    least: int = 0,
    least_lot: int = 1,
    most: int | None = None,
    most_rungs: int = MOST_RUNGS,
) -> tuple[Rung, ...]:
    """The rungs 0, 1, 2 ... packs, with the recommended one marked.

    position: pieces on the shelf and on the way. in_lead: use until this order could come; until_next: until the order
    after it could, both Demand. level: recommend the least rung that is enough so often, by hand or without prices;
    else the rung of least expected cost
        c(q) = short E[(D - s)+] + left_over E[(s - D)+] + (q > 0) order_cost + price(q) - q worth, s = position + q,
    worth the price by the piece in the usual lot: counted at the price of one, each piece beyond a break would seem
    to earn. With breaks no rung above both that lot and the need is recommended: the lot has weighed keeping so many.
    For one price it is the newsvendor's: the least s with P(D <= s) >= short / (short + left_over). least: pieces
    that have to be ordered in any case; least_lot: fewer than that, but none, cannot be ordered. most: no rung beyond
    the first that holds so many is recommended, unless `least` asks for it. Where two rungs tie, the smaller. The
    first rung of each price break is shown however far it lies.
    Source: Nahmias, Production and Operations Analysis, the newsvendor's rule.
    """
    if level is None and prices is None:
        raise DemandRefused("neither a level nor prices say how many are wanted.")
    if pack_size < 1 or not (level is None or 0 < level < 1):
        raise DemandRefused(
            f"packs of {pack_size}, a level of {level}: a pack holds one, a level lies between 0 and 1."
        )
    best_s = until_next.quantile(level if level is not None else _ratio(prices))
    first_packs = -(-max(best_s - position, least, 0) // pack_size)
    least_packs = -(-max(least_lot, 1) // pack_size)
    if most is not None:
        first_packs = min(first_packs, max(-(-most // pack_size), -(-least // pack_size)))
    if first_packs:
        first_packs = max(first_packs, least_packs)
    breaks = [row.pieces for row in prices.breaks] if prices is not None else []
    at_breaks = {max(-(-n // pack_size), least_packs) * pack_size for n in breaks if n > 1}
    packs_most = max(first_packs, least_packs, *(n // pack_size for n in at_breaks))
    q = np.append(0, np.arange(least_packs, packs_most + 3) * pack_size)
    enough, missing, left = _of(until_next, position + q)
    tied_up = cost = None
    if prices is not None:
        tied_up = prices.price * (left + _of(in_lead, position + q)[2]) / 2
        bought = np.array([prices.of(int(n)) - n * prices.worth for n in q])
        cost = prices.short * missing + prices.left_over * left + np.where(q > 0, prices.order_cost, 0.0) + bought
    if level is not None or cost is None:
        chosen = int(np.searchsorted(q, first_packs * pack_size))
    else:
        allowed = q >= least
        if prices is not None and prices.lot and at_breaks:
            allowed &= q <= max(first_packs * pack_size, prices.lot, int(q[1]))
        if most is not None:
            allowed &= q <= max(-(-max(most, least) // pack_size) * pack_size, int(q[1]))
        chosen = int(np.flatnonzero(allowed)[np.argmin(np.round(cost[allowed], 9))])
    rungs = [
        Rung(
            pieces=int(n),
            enough=float(enough[i]),
            missing=float(missing[i]),
            tied_up=None if tied_up is None else float(tied_up[i]),
            cost=None if cost is None else float(cost[i]),
            best=i == chosen,
            each=None if prices is None else prices.of(int(max(n, 1))) / max(int(n), 1),
            is_break=int(n) in at_breaks,
        )
        for i, n in enumerate(q)
    ]
    return _few(rungs, chosen, most_rungs)


def _ratio(prices: Prices | None) -> float:
    assert prices is not None
    total = prices.short + prices.left_over
    return min(max(prices.short / total if total > 0 else 0.5, 1e-6), 1 - 1e-6)


def _of(demand: Demand, stock: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """P(D <= s), E[(D - s)+] and E[(s - D)+] for int[n] s, which may lie below nought.

    E[(s - D)+] is the sum of P(D <= j) over j below s; E[(D - s)+] = E[D] - s + E[(s - D)+].
    """
    cumulated = np.cumsum(demand.chances)
    last = len(cumulated) - 1
    enough = np.where(stock < 0, 0.0, cumulated[np.clip(stock, 0, last)])
    sums = np.append(0.0, np.cumsum(cumulated))
    left = np.where(stock <= 0, 0.0, sums[np.clip(stock, 0, last + 1)] + np.maximum(stock - last - 1, 0))
    return np.minimum(enough, 1.0), np.maximum(demand.mean - stock + left, 0.0), left


def missing_by_stock(demand: Demand, *, most: int = 40, negligible: float = 1e-4) -> tuple[float, ...]:
    """E[(D - s)+] for s = 0, 1, 2 ... until next to nothing is missing."""
    missing = _of(demand, np.arange(most + 1))[1]
    small = np.flatnonzero(missing < negligible)
    return tuple(map(float, missing[: int(small[0]) + 1 if len(small) else most + 1]))


def _few(rungs: Sequence[Rung], chosen: int, most: int) -> tuple[Rung, ...]:
    """So many at most: those about the chosen one and the first; and where a lower price begins."""
    if len(rungs) <= most:
        return tuple(rungs)
    start = max(chosen - (most - 4), 1)
    return tuple(r for i, r in enumerate(rungs) if i == 0 or start <= i < start + most - 1 or r.is_break)
