"""The pull planner against enumeration, a published replacement problem and its laws."""

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from maintenance.policy import Costs, Lives
from maintenance.policy.pulls import Job, PullsRefused, Replacing, choose, of_die, one_after_another
from maintenance.policy.replacement import Weibull, age_rate


def replacing_of_ages(years, running, trade_in, price):
    """A machine bought at year 0 and traded in at the end: states by when it was bought, as Replacing counts them."""
    oldest = len(running)
    run, end = np.full((years + 2, years), np.inf), np.full(years + 2, np.inf)
    pull = np.full((years + 2, years), np.inf)
    for state in range(years + 2):
        bought = max(state - 1, 0)  # as it stands: bought at once
        for t in range(bought, years):
            age = t - bought
            if age < oldest:
                run[state, t] = running[age]
            if 1 <= age <= oldest:
                pull[state, t] = price - trade_in[age - 1]
        if 1 <= years - bought <= oldest:
            end[state] = -trade_in[years - bought - 1]
    return Replacing(run, np.zeros_like(run), pull, end)


def test_a_published_replacement_problem():
    """M. A. Trick, A tutorial on dynamic programming, Carnegie Mellon 1998, section on equipment replacement: five
    years, a new machine 1000, kept three years at most; the cost is 1280, and trading in years 1 and 2 is one of the
    best ways. The yearly costs of 60, 80 and 120 and the trade-in of 800, 600 and 500 are from memory; with them the
    published cost comes out."""
    plan = replacing_of_ages(5, (60, 80, 120), (800, 600, 500), 1000)
    assert 1000 + plan.best == pytest.approx(1280)

    def cost(trades):
        total, bought = 1000.0, 0
        for year in range(5):
            if year in trades:
                total, bought = total + 1000 - (800, 600, 500)[year - bought - 1], year
            if year - bought > 2:
                return np.inf
            total += (60, 80, 120)[year - bought]
        return total - (800, 600, 500)[5 - bought - 1]

    every = [{y for y, told in zip(range(1, 5), way, strict=True) if told} for way in product((0, 1), repeat=4)]
    assert min(map(cost, every)) == 1280 == cost({1, 2}) == cost(set(plan.pulls_from(0, 0)))


def small(seed, n=4):
    """Any course of looks, of any hazards: nothing has to rise."""
    rng = np.random.default_rng(seed)
    shape = n + 2, n
    return Replacing(
        rng.uniform(0, 50, shape), rng.uniform(0, 0.9, shape), np.tile(rng.uniform(5, 60, n), (n + 2, 1)),
        rng.uniform(0, 40, n + 2),
    )  # fmt: skip


def followed(course, pulls):
    """What a rule costs, by walking every way that it can go: one branch a look for going dull, one for not."""

    def ahead(state, t):
        if t == course.looks:
            return course.end[state]
        cost = 0.0
        if pulls[state, t] and state != t + 1:
            cost, state = course.pull[state, t], t + 1
        f = course.fails[state, t]
        dull = f * on_the_way(t + 2, t + 1)
        return cost + course.run[state, t] + dull + (1 - f) * ahead(state, t + 1)

    def on_the_way(state, t):
        return course.end[state] if t == course.looks else ahead(state, t)

    return ahead(0, 0)


@pytest.mark.parametrize("seed", range(4))
def test_every_rule_that_there_is_costs_at_least_as_much(seed):
    """Three looks: pulling or not in each of the 2 + 2 + 3 states in which a pull changes anything."""
    course = small(seed, 3)
    free = [(s, t) for t in range(3) for s in range(t + 1)]
    values = []
    for way in product((False, True), repeat=len(free)):
        rule = np.zeros(course.run.shape, bool)
        for place, told in zip(free, way, strict=True):
            rule[place] = told
        values.append(followed(course, rule))
        assert course.of_rule(rule) == pytest.approx(values[-1])
    assert course.best == pytest.approx(min(values))


def die(
    on_it=20_000.0, *, dull=420.0, weeks=6, eta=60_000.0, jobs=((30_000, 0, 1), (25_000, 2, 3), (40_000, 4, 5)), **more
):
    costs = Costs(
        teardown=160, grind=[14, 14, 9], dull=dull, pull=90, look_hits=10_000, teardown_hours=3, grind_hours=0.5,
        **{name: more.pop(name) for name in ("chip_rate",) if name in more},
    )  # fmt: skip
    fresh = Lives.of_weibull(2.6, [eta] * 3)
    ahead = [Job(name=i, hits=h, start=a, end=b) for i, (h, a, b) in enumerate(jobs)]
    return of_die(
        more.pop("name", "K-1"), Lives.of_weibull(2.6, [eta] * 3, on_it), fresh, costs, ahead, weeks=weeks, **more
    )


def test_the_first_pull_of_each_week_is_what_planning_it_there_costs():
    """The regrets against rules that pull there at first and then go by the best plan."""
    one = die()
    best, n = one.replacing, one.replacing.looks
    plan = best.going > best.value + 1e-9
    for week in range(7):
        values = []
        for look in np.flatnonzero((one.from_week <= week) & (week <= one.to_week)):
            rule = plan[:, :n].copy()
            rule[0, :look] = False
            rule[0, look] = True
            values.append(best.of_rule(rule) - best.best)
        assert one.first[week] == (pytest.approx(min(values), abs=1e-6) if values else np.inf)
    never_first = plan[:, :n].copy()
    never_first[0] = False
    assert one.not_at_all == pytest.approx(best.of_rule(never_first) - best.best)
    assert 0 <= one.not_at_all <= one.never


def along(best, looks):
    """Expected cost of pulling at these looks as long as nothing goes dull, and by the best plan afterwards."""
    cost, reached, state = 0.0, 1.0, 0
    for t in range(best.looks):
        if t in looks:
            cost, state = cost + reached * best.pull[state, t], t + 1
        f = best.fails[state, t]
        cost += reached * (best.run[state, t] + f * best.going[t + 2, t + 1])
        reached *= 1 - f
    return cost + reached * best.end[state]


def test_courses_hold_the_best_and_are_what_following_them_costs():
    one = die()
    cheapest = min(one.courses, key=lambda c: c.dearer)
    assert cheapest.dearer == pytest.approx(0, abs=1e-9)
    assert cheapest.looks == one.replacing.pulls_from(0, 0)
    assert len(one.courses) > 10
    for course in one.courses:
        assert along(one.replacing, course.looks) - one.replacing.best == pytest.approx(course.dearer, abs=1e-6)


def test_on_a_long_row_of_jobs_the_cost_a_hit_is_that_of_age_replacement():
    """One edge, looks close together: the rate of the classic policy (Barlow and Hunter, as in test_replacement)."""
    costs = Costs(teardown=100, grind=[20], dull=500, look_hits=1_000)
    fresh = Lives.of_weibull(3.0, [30_000])
    hits = 90_000.0
    one = of_die("K", fresh, fresh, costs, [Job(name=1, hits=hits, start=0, end=1)], weeks=1)
    classic = age_rate(Weibull(3.0, 30_000.0), np.linspace(5_000, 40_000, 400), planned=120, failure=620).min()
    assert one.usual.rate == pytest.approx(classic, rel=0.03)
    assert one.euros / hits == pytest.approx(classic, rel=0.08)


def pairs(dies, have):
    """The least sum over all choices of one course a die that fit, by trying all."""
    best = np.inf
    for chosen in product(*(d.courses for d in dies)):
        if (sum(c.hours[:-1] for c in chosen) <= np.asarray(have) + 1e-9).all():
            best = min(best, sum(c.dearer for c in chosen))
    return best


@pytest.mark.parametrize("hours", [0.0, 4.5, 9.0, 13.5])
def test_the_choice_under_bench_hours_is_that_of_trying_all(hours):
    dies = [die(20_000, name="a", weeks=3), die(35_000, name="b", weeks=3, dull=900.0), die(5_000, name="c", weeks=3)]
    have = np.full(3, hours)
    plan = choose(dies, have)
    assert plan.dearer == pytest.approx(pairs(dies, have), abs=1e-4) and plan.proven
    assert (plan.used <= have + 1e-6).all() and (plan.worth >= 0).all()
    freer = have.copy()
    freer[0] += 4.5
    assert plan.worth[0] == pytest.approx(plan.dearer - choose(dies, freer).dearer, abs=1e-4)


dies_at_random = st.lists(
    st.tuples(st.floats(0, 60_000), st.floats(100, 2_000), st.integers(0, 2)), min_size=1, max_size=4
)
LATE = ((30_000, 0, 1), (25_000, 2, 3)), ((60_000, 1, 2.5),), ((10_000, 0, 0.5), (10_000, 1, 1.5), (50_000, 3, 4))


@settings(max_examples=15, deadline=None)
@given(dies_at_random, st.lists(st.floats(0, 12), min_size=4, max_size=4), st.floats(0, 8), st.integers(0, 3))
def test_more_bench_hours_are_never_dearer_and_the_same_records_make_the_same_plan(some, have, more, week):
    dies = [die(on, dull=dull, weeks=4, jobs=LATE[n], name=i) for i, (on, dull, n) in enumerate(some)]
    plan = choose(dies, have, with_worth=False)
    freer = np.array(have)
    freer[week] += more
    assert choose(dies, freer, with_worth=False).dearer <= plan.dearer + 1e-6
    assert (plan.used <= np.array(have) + 1e-6).all()
    again = choose(dies, have, with_worth=False)
    assert [(c.weeks, c.looks) for c in again.chosen] == [(c.weeks, c.looks) for c in plan.chosen]
    scaled = choose(dies[::-1], have, with_worth=False)
    assert scaled.dearer == pytest.approx(plan.dearer, abs=1e-5), "in whatever order the dies come"


@settings(max_examples=25, deadline=None)
@given(st.floats(0, 50_000), st.floats(100, 800), st.floats(1, 4))
def test_a_dearer_stop_never_pulls_later(on_it, dull, times):
    """Between jobs only, where a pull costs the same at each look: else a cheaper place further off may draw it."""
    row = tuple((9_000, i, i + 1) for i in range(8))
    cheap, dear = die(on_it, dull=dull, jobs=row, weeks=9), die(on_it, dull=dull * times, jobs=row, weeks=9)
    end = cheap.replacing.looks
    first = [next(iter(d.replacing.pulls_from(0, 0)), end) for d in (cheap, dear)]
    assert first[1] <= first[0]
    assert dear.euros >= cheap.euros - 1e-9


def test_a_die_that_something_is_wrong_with_is_pulled_first_whatever_hours_there_are():
    free, must = die(20_000), die(0.0, must=True)
    plan = choose([must, die(20_000, name="b")], np.full(6, 2.0))
    assert plan.used[0] == pytest.approx(4.5) and all(not c.weeks or min(c.weeks) > 5 for c in plan.chosen)
    assert must.euros < free.euros and must.replacing.best == pytest.approx(die(0.0).replacing.best)


def test_chips_bring_stops_too():
    assert die(chip_rate=3e-6).euros > die().euros


def test_what_the_shop_does_is_never_cheaper_than_the_plan():
    one = die()
    for every in (5_000, 20_000, 40_000, 80_000):
        assert one.by_rule(every, 20_000) >= -1e-9
    assert one.by_rule(1e12, 20_000) == pytest.approx(one.never)


def test_jobs_of_a_press_follow_each_other_just_in_time():
    assert one_after_another([("a", 1.0, 4.0), ("b", 2.0, 5.0)]) == {"a": (2.0, 3.0), "b": (3.0, 5.0)}
    late = one_after_another([("a", 2.0, 1.0), ("b", 1.0, 1.5)])
    assert late == {"a": (0.0, 2.0), "b": (2.0, 3.0)}
    assert one_after_another([("a", 1.0, 4.0), ("b", 1.0, 2.0)], begun="a") == {"a": (0.0, 1.0), "b": (1.0, 2.0)}


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: die(jobs=()), "has no job ahead"),
        (lambda: die(jobs=((0, 0, 1),)), "no hits left"),
        (lambda: die(jobs=((10, 2, 3), (10, 0, 1))), "not in the order"),
        (lambda: choose([die()], [1.0]), "hours for 1 weeks"),
        (lambda: choose([die()], np.full(6, -1.0)), "nought or more"),
    ],
)
def test_what_makes_no_plan_is_refused(make, says):
    with pytest.raises(PullsRefused, match=says):
        make()


def test_where_a_die_surely_goes_dull_on_the_way_its_course_is_planned_all_the_same():
    """A job of forty lives in one go: the chance to come through underflows to nought."""
    one = die(0.0, jobs=((2_400_000, 0, 3),), weeks=4)
    assert np.isfinite([course.dearer for course in one.courses]).all() and one.euros > 0
