"""What one piece too few and one too many cost, and the level of service that follows."""

from __future__ import annotations

import math
from dataclasses import dataclass
from decimal import Decimal

import scipy  # its parts are loaded when they are first named, so that a start pays for none

from .demand import DemandRefused
from .ladder import Prices
from .lots import PriceFrom, best_lot, best_lot_incremental
from .reorder import COVER_DAYS, SERVICE, critical_ratio, packs

LONGEST_COVER_DAYS = 365  # nobody buys for longer ahead; common practice, no source
MOST_YEARS = 10.0  # that a piece is reckoned to lie
LEAST_LEVEL, MOST_LEVEL = 0.02, 0.999


def _nought_or_more(**values: float) -> None:
    for name, value in values.items():
        if not (math.isfinite(value) and value >= 0):
            raise DemandRefused(f"{name.replace('_', ' ')} is {value:g}; it must be nought or more.")


@dataclass(frozen=True, kw_only=True)
class ShortCost:
    """One piece missing when a press needs it: press_minutes until the press cuts again, at press_rate an hour; what
    the late job costs; what hurrying the piece costs more."""

    press_minutes: float
    press_rate: float
    late_job: float
    hurried: float

    def __post_init__(self) -> None:
        _nought_or_more(**self.__dict__)

    @property
    def press(self) -> float:
        return self.press_minutes / 60 * self.press_rate

    @property
    def total(self) -> float:
        return self.press + self.late_job + self.hurried


@dataclass(frozen=True, kw_only=True)
class KeepCost:
    """What lying on the shelf costs a year, in shares of the price: money tied up, room and care, and the chance that
    the piece is never used (a drawing changes, a programme ends)."""

    capital: float
    keeping: float
    ageing: float

    def __post_init__(self) -> None:
        _nought_or_more(**self.__dict__)

    @property
    def a_year(self) -> float:
        """Share of the price that a piece costs in its first year on the shelf."""
        return self.capital + self.keeping + self.ageing

    def left_over(self, price: float, years: float) -> float:
        """price x ((capital + keeping) T + 1 - e^(-ageing T)): one piece that lies T years, at most MOST_YEARS."""
        _nought_or_more(price=price, years=years)
        t = min(years, MOST_YEARS)
        return price * ((self.capital + self.keeping) * t - math.expm1(-self.ageing * t))


def service_worth(*, short: float, left_over: float) -> float:
    """The newsvendor's ratio short / (short + left_over), kept within LEAST_LEVEL to MOST_LEVEL.

    left_over: one piece over one cycle of orders, lot / yearly use long. This is the condition of the (Q, R) policy
    with lost sales, 1 - F(R) = h Q / (h Q + p D), with h Q / D for left_over and p for short.
    Source: Nahmias, Production and Operations Analysis (from memory); Hadley and Whitin 1963 (from memory).
    """
    if left_over <= 0:
        return MOST_LEVEL
    if short <= 0:
        return LEAST_LEVEL
    return min(max(critical_ratio(short=short, left_over=left_over), LEAST_LEVEL), MOST_LEVEL)


@dataclass(frozen=True, kw_only=True)
class Judged:
    """service: the level to keep, and whether somebody set it; lot: pieces at a time; cover_days: that a lot lasts,
    within bounds; prices: what the rungs of the ladder are priced by, None without a price."""

    service: float
    by_hand: bool
    lot: int
    cover_days: int
    prices: Prices | None


@dataclass(frozen=True, kw_only=True)
class Economics:
    """What one spare is decided by. price None: not known, and the usual level stands. level: by hand."""

    price: float | None
    keep: KeepCost
    short: ShortCost
    order_cost: float
    level: float | None = None
    breaks: tuple[PriceFrom, ...] = ()
    incremental: bool = False

    def judged(self, yearly_use: float, *, pack_size: int = 1, least_quantity: int = 1) -> Judged:
        """The lot by `best_lot`, one piece too many as `KeepCost.left_over` over lot / yearly use, the level by
        `service_worth` unless it is set by hand."""
        by_hand, least = self.level is not None, packs(least_quantity, pack_size)
        if not self.price:
            service = self.level if self.level is not None else SERVICE
            return Judged(
                service=service, by_hand=by_hand, lot=max(pack_size, least), cover_days=COVER_DAYS, prices=None
            )
        lot = max(self._lot(yearly_use, pack_size), least)
        years = lot / yearly_use if yearly_use > lot / MOST_YEARS else MOST_YEARS
        left_over = self.keep.left_over(self.price, years)
        worth = service_worth(short=self.short.total, left_over=left_over)
        return Judged(
            service=self.level if self.level is not None else worth,
            by_hand=by_hand,
            lot=lot,
            cover_days=round(min(max(365 * years, COVER_DAYS), LONGEST_COVER_DAYS)),
            prices=Prices(
                price=self.price,
                short=self.short.total,
                left_over=left_over,
                order_cost=self.order_cost,
                breaks=self.breaks,
                incremental=self.incremental,
                lot=lot if self.breaks else 0,
            ),
        )

    def _lot(self, yearly_use: float, pack_size: int) -> int:
        if not (yearly_use > 0 and self.keep.a_year > 0 and self.order_cost > 0) or self.price is None:
            return pack_size
        rows = [PriceFrom(pieces=1, unit_price=Decimal(str(self.price))), *self.breaks]
        best = best_lot_incremental if self.incremental else best_lot
        found = best(
            rows,
            yearly_use=Decimal(str(yearly_use)),
            order_cost=Decimal(str(self.order_cost)),
            keeping_share=Decimal(str(self.keep.a_year)),
        )
        return max(packs(found.lot, pack_size), pack_size)


@dataclass(frozen=True, kw_only=True)
class NormalStock:
    """stock: S, and cost: of a period, where demand is normal."""

    stock: float
    cost: float


def _density(z: float) -> float:
    return math.exp(-z * z / 2) / math.sqrt(2 * math.pi)


def newsvendor_normal(*, mean: float, sd: float, short: float, left_over: float) -> NormalStock:
    """S = mean + z sd, cost = (short + left_over) phi(z) sd, z the normal quantile at short / (short + left_over).

    Source: Snyder and Shen, Fundamentals of Supply Chain Theory; a normal demand below nought counts as it stands.
    """
    if not (math.isfinite(mean) and math.isfinite(sd) and sd > 0):
        raise DemandRefused(f"a demand of {mean:g} with a spread of {sd:g}; the spread must lie above nought.")
    z = float(scipy.special.ndtri(critical_ratio(short=short, left_over=left_over)))
    return NormalStock(stock=mean + z * sd, cost=float((short + left_over) * _density(z) * sd))


@dataclass(frozen=True, kw_only=True)
class LotAndPoint:
    """lot: how many at a time; point: when so many are left; missing: expected pieces short a cycle."""

    lot: float
    point: float
    missing: float
    enough: float
    filled: float


def lot_and_point(
    *, yearly_use: float, order_cost: float, keeping: float, short: float, lead_mean: float, lead_sd: float
) -> LotAndPoint:
    """How many to order and when, found together for a normal demand over the lead time.

    Q = sqrt(2 D (K + p n(R)) / h), 1 - F(R) = Q h / (p D), n(R) = sd L(z), L(z) = phi(z) - z (1 - Phi(z)); from the
    economic lot on until neither moves by 1e-10.
    Source: Nahmias, Production and Operations Analysis, (Q, R) policies.
    Raises DemandRefused where a missing piece costs less than keeping one: no stock is then worth it.
    """
    for name, value in (
        ("yearly use", yearly_use),
        ("order cost", order_cost),
        ("keeping", keeping),
        ("spread", lead_sd),
    ):
        if not (math.isfinite(value) and value > 0):
            raise DemandRefused(f"{name} is {value:g}; it must lie above nought.")
    lot, missing, z = math.sqrt(2 * yearly_use * order_cost / keeping), 0.0, 0.0
    for _ in range(200):
        beyond = lot * keeping / (short * yearly_use)
        if not 0 < beyond < 1:
            raise DemandRefused("a missing piece costs so little that no stock is worth keeping.")
        z = float(-scipy.special.ndtri(beyond))
        missing = lead_sd * float(_density(z) - z * scipy.special.ndtr(-z))
        new = math.sqrt(2 * yearly_use * (order_cost + short * missing) / keeping)
        if abs(new - lot) < 1e-10 * new:
            lot = new
            break
        lot = new
    return LotAndPoint(
        lot=lot,
        point=lead_mean + z * lead_sd,
        missing=missing,
        enough=float(scipy.special.ndtr(z)),
        filled=1 - missing / lot,
    )
