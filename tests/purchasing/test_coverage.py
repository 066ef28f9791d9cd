"""The 90 % limits of a spare's demand hold as often as they say. The long version: tests/benchmarks/demand.py."""

from .coverage import scored


def test_limits_of_demand_hold_as_often_as_they_say():
    found = scored(shops=2, seed=8)
    assert len(found.place) == 420
    assert (found.use <= 2).mean() > 0.6  # counts of nought, one and two for the most part
    assert 0.87 <= found.held() <= 0.93  # two standard errors of 420 are 0.029
    assert found.held(plain=True) < found.held() - 0.02  # a Poisson count of the same mean is too sure
