"""The split of a forecast into worlds gives the forecast back, and keeps what it must."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from reports.purchasing.laws import LawRefused, WeibullLaw, mixed
from reports.purchasing.renewals import RenewalCounts
from reports.purchasing.worlds import die_worlds

LEVELS = (0.01, 0.1, 0.25, 0.5, 0.75, 0.9, 0.99)


def at(law, chance: float) -> float:
    """Turned round by bisection."""
    low, high = 0.0, 1e9
    for _ in range(200):
        middle = (low + high) / 2
        low, high = (middle, high) if float(law.ended(middle)) < chance else (low, middle)
    return high


def stored(shape: float, ln_sd: float, median: float = 50_000) -> dict[str, float]:
    """A Weibull life whose scale is lognormal, as 401 worlds."""
    z = np.linspace(-4, 4, 401)
    laws = [WeibullLaw.with_median(median * float(np.exp(ln_sd * v)), shape) for v in z]
    law = mixed(laws, np.exp(-(z**2) / 2))
    return {f"{p:g}": at(law, p) for p in LEVELS}


@pytest.mark.parametrize("shape, ln_sd", [(3.0, 0.0), (3.0, 0.2), (2.0, 0.4), (1.3, 0.3)])
def test_the_worlds_mixed_are_the_forecast(shape, ln_sd):
    fresh = stored(shape, ln_sd)
    split = die_worlds(fresh, ln_sd=ln_sd)
    law = mixed(split.laws, np.ones(len(split.laws)))
    for p in (0.1, 0.25, 0.5, 0.75, 0.9):
        assert at(law, p) == pytest.approx(fresh[f"{p:g}"], rel=0.05)
    assert split.laws[2].shape == pytest.approx(shape, rel=0.08)


def test_nothing_unsure_is_one_world():
    split = die_worlds(stored(2.5, 0.0), ln_sd=0.0)
    assert len({law.eta_hits for law in split.laws}) == 1
    # Weibull: mean = eta Gamma(1 + 1/k); 44,363 for eta 50,000 and k 2.5 (Gamma(1.4) = 0.88726, Abramowitz and
    # Stegun, Handbook of Mathematical Functions, table 6.1; from memory)
    one = die_worlds(
        {"0.1": 50_000 * 0.105361**0.4, "0.5": 50_000 * 0.693147**0.4, "0.9": 50_000 * 2.302585**0.4}, ln_sd=0
    )
    assert one.means[0] == pytest.approx(50_000 * 0.88726, rel=1e-4)


def test_what_is_unsure_widens_the_count_beyond_chance():
    fresh = stored(3.0, 0.3)
    split = die_worlds(fresh, ln_sd=0.3)
    counts = [RenewalCounts.of(first=law, fresh=law, horizon_hits=1e6).chances(1e6) for law in split.laws]
    size = max(map(len, counts))
    p = np.mean([np.pad(c, (0, size - len(c))) for c in counts], axis=0)
    alone = split.laws[2]
    q = RenewalCounts.of(first=alone, fresh=alone, horizon_hits=1e6).chances(1e6)

    def variance(p):
        n = np.arange(len(p))
        return n**2 @ p - (n @ p) ** 2

    # the sd of 1 / interval over the worlds alone is some 0.3 of 20 intervals
    assert variance(p) > 4 * variance(q) and np.sqrt(variance(p)) == pytest.approx(0.3 * 20, rel=0.35)


@given(st.floats(0.5, 8), st.floats(0, 3))
def test_never_wider_than_the_forecast(shape, ln_sd):
    law = WeibullLaw.with_median(40_000, shape)
    split = die_worlds({f"{p:g}": at(law, p) for p in (0.1, 0.5, 0.9)}, ln_sd=ln_sd)
    assert 0 <= split.ln_sd <= ln_sd + 1e-9
    assert list(split.means) == sorted(split.means)
    assert split.laws[0].shape >= shape * 0.999


@pytest.mark.parametrize("fresh", [{}, {"0.5": 100.0}, {"0.1": 0, "0.5": 5, "0.9": 9}, {"0.1": 9, "0.5": 5, "0.9": 7}])
def test_what_is_no_forecast_is_refused(fresh):
    with pytest.raises(LawRefused):
        die_worlds(fresh, ln_sd=0.1)


def test_an_impossible_spread_is_refused():
    with pytest.raises(LawRefused):
        die_worlds(stored(3.0, 0.0), ln_sd=float("nan"))
