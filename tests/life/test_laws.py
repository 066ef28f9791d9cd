"""Laws that hold whatever the numbers are, and inputs that must not crash the engine."""

import json
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from maintenance.life import (
    CHIPPED,
    DULL,
    LEVELS,
    SHARP,
    Edges,
    EdgeSpec,
    FleetFit,
    LifeSamples,
    NothingToForecast,
    SampleRefused,
    chips,
    expected_interval,
    fit_fleet,
    handbook_interval,
    heaped,
    predict_die,
    predict_fleet,
    prior,
    what_if,
)
from maintenance.life.cells import Cells
from tests.benchmarks.shards import THETA, answer, prepared
from tests.life.simulate import WORLDS, shop

SMALL = replace(WORLDS["usual"], dies=6, years=2.0)


@pytest.fixture(scope="module")
def made():
    return shop(SMALL, 11)


@pytest.fixture(scope="module")
def fitted(made):
    return fit_fleet(made.edges, made.samples)


def spec(die=0, **more):
    return EdgeSpec(**{"die": die, "thickness_mm": 1.0, "tensile_mpa": 400.0, "steel": "D2", "coating": "none", **more})


def halves(told):
    return {d: p.remaining[0.5] for d, p in told.items()}


def test_order_and_numbering_change_nothing(made, fitted):
    rng = np.random.default_rng(1)
    die_map = rng.permutation(SMALL.dies) + 100
    edge_order = rng.permutation(len(made.edges))
    edges = [replace(made.edges[e], die=int(die_map[made.edges[e].die])) for e in edge_order]
    rows = rng.permutation(len(made.samples))
    place = np.argsort(edge_order)
    samples = made.samples.pick(rows)
    samples = replace(samples, edge=place[samples.edge])
    other = fit_fleet(edges, samples)
    assert other.to_dict() == fitted.to_dict()
    one = halves(predict_fleet(fitted, made.edges, made.samples))
    two = halves(predict_fleet(other, edges, samples))
    assert {int(die_map[d]): pytest.approx(v, rel=1e-9) for d, v in one.items()} == two


def test_what_the_fit_climbs_adds_up_over_shards_of_dies(made):
    edges = Edges.of(made.edges)
    dies = np.unique(edges.die)
    whole = prepared(edges, made.samples, dies)
    z = whole._pack(THETA) + 0.02
    parts = [answer(prepared(edges, made.samples, some), z) for some in np.array_split(dies, 3)]
    assert sum(parts) == pytest.approx(answer(whole, z), rel=1e-9, abs=1e-9)


def test_a_die_by_itself_is_told_as_in_the_fleet_and_from_the_stored_fit(made, fitted):
    stored = FleetFit.from_dict(json.loads(json.dumps(fitted.to_dict())))
    whole = predict_fleet(fitted, made.edges, made.samples)
    for d in (0, 3):
        mine = [e for e, s in enumerate(made.edges) if s.die == d]
        rows = made.samples.pick(np.isin(made.samples.edge, mine))
        rows = replace(rows, edge=np.searchsorted(mine, rows.edge))
        alone = predict_die(stored, [made.edges[e] for e in mine], rows)
        assert alone.remaining == pytest.approx(whole[d].remaining, rel=1e-9)
        assert mine[alone.limits] == whole[d].limits


def test_forecasts_are_orderly(made, fitted):
    for told in predict_fleet(fitted, made.edges, made.samples).values():
        values = np.array([told.remaining[p] for p in LEVELS])
        assert (np.diff(values) > 0).all() and (values > 0).all()
        assert sum(e.first_to_go for e in told.edges.values()) == pytest.approx(1.0)
        for edge in told.edges.values():
            assert all(told.remaining[p] <= edge.remaining[p] * (1 + 1e-6) for p in LEVELS)
            assert 0 <= edge.share_left <= 1
        assert told.chance_beyond(0) == 1.0
        assert told.chance_beyond(told.remaining[0.3]) == pytest.approx(0.7, abs=1e-6)


def test_splitting_hits_of_a_record_at_a_look_changes_nothing():
    # A cycle seen from 0 to 30,000 and from 30,000 to 70,000 (left-truncated) says what one seen to 70,000 says.
    m = np.linspace(-2, 2, 50)[None]
    die = np.zeros(1, int)
    whole = Cells.of(LifeSamples.right_censored([0], 70_000), die, lots=False)
    parts = LifeSamples.together(
        [LifeSamples.right_censored([0], 30_000), LifeSamples.left_truncated([0], 30_000, 70_000, SHARP)]
    )
    assert Cells.of(parts, die, lots=False).table(m, 2.3) == pytest.approx(whole.table(m, 2.3))


def test_narrow_looks_tend_to_the_exact_life():
    m = np.linspace(-1, 1, 50)[None]
    die = np.zeros(1, int)
    exact = Cells.of(LifeSamples.exact([0], 80_000), die, lots=False).table(m, 3.0)[0]
    gaps = []
    for width in (0.3, 0.03, 0.003):
        looks = LifeSamples.interval_censored([0], 80_000 * (1 - width), 80_000)
        table = Cells.of(looks, die, lots=False).table(m, 3.0)[0]
        gaps.append(np.abs((table - table[25]) - (exact - exact[25])).max())
    assert gaps[1] < 0.12 * gaps[0] and gaps[2] < 0.12 * gaps[1]


@settings(max_examples=12, deadline=None)
@given(hits=st.floats(1_000, 120_000), more=st.floats(1.05, 3.0), sw=st.sampled_from([0.0, 0.4]))
def test_an_edge_seen_sharp_at_more_hits_never_gets_a_shorter_whole_life(fitted, hits, more, sw):
    edges = [spec(), spec(side="lower")]
    fitted = replace(fitted, sw=sw)
    past = LifeSamples.of([0, 0, 1], [60_000, 80_000, 90_000], [DULL, SHARP, SHARP])

    def whole_life(h):
        now = LifeSamples.right_censored([0, 1], [h, 20_000], under_way=True)
        told = predict_die(fitted, edges, LifeSamples.together([past, now])).edges[0]
        return [h + told.remaining[p] for p in (0.1, 0.5, 0.9)]

    assert all(b >= a * (1 - 1e-3) for a, b in zip(whole_life(hits), whole_life(hits * more), strict=True))


@settings(max_examples=6, deadline=None)
@given(factor=st.sampled_from([0.1, 0.5, 2.0, 10.0]), seed=st.integers(0, 3))
def test_hits_in_another_unit_change_only_the_unit(factor, seed):
    # The table of L over m moves by ln of the unit, and nothing else.
    rng = np.random.default_rng(seed)
    hits = rng.uniform(2e4, 2e5, 12)
    ended = rng.integers(0, 3, 12)
    die, m = np.zeros(1, int), np.linspace(-1, 1, 41)[None]
    one = Cells.of(LifeSamples.of([0] * 12, hits, ended, lower_hits=0.9 * hits), die, lots=False)
    two = Cells.of(LifeSamples.of([0] * 12, factor * hits, ended, lower_hits=0.9 * factor * hits), die, lots=False)
    assert two.table(m + np.log(factor), 2.7) == pytest.approx(one.table(m, 2.7), rel=1e-6)


@pytest.mark.parametrize("factor", [0.25, 8.0])
def test_a_whole_shop_counted_in_another_unit_is_told_the_same(made, fitted, factor, monkeypatch):
    # What is said of a usual life before any record, and of chips, is said in the other unit too.
    monkeypatch.setattr(prior, "MEAN", prior.MEAN + np.log(factor) * (np.array(prior.NAMES) == "constant"))
    monkeypatch.setattr(chips, "CHIPS", (chips.CHIPS[0], chips.CHIPS[1] * factor))
    was = made.samples
    samples = replace(was, hits=was.hits * factor, lower_hits=was.lower_hits * factor, from_hits=was.from_hits * factor)
    other = fit_fleet(made.edges, samples)
    assert other.best.ln_k == pytest.approx(fitted.best.ln_k, abs=1e-4)
    assert other.best.b[0] == pytest.approx(fitted.best.b[0] + np.log(factor), abs=1e-3)
    one = predict_fleet(fitted, made.edges, made.samples)
    for d, told in predict_fleet(other, made.edges, samples).items():
        for p in (0.1, 0.5, 0.9):
            assert told.remaining[p] == pytest.approx(factor * one[d].remaining[p], rel=2e-3)


@pytest.mark.parametrize("seed", range(4))
def test_a_set_written_down_as_dull_as_a_whole_leaves_the_forecast_in_reach(seed):
    # Sixty edges end every cycle together: sharp, or every few cycles all of them dull.
    rng = np.random.default_rng(seed)
    edges, columns = [], {n: [] for n in ("edge", "hits", "ended", "lower_hits", "lot", "under_way")}
    for die in range(8):
        spec = EdgeSpec(die=die, thickness_mm=1.0, tensile_mpa=340.0, steel="M2")
        first = len(edges)
        edges += [replace(spec, side=("upper", "lower")[e % 2]) for e in range(60)]
        for lot in range(18):
            hits = int(rng.integers(40_000, 110_000)) if lot < 17 else 180_000
            dull = lot % 8 == 0 and lot < 17
            for e in range(first, first + 60):
                row = (e, hits, DULL if dull else SHARP, hits // 2 if dull else hits, lot, lot == 17)
                for column, value in zip(columns.values(), row, strict=True):
                    column.append(value)
    samples = LifeSamples.of(columns.pop("edge"), columns.pop("hits"), columns.pop("ended"), **columns)
    told = predict_fleet(fit_fleet(edges, samples), edges, samples)
    for die in told.values():
        assert 20_000 < die.remaining[0.5] < 5_000_000
        assert max(die.remaining.values()) <= 1e12
        for edge in die.edges.values():
            assert 100_000 < edge.usual_hits < 5_000_000


def test_narrow_looks_tend_to_the_exact_life_in_the_forecast_too(fitted):
    def middle(lower):
        past = LifeSamples.interval_censored([0] * 4, [lower * h for h in (5e4, 7e4, 8e4, 9e4)], [5e4, 7e4, 8e4, 9e4])
        return predict_die(fitted, [spec()], LifeSamples.together([past, open_row(1)])).remaining[0.5]

    exact = middle(1.0)
    off = [abs(middle(1 - width) / exact - 1) for width in (0.2, 0.02, 0.002)]
    assert off[0] > 0.02 and off[1] < 0.12 * off[0] and off[2] < 0.012 * off[0] + 1e-6


def test_polarity_matters(made, fitted):
    flipped = replace(
        made.samples, ended=np.where(made.samples.under_way, SHARP, 1 - np.minimum(made.samples.ended, 1))
    )
    other = fit_fleet(made.edges, flipped)
    assert abs(other.best.ln_k - fitted.best.ln_k) > 0.2


def open_row(n, hits=5_000.0):
    return LifeSamples.right_censored(np.arange(n), hits, under_way=True)


CASES = {
    "nothing but fresh edges": open_row(4, 0.0),
    "no dull end": LifeSamples.together([LifeSamples.right_censored([0, 1, 2, 3] * 5, 40_000), open_row(4)]),
    "all chips": LifeSamples.together([LifeSamples.chipped([0, 1, 2, 3] * 5, 3_000), open_row(4)]),
    "lives of one hit": LifeSamples.together([LifeSamples.exact([0, 1, 2, 3] * 5, 1.0), open_row(4)]),
    "a thousand million hits": LifeSamples.together([LifeSamples.right_censored([0, 1], 1e9), open_row(4)]),
    "now at a thousand million": open_row(4, 1e9),
    "equal times": LifeSamples.together([LifeSamples.exact([0, 1, 2, 3] * 9, 60_000.0), open_row(4)]),
    "10,000 cycles on one edge": LifeSamples.together(
        [LifeSamples.of(np.zeros(10_000, int), np.linspace(2e4, 2e5, 10_000), np.arange(10_000) % 2), open_row(4)]
    ),
    "age not known": LifeSamples.right_censored(np.arange(4), 5_000.0, under_way=True, unknown_age=True),
    "counted opening": LifeSamples.left_truncated(np.arange(4), 70_000.0, 80_000.0, SHARP, under_way=True),
    "one edge of four under way": open_row(1),
    "dull at nought": LifeSamples.together([LifeSamples.exact([0], 0.0), open_row(4)]),
    "dull at a thousand million": LifeSamples.together([LifeSamples.exact([0, 1, 2, 3] * 3, 1e9), open_row(4)]),
    "every cycle dull at the first look": LifeSamples.together(
        [LifeSamples.interval_censored([0, 1, 2, 3] * 6, 0.0, 20_000.0), open_row(4)]
    ),
    "one ended in the lot under way": LifeSamples.together(
        [
            LifeSamples.exact([0, 1, 2, 3] * 12, 5e4 + np.arange(48), lot=np.arange(48) // 4),
            LifeSamples.interval_censored([0], 8_000, 9_000, lot=12),
            LifeSamples.right_censored(np.arange(4), [0.0, 9e3, 9e3, 9e3], under_way=True, lot=12),
        ]
    ),
    "told to a hair, and of a life long past": LifeSamples.together(
        [
            LifeSamples.right_censored([0, 1], [3e4, 9e4], told=np.log([3.1e4, 1e4]), told_sd=[1e-6, 0.05]),
            LifeSamples.right_censored(np.arange(4), 6e4, under_way=True, told=np.log(2e4), told_sd=0.1),
        ]
    ),
    "age not known, in lots": LifeSamples.together(
        [
            LifeSamples.exact([0, 1, 2, 3] * 12, 5e4, lot=np.arange(48) // 4),
            LifeSamples.right_censored(np.arange(4), 5e3, under_way=True, unknown_age=np.arange(4) < 2, lot=12),
        ]
    ),
    "all in one lot": LifeSamples.together([LifeSamples.exact([0, 1, 2, 3] * 3, [3e4] * 12, lot=0), open_row(4)]),
}


@pytest.mark.parametrize("name", CASES)
def test_no_input_crashes_it(name):
    edges = [spec(), spec(side="lower"), spec(steel="carbide"), spec(gap_pct=4.0, stroke_share=0.5)]
    with np.errstate(all="raise", under="ignore"):
        fit = fit_fleet(edges, CASES[name])
        told = predict_die(fit, edges, CASES[name])
    values = np.array(list(told.remaining.values()))
    assert np.isfinite(values).all() and (values > 0).all() and (np.diff(values) >= 0).all()
    assert json.dumps(fit.to_dict())


def test_one_die_of_one_edge_and_many_such_dies():
    edges = [spec(die=d) for d in range(60)]
    past = LifeSamples.of(np.repeat(np.arange(30), 3), np.tile([4e4, 6e4, 9e4], 30), np.tile([1, 0, 2], 30))
    now = LifeSamples.right_censored(np.arange(30), 1e4, under_way=True)
    samples = LifeSamples.together([past, now])
    told = predict_fleet(fit_fleet(edges, samples), edges, samples)
    assert [d.remaining[0.5] for d in told.values()] == pytest.approx([told[0].remaining[0.5]] * 30, rel=1e-9)
    alone = samples.pick(samples.edge == 0)
    one = predict_die(fit_fleet(edges[:1], alone), edges[:1], alone)
    assert np.isfinite(list(one.remaining.values())).all() and one.edges[0].first_to_go == pytest.approx(1.0)


def test_one_edge_one_die_and_none():
    assert fit_fleet([], LifeSamples.of([], [], [])).dull_ends == 0
    told = predict_die(fit_fleet([], LifeSamples.of([], [], [])), [spec()], open_row(1))
    assert told.rests_on.words == "handbook only"
    with pytest.raises(NothingToForecast, match="none of the 1 edges"):
        predict_die(fit_fleet([], LifeSamples.of([], [], [])), [spec()], LifeSamples.of([], [], []))


@pytest.mark.parametrize("value", [float("nan"), float("inf"), -1.0])
def test_what_is_not_a_count_is_refused(value):
    with pytest.raises(SampleRefused, match="hits"):
        LifeSamples.right_censored([0], [value])
    with pytest.raises(SampleRefused, match="thickness_mm"):
        spec(thickness_mm=value)


def test_refusals_say_the_numbers():
    with pytest.raises(SampleRefused, match="lower_hits 9 above hits 5"):
        LifeSamples.interval_censored([0], 9, 5)
    with pytest.raises(SampleRefused, match="names edge 3, and there are 1"):
        fit_fleet([spec()], LifeSamples.exact([3], 5_000))
    with pytest.raises(SampleRefused, match="edge 0 has 2 cycles under way"):
        fit_fleet([spec()], LifeSamples.right_censored([0, 0], 5_000, under_way=True))
    with pytest.raises(SampleRefused, match="thickness_mm is not known"):
        spec(thickness_mm=None)


def test_a_common_effect_is_shared(fitted):
    # One die's edges are not independent chances: the die lasts longer than the product of its edges would say.
    edges = [spec() for _ in range(12)]
    told = predict_die(fitted, edges, open_row(12))
    x = told.remaining[0.5]
    assert told.chance_beyond(x) > np.prod([e.chance_beyond(x) for e in told.edges.values()]) + 0.03


def test_an_edge_that_cuts_at_every_second_stroke_lasts_twice_the_strokes(fitted):
    full, half = (
        predict_die(fitted, [spec(stroke_share=share)], open_row(1, 20_000.0)).edges[0] for share in (1.0, 0.5)
    )
    assert half.remaining[0.5] == pytest.approx(2 * full.remaining[0.5], rel=1e-3)
    assert half.usual_hits == pytest.approx(full.usual_hits)
    assert half.usual_die_hits == pytest.approx(2 * full.usual_hits)


def test_words_by_dull_ends(made):
    few = made.samples.pick(made.samples.ended != DULL)
    assert predict_fleet(fit_fleet(made.edges, few), made.edges, few)[0].rests_on.words == "handbook only"
    rows = np.r_[np.flatnonzero(made.samples.ended == DULL)[:10], np.flatnonzero(made.samples.ended != DULL)]
    ten = made.samples.pick(rows)
    assert predict_fleet(fit_fleet(made.edges, ten), made.edges, ten)[0].rests_on.words == "mostly handbook"


def test_what_if_and_intervals(made, fitted):
    thin, thick = handbook_interval(spec(thickness_mm=0.5)), handbook_interval(spec(thickness_mm=2.0))
    assert thin.usual_hits == pytest.approx(4 * thick.usual_hits)  # Archard: exponent -1
    assert thin.low_hits < thin.usual_hits < thin.high_hits
    mine = expected_interval(fitted, spec())
    assert mine.high_hits / mine.low_hits < thin.high_hits / thin.low_hits
    told = predict_fleet(fitted, made.edges, made.samples)
    edge = next(e for e, s in enumerate(made.edges) if s.steel == "D2")
    known = told[made.edges[edge].die].edges[edge]
    better = what_if(fitted, made.edges[edge], replace(made.edges[edge], steel="carbide"), known)
    assert better.times > 2 and better.times_low < better.times < better.times_high
    assert better.before.usual_hits == pytest.approx(known.usual_hits)
    same = what_if(fitted, spec(), spec())
    assert same.times == 1.0


def test_chips_are_not_dull_ends():
    chipped = LifeSamples.together([LifeSamples.chipped([0] * 30, 50_000.0), open_row(1)])
    dull = LifeSamples.together([LifeSamples.exact([0] * 30, 50_000.0), open_row(1)])
    few, many = (fit_fleet([spec()], s) for s in (dull, chipped))
    assert many.chip_rates.of(spec()) > 10 * few.chip_rates.of(spec())
    assert (
        predict_die(many, [spec()], chipped).edges[0].usual_hits > predict_die(few, [spec()], dull).edges[0].usual_hits
    )
    assert (chipped.ended == CHIPPED).sum() == 30


def test_heaped_counts_are_a_habit():
    assert heaped([60_000] * 5 + [43_210, 71_002]).tolist() == [True] * 5 + [False] * 2
    assert not heaped([60_000, 60_000, 43_210, 71_002, 52_400]).any()
    assert not heaped([51_234] * 6).any()


def test_what_is_unsure_by_the_handbook_alone_is_all_of_it_and_each_cycle_takes_of_it():
    edges = [spec(die=0) for _ in range(5)] + [spec(die=1) for _ in range(5)]
    nothing = fit_fleet([], LifeSamples.of([], [], []))
    now = LifeSamples.right_censored(np.arange(10), [0] * 5 + [4e4] * 5, under_way=True)
    told = predict_fleet(nothing, edges, now)
    before, after = told[0].rests_on, told[1].rests_on
    assert (before.cycles, before.prior_share) == (0, 1.0) and after.cycles == 5
    assert after.prior_share < 0.95
    past = LifeSamples.exact(np.repeat(np.arange(5, 10), 4), np.tile([6e4, 7e4, 8e4, 9e4], 5))
    more = predict_fleet(nothing, edges, LifeSamples.together([past, now]))[1].rests_on
    assert more.cycles == 25 and more.prior_share < 0.5 * after.prior_share


def test_what_a_stretch_says_of_its_own_lots_sends_no_fit_off():
    """Lots of 0.45 inside a cycle. Unbounded, the cavity of a few stretches ran to 4e8 here, and tu to 3.0 for 0.3."""
    made = shop(WORLDS["orders differ inside a cycle"], 704)
    fit = fit_fleet(made.edges, made.samples)
    assert 0.2 < fit.best.tu < 0.45 and abs(fit.best.b[0] - np.log(1.5)) < 0.3
    assert 2.7 < fit.best.k < 3.4 and 0.35 < fit.sw < 0.55 and fit.rounds < 10


@pytest.mark.parametrize(("spread", "seed"), [(0.0, 911), (0.0, 912), (0.0, 916), (0.2, 911), (0.45, 912)])
def test_lots_are_told_apart_where_they_differ_and_only_there(spread, seed):
    """Alike, they came out at 5.2, 8.7 and 6.9 standard errors here, and once as differing by 20 %. Where they differ
    by so little they are found, as differing by up to a half more than they do."""
    world = WORLDS["usual"] if not spread else replace(WORLDS["orders differ inside a cycle"], lot_sd=spread)
    made = shop(replace(world, dies=40), seed)
    found = fit_fleet(made.edges, made.samples).sw
    assert found == 0.0 if not spread else 0.75 * spread < found < 1.55 * spread
