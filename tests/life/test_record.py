"""The record of past forecasts: a right forecaster is told right, a too sure one is not."""

from dataclasses import replace

import numpy as np
import pytest

from maintenance.life import LEVELS, fit_fleet, predict_fleet
from maintenance.life.record import Outcome, TooShort, first_end, gone, track_record
from tests.life import baselines
from tests.life.simulate import WORLDS, shop


def told(scale, shape):
    """A Weibull forecast from fresh, as it is stored."""
    return {p: scale * (-np.log1p(-p)) ** (1 / shape) for p in LEVELS}


def outcomes(rng, n, *, told_shape, true_shape=2.5, step=0.2, stop=0.8):
    """Lives seen at looks a step apart; some stopped still sharp at a planned count."""
    made = []
    for i in range(n):
        scale = np.exp(rng.normal(11, 0.5))
        life = scale * rng.weibull(true_shape)
        planned = np.floor(stop * rng.uniform(0.5, 2.0) / step) * step * scale  # the last look
        look = np.ceil(life / (step * scale)) * step * scale
        ended = look <= planned
        low, high = (look - step * scale, look) if ended else (planned, planned)
        made.append(Outcome.of(i // 3, told(scale, told_shape), low, high, ended, f"forecast {i}"))
    return made


def test_a_right_forecaster_holds_its_word():
    record = track_record(outcomes(np.random.default_rng(1), 900, told_shape=2.5))
    assert record.band_80 == pytest.approx(0.8, abs=3 * record.se)
    assert record.se < 0.04
    known = np.isfinite(record.went)
    assert record.went[known] == pytest.approx(record.marks[known], abs=0.06)


def test_a_too_sure_forecaster_is_found_out():
    record = track_record(outcomes(np.random.default_rng(1), 900, told_shape=7.0))
    assert record.band_80 < 0.6
    assert record.early and record.late


def test_counting_only_those_that_ended_would_be_nonsense():
    made = outcomes(np.random.default_rng(2), 900, told_shape=2.5, stop=0.4)
    ended = [o for o in made if o.ended]
    naive = np.mean([0.1 < (o.gone_low + o.gone_high) / 2 <= 0.9 for o in ended]) * len(ended) / len(made)
    assert abs(naive - 0.8) > 0.1


def test_the_engine_against_each_edge_by_itself():
    # A shop of 24 dies, looked back on from three origins; what was known then is what was recorded by then.
    ours, theirs = [], []
    for seed in (22,):
        whole = shop(replace(WORLDS["usual"], dies=24, years=4.0), seed)
        ends = cycles_by_edge(whole)
        for years in (2.4, 2.9, 3.4):
            then = shop(replace(WORLDS["usual"], dies=24, years=years), seed)
            fitted = fit_fleet(then.edges, then.samples, draws=8)
            told_now = {d: p.remaining for d, p in predict_fleet(fitted, then.edges, then.samples).items()}
            for made, forecast in ((ours, told_now), (theirs, baselines.own_likelihood(then)[1])):
                made += what_came_of_it(then, whole, ends, forecast, group=100 * seed)
    own, plain = track_record(ours), track_record(theirs)
    assert abs(own.band_80 - 0.8) < 2 * own.se
    assert plain.band_80 < 0.55


def cycles_by_edge(whole):
    closed = whole.samples.pick(~whole.samples.under_way)
    return [np.flatnonzero(closed.edge == e) for e in range(len(whole.edges))], closed


def what_came_of_it(then, whole, ends, forecast, *, group):
    """The cycle under way then is the next one that the longer record closes."""
    rows, closed = ends
    count = np.bincount(then.samples.edge[~then.samples.under_way], minlength=len(then.edges))
    die = np.array([e.die for e in then.edges])
    made = []
    for d, remaining in forecast.items():
        low, high, ended = [], [], []
        for e in np.flatnonzero(die == d):
            now = then.hits_now[e]
            if count[e] < len(rows[e]):
                row = rows[e][count[e]]
                went = closed.ended[row] != 0
                high.append(max(closed.hits[row] - now, 0.0))
                low.append(max(closed.lower_hits[row] - now, 0.0) if went else high[-1])
                ended.append(went)
            else:
                low.append(max(whole.hits_now[e] - now, 0.0))
                high.append(low[-1])
                ended.append(False)
        if max(high) > 0:
            made.append(Outcome.of(group + d, remaining, *first_end(low, high, ended)))
    return made


def test_the_first_to_go_and_the_first_renewed():
    assert first_end([10, 5, 30], [20, 8, 30], [True, True, False]) == (5, 8, True)
    assert first_end([10, 4], [20, 4], [True, False]) == (4, 4, False)
    with pytest.raises(ValueError, match="no cycle"):
        first_end([], [], [])


def test_too_few_are_refused_with_the_numbers():
    made = outcomes(np.random.default_rng(1), 12, told_shape=2.5)
    with pytest.raises(TooShort, match="12 past forecasts of 4 dies"):
        track_record(made)
    with pytest.raises(ValueError, match="between 9 and 5"):
        Outcome.of(0, told(1e5, 2.5), 9, 5, True)


def test_told_chances_are_read_back():
    remaining = told(80_000, 2.5)
    for strokes in (500, 40_000, 80_000, 120_000):
        assert gone(remaining, strokes) == pytest.approx(1 - np.exp(-((strokes / 80_000) ** 2.5)), abs=2e-3)
    assert gone(remaining, 0) == 0.0
