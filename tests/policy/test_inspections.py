"""When the next look is due: published rules, a second reckoning day by day, and laws over random plans."""

from __future__ import annotations

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diestore.handbook.inspections import BY_KEY, HALF_YEAR, PROPOSALS, WEEK, YEAR
from diestore.handbook.kinds import KINDS
from maintenance.policy.inspections import InspectionError, due

TODAY = dt.date(2026, 6, 1)
days = st.integers(1, 800)
hits = st.integers(1, 2_000_000)
ago = st.integers(0, 900).map(lambda n: TODAY - dt.timedelta(days=n))
pace = st.one_of(st.just(0.0), st.floats(0.5, 100_000))


def test_the_weekly_test_of_a_press():
    # [T7-01] 29 CFR 1910.217 as changed in 2013, 78 FR 69543: tested on 5 Jan 2026, on 13 Jan it is overdue; 7 days
    last = dt.date(2026, 1, 5)
    assert BY_KEY["press-weekly"].every_days == WEEK == 7
    assert due(last=last, today=dt.date(2026, 1, 13), every_days=WEEK).is_overdue
    assert not due(last=last, today=dt.date(2026, 1, 12), every_days=WEEK).is_overdue


def test_the_yearly_look_at_a_lock_off_procedure():
    # [T7-08] 29 CFR 1910.147(c)(6): last on 1 Mar 2025, on 2 Mar 2026 it is overdue; one year
    last = dt.date(2025, 3, 1)
    assert BY_KEY["lockout"].every_days == YEAR == 365
    assert due(last=last, today=dt.date(2026, 3, 2), every_days=YEAR).is_overdue
    assert not due(last=last, today=dt.date(2026, 3, 1), every_days=YEAR).is_overdue


def test_the_proposals_hold_the_figures_of_the_rules():
    # [T7-02] Michigan R 408.12412: at least every six months; control reliability and brake monitoring are outside
    assert BY_KEY["press-regular"].every_days == HALF_YEAR and 180 <= HALF_YEAR <= 184
    assert "control reliability" in BY_KEY["press-weekly"].applies
    # [T7-12] 29 CFR 1910.215(a)(4): work rest within 1/8 in, tongue guard within 1/4 in
    assert "1/8 in" in BY_KEY["wheel"].what and "1/4 in" in BY_KEY["wheel"].what
    # [T7-07] the rule covers mechanical power presses only
    assert "not hydraulic" in BY_KEY["press-weekly"].applies
    assert len(BY_KEY) == len(PROPOSALS) and {kind for p in PROPOSALS for kind in p.kinds} <= set(KINDS)
    for proposal in PROPOSALS:
        assert proposal.rule and len(proposal.what) <= 200 and len(proposal.rule) <= 300
        assert proposal.every_days or (proposal.every_hits and proposal.of == "die")


def by_the_day(last, every_days, hits_left, a_day):
    """The first day on which it is due, looked for day by day from today on; None within ten years."""
    day, left = TODAY, hits_left
    for _ in range(3_651):
        if every_days is not None and (day - last).days >= every_days:
            return day
        if left is not None and (left < a_day or left == 0):
            return day
        if left is not None:
            left -= a_day
        day += dt.timedelta(days=1)
    return None


@given(ago, days, hits, st.integers(0, 3_000_000), st.floats(0.5, 100_000))
def test_it_is_due_on_the_day_that_is_found_day_by_day(last, every_days, every_hits, since, a_day):
    told = due(last=last, today=TODAY, every_days=every_days, every_hits=every_hits, hits_since=since, hits_a_day=a_day)
    naive = by_the_day(last, every_days, every_hits - since, a_day)
    if told.is_overdue:
        assert told.on < TODAY and naive == TODAY
    else:
        assert naive is not None and abs((told.on - naive).days) <= 1  # a day's hits are not made at once


@given(ago, st.none() | days, st.none() | hits, st.integers(0, 3_000_000), pace)
def test_what_holds_for_every_plan(last, every_days, every_hits, since, a_day):
    if every_days is None and every_hits is None:
        every_days = 1
    plan = dict(last=last, today=TODAY, every_days=every_days, every_hits=every_hits, hits_a_day=a_day)
    told = due(hits_since=since, **plan)
    late_by_date = every_days is not None and (TODAY - last).days > every_days
    late_by_hits = every_hits is not None and since > every_hits
    assert told.is_overdue == (late_by_date or late_by_hits) == (told.overdue_days > 0)
    assert not told.is_overdue or told.on < TODAY
    assert told.is_overdue or told.on is None or told.on >= TODAY
    if every_days is not None:
        assert (told.on is not None and told.on <= last + dt.timedelta(days=every_days)) or late_by_hits
        assert told.overdue_days >= (TODAY - last).days - every_days
    if every_hits is not None:
        assert told.hits_left == every_hits - since
        more = due(hits_since=since + 1_000, **plan)  # more hits never put it off
        assert more.overdue_days >= told.overdue_days and (told.on is None or more.on <= told.on)
    alone = due(last=last, today=TODAY, every_days=every_days) if every_days is not None else None
    if alone is not None and told.on is not None:
        assert told.on <= alone.on and told.is_overdue >= alone.is_overdue  # a second interval never puts it off


@given(days, hits, st.integers(0, 3_000_000), pace)
def test_looked_at_today_it_is_not_overdue_by_date_and_its_hits_begin_anew(every_days, every_hits, since, a_day):
    told = due(last=TODAY, today=TODAY, every_days=every_days, every_hits=every_hits, hits_since=0, hits_a_day=a_day)
    assert not told.is_overdue and told.hits_left == every_hits
    assert told.days_left(TODAY) >= 0


def test_without_hits_of_late_nothing_is_foreseen_by_hits():
    told = due(last=TODAY, today=TODAY, every_hits=1_000, hits_since=10)
    assert told.on is None and not told.is_overdue and told.days_left(TODAY) is None and not told.is_soon(TODAY)
    assert due(last=TODAY - dt.timedelta(days=9), today=TODAY, every_hits=1_000, hits_since=1_001).overdue_days == 1


@pytest.mark.parametrize("wrong", [
    {}, {"every_days": 0}, {"every_hits": 0}, {"every_days": -3}, {"every_hits": 5, "hits_since": -1},
    {"every_hits": 5, "hits_a_day": float("nan")}, {"every_hits": 5, "hits_a_day": -1.0},
])  # fmt: skip
def test_an_interval_or_a_count_that_cannot_be_is_refused(wrong):
    with pytest.raises(InspectionError):
        due(last=TODAY, today=TODAY, **wrong)
