"""The ledger: every cut adds up to the whole, the order does not matter, cash and accrual meet."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reports.costing.ledger import (
    By,
    Ledger,
    LedgerEntry,
    Payer,
    Plan,
    cut,
    in_cents,
    month_of,
    plan_of,
    used_up,
)
from reports.costing.money import MoneyRefused, rounded
from reports.costing.own_log import ELEMENTS

D = Decimal
days = st.dates(dt.date(2023, 1, 1), dt.date(2025, 12, 31))
money = st.integers(-(10**9), 10**9).map(lambda n: D(n) / 10_000)
entry = st.builds(
    LedgerEntry,
    key=st.uuids().map(str),
    element=st.sampled_from(sorted(ELEMENTS)),
    amount=money,
    paid=days,
    used=days,
    plan=st.sampled_from(Plan),
    payer=st.sampled_from(Payer),
)
WAYS = {
    "month": lambda one, day: month_of(day),
    "element": lambda one, day: one.element,
    "plan": lambda one, day: one.plan,
    "payer": lambda one, day: one.payer,
    "stage": lambda one, day: one.stage,
}


@given(st.lists(entry, max_size=30), st.sets(st.sampled_from(sorted(WAYS))), st.sampled_from(By))
def test_every_cut_adds_up_to_the_whole(entries, ways, by):
    ledger = Ledger(entries=tuple(in_cents(entries)))
    sums = cut(ledger.entries, by, *(WAYS[name] for name in sorted(ways)))
    assert sum(sums.values(), D(0)) == ledger.total(by)
    assert {month for (month,) in cut(ledger.entries, by, WAYS["month"])} <= set(ledger.months)


@given(st.lists(entry, max_size=30, unique_by=lambda one: one.key), st.randoms())
def test_in_cents_the_order_does_not_matter_and_each_element_is_its_exact_sum(entries, order):
    made = in_cents(entries)
    exact = {one.key: one.amount for one in entries}
    # two roundings of half a cent at most each: just a cent where the sum goes from 0.005 to -0.005
    assert all(abs(one.amount - exact[one.key]) <= D("0.01") for one in made)
    for element in ELEMENTS:
        whole = sum((one.amount for one in entries if one.element == element), D(0))
        assert sum((one.amount for one in made if one.element == element), D(0)) == rounded(whole)
    shuffled = list(entries)
    order.shuffle(shuffled)
    assert in_cents(shuffled) == made


@given(st.lists(entry, max_size=20), entry)
def test_an_entry_that_comes_later_changes_none_before_it(entries, last):
    last = replace(last, paid=dt.date(2026, 1, 1))
    assert in_cents([*entries, last])[: len(entries)] == in_cents(entries)


@given(
    st.integers(0, 10**9).map(lambda n: D(n) / 100),
    st.dictionaries(days.map(month_of), st.integers(0, 10**6), max_size=30),
    days,
    st.integers(1, 10**7),
)
def test_what_is_used_up_is_never_more_than_was_paid(price, made, since, expected):
    """And all of it once the parts are made, whatever months they were made in."""
    shares = used_up(price, since, made, expected)
    assert all(month >= month_of(since) and share > 0 for month, share in shares)
    used = sum((share for _, share in shares), D(0))
    after = [month for month in made if month >= month_of(since)]
    if after:
        assert used == rounded(price * min(sum(made.values()), expected) / expected)
    whole = {**made, dt.date(2026, 1, 1): expected}
    assert sum((share for _, share in used_up(price, since, whole, expected)), D(0)) == price


@given(st.lists(entry, max_size=20), st.integers(0, 10**9).map(lambda n: D(n) / 100), st.integers(0, 10**6))
def test_over_the_whole_life_cash_and_accrual_meet(entries, price, parts):
    """Up to what is held: of the build price that for which no part is made yet."""
    built, expected = dt.date(2023, 1, 1), 1_000_000
    build = LedgerEntry(key="build", element="build", amount=price, paid=built, used=None)
    shares = [
        LedgerEntry(key=f"share {month}", element="build", amount=share, paid=None, used=month)
        for month, share in used_up(price, built, {dt.date(2024, 3, 1): parts}, expected)
    ]
    ledger = Ledger(entries=(*in_cents(entries), build, *shares))
    assert ledger.held == ledger.paid - ledger.used == price - rounded(price * parts / expected)
    if parts == expected:
        assert ledger.held == 0


def test_a_die_by_hand():
    """30,000 for a million parts: 250,000 in March, 500,000 in May; a bill of April for a grind of March."""
    made = {dt.date(2024, 3, 1): 250_000, dt.date(2024, 5, 1): 500_000}
    assert used_up(D(30_000), dt.date(2024, 2, 7), made, 1_000_000) == [
        (dt.date(2024, 3, 1), D(7_500)), (dt.date(2024, 5, 1), D(15_000))
    ]  # fmt: skip
    assert used_up(D(30_000), dt.date(2024, 4, 1), made, 1_000_000) == [(dt.date(2024, 5, 1), D(22_500))]
    assert used_up(D(30_000), dt.date(2024, 4, 1), made, None) == []
    bill = LedgerEntry(
        key="b", element="sharpening", amount=D("120.50"), paid=dt.date(2024, 4, 9), used=dt.date(2024, 3, 30)
    )
    ledger = Ledger(entries=(bill,))
    assert ledger.months == (dt.date(2024, 3, 1), dt.date(2024, 4, 1))
    assert cut([bill], By.CASH, WAYS["month"]) == {(dt.date(2024, 4, 1),): D("120.50")}
    assert cut([bill], By.ACCRUAL, WAYS["month"]) == {(dt.date(2024, 3, 1),): D("120.50")}
    assert ledger.held == 0 and Ledger(entries=()).months == ()


def test_stages_of_the_standard():
    """IEC 60300-3-3, 5: acquisition, ownership and disposal costs (from memory)."""
    assert {stage.value for _, stage in ELEMENTS.values()} <= {"acquisition", "ownership", "disposal"}
    assert ELEMENTS["build"][1].value == "acquisition"


def test_what_is_done_at_once_is_unplanned_where_a_reason_is():
    sets = {"planned": frozenset({"dull"}), "unplanned": frozenset({"chipped"})}
    assert plan_of(["dull", "chipped"], **sets) == Plan.UNPLANNED
    assert plan_of(["dull", "other"], **sets) == Plan.PLANNED
    assert plan_of(["other"], **sets) == plan_of([], **sets) == Plan.NOT_SAID


def test_what_cannot_be_is_refused():
    whole = dict(key="a", element="build", amount=D(1), paid=dt.date(2024, 1, 1), used=None)
    for wrong, words in (
        ({"element": "lunch"}, "known are"), ({"paid": None}, "has no day"), ({"amount": 0.1}, "given as a Decimal"),
    ):  # fmt: skip
        with pytest.raises(MoneyRefused, match=words):
            LedgerEntry(**whole | wrong)
    with pytest.raises(MoneyRefused, match="no whole cent"):
        Ledger(entries=(LedgerEntry(**whole | {"amount": D("0.001")}),))
    with pytest.raises(MoneyRefused, match="at least one is needed"):
        used_up(D(1), dt.date(2024, 1, 1), {}, 0)
    with pytest.raises(MoneyRefused, match="nought or more"):
        used_up(D(1), dt.date(2024, 1, 1), {dt.date(2024, 1, 1): -1}, 5)
