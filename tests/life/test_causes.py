"""Presses, lots and people told apart on simulated shops whose truth is known."""

from dataclasses import fields, replace
from functools import cache

import numpy as np
import pytest

from maintenance.life.causes import SLOPING, CauseRows, told_apart

K = 2.5
SPREADS = {"k": K, "between_dies": 0.3, "between_places": 0.2, "between_lots": 0.1}


@cache
def shop(seed, *, tilt=(0.0, 0.0), dies=12, presses=4, bad_person=None, bad_lot=None, places=10, cycles=8):
    """Sets ground when the third of their edges is dull. tilt: ln life by 100 mm in press 0. Each die has a bad side of
    its own, each place its life. bad_...: its edges last 0.6 times as long."""
    r = np.random.default_rng(seed)
    die = np.repeat(np.arange(dies), places)
    x, y = r.uniform(-200, 200, len(die)), r.uniform(-100, 100, len(die))
    usual = r.normal(0, 0.3, dies)[die] + r.normal(0, 0.2, len(die))
    own = r.normal(0, 0.03, (dies, 2))
    made = []
    for d in range(dies):
        at = np.flatnonzero(die == d)
        for c in range(cycles):
            press = d % presses if r.random() < 0.8 else int(r.integers(presses))
            person, lot = int(r.integers(4)), d * cycles + c
            slope = own[d] + (np.array(tilt) if press == 0 else 0)
            ln = usual[at] + r.normal(0, 0.1) + (x[at] * slope[0] + y[at] * slope[1]) / 100
            ln = ln + (np.log(0.6) if bad_person == person or bad_lot == lot else 0)
            life = np.exp(ln) * r.weibull(K, len(at))
            until = np.quantile(life, 0.3)
            for j, place in enumerate(at):
                h = min(life[j], until)
                made.append(
                    (place, d, x[place], y[place], press, lot, person, False, False, 1.0, h**K, life[j] <= until)
                )
    columns = zip(*made, strict=True)
    kinds = (int, int, float, float, int, int, int, bool, bool, float, float, float)
    return CauseRows(**{f.name: np.array(c, t) for f, c, t in zip(fields(CauseRows), columns, kinds, strict=True)})


def slope(seed, **how):
    return told_apart(shop(seed, **how), **SPREADS).slopes[0]


def test_a_tilted_press_is_told_by_many_dies_and_a_straight_one_left_alone():
    tilted = [slope(s, tilt=(-0.2, 0.0), dies=24) for s in range(6)]
    assert np.mean([p.chance > 0.9 for p in tilted]) >= 0.8
    assert np.mean([p.towards[0] for p in tilted]) > 0.9  # the side where edges go dull first
    assert np.mean([p.steepest for p in tilted]) == pytest.approx(1 - np.exp(-0.2), abs=0.05)
    straight = [p.chance for s in range(6) for p in told_apart(shop(s, dies=24), **SPREADS).slopes]
    assert len(straight) == 24 and np.mean(np.array(straight) > 0.9) == 0
    assert np.median(straight) < SLOPING  # nothing to see is something seen


def test_the_spread_of_a_slope_holds_the_truth():
    inside = []
    for s in range(12):
        p = slope(s, tilt=(-0.1, 0.05), dies=16)
        off = np.array(p.along) - (-0.1, 0.05)
        inside.append(off @ np.linalg.solve(np.array(p.covariance), off) < 3.2189)  # 8 in 10 of two normal figures
    assert 0.5 <= np.mean(inside) <= 1.0


def test_one_die_alone_is_never_taken_for_its_press():
    p = slope(1, tilt=(-0.3, 0.0), dies=4)  # a die to each press, or nearly
    rows = shop(1, tilt=(-0.3, 0.0), dies=4)
    alone = rows_where(rows, (rows.press != 0) | (rows.die == 0))
    told = told_apart(alone, **SPREADS).slopes[0]
    assert told.refusal.startswith("only one die") and told.dies == 1
    assert p.dies >= 2


def rows_where(rows, keep):
    return CauseRows(**{f.name: getattr(rows, f.name)[keep] for f in fields(CauseRows)})


def test_thin_data_is_refused_and_says_why():
    rows = shop(2)
    few = rows_where(rows, np.arange(len(rows)) % 12 == 0)
    assert {p.refusal for p in told_apart(few, **SPREADS).slopes} != {""}
    assert all("needed" in p.refusal for p in told_apart(few, **SPREADS).slopes if p.dull < 20 and p.dies > 1)
    nowhere = replace(rows, x_mm=np.full(len(rows), np.nan))
    assert {p.refusal for p in told_apart(nowhere, **SPREADS).slopes} == {
        "no place of the dies that ran in it has its x and y"
    }
    narrow = replace(rows, x_mm=rows.x_mm / 100, y_mm=rows.y_mm / 100)
    assert all("within" in p.refusal for p in told_apart(narrow, **SPREADS).slopes)
    assert told_apart(rows_where(rows, np.zeros(len(rows), bool)), **SPREADS).all == ()


def test_who_grinds_badly_is_told_and_the_others_are_not_blamed():
    told = told_apart(shop(3, bad_person=1), **SPREADS).of("person")
    assert told[1].chance > 0.99 and told[1].low < 0.75 and told[1].odds > 99
    assert all(told[n].chance < 0.2 for n in (0, 2, 3))
    quiet = [c.chance for s in range(8) for c in told_apart(shop(s), **SPREADS).of("person").values()]
    assert np.mean(np.array(quiet) > 0.9) <= 0.03


def test_a_hard_coil_stands_out_among_its_like():
    places = []
    for s in range(6):
        lots = told_apart(shop(s, bad_lot=20), **SPREADS).of("lot")
        places.append(sorted(lots, key=lambda n: -lots[n].chance).index(20) / len(lots))
    assert np.median(places) < 0.1  # of 96


def test_dull_ends_fit_what_is_expected_of_them():
    """Given all that was told, as many dull ends are expected as there were, but for what the priors hold back."""
    rows = shop(4)
    told = told_apart(rows, **SPREADS)
    for sort in ("press", "person"):
        causes = told.of(sort).values()
        assert sum(c.dull for c in causes) == pytest.approx(rows.dull.sum())
        assert sum(c.expected / c.times**K for c in causes) == pytest.approx(rows.dull.sum(), rel=0.1)
        assert sum(c.cycles for c in causes) == pytest.approx(len(rows))


def test_turning_the_die_turns_the_slope():
    rows = shop(5, tilt=(-0.2, 0.0), dies=24)
    turned = replace(rows, x_mm=-rows.y_mm, y_mm=rows.x_mm)
    a, b = (told_apart(r, **SPREADS).slopes[0] for r in (rows, turned))
    assert b.along == pytest.approx((-a.along[1], a.along[0]), abs=1e-6) and b.chance == pytest.approx(a.chance)


def test_parts_of_a_cycle_say_what_the_whole_says():
    """A cycle cut into two parts by hits, alike in all their causes, tells the same."""
    rows = shop(6)
    halves = CauseRows(
        **{
            f.name: np.concatenate([getattr(rows, f.name) * (w if f.name in ("share", "exposure", "dull") else 1)
                                    for w in (0.3, 0.7)]).astype(getattr(rows, f.name).dtype)
            for f in fields(CauseRows)
        }
    )  # fmt: skip
    a, b = (told_apart(r, **SPREADS) for r in (rows, halves))
    assert [c.times for c in b.all] == pytest.approx([c.times for c in a.all])
    assert [p.chance for p in b.slopes] == pytest.approx([p.chance for p in a.slopes])
