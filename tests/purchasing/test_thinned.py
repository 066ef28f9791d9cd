"""Of some pieces each by itself counted with a chance."""

import pytest
import scipy
from hypothesis import given, settings
from hypothesis import strategies as st

from reports.purchasing.demand import Demand, DemandRefused, poisson


def test_a_thinned_poisson_count_is_one_of_the_thinned_mean():
    # Outside: scipy's Poisson law; thinning keeps the law (Feller, vol. 1, from memory)
    thin = poisson(3.0).thinned(0.4)
    assert thin.chances[:8] == pytest.approx(scipy.stats.poisson(1.2).pmf(range(8)), abs=1e-10)


@settings(max_examples=40, deadline=None)
@given(st.lists(st.floats(0.01, 1), min_size=1, max_size=12), st.floats(0.05, 1))
def test_the_mean_falls_with_the_share_and_mishaps_of_several_bring_it_back(chances, share):
    whole = Demand.of(chances)
    thin = whole.thinned(share)
    assert thin.mean == pytest.approx(share * whole.mean, abs=1e-9)
    pairs = whole.thinned(0.5).compounded(Demand.of([0.0, 0.0, 1.0]))
    assert pairs.mean == pytest.approx(whole.mean, abs=1e-9)


def test_a_share_that_is_none_is_refused():
    with pytest.raises(DemandRefused):
        Demand.none().thinned(0.0)
