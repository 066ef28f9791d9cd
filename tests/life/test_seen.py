"""What sorts of edges a shop has run."""

import json

import numpy as np

from maintenance.life import EdgeSpec, LifeSamples
from maintenance.life.seen import MARKS, QUANTITIES, Seen


def edge(**more) -> EdgeSpec:
    values = {"die": 0, "thickness_mm": 1.0, "tensile_mpa": 340.0, "steel": "D2", "coating": "none", "gap_pct": 8.0}
    return EdgeSpec(**(values | more))


EDGES = [
    edge(),
    edge(gap_pct=12.0, hardness_above_usual_hrc=1.5),
    edge(steel="carbide", thickness_mm=0.5, gap_pct=None),
    edge(steel="M2", side="lower"),
    edge(steel="A2", tensile_mpa=900.0),  # nobody has run it
]


def lives() -> LifeSamples:
    return LifeSamples.together(
        [
            LifeSamples.exact([0, 0, 1], [40_000, 50_000, 60_000]),
            LifeSamples.right_censored([2, 3], [30_000, 20_000]),
            LifeSamples.right_censored([4], [0], under_way=True),
            LifeSamples.exact([3], [9_000], unknown_age=True),
        ]
    )


def test_by_hand():
    seen = Seen.of(EDGES, lives())
    assert (seen.edges, seen.dull_ends) == (4, 3)
    assert seen.values["gap_pct"] == (8.0, 8.0, 12.0)
    assert seen.values["hardness_above_usual_hrc"] == (1.5,)
    assert seen.values["tensile_mpa"] == (340.0,) * 4
    assert seen.counts["steel"] == {"D2": (2, 3), "M2": (1, 0), "carbide": (1, 0)}
    assert seen.counts["side"] == {"lower": (1, 0), "upper": (3, 3)}
    assert seen.range_of("thickness_mm") == (0.5, 1.0)
    assert seen.usual == {
        "stock_family": "other", "steel": "D2", "coating": "none", "side": "upper",
        "gap_pct": 10.0, "tensile_mpa": 340.0, "thickness_mm": 1.0, "hardness_above_usual_hrc": 1.5,
    }  # fmt: skip


def test_it_is_kept_as_plain_json_and_comes_back():
    seen = Seen.of(EDGES, lives())
    assert Seen.from_dict(json.loads(json.dumps(seen.to_dict()))) == seen


def test_nothing_run_is_nothing_seen():
    assert Seen.of(EDGES, LifeSamples.of([], [], [])) == Seen.nothing()
    assert Seen.nothing().range_of("gap_pct") is None and Seen.nothing().usual == {}


def test_a_large_shop_is_kept_small_and_its_ends_are_kept():
    rng = np.random.default_rng(2)
    edges = [edge(gap_pct=float(g), thickness_mm=float(t)) for g, t in rng.uniform(2, 20, (5000, 2))]
    seen = Seen.of(edges, LifeSamples.right_censored(np.arange(5000), 1000.0))
    for name in QUANTITIES:
        assert len(seen.values[name]) <= MARKS and list(seen.values[name]) == sorted(seen.values[name])
    gaps = [e.gap_pct for e in edges]
    assert seen.range_of("gap_pct") == (float(f"{min(gaps):.4g}"), float(f"{max(gaps):.4g}"))
    assert len(json.dumps(seen.to_dict())) < 10_000


def test_the_order_of_the_edges_does_not_matter():
    order = [3, 1, 4, 0, 2]
    samples = lives()
    place = np.argsort(order)
    moved = LifeSamples.of(
        place[samples.edge], samples.hits, samples.ended, lower_hits=samples.lower_hits,
        under_way=samples.under_way, unknown_age=samples.unknown_age,
    )  # fmt: skip
    assert Seen.of([EDGES[i] for i in order], moved) == Seen.of(EDGES, samples)
