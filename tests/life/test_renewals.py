"""What works in between give back: ages by hand, the likelihood against a plain second computation, simulated shops."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats

from maintenance.life import CHIPPED, DULL, SHARP, Edges, EdgeSpec, LifeSamples, fit_fleet, predict_fleet, prior
from maintenance.life.cycles import SampleRefused, Touches
from maintenance.life.fleet import FleetFit
from maintenance.life.grids import Theta
from maintenance.life.readings import Readings
from maintenance.life.renewals import NODES, _ln_likelihood, aged, learn, offsets, seen, shares_of
from tests.life.simulate import WORLDS, shop

pytestmark = pytest.mark.no_database

STONE, COAT = 0, 1
SPEC = EdgeSpec(die=0, thickness_mm=1.0, tensile_mpa=400.0, steel="D2", coating="none", gap_pct=10.0)


def touched(*rows) -> Touches:
    return Touches.of(rows)


def test_the_age_of_an_edge_after_each_work_by_hand():
    rows = touched([], [(STONE, 10_000)], [(STONE, 10_000), (COAT, 15_000)], [(STONE, 10_000), (STONE, 15_000)])
    samples = LifeSamples.of(
        [0, 0, 0, 1], [9_000, 12_000, 21_000, 18_000], SHARP, from_hits=[0, 10_000, 15_000, 15_000], touched=rows
    )
    # 10,000 less 0.3 is 7,000; 5,000 on it 12,000, less a quarter 9,000; less 0.3 again 8,400.
    assert offsets(samples, np.array([0.3, 0.25])).tolist() == pytest.approx([0, -3_000, -6_000, -6_600])
    worn, _ = aged(samples, None, np.array([0.3, 0.25]))
    assert worn.from_hits.tolist() == pytest.approx([0, 7_000, 9_000, 8_400])
    assert worn.hits.tolist() == pytest.approx([9_000, 9_000, 15_000, 11_400])
    assert aged(worn, None, np.array([0.9, 0.9]))[0] is worn, "what is aged once stays as it is"
    assert seen(samples).tolist() == [2, 1]


def test_a_reading_after_a_touch_is_one_of_a_younger_edge():
    samples = LifeSamples.of([0, 0], [10_000, 20_000], SHARP, from_hits=[0, 10_000], touched=touched([], [(0, 10_000)]))
    read = Readings.of([0, 1], [8_000, 16_000], [5.0, 6.0])
    assert aged(samples, read, np.array([0.4, 0.0]))[1].hits.tolist() == pytest.approx([8_000, 12_000])


def test_works_that_do_not_fit_the_cycles_are_refused():
    with pytest.raises(SampleRefused, match="works in between"):
        LifeSamples.of([0, 0], [1, 2], SHARP, touched=touched([]))


@given(
    shares=st.tuples(st.floats(0, 1), st.floats(0, 1)),
    steps=st.lists(st.tuples(st.integers(0, 1), st.integers(1, 50_000)), min_size=1, max_size=6),
)
@settings(max_examples=100, deadline=None)
def test_an_age_lies_between_nought_and_the_hits_and_falls_with_each_share(shares, steps):
    at = np.cumsum([hits for _, hits in steps])
    works = [(sort, float(h)) for (sort, _), h in zip(steps, at, strict=True)]
    row = LifeSamples.of([0], [at[-1] + 5_000.0], SHARP, from_hits=[float(at[-1])], touched=touched(works))
    worn = aged(row, None, np.array(shares))[0]
    assert -1e-6 <= worn.from_hits[0] <= at[-1] + 1e-6
    assert worn.hits[0] - worn.from_hits[0] == pytest.approx(5_000), "what runs after the work is counted whole"
    more = aged(row, None, np.minimum(np.array(shares) + 0.1, 1.0))[0]
    assert more.from_hits[0] <= worn.from_hits[0] + 1e-6
    assert aged(row, None, np.zeros(2))[0].hits[0] == at[-1] + 5_000
    assert aged(row, None, np.ones(2))[0].from_hits[0] == pytest.approx(0, abs=1e-6)


def _by_quadrature(rows, theta: Theta, share: float) -> float:
    """ln of the integral over u and each edge's own of what happened, straight from the words of the model.

    rows: of each edge its cycles, (age at the touch before or None, hits run since, how it ended, hits at the look
    before). Survival in hits run since a touch at age a: exp(-(((1 - r) a + x)^k - ((1 - r) a)^k) / eta^k).
    """
    k, mu = theta.k, theta.b[0]
    u, v = (np.linspace(-6 * sd, 6 * sd, 401) for sd in (theta.tu, theta.tv))  # a trapezoid is exact for what fades so
    eta = np.exp(mu + u[:, None] + v)
    whole = stats.norm.pdf(u, 0, theta.tu)
    for cycles in rows:
        product = np.ones_like(eta)
        for age, run, how, before in cycles:
            start = 0.0 if age is None else (1 - share) * age

            def alive(x, start=start):
                return np.exp((start / eta) ** k - ((start + x) / eta) ** k)

            product *= alive(before) - alive(run) if how == DULL else alive(run)
        whole = whole * integrate.trapezoid(product * stats.norm.pdf(v, 0, theta.tv), v, axis=1)
    return float(np.log(integrate.trapezoid(whole, u)))


def test_the_likelihood_of_a_share_against_plain_quadrature():
    b = prior.MEAN.copy()
    b[0] = np.log(0.8)
    theta = Theta(b=b, ln_k=np.log(2.7), ln_tu=np.log(0.35), ln_tv=np.log(0.3))
    edges = Edges.of([SPEC, SPEC])
    # In 100,000 hits: dull in (0.6, 0.7], touched at 0.7, dull again in (0.4, 0.5] after; touched sharp at 0.5, 0.3 on.
    plain = [[(None, 0.7, DULL, 0.6), (0.7, 0.5, DULL, 0.4)], [(None, 0.5, SHARP, 0.5), (0.5, 0.3, SHARP, 0.3)]]
    samples = LifeSamples.of(
        [0, 0, 1, 1],
        [70_000, 120_000, 50_000, 80_000],
        [DULL, DULL, SHARP, SHARP],
        lower_hits=[60_000, 110_000, 50_000, 80_000],
        from_hits=[0, 70_000, 0, 50_000],
        touched=touched([], [(STONE, 70_000)], [], [(STONE, 50_000)]),
    )
    found = _ln_likelihood(edges, samples, theta, np.array([0.3, 0.2]), STONE)
    expected = np.array([_by_quadrature(plain, theta, share) for share in NODES])
    assert found == pytest.approx(expected, abs=2e-3)
    assert np.ptp(expected) > 0.3, "and the share matters"


def test_an_edge_after_a_touch_is_forecast_as_one_of_its_age():
    fit = fit_fleet([], LifeSamples.of([], [], []))
    fit = replace(fit, renewals=learnt(0.4))
    after = LifeSamples.of([0], [60_000], SHARP, from_hits=[50_000], under_way=True, touched=touched([(STONE, 50_000)]))
    plain = LifeSamples.of([0], [40_000], SHARP, from_hits=[30_000], under_way=True)
    one, other = (predict_fleet(fit, [SPEC], rows)[0] for rows in (after, plain))
    assert one.remaining == pytest.approx(other.remaining)


def learnt(share: float):
    from maintenance.life.renewals import Renewal

    return (Renewal(sort=STONE, share=share, sd=0.05, seen=30),)


@pytest.mark.parametrize(("name", "true"), [("dull edges dressed", 0.4), ("dressed, it gives nothing back", 0.0)])
def test_the_share_is_learnt_from_what_runs_on(name, true):
    made = shop(replace(WORLDS[name], dies=20), 31)
    fit = fit_fleet(made.edges, made.samples)
    (stone,) = fit.renewals
    assert stone.seen > 300 and abs(stone.share - true) < max(3 * stone.sd, 0.1) and stone.sd < 0.1
    assert 2.6 < fit.best.k < 3.5, "what goes on after a touch does not bend the shape"
    assert FleetFit.from_dict(fit.to_dict()).renewals == fit.renewals


def test_without_any_work_nothing_is_learnt_and_with_one_it_stays_near_memory():
    assert shares_of(()) == pytest.approx([1.3 / 4.3, 0.2])
    rows = LifeSamples.of(
        [0, 0, 0], [50_000, 60_000, 40_000], [SHARP, CHIPPED, SHARP], from_hits=[0, 50_000, 0],
        under_way=[False, False, True], touched=touched([], [(STONE, 50_000)], []),
    )  # fmt: skip
    theta = fit_fleet([], LifeSamples.of([], [], [])).best
    (stone,) = learn(Edges.of([SPEC]), rows, theta, shares_of(()))
    assert stone.seen == 1 and abs(stone.share - 1.3 / 4.3) < 0.05 and stone.sd > 0.15
    assert learn(Edges.of([SPEC]), rows.pick(slice(0, 1)), theta, shares_of(())) == ()
