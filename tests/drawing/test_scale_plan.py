"""The plan to scale: each mark in its slot, no leaders that cross, distances true, the size of it bounded."""

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diestore.drawing import letters
from diestore.drawing.scale_plan import EDGE, MARK, WIDTH, cross, lay_out, spread
from diestore.drawing.strip_cuts import Place
from diestore.drawing.strip_cuts import lay_out as strip_of
from diestore.drawing.strip_plan import PlanPosition

pytestmark = pytest.mark.no_database
KINDS = ("pierce_punch", "shape_punch", "trim_punch", "pilot", "forming_punch")


def die(rows, *, limits: str = ""):
    """rows: (code, station, side, kind, x, y). The strip and its places as the drawing takes them."""
    places = [
        Place(code=c, kind=k, side=s, station=n, x_mm=x, y_mm=y, length_mm=20.0 if "punch" in k else None)
        for c, n, s, k, x, y in rows
    ]
    told = [(n, str(n), "pierce") for n in sorted({r[1] for r in rows if r[1] is not None})]
    standing = [
        PlanPosition(
            code=c, kind=k, shape="round" if "pierce" in k else "pin", side=s, station="" if n is None else str(n),
            cuts="punch" in k and "forming" not in k, share_left=0.5 if "punch" in k else None, allowance_left=0.4,
            limits=c == limits,
        )
        for c, n, s, k, _, _ in rows
    ]  # fmt: skip
    return strip_of(places, told, pitch_mm=30.0, width_mm=60.0), standing


@st.composite
def many(draw):
    rows = []
    for n in range(1, draw(st.integers(2, 12)) + 1):
        for side in ("upper", "lower"):
            for i in range(draw(st.integers(0 if n > 1 else 1, 6))):
                x = 30.0 * n + draw(st.sampled_from([-8, 0, 0, 8]))
                rows.append(
                    (
                        f"{n}-{side[0]}{i}",
                        n,
                        side,
                        draw(st.sampled_from(KINDS)),
                        x,
                        draw(st.sampled_from(range(-28, 29, 4))),
                    )
                )
    return rows, draw(st.sampled_from([r[0] for r in rows]))


@given(many())
def test_no_two_leaders_of_a_side_cross_and_no_mark_covers_another(made):
    rows, limits = made
    plan = lay_out(*die(rows, limits=limits), leader_words=("it limits the die", "half of such edges last 1,000 more"))
    for up in (True, False):
        marks = [m for m in plan.marks if m.up is up]
        for a, b in itertools.combinations(marks, 2):
            assert not cross((a.x, a.turn), a.spot, (b.x, b.turn), b.spot), (a.place.code, b.place.code)
            apart = abs(a.x - b.x) >= MARK or abs(a.y - b.y) >= MARK
            assert apart, (a.place.code, b.place.code)
            for outer, inner in ((a, b), (b, a)):
                if abs(outer.y - outer.turn) > abs(inner.y - inner.turn) + 1:
                    assert abs(outer.x - inner.x) > MARK / 2, "the leader of an outer mark passes beside an inner one"
        for m in marks:
            assert m.x - MARK / 2 >= EDGE and m.x + MARK / 2 <= plan.width - EDGE and 0 <= m.y <= plan.height


@given(many())
def test_a_finger_finds_every_mark_and_words_stay_in_their_slots(made):
    plan = lay_out(*die(made[0]))
    for m in plan.marks:
        assert m.target.width >= 44 and m.target.height >= 44
        assert letters.width(m.code) <= m.room + 1
    for a, b in itertools.combinations(plan.marks, 2):
        if a.up is b.up and a.y == b.y:
            assert abs(a.x - b.x) >= min(a.room, b.room), "neighbours of a row leave room for their words"
    assert all(m.place.station for m in plan.marks)


@given(many())
def test_the_drawing_is_true_to_scale(made):
    strip, places = die(made[0])
    plan = lay_out(strip, places)
    for a, b in itertools.combinations(plan.marks, 2):
        (xa, ya), (xb, yb) = strip.places[a.place.code], strip.places[b.place.code]
        assert b.spot[0] - a.spot[0] == pytest.approx(plan.scale * (xb - xa), abs=1e-6)
        assert a.spot[1] - b.spot[1] == pytest.approx(plan.scale * (yb - ya), abs=1e-6), "y runs up on the die"


@given(st.lists(st.floats(0, 700), min_size=1, max_size=14), st.floats(20, 48))
def test_slots_keep_their_order_their_distance_and_the_paper(wanted, apart):
    xs = spread(sorted(wanted), apart, 40, 740)
    assert all(b - a >= apart - 1e-6 for a, b in itertools.pairwise(xs))
    assert xs[0] >= 40 - 1e-6 and xs[-1] <= 740 + 1e-6
    if all(b - a >= apart for a, b in itertools.pairwise(sorted(wanted))) and min(wanted) >= 40:
        assert xs == pytest.approx(sorted(wanted)) or max(wanted) > 740, "nobody moves without need"


def test_a_die_of_a_hundred_edges_keeps_of_each_station_the_worst_and_says_how_many_more():
    rows = [(f"{n}-{i}", n, "upper", "pierce_punch", 30.0 * n, 5.0 * i - 20) for n in range(1, 21) for i in range(6)]
    strip, places = die(rows)
    worst = [PlanPosition(**(vars(p) | {"share_left": 0.1, "css": "short"})) if p.code == "7-3" else p for p in places]
    plan = lay_out(strip, worst)
    assert len(plan.marks) == 20 and plan.left_out == 100
    assert next(m for m in plan.marks if m.place.station == "7").place.code == "7-3"
    assert "+5" in plan.marks[0].code
    assert sum(len(d.path) for d in (*plan.cuts, *plan.made, *plan.part_cuts)) < 90_000
    opened = lay_out(strip, worst, station=7)
    assert len(opened.marks) == 6 and opened.scale > 2 * plan.scale, "the station shows them all, and large"


def test_posts_and_bushings_in_one_place_are_one_and_a_small_plan_marks_one_place():
    rows = [("1-A", 1, "upper", "pierce_punch", 30, 0), ("2-A", 2, "upper", "pierce_punch", 60, 10)]
    frame = [("GP-1", None, "lower", "guide_post", 0, 50), ("GB-1", None, "upper", "bushing", 0, 50)]
    strip, places = die(rows + frame)
    plan = lay_out(strip, places)
    assert [f.codes for f in plan.frame] == [("GP-1", "GB-1")] and len(plan.marks) == 2
    small = lay_out(strip, places, only="2-A", width=WIDTH / 2, tallest=120)
    assert [m.place.code for m in small.marks] == ["2-A"] and "here" in " ".join(d.css for d in small.made)
