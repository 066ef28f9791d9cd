"""The engine against a slow, plain second implementation on small fleets: see dense.py.

At given theta the second implementation is a tensor grid over all of a die's edges at once, without the engine's
travelling grids, cavities or Gauss nodes; over theta, and where cycles span lots, it is a stored answer of long random
walks (tests/authorities/life_posterior.json and life_spanned.json, made by the scripts beside them).
"""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from maintenance.life import EdgeSpec, LifeSamples, fit_fleet, predict_fleet, prior
from maintenance.life.cycles import Passed
from maintenance.life.grids import Theta as EngineTheta
from tests.authorities.make_life_spanned import CASES, THETAS, invented
from tests.life.dense import EDGES, UNIT, DieAtTheta, Fleet, SpannedWalk, Theta, ln_posterior

AUTHORITIES = Path(__file__).parents[1] / "authorities"
STORED = json.loads((AUTHORITIES / "life_posterior.json").read_text())
SPANNED = json.loads((AUTHORITIES / "life_spanned.json").read_text())
COLUMNS = [prior.NAMES.index(n) for n in ("constant", "ln thickness in mm", "lower side against the punch")]


def fleet_of(name) -> Fleet:
    records = STORED["fleets"][name]["records"]
    return Fleet(records["rows"], np.array(records["x"]), np.array(records["share"]), records["lots"])


def as_records(fleet: Fleet):
    edges = [
        EdgeSpec(
            die=e // EDGES,
            thickness_mm=float(np.exp(x[1])),
            tensile_mpa=400.0,
            steel="D2",
            coating="none",
            side="lower" if x[2] else "upper",
            stroke_share=float(share),
        )
        for e, (x, share) in enumerate(zip(fleet.x, fleet.share, strict=True))
    ]
    column = fleet.column
    samples = LifeSamples.of(
        column("edge", int),
        column("hits"),
        column("ended", int),
        lower_hits=column("lower"),
        from_hits=column("from"),
        under_way=column("open", bool),
        lot=column("lot", int),
        told=column("told"),
        told_sd=column("told_sd"),
    )
    return edges, samples


def no_chip(fit, edges, samples, members, strokes):
    """Chance of no chip at the members, by chips.py's formula for a die in which none has chipped: [strokes]."""
    die = [i for i, e in enumerate(edges) if e.die == edges[members[0]].die]
    seen = sum(fit.chip_rates.of(edges[i]) * (samples.hits - samples.from_hits)[samples.edge == i].sum() for i in die)
    more = sum(fit.chip_rates.of(edges[i]) * edges[i].stroke_share for i in members) * strokes
    alike = fit.chip_rates.alike
    return (1 + more / (alike * UNIT + seen)) ** -alike


VERY_STEEP = Theta(np.array([0.4, -0.9, 0.8]), 8.0, 0.50, 0.12, 0.80)


# Largest difference of a chance, in edges and dies. Where lots are in play the engine takes what the other edges say of
# a lot as normal, and lets each edge use it by itself. The last figure holds in dies with cycles that ended in the lot
# under way.
@pytest.mark.parametrize(
    ("name", "theta", "largest", "with_ends_in_the_lot"),
    [
        ("plain", "usual", 2e-4, 2e-4),
        ("plain", "edges differ", 2e-4, 2e-4),
        ("plain", "steep", 3e-4, 3e-4),
        ("readings", "usual", 5e-3, 5e-3),
        ("readings", "steep", 0.008, 0.008),
        ("lots", "usual", 0.010, 0.010),
        ("lots", "edges differ", 0.002, 0.002),
        ("lots and readings", "usual", 0.045, 0.02),
        ("more lots", "usual", 0.01, 0.01),
    ],
)
def test_the_chances_at_given_theta(name, theta, largest, with_ends_in_the_lot):
    fleet, at = fleet_of(name), THETAS[theta]
    edges, samples = as_records(fleet)
    b = prior.MEAN.copy()
    b[COLUMNS] = at.b
    fit = fit_fleet(edges, samples, with_lots=False, draws=1)
    best = EngineTheta(b=b, ln_k=np.log(at.k), ln_tu=np.log(at.tu), ln_tv=np.log(at.tv))
    told = predict_fleet(replace(fit, best=best, sw=at.sw if fleet.lots else 0.0).alone(), edges, samples)
    for d in range(fleet.dies):
        plain = DieAtTheta(fleet, d, at)
        ended = fleet.lots and any(r["lot"] == plain.lot_now and not r["open"] for r in plain.rows)
        most = with_ends_in_the_lot if ended else largest
        for p in (0.1, 0.5, 0.9):
            strokes = told[d].remaining[p]
            expected = plain.alive(strokes) * no_chip(fit, edges, samples, plain.members, strokes)
            assert expected == pytest.approx(1 - p, abs=most)
        for i, e in enumerate(plain.members):
            for p in (0.1, 0.5, 0.9):
                strokes = told[d].edges[int(e)].remaining[p]
                expected = plain.alive(strokes, [i]) * no_chip(fit, edges, samples, [e], strokes)
                assert expected == pytest.approx(1 - p, abs=most)


@pytest.mark.parametrize("name", ["lots", "more lots"])
def test_where_whole_sets_go_dull_together_the_chances_stay_near(name):
    # A steep shape, edges alike, lots far apart: so looks a shop that calls the whole set dull. What the engine leaves
    # out of the lots shows then; but before the aim was held to the place, 0.9 of a chance was off.
    fleet, at = fleet_of(name), VERY_STEEP
    edges, samples = as_records(fleet)
    b = prior.MEAN.copy()
    b[COLUMNS] = at.b
    best = EngineTheta(b=b, ln_k=np.log(at.k), ln_tu=np.log(at.tu), ln_tv=np.log(at.tv))
    fit = replace(fit_fleet(edges, samples, with_lots=False, draws=1), best=best, sw=at.sw).alone()
    for d, told in predict_fleet(fit, edges, samples).items():
        plain = DieAtTheta(fleet, d, at)
        for p in (0.1, 0.5, 0.9):
            strokes = told.remaining[p]
            expected = plain.alive(strokes) * no_chip(fit, edges, samples, plain.members, strokes)
            assert expected == pytest.approx(1 - p, abs=0.26)


def as_spanned(dies):
    """Edges and samples of dies whose cycles span lots."""
    sides = ["upper" if x[2] == 0 else "lower" for die in dies for x in die.x]
    like = {"thickness_mm": 1.0, "tensile_mpa": 400.0, "steel": "D2", "coating": "none"}
    edges = [EdgeSpec(die=e // EDGES, side=side, **like) for e, side in enumerate(sides)]
    rows = [(d * EDGES + e, *rest) for d, die in enumerate(dies) for e, *rest in die.rows]
    cut = [[(int(g), float(hits[g])) for g in np.flatnonzero(hits)] for _, hits, _, _, _ in rows]
    last = len(dies[0].rows[0][1]) - 1
    samples = LifeSamples.of(
        [r[0] for r in rows],
        [r[1].sum() for r in rows],
        [r[3] for r in rows],
        lower_hits=[r[2].sum() for r in rows],
        under_way=[r[4] for r in rows],
        lot=[last if r[4] else parts[-1][0] for r, parts in zip(rows, cut, strict=True)],
        passed=Passed.of(cut),
    )
    return edges, samples


def between(strokes, curve):
    """A stored chance of being sharp, at other numbers of strokes than those it was reckoned for."""
    worn = np.log(-np.log(np.clip(curve, 1e-12, 1 - 1e-9)))
    return np.exp(-np.exp(np.interp(np.log(strokes), np.log(SPANNED["strokes"]), worn)))


def spanned_errors(theta, rest, seed, *, known=True):
    """Largest error of a die's chances and of an edge's, over three dies. known: the lots are in the records."""
    at, dies = THETAS[theta], invented(theta, rest, seed)
    (stored,) = (case["dies"] for case in SPANNED["cases"] if (case["theta"], case["seed"]) == (theta, seed))
    edges, samples = as_spanned(dies)
    b = prior.MEAN.copy()
    b[COLUMNS] = at.b
    best = EngineTheta(b=b, ln_k=np.log(at.k), ln_tu=np.log(at.tu), ln_tv=np.log(at.tv))
    fit = replace(fit_fleet(edges, samples, with_lots=False, draws=1), best=best, sw=at.sw).alone()
    given = samples if known else replace(samples, passed=None)
    told = predict_fleet(fit, edges, given, rest={d: die.rest for d, die in enumerate(dies)})
    marks = np.array([0.1, 0.3, 0.5, 0.7, 0.9])
    off_die, off_edge = 0.0, 0.0
    for d, curves in enumerate(stored):
        members = list(range(d * EDGES, (d + 1) * EDGES))
        strokes = np.array([told[d].remaining[p] for p in marks])
        alive = between(strokes, curves["die"]) * no_chip(fit, edges, samples, members, strokes)
        off_die = max(off_die, np.abs(alive - (1 - marks)).max())
        for e, curve in zip(members, curves["edges"], strict=True):
            strokes = np.array([told[d].edges[e].remaining[p] for p in marks])
            alive = between(strokes, curve) * no_chip(fit, edges, samples, [e], strokes)
            off_edge = max(off_edge, np.abs(alive - (1 - marks)).max())
    return off_die, off_edge


def test_the_stored_chances_are_those_of_the_walk():
    """A short walk made anew, of the first die of a case, comes to the stored curve within its chance error."""
    theta, rest, seed = CASES[0]
    strokes = np.array(SPANNED["strokes"])[::8]
    walk = SpannedWalk(invented(theta, rest, seed)[0], THETAS[theta])
    alive = walk.alive(strokes, walk.draws(steps=600, keep=30))
    assert alive == pytest.approx(SPANNED["cases"][0]["dies"][0]["die"][::8], abs=0.03)


# Chance error of the walks about 0.004. The engine takes ln of what is worn for normal, lots as told by normal curves,
# and one z for all edges of a die.
@pytest.mark.parametrize(
    ("theta", "rest", "seed", "die", "edge"),
    [
        ("usual", 0.4, 1, 0.02, 0.05),
        ("usual", 0.0, 2, 0.012, 0.045),
        ("usual", 1.5, 3, 0.03, 0.065),
        ("edges differ", 0.4, 5, 0.012, 0.02),
        ("steep", 0.4, 4, 0.025, 0.15),
    ],
)
def test_chances_where_cycles_span_lots(theta, rest, seed, die, edge):
    off_die, off_edge = spanned_errors(theta, rest, seed)
    assert off_die < die and off_edge < edge


def test_without_the_lots_in_the_records_the_chances_are_farther_off():
    assert spanned_errors("usual", 0.0, 2, known=False)[0] > 3 * spanned_errors("usual", 0.0, 2)[0]


@pytest.mark.parametrize(("name", "off"), [("plain", 0.003), ("readings", 0.02)])
def test_theta_is_at_the_top_of_its_posterior(name, off):
    # The slope of the plain implementation's ln posterior at the engine's best theta, a standard deviation's worth.
    fleet = fleet_of(name)
    best = fit_fleet(*as_records(fleet), with_lots=False, draws=1).best
    top = np.r_[best.b[COLUMNS], best.ln_k, best.ln_tu, best.ln_tv]
    sd = spread(STORED["fleets"][name]["answer"])[:6]
    for i in range(6):
        step = np.zeros(6)
        step[i] = 0.05 * sd[i]
        up, down = (ln_posterior(fleet, top + s) for s in (step, -step))
        assert abs(up - down) / 0.1 < off


def spread(answer):
    first, second = (np.array(answer[n]).mean(axis=0) for n in ("first", "second"))
    return np.sqrt(np.maximum(second - first**2, 0.0))


def strokes_at(p, alive):
    """Further strokes at which a stored curve comes to 1 - p; not-a-number outside what is stored."""
    y = np.log(-np.log(np.clip(alive, 1e-12, 1 - 1e-9)))
    return np.exp(np.interp(np.log(-np.log1p(-p)), y, np.log(STORED["strokes"]), left=np.nan, right=np.nan))


# For each fleet: how far a die's chance of any number of hits may be from the stored one, how far an edge's; and how
# far the 10, 50 and 90 % hits of a die. The chance error of the stored walk is below 0.003, of 400 draws about 0.01.
# The rest is the normal approximation of what theta may be, at 13 to 21 dull ends in all, and, where lots are in play,
# that their spread is taken at its best value (four edges and five lots a die leave it open by a factor of two).
WHOLE = {
    "plain": (0.025, 0.035, 0.06),
    "readings": (0.010, 0.012, 0.015),
    "lots": (0.095, 0.095, 0.28),
    "lots and readings": (0.035, 0.14, 0.09),
    "more lots": (0.075, 0.075, 0.20),
}


@pytest.mark.parametrize("name", WHOLE)
def test_the_whole_answer_against_long_random_walks(name):
    fleet, answer = fleet_of(name), STORED["fleets"][name]["answer"]
    off_die, off_edge, off_hits = WHOLE[name]
    edges, samples = as_records(fleet)
    fit = fit_fleet(edges, samples, with_lots=fleet.lots, draws=400)
    told = predict_fleet(fit, edges, samples)
    strokes = np.array(STORED["strokes"])
    dies, of_edges = (np.array(answer[n]).mean(axis=0) for n in ("dies", "edges"))
    for d in range(fleet.dies):
        members = list(range(d * EDGES, (d + 1) * EDGES))
        alive = dies[d] * no_chip(fit, edges, samples, members, strokes)
        assert [told[d].chance_beyond(x) for x in strokes] == pytest.approx(alive, abs=off_die)
        for p in (0.1, 0.5, 0.9):
            assert told[d].remaining[p] == pytest.approx(strokes_at(p, alive), rel=off_hits)
        for e in members:
            alive = of_edges[e] * no_chip(fit, edges, samples, [e], strokes)
            assert [told[d].edges[e].chance_beyond(x) for x in strokes] == pytest.approx(alive, abs=off_edge)


@pytest.mark.parametrize("name", ["plain", "readings"])
def test_shape_spreads_and_usual_lives_against_long_random_walks(name):
    fleet, answer = fleet_of(name), STORED["fleets"][name]["answer"]
    edges, samples = as_records(fleet)
    fit = fit_fleet(edges, samples, with_lots=False, draws=400)
    theta = np.concatenate([fit.draws[:, COLUMNS], fit.draws[:, -3:]], axis=1)
    mean, sd = np.array(answer["first"]).mean(axis=0), spread(answer)
    assert np.abs((fit.weights @ theta - mean[:6]) / sd[:6]).max() < 0.25
    ours = np.sqrt(fit.weights @ theta**2 - (fit.weights @ theta) ** 2)
    assert (ours / sd[:6]).min() > 0.65 and (ours / sd[:6]).max() < 1.2  # a spread's tail towards nought is cut
    told = predict_fleet(fit, edges, samples)
    for e in range(len(edges)):
        usual = told[e // EDGES].edges[e]
        assert np.log(usual.usual_hits / UNIT) == pytest.approx(mean[7 + e], abs=0.2 * sd[7 + e])
        low, high = usual.usual_band_hits
        assert np.log(high / low) == pytest.approx(2 * 1.2816 * sd[7 + e], rel=0.12)
