"""How many at a time: the lot with the least yearly cost of buying and keeping."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal


class LotRefused(ValueError):
    """A lot that cannot be; the message carries the numbers."""


def _above_nought(**values: Decimal) -> None:
    for name, value in values.items():
        if not (Decimal(value).is_finite() and value > 0):
            raise LotRefused(f"{name.replace('_', ' ')} is {value}; it must lie above nought.")


def economic_lot(*, yearly_use: Decimal, order_cost: Decimal, keeping_cost: Decimal) -> Decimal:
    """sqrt(2 D A / h): D pieces a year, A money an order, h money to keep one piece a year.

    Limits: even use, no price breaks, the lot arrives at once.
    Source: P. C. Sharma, A Textbook of Production Engineering, 11th ed., S. Chand, 2008, ex. 5.41, p. 289.
    """
    _above_nought(yearly_use=yearly_use, order_cost=order_cost, keeping_cost=keeping_cost)
    return (2 * yearly_use * order_cost / keeping_cost).sqrt()


def yearly_cost_of_lot(
    lot: Decimal | int, *, yearly_use: Decimal, order_cost: Decimal, keeping_cost: Decimal, unit_price: Decimal
) -> Decimal:
    """D P + D / Q A + Q / 2 h."""
    _above_nought(lot=Decimal(lot), yearly_use=yearly_use)
    return yearly_use * unit_price + yearly_use / lot * order_cost + lot * keeping_cost / 2


@dataclass(frozen=True, kw_only=True)
class PriceFrom:
    """The price of a piece when at least so many are bought at once."""

    pieces: int
    unit_price: Decimal


@dataclass(frozen=True, kw_only=True)
class BestLot:
    lot: int
    unit_price: Decimal
    yearly_cost: Decimal


def best_lot(
    prices: Sequence[PriceFrom],
    *,
    yearly_use: Decimal,
    order_cost: Decimal,
    keeping_per_piece: Decimal = Decimal(0),
    keeping_share: Decimal = Decimal(0),
) -> BestLot:
    """The lot with the least yearly cost where larger lots are cheaper by the piece.

    h = keeping_per_piece + keeping_share x unit price. At each price the cost is convex in the lot, so that its best
    lot is the economic one, or the nearest end of the lots that have this price; the best of these wins, the smaller
    lot where they tie.
    Source: P. C. Sharma, A Textbook of Production Engineering, 11th ed., S. Chand, 2008, ex. 5.42, p. 291.
    """
    if not prices:
        raise LotRefused("no price is given.")
    ordered = sorted(prices, key=lambda price: price.pieces)
    lots: list[BestLot] = []
    for number, price in enumerate(ordered):
        keeping = keeping_per_piece + keeping_share * price.unit_price
        economic = economic_lot(yearly_use=yearly_use, order_cost=order_cost, keeping_cost=keeping)
        first = max(price.pieces, 1)
        last = ordered[number + 1].pieces - 1 if number + 1 < len(ordered) else None
        lot = max(int(economic.to_integral_value(rounding=ROUND_HALF_UP)), first)
        if last is not None:
            lot = min(lot, last)
        if lot < first:
            continue
        cost = yearly_cost_of_lot(
            lot, yearly_use=yearly_use, order_cost=order_cost, keeping_cost=keeping, unit_price=price.unit_price
        )
        lots.append(BestLot(lot=lot, unit_price=price.unit_price, yearly_cost=cost))
    return min(lots, key=lambda row: (row.yearly_cost, row.lot))


def best_lot_incremental(
    prices: Sequence[PriceFrom],
    *,
    yearly_use: Decimal,
    order_cost: Decimal,
    keeping_per_piece: Decimal = Decimal(0),
    keeping_share: Decimal = Decimal(0),
) -> BestLot:
    """The same where a lower price holds only for the pieces from its number on. unit_price: the mean of the lot's.

    A lot costs f_j + P_j Q, f_j what its first pieces are dearer; yearly D (f_j + P_j Q) / Q + D A / Q + (k + i (f_j +
    P_j Q) / Q) Q / 2, least at Q_j = sqrt(2 D (A + f_j) / (k + i P_j)); only a Q_j within its own price can be best.
    Rounded to whole pieces either way.
    Source: Nahmias, Production and Operations Analysis, quantity discounts (from memory).
    """
    if not prices:
        raise LotRefused("no price is given.")
    ordered = sorted(prices, key=lambda price: price.pieces)
    lots: list[BestLot] = []
    dearer = Decimal(0)  # f_j
    for number, price in enumerate(ordered):
        first = max(price.pieces, 1)
        if number:
            dearer += (first - 1) * (ordered[number - 1].unit_price - price.unit_price)
        last = ordered[number + 1].pieces - 1 if number + 1 < len(ordered) else None
        keeping = keeping_per_piece + keeping_share * price.unit_price
        best = economic_lot(
            yearly_use=yearly_use, order_cost=order_cost + max(dearer, Decimal(0)), keeping_cost=keeping
        )
        for whole in (int(best), int(best) + 1):
            lot = max(whole, first) if last is None else min(max(whole, first), last)
            if lot < first:
                continue
            each = (dearer + price.unit_price * lot) / lot
            cost = yearly_cost_of_lot(
                lot,
                yearly_use=yearly_use,
                order_cost=order_cost,
                keeping_cost=keeping_per_piece + keeping_share * each,
                unit_price=each,
            )
            lots.append(BestLot(lot=lot, unit_price=each, yearly_cost=cost))
    return min(lots, key=lambda row: (row.yearly_cost, row.lot))
