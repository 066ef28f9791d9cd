"""Prices of their day: what is changed today changes no day before; the first that came is the first that leaves."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from decimal import Decimal

from hypothesis import given
from hypothesis import strategies as st

from reports.costing.day_prices import (
    From,
    KnownPrices,
    Moved,
    Point,
    SourceLists,
    SourceThen,
    lots_of,
    price_then,
)

START = dt.datetime(2024, 1, 1, 6, tzinfo=dt.UTC)
PRICES = st.integers(1, 10**7).map(lambda n: Decimal(n) / 10_000)


def moment(days: float) -> dt.datetime:
    return START + dt.timedelta(days=days)


def day(days: int) -> dt.date:
    return moment(days).date()


def at(known: KnownPrices, days: int, lot: Moved | None = None):
    return price_then(known, moment(days), day(days), lot)


points = st.lists(st.builds(Point, since=st.integers(0, 99).map(moment), value=PRICES | st.none()), max_size=4)
then = st.builds(
    SourceThen,
    since=st.integers(0, 99).map(moment),
    preferred=st.booleans(),
    worth_of_one=PRICES | st.none(),
    minutes_each=st.none() | st.integers(1, 90).map(Decimal),
)
sources = st.lists(
    st.builds(
        SourceLists,
        then=st.lists(then, min_size=1, max_size=3),
        lists=st.lists(st.tuples(st.integers(0, 99).map(day), PRICES), min_size=1, max_size=3),
    ),
    max_size=3,
)
later_points = st.lists(st.builds(Point, since=st.integers(101, 199).map(moment), value=PRICES | st.none()), max_size=3)
knowns = st.builds(
    KnownPrices, sources=sources, first=st.builds(Point, since=st.integers(0, 150).map(moment), value=PRICES),
    later=points, today=PRICES,
)  # fmt: skip


@given(knowns, later_points, PRICES, st.integers(0, 100), st.integers(101, 199))
def test_what_is_changed_today_changes_no_day_before(known, changes, price, past, today):
    """A price in the register, a list that begins, a source that is preferred no more, a worth of its currency."""
    sources_now = [
        replace(
            source,
            then=[*source.then, SourceThen(since=moment(today), preferred=n == 0, worth_of_one=price)],
            lists=[*source.lists, (day(today), price)],
        )
        for n, source in enumerate(known.sources)
    ]
    now = replace(known, sources=sources_now, later=[*known.later, *changes], today=price)
    assert at(now, past) == at(known, past)


def test_each_price_has_its_turn():
    """The order, else the price list of that day, else the register's of that day, else its first, else today's."""
    lists = SourceLists(then=[SourceThen(since=moment(50), preferred=True)], lists=[(day(10), Decimal(7))])
    first, later = Point(since=moment(5), value=Decimal(3)), [Point(since=moment(8), value=Decimal(4))]
    known = KnownPrices(sources=[lists], first=first, later=later, today=Decimal(9))
    lot = Moved(at=moment(1), quantity=2, price=Decimal(11), order=17)
    told = [at(known, 60, lot), at(known, 60), at(known, 20), at(known, 9), at(known, 6), at(known, 2)]
    assert [(one.amount, one.told_by) for one in told] == [
        (11, From.ORDER), (7, From.PRICE_LIST), (7, From.PRICE_LIST), (4, From.REGISTER), (3, From.REGISTER),
        (3, From.FIRST),
    ]  # fmt: skip
    assert told[0].came == moment(1) and told[0].order == 17
    assert at(KnownPrices(today=Decimal(9)), 6).told_by == From.TODAY
    emptied = replace(known, sources=[], later=[*later, Point(since=moment(30), value=None)])
    assert (at(emptied, 40).amount, at(emptied, 40).told_by) == (4, From.EMPTIED)
    assert at(replace(emptied, later=emptied.later[1:]), 40).amount == 3
    assert at(KnownPrices(), 6) is None
    assert at(known, 60, Moved(at=moment(1), quantity=1)).told_by == From.PRICE_LIST  # a lot without a price


def test_a_price_by_the_hour_in_another_currency():
    """20 minutes at 90 an hour are 30 of theirs, at 0.9 of the shop's money 27; of unknown worth it is no price."""
    source = SourceThen(since=moment(0), preferred=True, worth_of_one=Decimal("0.9"), minutes_each=Decimal(20))
    known = KnownPrices(sources=[SourceLists(then=[source], lists=[(day(0), Decimal(90))])])
    assert at(known, 5).amount == 27
    nobody = SourceLists(then=[replace(source, worth_of_one=None)], lists=[(day(0), Decimal(90))])
    assert at(KnownPrices(sources=[nobody]), 5) is None


def test_the_price_of_one_preferred_source_after_the_other():
    one = SourceLists(
        then=[SourceThen(since=moment(0), preferred=True), SourceThen(since=moment(40), preferred=False)],
        lists=[(day(0), Decimal(5)), (day(30), Decimal(6))],
    )
    two = SourceLists(then=[SourceThen(since=moment(40), preferred=True)], lists=[(day(0), Decimal(2))])
    known = KnownPrices(sources=[one, two])
    assert [at(known, n).amount for n in (10, 30, 39, 40, 90)] == [5, 6, 6, 2, 2]


# --- first in, first out ----------------------------------------------------------------------------------------------


def came(days: int, quantity: int, price: int) -> Moved:
    return Moved(at=moment(days), quantity=quantity, price=Decimal(price), order=price)


def went(days: int, piece: int | None, quantity: int = 1) -> Moved:
    return Moved(at=moment(days), quantity=-quantity, piece=piece)


def test_what_came_first_leaves_first():
    """Horngren, Datar and Rajan, Cost Accounting: first in, first out. Figures by hand."""
    moved = [
        came(1, 2, 10),
        came(3, 3, 12),
        went(4, 1),
        went(5, None),
        went(6, 2),
        went(6.5, 3),
        went(9, 4),
        went(9, 5),
    ]
    assert {piece: lot.price for piece, lot in lots_of(moved).items()} == {1: 10, 2: 12, 3: 12, 4: 12}
    assert lots_of([went(1, 8), came(2, 1, 5), went(3, 9)])[9].price == 5  # one short leaves no debt behind


@given(st.lists(st.tuples(st.integers(0, 30), st.integers(-3, 3).filter(bool)), max_size=30), st.randoms())
def test_no_lot_gives_more_than_came_and_none_before_it_came(rows, order):
    """Against pieces one by one, each with the day it came; the order of the rows does not matter."""
    moved = [
        came(days, n, 100 * k + 1) if n > 0 else Moved(at=moment(days + 0.5), quantity=n, piece=k)
        for k, (days, n) in enumerate(rows)
    ]
    found = lots_of(moved)
    line: list[Moved] = []
    alone = {}
    for row in sorted(moved, key=lambda row: (row.at, -row.quantity, row.piece or 0)):
        line += [row] * max(row.quantity, 0)
        if row.quantity < 0:
            if line:
                alone[row.piece] = line[0]
            del line[: -row.quantity]
    assert found == alone
    assert all(lot.at <= next(m.at for m in moved if m.piece == piece) for piece, lot in found.items())
    shuffled = list(moved)
    order.shuffle(shuffled)
    assert {p: lot.at for p, lot in lots_of(shuffled).items()} == {p: lot.at for p, lot in found.items()}
