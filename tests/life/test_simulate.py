"""The truth that forecasts are scored against is the truth: what really happens next is spread evenly over its chances,
and the shops are as they are described."""

import numpy as np
import pytest

from tests.life.scoring import Truth
from tests.life.simulate import WORLDS, shop


@pytest.mark.parametrize("name", ["usual", "many chips", "lots differ", "lots differ within a cycle"])
def test_what_really_happens_is_spread_evenly_over_its_chances(name):
    edges, dies = [], []
    for seed in (31, 32):
        made = shop(WORLDS[name], seed)
        truth = Truth(made)
        edges.append(truth.edges_alive(np.arange(len(made.edges)), made.true_left[:, None])[:, 0])
        for d in range(made.world.dies):
            mine = np.flatnonzero(truth.die == d)
            dies.append(truth.die_alive(mine, np.array([made.true_left[mine].min()]))[0])
    edges, dies = np.concatenate(edges), np.array(dies)
    assert edges.mean() == pytest.approx(0.5, abs=0.035) and dies.mean() == pytest.approx(0.5, abs=0.1)
    assert np.mean((edges > 0.1) & (edges < 0.9)) == pytest.approx(0.8, abs=0.04)
    assert np.mean((dies > 0.1) & (dies < 0.9)) == pytest.approx(0.8, abs=0.13)  # 80 dies: three standard errors


@pytest.mark.parametrize("name", ["usual", "shape 2", "shape 5", "1.5 years", "lots differ"])
def test_nine_cycles_in_ten_end_before_the_edge_is_dull(name):
    shops = [shop(WORLDS[name], seed) for seed in (31, 32)]
    closed = np.concatenate([m.samples.ended[~m.samples.under_way] for m in shops])
    assert np.mean(closed == 1) == pytest.approx(0.1, abs=0.025)
    assert np.mean([len(m.edges) for m in shops]) == pytest.approx(600, abs=60)
