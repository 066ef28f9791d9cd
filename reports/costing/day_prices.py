"""What a spare cost on the day on which it was fitted.

The lot of the order that it came from, else the price list of its source, else its price in the register as it was
that day, else the first price that the register knows, else that of today. What is changed today is the price from
today on: no day before is told otherwise.
"""

from __future__ import annotations

import datetime as dt
from collections import deque
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from enum import StrEnum

from .money import STEP

SIXTY = Decimal(60)


class From(StrEnum):
    """Where a price comes from, in words."""

    ORDER = "by its order"
    REPAIR = "as it came back from repair"
    PRICE_LIST = "by the price list of that day"
    REGISTER = "by the register of that day"
    EMPTIED = "by the last price before it was emptied"
    FIRST = "by the first price that is kept"
    TODAY = "by today's price, none older is kept"

    @property
    def doubtful(self) -> bool:
        """Whether the price is of another day."""
        return self in (From.EMPTIED, From.FIRST, From.TODAY)


@dataclass(frozen=True, kw_only=True)
class DayPrice:
    """Money of one piece. came: when it was delivered, where its order is known. order: the key of that order."""

    amount: Decimal
    told_by: From
    came: dt.datetime | None = None
    order: int | None = None


@dataclass(frozen=True, kw_only=True)
class Moved:
    """Pieces of one spare that came to the store (quantity above nought) or left it. piece: the one that was fitted.

    price: of one, of those that came, in the shop's money; None: not known. order: that they came by.
    """

    at: dt.datetime
    quantity: int
    price: Decimal | None = None
    order: int | None = None
    piece: int | None = None


@dataclass(frozen=True, kw_only=True)
class Point:
    """A value from a moment on. value None: from then on there was none."""

    since: dt.datetime
    value: Decimal | None


@dataclass(frozen=True, kw_only=True)
class SourceThen:
    """A source from a moment on: whether it was preferred, what one of its currency was worth, minutes a piece."""

    since: dt.datetime
    preferred: bool
    worth_of_one: Decimal | None = Decimal(1)
    minutes_each: Decimal | None = None


@dataclass(frozen=True, kw_only=True)
class SourceLists:
    """then: by time. lists: by the day from which each holds, the price of the fewest pieces, in its currency."""

    then: Sequence[SourceThen]
    lists: Sequence[tuple[dt.date, Decimal]]


@dataclass(frozen=True, kw_only=True)
class KnownPrices:
    """All that is known of one spare's prices. first: in the register, None: never any. today: as it stands there."""

    moved: Sequence[Moved] = ()
    sources: Sequence[SourceLists] = ()
    first: Point | None = None
    later: Sequence[Point] = ()
    today: Decimal | None = None


def lots_of(moved: Iterable[Moved]) -> dict[int, Moved]:
    """Fitted piece -> the delivery that it is taken to come from: what came first leaves first.

    What left without having come (a count that was short) leaves nothing behind; pieces fitted then have no lot.
    """
    waiting: deque[list] = deque()
    found: dict[int, Moved] = {}
    for row in sorted(moved, key=lambda row: (row.at, -row.quantity, row.piece or 0)):
        if row.quantity > 0:
            waiting.append([row, row.quantity])
            continue
        left, first = -row.quantity, True
        while left and waiting:
            if first and row.piece is not None:
                found[row.piece] = waiting[0][0]
            first = False
            taken = min(left, waiting[0][1])
            waiting[0][1] -= taken
            left -= taken
            if not waiting[0][1]:
                waiting.popleft()
    return found


def by_list(sources: Iterable[SourceLists], at: dt.datetime, day: dt.date) -> Decimal | None:
    """What the source that was preferred then asked for one. None: no list of such a source held.

    Before any was known, the first that was preferred from its entry on counts: a list of an earlier day says what was
    asked then.
    """
    held = [(source, rows[-1][1]) for source in sources if (rows := sorted(r for r in source.lists if r[0] <= day))]
    known = [(source, price, _then(source, at)) for source, price in held]
    preferred = [one for one in known if one[2].preferred and one[2].since <= at]
    if not preferred and not any(one.since <= at for source in sources for one in source.then):
        entered_so = [one for one in known if one[2].preferred]
        preferred = sorted(entered_so, key=lambda one: one[2].since)[:1]
    if not preferred:
        return None
    _, price, then = preferred[0]
    if then.worth_of_one is None:
        return None
    each = price if then.minutes_each is None else (price * then.minutes_each / SIXTY)
    return (each.quantize(STEP, ROUND_HALF_UP) * then.worth_of_one).quantize(STEP, ROUND_HALF_UP)


def _then(source: SourceLists, at: dt.datetime) -> SourceThen:
    begun = [one for one in source.then if one.since <= at]
    return max(begun, key=lambda one: one.since) if begun else min(source.then, key=lambda one: one.since)


def price_then(known: KnownPrices, at: dt.datetime, day: dt.date, lot: Moved | None = None) -> DayPrice | None:
    """What one cost that was fitted at a moment, on that day of the shop's calendar. None: no price was ever known."""
    if lot is not None and lot.price is not None:
        if lot.order is None:
            return DayPrice(amount=lot.price, told_by=From.REPAIR)
        return DayPrice(amount=lot.price, told_by=From.ORDER, came=lot.at, order=lot.order)
    asked = by_list(known.sources, at, day)
    if asked is not None:
        return DayPrice(amount=asked, told_by=From.PRICE_LIST)
    points = sorted(known.later, key=lambda point: point.since)
    begun = [point for point in points if point.since <= at]
    for point in reversed(begun):
        if point.value is not None:
            return DayPrice(amount=point.value, told_by=From.REGISTER if point is begun[-1] else From.EMPTIED)
    if known.first is not None and known.first.value is not None:
        told_by = From.REGISTER if known.first.since <= at else From.FIRST
        return DayPrice(amount=known.first.value, told_by=From.EMPTIED if begun else told_by)
    after = [point for point in points if point.since > at and point.value is not None]
    if after:
        return DayPrice(amount=after[0].value or Decimal(0), told_by=From.FIRST)
    if known.today is not None:
        return DayPrice(amount=known.today, told_by=From.TODAY)
    return None
