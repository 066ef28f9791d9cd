"""What is written down by habit, and what is kept of it."""

from dataclasses import replace

import numpy as np
import pytest

from maintenance.life import DULL, SHARP, EdgeSpec, LifeSamples, fit_fleet, predict_fleet
from maintenance.life.habits import one_for_the_set
from tests.life.scoring import score
from tests.life.simulate import WORLDS, shop

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
    taken, sets_taken = one_for_the_set(made.edges, made.samples, made.samples.lot.astype(float))
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
    _, taken = one_for_the_set(made.edges, made.samples, made.samples.lot.astype(float))
    assert taken.sum() == 0
