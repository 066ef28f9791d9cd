"""What is written down by habit, and what is kept of it."""

from dataclasses import replace

import numpy as np
import pytest

from maintenance.life import DULL, SHARP, EdgeSpec, LifeSamples, fit_fleet, predict_fleet
from maintenance.life.habits import STEEPEST, one_for_the_set, planned, unexplained
from tests.life.scoring import score
from tests.life.simulate import DESCRIBED, SHORT, WORLDS, World, shop

PUNCH = EdgeSpec(die=0, thickness_mm=1.0, tensile_mpa=340.0, steel="D2", coating="none", gap_pct=9.0)
SECTION = replace(PUNCH, side="lower")
SET = [SECTION, SECTION, PUNCH, replace(PUNCH, coating="TiN"), SECTION]  # the bare punch goes first


def sets(times: int, *, edges=SET, alone: int = 0, sure=False, dull=None):
    """Some sets called dull as a whole, and some ends of the first edge by itself. Under way: all."""
    rows = [
        (e, 50_000, DULL if dull is None or e in dull else SHARP, n) for n in range(times) for e in range(len(edges))
    ]
    rows += [(0, 30_000, DULL, 100.5 + n) for n in range(alone)]
    rows += [(e, 1_000, SHARP, 1e9) for e in range(len(edges))]
    edge, hits, ended, moment = (np.array(column) for column in zip(*rows, strict=True))
    under_way = moment == 1e9
    lower = np.where(ended == DULL, hits - 10_000, hits)
    return LifeSamples.of(edge, hits, ended, lower_hits=lower, under_way=under_way, sure=sure), moment.astype(float)


def test_one_edge_stands_for_a_set_that_is_always_called_dull_as_a_whole():
    samples, moment = sets(4)
    found, taken = one_for_the_set(SET, samples, moment)
    assert taken.tolist() == [4]
    assert np.flatnonzero(found.ended == DULL).tolist() == [2, 7, 12, 17]
    others = (samples.ended == DULL) & (found.ended == SHARP)
    assert np.array_equal(found.lower_hits[others], found.hits[others])
    assert np.array_equal(found.lower_hits[~others], samples.lower_hits[~others])


@pytest.mark.parametrize(
    "told",
    [
        {"times": 2},  # may be chance
        {"times": 4, "sure": True},  # somebody looked at each piece
        {"times": 4, "alone": 3},  # this shop tells one edge from another
        {"times": 4, "dull": {0, 1, 2}},  # part of the set
        {"times": 4, "edges": SET[:3]},  # a small die may well go dull as a whole
    ],
)
def test_what_is_no_habit_stays_as_it_was_told(told):
    samples, moment = sets(**told)
    found, taken = one_for_the_set(told.get("edges", SET), samples, moment)
    assert taken.sum() == 0
    assert np.array_equal(found.ended, samples.ended) and np.array_equal(found.lower_hits, samples.lower_hits)


def test_each_die_has_its_own_habits():
    samples, moment = sets(4)
    other, then = sets(4, dull={1})
    both = LifeSamples.together([samples, replace(other, edge=other.edge + len(SET))])
    edges = [*SET, *(replace(e, die=1) for e in SET)]
    found, taken = one_for_the_set(edges, both, np.concatenate([moment, then]))
    assert taken.tolist() == [4, 0]
    assert np.array_equal(found.ended[len(samples) :], other.ended)


def test_a_shop_that_calls_whole_sets_dull_is_told_nearer_the_truth():
    # A shop of its own making, where what each edge really did is known: see simulate.py.
    world = replace(WORLDS["usual, one set"], dies=20, set_with_dull=1.0, told_as_one=True, orders_per_year=27.0)
    made = shop(world, 7)
    taken, sets_taken = one_for_the_set(made.edges, made.samples, made.moment)
    assert (sets_taken > 0).mean() > 0.9

    def off(samples):
        told = predict_fleet(fit_fleet(made.edges, samples), made.edges, samples)
        edges = {e: p.remaining for die in told.values() for e, p in die.edges.items()}
        return score(made, edges, {d: p.remaining for d, p in told.items()})

    as_told, as_taken = off(made.samples), off(taken)
    assert as_taken.order_error < 0.6 * as_told.order_error
    assert abs(as_taken.die_80 - 0.8) < 0.06


@pytest.mark.parametrize("world", ["usual", "lots differ", "short lives"])
def test_shops_that_tell_edges_apart_are_left_alone(world):
    made = shop(replace(WORLDS[world], dies=12), 5)
    _, taken = one_for_the_set(made.edges, made.samples, made.moment)
    assert taken.sum() == 0


def ends(counts, lower, *, sharp=(), sure=False):
    """Cycles of one edge: dull at these counts, sharp at the looks before; some that were still sharp."""
    hits = np.r_[counts, sharp, 0.0].astype(float)
    before = np.r_[lower, sharp, 0.0].astype(float)
    ended = np.r_[np.full(len(counts), DULL), np.full(len(sharp) + 1, SHARP)]
    under_way = np.arange(len(hits)) == len(hits) - 1
    made = LifeSamples.of(np.zeros(len(hits), int), hits, ended, lower_hits=before, under_way=under_way, sure=sure)
    return made, np.arange(len(hits), dtype=float)


def test_dull_at_a_round_count_between_looks_at_any_count_is_a_plan():
    made, moment = ends([60_000] * 6, [52_310, 49_875, 55_020, 51_111, 47_903, 53_702])
    found, taken = planned([PUNCH], made, moment)
    assert taken.tolist() == [6] and (found.ended == SHARP).all()
    # At the pull nobody looked: it is known sharp at the look before, and no further.
    assert np.array_equal(found.hits[:6], made.lower_hits[:6]) and np.array_equal(found.lower_hits, found.hits)


@pytest.mark.parametrize(
    ("counts", "lower", "more"),
    [
        ([10_000] * 12, [0] * 12, {}),  # the first look finds it dull
        ([20_000] * 12, [10_000] * 12, {}),  # the second: no life is too steep for that
        ([60_000] * 8, [50_000] * 8, {"sharp": [60_000] * 6}),  # it was run on, or ground still sharp, at that count
        ([60_000] * 8, [52_310] * 8, {"sure": True}),  # somebody looked
        ([60_000] * 3, [52_310] * 3, {}),  # may be chance
    ],
)
def test_what_looks_explain_is_no_plan(counts, lower, more):
    made, moment = ends(counts, lower, **more)
    found, taken = planned([PUNCH], made, moment)
    assert taken.sum() == 0 and np.array_equal(found.ended, made.ended)


def test_always_at_the_sixth_look_of_many_is_a_plan():
    made, moment = ends([60_000] * 10, [50_000] * 10)
    assert planned([PUNCH], made, moment)[1].tolist() == [10]


def test_the_largest_chance_of_an_interval():
    # By the derivative: at the best y, ratio^k exp(-(ratio y)^k) = exp(-y^k), so y^k = -k ln ratio / (1 - ratio^k).
    for ratio in (0.5, 0.7, 0.9):
        x = -STEEPEST * np.log(ratio) / (1 - ratio**STEEPEST)
        chance = np.exp(-(ratio**STEEPEST) * x) - np.exp(-x)
        assert unexplained(np.array([ratio]), np.array([1.0]))[0] == pytest.approx(-np.log(chance), abs=0.003)
    assert unexplained(np.zeros(1), np.ones(1))[0] == pytest.approx(0.0, abs=1e-6)


# Shops that look at round counts, so many times in a usual life, and pull for no round count; and the same shops where
# the die is pulled at one and dull written as the reason. Without round looks runs end at any count but for the pull.
LOOKERS = {
    "usual": (World(**DESCRIBED), (0, 1, 2, 4)),
    "short lives": (World(**SHORT), (0.7, 1, 1.5, 2, 3)),
    "the same, 1.2 years": (World(**SHORT, years=1.2), (0.7, 1, 1.5, 2, 3)),
    "all looked at every 10,000": (World(**SHORT, looks_every=10_000), (0,)),
    "steep": (World(shape=5.0, **DESCRIBED | {"planned": 0.6}), (1, 2, 4)),
    "steep, nothing ground with the set": (World(shape=5.0, **DESCRIBED | {"planned": 99.0}), (1, 2)),
    "lots differ": (World(lot_sd=0.45, **DESCRIBED), (1, 2, 4)),
}


@pytest.mark.parametrize("name", LOOKERS)
def test_looks_at_round_counts_are_taken_for_a_habit_in_hardly_a_die(name):
    world, looks = LOOKERS[name]
    found = []
    for seed, many in enumerate(looks):
        made = shop(replace(world, looks_a_life=many, dies=30), 300 + seed)
        taken, plans = planned(made.edges, made.samples, made.moment)
        found += list((plans > 0) | (one_for_the_set(made.edges, taken, made.moment)[1] > 0))
    assert np.mean(found) <= 0.03


@pytest.mark.parametrize(("name", "looks"), [("usual", (0, 6, 10)), ("short lives", (0, 4, 6)), ("steep", (4, 6))])
def test_a_plan_written_down_as_dull_is_found_in_most_dies(name, looks):
    world = replace(LOOKERS[name][0], pulled_at_round=True, dies=30)
    for seed, many in enumerate(looks):
        made = shop(replace(world, looks_a_life=many), 400 + seed)
        assert (planned(made.edges, made.samples, made.moment)[1] > 0).mean() >= 0.8


@pytest.mark.parametrize("looks", [0, 3, 6])
def test_whole_sets_called_dull_are_found_where_looks_are_close_enough(looks):
    world = World(set_with_dull=1.0, told_as_one=True, orders_per_year=27.0, looks_a_life=looks, dies=30)
    made = shop(world, 500 + looks)
    taken, _ = planned(made.edges, made.samples, made.moment)
    assert (one_for_the_set(made.edges, taken, made.moment)[1] > 0).mean() >= 0.8


def test_sets_that_go_dull_before_the_first_look_are_truly_dull():
    samples, moment = sets(6)
    first = replace(samples, lower_hits=np.where(samples.ended == DULL, 0.0, samples.lower_hits))
    assert one_for_the_set(SET, samples, moment)[1].tolist() == [6]
    assert one_for_the_set(SET, first, moment)[1].tolist() == [0]


def test_a_shop_that_looks_at_round_counts_is_told_as_near_as_any():
    # Error of the chance of finishing an order 0.018; taken for a plan the first looks gave 0.086.
    made = shop(replace(WORLDS["short lives, round looks"], dies=25), 11)
    taken, _ = planned(made.edges, made.samples, made.moment)
    told = predict_fleet(fit_fleet(made.edges, taken), made.edges, taken)
    edges = {e: p.remaining for die in told.values() for e, p in die.edges.items()}
    found = score(made, edges, {d: p.remaining for d, p in told.items()})
    assert found.order_error < 0.03 and abs(found.edge_80 - 0.8) < 0.03
