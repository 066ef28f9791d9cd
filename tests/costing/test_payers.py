"""Who pays for an entry: what is said of it alone, else what was said of its element last, else the shop."""

from __future__ import annotations

import datetime as dt
import itertools

from hypothesis import given
from hypothesis import strategies as st

from reports.costing.ledger import Bearer, bearer_of

DAY = dt.datetime(2025, 1, 1, tzinfo=dt.UTC)


def bearer(day: int, payer: int | None, *, element: str = "sharpening", entry: str = "", said: int = 0) -> Bearer:
    return Bearer(element=element, since=DAY + dt.timedelta(days=day), payer=payer, entry=entry, said=said)


def who(bearers, day: int, *, element: str = "sharpening", entry: str = "work 1"):
    found = bearer_of(bearers, element=element, at=DAY + dt.timedelta(days=day), entry=entry)
    return "nobody said" if found is None else found.payer


def test_from_a_day_on_until_the_next():
    rules = [bearer(10, 7), bearer(20, None), bearer(15, 9, element="spares")]
    assert [who(rules, day) for day in (9, 10, 19, 20, 99)] == ["nobody said", 7, 7, None, None]
    assert (who(rules, 99, element="spares"), who(rules, 99, element="stop")) == (9, "nobody said")


def test_one_entry_differs_and_no_other_does():
    rules = [bearer(10, 7), bearer(12, None, entry="work 1", said=1), bearer(12, 8, entry="work 1", said=2)]
    assert (who(rules, 12), who(rules, 12, entry="work 2"), who(rules, 12, entry="stop 1")) == (8, 7, 7)


moved = st.tuples(st.integers(0, 9), st.sampled_from([None, 1, 2]), st.sampled_from(["sharpening", "stop"]))


@given(said=st.lists(moved, max_size=8), day=st.integers(0, 9), element=st.sampled_from(["sharpening", "stop"]))
def test_as_by_going_through_the_days(said, day, element):
    """A naive second way: day by day, what is said later on a day overwrites what was said before."""
    rules = [bearer(on, payer, element=of, said=n) for n, (on, payer, of) in enumerate(said)]
    now: object = "nobody said"
    for today, (on, payer, of) in itertools.product(range(day + 1), said):
        if on == today and of == element:
            now = payer
    assert who(rules, day, element=element) == now
    assert who(rules[::-1], day, element=element) == now, "whatever the order of the rows"
