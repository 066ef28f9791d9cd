"""How many pieces of a spare will be used."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reports.purchasing.demand import (
    BreakRate,
    Demand,
    DemandRefused,
    GrindGroup,
    PieceUse,
    grinds_in,
    item_demand,
    poisson,
)
from reports.purchasing.laws import WeibullLaw
from reports.purchasing.renewals import RenewalCounts


def test_a_poisson_count_of_logarithmic_sizes_is_negative_binomial():
    # [S09] Quenouille 1949: Poisson(2) mishaps of logarithmic size, theta 0.5 = negative binomial, r = 2.8853901, p =
    # 0.5: P(<=8) = 0.97065981, quantiles 7 (95 %) and 10 (99 %)
    n = np.arange(1, 80)
    sizes = Demand.of(np.append(0.0, 0.5**n / n))
    total = poisson(2).compounded(sizes)
    assert total.at_most(8) == pytest.approx(0.97065981, abs=1e-8)
    assert (total.quantile(0.95), total.quantile(0.99)) == (7, 10)
    # the gamma rate of breaks gives the same law: shape r, b / (b + x) = p
    breaks = BreakRate(shape=2 / math.log(2), strokes=1.0).breaks_in(1.0)
    assert breaks.at_most(8) == pytest.approx(0.97065981, abs=1e-8)
    assert breaks.mean == pytest.approx(2 / math.log(2))


def test_breaks_seen():
    # by hand: 2.5 / (5e5 + 2e6) = 1e-6 a stroke; negative binomial with a = 2.5, q = 1/6: P(0) = (5/6)^2.5
    rate = BreakRate.seen(2, 2e6)
    assert rate.per_stroke == pytest.approx(1e-6)
    ahead = rate.breaks_in(5e5)
    assert ahead.chances[0] == pytest.approx((5 / 6) ** 2.5, rel=1e-12)
    assert ahead.chances[1] == pytest.approx(2.5 / 6 * (5 / 6) ** 2.5, rel=1e-12)
    assert ahead.mean == pytest.approx(0.5, rel=1e-9)
    assert rate.breaks_in(0).chances.tolist() == [1.0]


def test_poisson_known_rate():
    assert poisson(0).chances.tolist() == [1.0]
    # Poisson(3): e^-3, 3 e^-3, 4.5 e^-3
    assert poisson(3).chances[:3] == pytest.approx(np.array([1, 3, 4.5]) * math.exp(-3), rel=1e-12)
    # a rate known from very much record is Poisson
    assert BreakRate(shape=3e6, strokes=1e12).breaks_in(1e6).at_most(4) == pytest.approx(
        poisson(3).at_most(4), abs=1e-5
    )


def test_when_a_piece_is_ground_out():
    piece = PieceUse(label="3-A", grinds_left=2, grinds_new=4)
    # two grinds left: it goes at the third sharpening; the new one lasts four grinds and goes at the fifth after
    assert [piece.ground_out(n) for n in range(10)] == [0, 0, 0, 1, 1, 1, 1, 1, 2, 2]
    assert PieceUse(label="3-B", grinds_left=None, grinds_new=None).ground_out(100) == 0
    assert [PieceUse(label="c", grinds_left=0, grinds_new=0).ground_out(n) for n in range(3)] == [0, 1, 2]


@settings(max_examples=40)
@given(st.integers(0, 12), st.integers(0, 12), st.integers(0, 60))
def test_ground_out_against_grinding_one_by_one(left, new, sharpenings):
    used, allowance = 0, left
    for _ in range(sharpenings):
        if allowance == 0:
            used, allowance = used + 1, new
        else:
            allowance -= 1
    assert PieceUse(label="x", grinds_left=left, grinds_new=new).ground_out(sharpenings) == used


def test_grinds_of_a_published_total_life():
    # [T4-05] A stamper's article on how long a die lasts: 0.500 in of land, 0.001 in a sharpening, 40,000 parts
    # between: 500 sharpenings, 20,000,000 parts. It counts no run before the first sharpening: with it the piece serves
    # 501.
    grinds = grinds_in(0.5 * 25.4, 0.001 * 25.4)
    assert grinds == 500
    assert grinds * 40_000 == 20_000_000
    piece = PieceUse(label="die", grinds_left=grinds, grinds_new=grinds)
    assert (piece.ground_out(500), piece.ground_out(501)) == (0, 1)


def test_grinds_in_an_allowance():
    assert [grinds_in(a, 0.1) for a in (0.3, 0.29, 0.0, -1.0, 3.0)] == [3, 2, 0, 0, 30]
    for bad in ((1.0, 0.0), (float("nan"), 0.1), (1.0, -0.1)):
        with pytest.raises(DemandRefused):
            grinds_in(*bad)


def group(pieces, sharpenings=(0.0, 0.0, 0.4, 0.6), strokes=100_000.0, label="set"):
    return GrindGroup(label=label, strokes=strokes, sharpenings=np.array(sharpenings), pieces=tuple(pieces))


def test_pieces_ground_together_run_out_together():
    ten = [PieceUse(label=str(n), grinds_left=2, grinds_new=8) for n in range(10)]
    together = item_demand([group(ten)])
    assert together.chances[0] == pytest.approx(0.4) and together.chances[10] == pytest.approx(0.6)
    assert together.quantile(0.9) == 10
    apart = item_demand([group([piece]) for piece in ten])
    assert apart.mean == pytest.approx(together.mean)
    assert apart.quantile(0.9) == 8  # binomial, 10 times 0.6: P(<=7) = 0.833, P(<=8) = 0.954


def test_breaks_come_on_top_over_the_strokes_of_all_positions():
    pieces = [PieceUse(label="a", grinds_left=None, grinds_new=None, stroke_share=s) for s in (1.0, 0.5)]
    rate = BreakRate.seen(3, 1e6)
    demand = item_demand([group(pieces), group(pieces, strokes=300_000.0)], breaks=rate)
    expected = rate.breaks_in(1.5 * 400_000)
    assert [demand.at_most(n) for n in range(20)] == pytest.approx([expected.at_most(n) for n in range(20)])
    pairs = item_demand([group(pieces)], breaks=rate, at_once=Demand.of([0, 0, 1.0]))
    assert pairs.mean == pytest.approx(2 * rate.per_stroke * 150_000)
    assert pairs.chances[1::2].sum() == 0


def test_against_drawing_the_year_by_chance():
    law = WeibullLaw(eta_hits=40_000, shape=2.5)
    strokes, n = 500_000.0, 20_000
    sharpenings = RenewalCounts.of(first=law, fresh=law, horizon_hits=strokes).chances(strokes)
    pieces = [PieceUse(label=str(i), grinds_left=g, grinds_new=6) for i, g in enumerate((0, 3, 3, 5))]
    rate = BreakRate.seen(4, 4e6)
    demand = item_demand([group(pieces, sharpenings, strokes)], breaks=rate)

    rng = np.random.default_rng(5)
    ends = (np.cumsum(rng.weibull(2.5, (n, 40)) * 40_000, axis=1) <= strokes).sum(axis=1)
    used = np.zeros(n, int)
    for left in (0, 3, 3, 5):
        allowance = np.full(n, left)
        for k in range(ends.max()):
            live = k < ends
            gone = live & (allowance == 0)
            used += gone
            allowance = np.where(gone, 6, np.where(live, allowance - 1, allowance))
    used += rng.poisson(rng.gamma(4.5, 1 / 4.5e6, n) * strokes * 4)
    assert demand.mean == pytest.approx(used.mean(), abs=4 * used.std() / n**0.5)
    for p in (0.1, 0.5, 0.9):
        assert demand.at_most(demand.quantile(p)) == pytest.approx((used <= demand.quantile(p)).mean(), abs=0.015)


def test_worlds_are_mixed_after_adding_up():
    quiet, rough = Demand.of([1.0]), Demand.of([0, 1.0])
    shared = Demand.mixed([Demand.total([quiet] * 5), Demand.total([rough] * 5)], [1, 1])
    assert shared.chances.tolist() == [0.5, 0, 0, 0, 0, 0.5]


@pytest.mark.parametrize(
    "call",
    [
        lambda: Demand.of([]),
        lambda: Demand.of([0.5, -0.5]),
        lambda: Demand.of([float("nan")]),
        lambda: poisson(-1),
        lambda: poisson(1e9),
        lambda: BreakRate(shape=0, strokes=1),
        lambda: BreakRate.seen(-1, 5),
        lambda: BreakRate.seen(1, 1e6).breaks_in(float("inf")),
        lambda: BreakRate.seen(1, 1e6).breaks_in(1e15),
        lambda: PieceUse(label="x", grinds_left=-1, grinds_new=3),
        lambda: PieceUse(label="x", grinds_left=None, grinds_new=3),
        lambda: PieceUse(label="x", grinds_left=1, grinds_new=3, stroke_share=0),
        lambda: Demand.mixed([Demand.none()], [1, 2]),
        lambda: Demand.none().quantile(1.0),
    ],
)
def test_bad_input_is_refused(call):
    with pytest.raises(DemandRefused):
        call()


CHANCES = st.lists(st.floats(0.001, 1), min_size=1, max_size=20)


@settings(max_examples=50, deadline=None)
@given(CHANCES, CHANCES, st.floats(0.01, 0.99))
def test_laws_of_sums(p, q, chance):
    a, b = Demand.of(p), Demand.of(q)
    both = a.plus(b)
    assert both.mean == pytest.approx(a.mean + b.mean)
    assert both.chances == pytest.approx(b.plus(a).chances)
    assert both.quantile(chance) >= max(a.quantile(chance), b.quantile(chance))
    assert both.at_most(both.quantile(chance)) >= chance - 1e-9
    if both.quantile(chance):
        assert both.at_most(both.quantile(chance) - 1) < chance
