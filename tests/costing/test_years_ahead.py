"""Money by month for years ahead: by hand, against the counts of renewal theory, and laws."""

from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reports.costing.money import MoneyRefused
from reports.costing.spread import Spread
from reports.costing.years_ahead import Allowance, ByAge, ByTheStroke, GroundPiece, GroundSet, Path, joined, years_ahead
from reports.purchasing.demand import GrindGroup, PieceUse
from reports.purchasing.laws import WeibullLaw
from reports.purchasing.removal import lasting, means_of
from reports.purchasing.renewals import RenewalCounts
from reports.purchasing.wear import Worn, WornItem

D = Decimal
MONTHS = 36
STROKES = np.full(MONTHS, 10_000.0)


def hard(price: int, left: int, new: int) -> GroundPiece:
    """A piece that goes at the grind after so many, each time."""

    def lasts(grinds):
        return lambda most: (np.arange(most + 1) <= grinds).astype(float)

    return GroundPiece(price=D(price), allowances=(Allowance(chance=1.0, left=lasts(left), new=lasts(new)),))


def drawn_piece(price: int, left: float, new: float, *, spread=0.25, doubt=0.2, share=1.0) -> GroundPiece:
    def lasts(grinds):
        return lambda most: lasting(grinds, spread=spread, share=share, most=most)

    laws = [Allowance(chance=w, left=lasts(left / m), new=lasts(new / m)) for m, w in means_of(doubt)]
    return GroundPiece(price=D(price), allowances=tuple(laws))


def every(hits: float, *, grind="100", pieces=(), months=MONTHS) -> GroundSet:
    """A set that is ground after exactly so many strokes."""
    ends = np.cumsum(STROKES[:months])
    counts = np.minimum((ends - 1e-9) // hits, 100).astype(int)
    return GroundSet(
        first=lambda u: np.full(len(u), hits),
        fresh=(lambda u: np.full(len(u), hits),),
        grind=D(grind),
        pieces=tuple(pieces),
        until=[np.append(np.zeros(n), 1.0) for n in counts],
    )


def weibull(*medians: float, shape: float = 3.0, grind="100", pieces=()) -> GroundSet:
    laws = [WeibullLaw.with_median(m, shape) for m in medians]
    ends = np.cumsum(STROKES)
    counts = RenewalCounts.mixed(first=laws[0], fresh=laws, horizon_hits=float(ends[-1]))
    return GroundSet(
        first=laws[0].lasting,
        fresh=tuple(law.lasting for law in laws),
        grind=D(grind),
        pieces=tuple(pieces),
        until=[counts.chances(float(end)) for end in ends],
    )


def test_by_hand():
    """Ground every 25,000 strokes of 10,000 a month: in months 3, 5, 8, 10 ... A piece with one grind left and two in a
    new one goes in at the second grind, then at each third: the 2nd, 5th, 8th ..., of which each costs 60."""
    told = years_ahead(strokes=STROKES, sets=[every(25_000.1, pieces=[hard(60, left=1, new=2)])])
    sharpening = [int(band.expected) for band in told.by_key["sharpening"].months[:10]]
    assert sharpening == [0, 0, 100, 0, 0, 100, 0, 100, 0, 0]  # 75,000.3 lies in month 8, 50,000.2 in month 6
    assert [m for m, band in enumerate(told.by_key["spares"].months) if band.expected] == [5, 12, 20, 27, 35]
    first = told.together.year(1)
    assert first.expected == first.low == first.half == first.high == D(460)
    assert told.years == 3


def test_what_is_expected_is_the_mean_of_the_lives():
    pieces = [drawn_piece(48, 2.3, 5.6, share=0.8), hard(900, left=6, new=11)]
    stop = ByTheStroke(key="stop", shape=4, strokes=1e6, share=1, cost=Spread.of([50, 400], [0.7, 0.3]))
    broken = ByTheStroke(key="spares", shape=2.5, strokes=2e6, share=8, cost=Spread.of([48, 96], [0.9, 0.1]))
    told = years_ahead(
        strokes=STROKES, sets=[weibull(18_000, 25_000, 40_000, pieces=pieces)], by_the_stroke=[stop, broken],
        yearly_rise=D("0.04"),
    )  # fmt: skip
    for path in (*told.by_key.values(), told.together):
        yearly = path.lives.reshape(len(path.lives), -1, 12).sum(axis=2)
        error = yearly.std(axis=0) / np.sqrt(len(yearly))
        assert (np.abs(yearly.mean(axis=0) - path.expected.reshape(-1, 12).sum(axis=1)) < 4 * error + 0.2).all()


def test_counts_of_drawn_lives_are_those_of_renewal_theory():
    told = years_ahead(strokes=STROKES, sets=[weibull(30_000)])
    grinds = told.by_key["sharpening"].lives.sum(axis=1) / 100
    laws = WeibullLaw.with_median(30_000, 3.0)
    exact = RenewalCounts.of(first=laws, fresh=laws, horizon_hits=360_000).chances(360_000)
    seen = np.bincount(grinds.astype(int), minlength=len(exact)) / len(grinds)
    assert np.abs(np.cumsum(seen) - np.cumsum(exact)).max() < 1.63 / np.sqrt(len(grinds))  # Kolmogorov, 1 %


@pytest.mark.parametrize(("left", "new", "share"), [(0.4, 3.2, 1.0), (2.3, 5.6, 1.0), (1.2, 4.0, 0.6)])
def test_pieces_ground_out_are_those_of_the_spares_in_mean_and_spread(left, new, share):
    """Eight alike, of which the advice on a spare counts the chances of 0, 1, 2 ... by another way of computing."""
    piece = drawn_piece(1, left, new, share=share)
    of_set = weibull(14_000, 20_000, 28_000, grind="0", pieces=[piece] * 8)
    told = years_ahead(strokes=STROKES, sets=[of_set]).by_key["spares"]
    use = PieceUse(label="", grinds_left=left, grinds_new=new, spread=0.25, doubt=0.2, ground_share=share)
    for months in (12, 36):
        group = GrindGroup(label="", strokes=0, sharpenings=of_set.until[months - 1], pieces=(use,) * 8)
        chances = group.ground_out().chances
        n = np.arange(len(chances))
        mean = n @ chances
        assert told.expected[:months].sum() == pytest.approx(mean, rel=1e-9)
        lives, sd = told.lives[:, :months].sum(axis=1), np.sqrt((n - mean) ** 2 @ chances)
        assert lives.mean() == pytest.approx(mean, abs=4 * sd / 100)  # of 10,000 lives
        assert lives.std() == pytest.approx(sd, rel=0.04)


@pytest.mark.parametrize("known", [True, False])
def test_what_wears_out_is_that_of_the_spares_in_mean_and_spread(known):
    law = WornItem(shape=3.0, scale=100_000, events=6.5, exposure=7.0)
    places = [Worn(strokes=360_000, age=age, known=known) for age in (20_000, 90_000, 90_000)]
    until = [law.expected(Worn(strokes=n, age=p.age, known=known) for p in places) for n in np.cumsum(STROKES)]
    aged = ByAge(
        key="spares", until=until, share=1.0, cost=Spread.of([1.0], [1.0]),
        drawn=lambda ends, lives, rng: law.drawn(places, ends, lives=lives, rng=rng),
    )  # fmt: skip
    path = years_ahead(strokes=STROKES, sets=[], by_age=[aged]).by_key["spares"]
    for months in (12, 36):
        soon = [Worn(strokes=months * 10_000, age=p.age, known=known) for p in places]
        chances = law.replaced(soon).chances
        n = np.arange(len(chances))
        mean = n @ chances
        sd = np.sqrt((n - mean) ** 2 @ chances)
        lives = path.lives[:, :months].sum(axis=1)
        assert path.expected[:months].sum() == pytest.approx(mean, rel=1e-9)
        assert lives.mean() == pytest.approx(mean, abs=4 * sd / 100 + 0.025 * 3)  # ages are counted by twentieths
        assert lives.std() == pytest.approx(sd, rel=0.06)


def test_mishaps_that_take_several_pieces_keep_the_mean_and_widen_the_band():
    law = WornItem(shape=3.0, scale=100_000, events=6.5, exposure=7.0)
    places = [Worn(strokes=360_000, age=50_000)] * 4
    until = [law.expected([Worn(strokes=n, age=50_000)] * 4) for n in np.cumsum(STROKES)]
    one, several = (
        ByAge(key="spares", until=until, share=share, cost=cost,
              drawn=lambda ends, lives, rng: law.drawn(places, ends, lives=lives, rng=rng))
        for share, cost in ((1.0, Spread.of([10], [1.0])), (0.5, Spread.of([10, 30], [0.5, 0.5])))
    )  # fmt: skip
    calm, rough = (years_ahead(strokes=STROKES, sets=[], by_age=[sort]).by_key["spares"] for sort in (one, several))
    assert calm.expected == pytest.approx(rough.expected)
    assert rough.lives.sum(axis=1).mean() == pytest.approx(rough.expected.sum(), rel=0.02)
    assert rough.lives.sum(axis=1).std() > 1.2 * calm.lives.sum(axis=1).std()


def test_a_count_by_the_stroke_is_negative_binomial():
    """A gamma rate and a Poisson count; its mean and variance: m and m + m^2 / shape (Johnson, Kotz, from memory)."""
    stop = ByTheStroke(key="stop", shape=3, strokes=200_000, share=1, cost=Spread.of([1.0], [1.0]))
    counts = years_ahead(strokes=STROKES, sets=[], by_the_stroke=[stop]).together.lives.sum(axis=1)
    mean = 3 / 200_000 * 360_000
    assert counts.mean() == pytest.approx(mean, rel=0.02)
    assert counts.var() == pytest.approx(mean + mean**2 / 3, rel=0.06)


def test_the_trough_and_the_hump_are_seen():
    """A new set of eight dear pieces costs nothing for long, and all at once when it is ground out."""
    pieces = [hard(400, left=9, new=12)] * 8
    told = years_ahead(strokes=STROKES, sets=[weibull(20_000, pieces=pieces)])
    spares = told.by_key["spares"]
    assert spares.year(1).high == 0
    assert spares.year(2).half == 3200
    assert spares.of(slice(0, 36)).expected > D(3000)


def test_a_dearer_world_shows_in_the_band_and_not_in_the_half():
    alike = years_ahead(strokes=STROKES, sets=[weibull(20_000)]).together.of(slice(0, 36))
    apart = years_ahead(strokes=STROKES, sets=[weibull(14_000, 20_000, 28_000)]).together.of(slice(0, 36))
    assert apart.high - apart.low > 3 * (alike.high - alike.low)
    assert float(apart.half) == pytest.approx(float(alike.half), rel=0.1)


@given(rise=st.decimals("-0.5", "1", places=3), price=st.integers(0, 10_000))
@settings(deadline=None, max_examples=20)
def test_dearer_spares_and_rising_prices_never_lower_the_cost(rise, price):
    def cost(rise, price):
        told = years_ahead(
            strokes=STROKES, sets=[every(25_000.1, pieces=[hard(price, left=1, new=2)])],
            yearly_rise=rise, lives=20,
        )  # fmt: skip
        return told.together.of(slice(0, 36)).expected

    assert cost(rise, price) <= cost(rise, price + 1)
    assert (cost(rise, price) >= cost(D(0), price)) == (rise >= 0)


def test_the_same_question_has_the_same_answer():
    one, other = (years_ahead(strokes=STROKES, sets=[weibull(20_000)]).together.months for _ in range(2))
    assert one == other


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"strokes": []}, "months ahead"),
        ({"strokes": [-1.0] * 36}, "negative"),
        ({"strokes": [np.nan] * 36}, "not finite"),
        ({"yearly_rise": D(-1)}, "leave nothing"),
        ({"lives": 0}, "at least one"),
        ({"strokes": np.ones(12)}, "chances for 36 months"),
        ({"sets": [every(1e-3)]}, "more grinds"),
    ],
)
def test_bad_input_is_refused(changes, words):
    with pytest.raises(MoneyRefused, match=words):
        years_ahead(**{"strokes": STROKES, "sets": [every(25_000)], "lives": 10, **changes})


# Several dies together


def drawn_path(seed: int, *, lives: int = 4_000, months: int = 14) -> Path:
    rng = np.random.default_rng(seed)
    lives_of = rng.poisson(0.4, (lives, months)) * 50.0
    return Path(expected=np.full(months, 20.0), lives=lives_of)


def test_one_die_joined_alone_is_what_it_was():
    alone = drawn_path(1)
    assert joined([alone], months=12).of(slice(0, 12)) == alone.of(slice(0, 12))
    assert joined([alone], months=12).months == alone.months[:12]


def test_dies_joined_add_up_and_know_nothing_of_each_other():
    """Variances of what is independent add up. Of a path joined with itself too: its lives are mixed anew."""
    one, other = drawn_path(1), drawn_path(2)
    for paths in ([one, other], [one, one]):
        made = joined(paths, months=12)
        assert made.of(slice(0, 12)).expected == sum(path.of(slice(0, 12)).expected for path in paths)
        years = [path.lives[:, :12].sum(axis=1) for path in paths]
        assert made.lives.sum() == pytest.approx(sum(year.sum() for year in years))
        assert made.lives.sum(axis=1).var() == pytest.approx(sum(year.var() for year in years), rel=0.06)
    band, bands = made.of(slice(0, 12)), [path.of(slice(0, 12)) for path in (one, one)]
    assert sum(b.low for b in bands) < band.low < band.half < band.high < sum(b.high for b in bands)


def test_no_die_takes_nothing():
    made = joined([], months=12)
    assert made.of(slice(0, 12)).high == 0 and len(made.months) == 12
