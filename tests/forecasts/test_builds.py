"""The wear model as curves: what each point is, where the shop's record speaks, what it made of the handbook."""

import math
from dataclasses import replace

import numpy as np
import pytest

from diestore.handbook import tool_steels
from maintenance.forecasts import builds
from maintenance.life import (
    EdgeSpec,
    LifeSamples,
    SampleRefused,
    expected_interval,
    fit_fleet,
    handbook_interval,
    prior,
    what_if,
)
from maintenance.life.seen import Seen
from maintenance.screens.wear_model import drawing as wear_model_drawing

EDGE = EdgeSpec(
    die=0, thickness_mm=1.2, tensile_mpa=340.0, stock_family="carbon steel", steel="D2", coating="none", gap_pct=8.0
)


@pytest.fixture(scope="module")
def shop():
    """A shop in which a gap of 5 % makes edges last half as long as one of 10 %, and nothing else differs."""
    rng = np.random.default_rng(9)
    edges = [replace(EDGE, die=d, gap_pct=gap) for d in range(12) for gap in (5.0, 10.0, 10.0, 5.0)]
    number = np.repeat(np.arange(len(edges)), 6)
    scale = np.array([40_000 if e.gap_pct == 5.0 else 80_000 for e in edges])[number]
    hits = scale * rng.weibull(3.0, len(number))
    lives = LifeSamples.interval_censored(number, 0.85 * hits, hits)
    return fit_fleet(edges, lives, with_lots=False), Seen.of(edges, lives)


def by_quantity(fit, spec, seen):
    return {curve.quantity: curve for curve in builds.curves(fit, spec, seen)}


def test_every_point_of_a_curve_is_that_edge_asked_for_alone(shop):
    fit, seen = shop
    for quantity, curve in by_quantity(fit, EDGE, seen).items():
        assert list(curve.x) == sorted(curve.x) and len(curve.x) == builds.POINTS
        for i in (0, 17, 40):
            alone = replace(EDGE, **{quantity: curve.x[i]})
            told, book = expected_interval(fit, alone), handbook_interval(alone)
            assert curve.record.usual_hits[i] == pytest.approx(told.usual_hits)
            assert curve.record.low_hits[i] == pytest.approx(told.low_hits)
            assert curve.handbook.high_hits[i] == pytest.approx(book.high_hits)
            assert curve.times.times[i] == pytest.approx(what_if(fit, EDGE, alone).times)


def test_an_edge_built_otherwise_differs_by_what_is_asked_and_nothing_else():
    hard = replace(EDGE, hardness_above_usual_hrc=1.0)
    assert builds.built_otherwise(hard) == hard
    assert builds.built_otherwise(hard, gap_pct=12.0) == replace(hard, gap_pct=12.0)
    assert builds.built_otherwise(hard, coating="titanium nitride") == replace(hard, coating="TiN")
    softer = {"steel": "M2", "hardness_above_usual_hrc": None}
    assert builds.built_otherwise(hard, tool_steel="M2") == replace(hard, **softer), "of its usual hardness"
    usual = tool_steels.grade("M2").usual_hrc
    assert builds.built_otherwise(hard, tool_steel="M2", hardness_hrc=usual + 2).hardness_above_usual_hrc == 2
    assert builds.built_otherwise(hard, hardness_hrc=usual).hardness_above_usual_hrc == (
        usual - tool_steels.grade("D2").usual_hrc
    )
    assert builds.built_otherwise(replace(EDGE, steel="carbide"), hardness_hrc=60).hardness_above_usual_hrc is None
    assert builds.built_otherwise(EDGE, tool_steel="PM-M4").steel == "PM"
    assert builds.built_otherwise(EDGE, thickness_mm=2.0, tensile_mpa=500.0) == replace(
        EDGE, thickness_mm=2.0, tensile_mpa=500.0
    )
    with pytest.raises(SampleRefused):
        builds.built_otherwise(EDGE, gap_pct=-1.0)


def test_what_gap_does_here_is_seen_in_the_record_and_not_in_the_handbook(shop):
    """The shop was made with half the life at 5 % of gap; the handbook says 0.68 of it."""
    fit, seen = shop
    change = builds.changed(fit, replace(EDGE, gap_pct=10.0), replace(EDGE, gap_pct=5.0))
    assert change.times[1] < 0.5 < change.times[2]
    assert change.times[0] == pytest.approx(0.5, abs=0.08)
    book = builds.changed(None, replace(EDGE, gap_pct=10.0), replace(EDGE, gap_pct=5.0))
    assert book.times[0] == pytest.approx(math.exp(-0.8 * math.log(2) ** 2))
    assert change.times[2] / change.times[1] < book.times[2] / book.times[1]
    lines = {line.words: line for line in builds.factors(fit, seen, plain_stock="1.00 mm stock of 400 MPa")}
    assert lines["carbide against D2"].says == builds.NOT_YET
    assert lines["carbide against D2"].own is None and lines["carbide against D2"].edges == 0
    assert lines["stock twice as thick"].edges == 0  # one thickness tells nothing of thickness
    assert lines["gap 20 % against 5 %, in carbon steel"].edges == 48


def test_the_record_speaks_where_the_shop_has_run_edges(shop):
    fit, seen = shop
    curve = by_quantity(fit, EDGE, seen)["gap_pct"]
    assert curve.within == (5.0, 10.0)
    assert [curve.speaks_at(x) for x in (4.9, 5.0, 8.0, 10.0, 10.1)] == [False, True, True, True, False]
    assert by_quantity(fit, EDGE, Seen.nothing())["gap_pct"].within is None
    far = replace(EDGE, gap_pct=30.0)
    assert by_quantity(fit, far, seen)["gap_pct"].x[-1] == 30.0


def test_without_a_record_there_is_the_handbook_alone(shop):
    empty = fit_fleet([], LifeSamples.of([], [], []))
    for fit in (None, empty):
        assert builds.answer(fit, EDGE).record is None
        assert builds.answer(fit, EDGE).best == handbook_interval(EDGE)
        assert all(curve.record is None for curve in builds.curves(fit, EDGE, Seen.nothing()))
        assert {line.says for line in builds.factors(fit, Seen.nothing(), plain_stock="")} == {builds.NOT_YET}
        assert builds.rests_on(fit) == "handbook only"
    assert builds.rests_on(shop[0]) == "this shop's records"


def test_every_column_of_the_wear_model_is_told_of(shop):
    """A column added to the model must come with its words."""
    fit, seen = shop
    all_kinds = replace_counts(seen)
    told = builds.factors(fit, all_kinds, plain_stock="")
    columns = len(prior.NAMES)
    assert len(told) == columns + 3  # and three spreads that no column holds
    for line in told:
        assert line.source and line.handbook[1] < line.handbook[0] < line.handbook[2]


def replace_counts(seen: Seen) -> Seen:
    return replace(seen, counts=seen.counts | {"kind": dict.fromkeys(prior.KINDS, (3, 1))})


def test_a_choice_counts_its_edges_and_knows_the_one_asked_for(shop):
    fit, seen = shop
    told = builds.choices(fit, replace(EDGE, steel="H13", coating="DLC"), seen)
    steels = {choice.name: choice for choice in told["steel"]}
    assert steels["D2"].edges == 48 and steels["carbide"].edges == 0
    assert [name for name, choice in steels.items() if choice.chosen] == [builds.ANOTHER]
    assert [c.name for c in told["coating"] if c.chosen] == [builds.ANOTHER]
    mine = next(c for c in builds.choices(fit, EDGE, seen)["steel"] if c.chosen)
    assert mine.times == (1.0, 1.0, 1.0)


@pytest.mark.parametrize(
    ("narrowed", "moved", "edges", "says"),
    [
        (1.0, 0.0, 10, builds.NOT_YET),
        (0.6, 0.1, 10, builds.A_LITTLE),
        (0.9, 0.9, 10, builds.A_LITTLE),
        (0.2, 0.1, 10, builds.A_LOT),
        (0.9, 2.5, None, builds.A_LOT),
        (0.2, 2.5, 0, builds.NOT_YET),
    ],
)
def test_how_much_the_record_says(narrowed, moved, edges, says):
    assert builds.how_much(narrowed, moved, edges) == says


# --- the drawing ------------------------------------------------------------------------------------------------------


def points(path: str) -> list[tuple[float, float]]:
    return [tuple(map(float, part.split())) for part in path.lstrip("M").rstrip("Z").split(" L")]


def test_a_curve_is_drawn_where_its_values_are(shop):
    fit, seen = shop
    curve = by_quantity(fit, EDGE, seen)["gap_pct"]
    drawing = wear_model_drawing.draw(
        curve, title="Gap", name="gap", unit="", hits=(1e3, 1e7), ticks=[(5.0, "5"), (99.0, "99")], asked=12.0
    )
    assert [t.words for t in drawing.x_ticks] == ["5"]
    drawn = points(drawing.handbook)
    span = wear_model_drawing.BOTTOM - wear_model_drawing.TOP
    for (_, y), hits in zip(drawn, curve.handbook.usual_hits, strict=True):
        assert y == pytest.approx(wear_model_drawing.BOTTOM - span * math.log(hits / 1e3) / math.log(1e4), abs=0.06)
    assert [x for x, _ in drawn] == sorted(x for x, _ in drawn)
    heavy = [points(path) for path, strong in drawing.record_lines if strong]
    assert len(heavy) == 1  # one piece, from the first of the shop's gaps to the last
    assert drawing.within[0] - 9 <= heavy[0][0][0] <= heavy[0][-1][0] <= drawing.within[1] + 9
    assert drawing.at[2] == "this edge" and drawing.asked[0] > drawing.at[0]
    assert {words for _, _, words, _ in drawing.labels} == {"handbook", "this shop's records"}


def test_two_names_on_a_drawing_do_not_lie_on_each_other(shop):
    fit, seen = shop
    for curve in builds.curves(fit, EDGE, seen):
        drawing = wear_model_drawing.draw(curve, title="", name="", unit="", hits=(1e3, 1e6), ticks=[])
        (_, one, _, _), (_, other, _, _) = drawing.labels
        assert abs(one - other) >= 14
