"""The plan of a die: everything in its place, nothing over something else."""

import itertools
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diestore.drawing.strip_plan import DENSE, WHOLE_WIDTH, PlanPosition, lay_out

pytestmark = pytest.mark.no_database
WORDS = ("1-A limits the die", "half last another 184,000 hits; 9 in 10 another 91,000")


def place(code: str, station: str, side: str = "upper", *, cuts: bool = True, **more) -> PlanPosition:
    shape = more.pop("shape", "round" if cuts else "pin")
    return PlanPosition(
        code=code, kind="pierce_punch", shape=shape, side=side, station=station, cuts=cuts,
        share_left=0.5 if cuts else None, allowance_left=0.5 if cuts else None, **more,
    )  # fmt: skip


def stations(n: int) -> list[tuple[int, str, str]]:
    return [(i, str(i), "pierce") for i in range(1, n + 1)]


@st.composite
def dies(draw):
    n = draw(st.integers(0, 24))
    made = []
    for s in range(1, n + 1):
        for side in ("upper", "lower"):
            for i in range(draw(st.integers(0, 6))):
                shape = draw(st.sampled_from(["round", "section"]))
                made.append(place(f"{s}-{side[0]}{i}", str(s), side, cuts=draw(st.booleans()), shape=shape))
    for side in ("upper", "lower"):
        for i in range(draw(st.integers(0, 9))):
            made.append(place(f"GP-{side[0]}{i}", "", side, cuts=False, shape="guide"))
    cutting = [p.code for p in made if p.cuts]
    limits = draw(st.sampled_from(cutting)) if cutting else None
    return [place_with(p, limits) for p in made], stations(n)


def place_with(p: PlanPosition, limits: str | None) -> PlanPosition:
    return PlanPosition(**{**p.__dict__, "limits": p.code == limits})


@given(dies())
def test_every_position_has_its_place_and_none_covers_another(die):
    places, at = die
    plan = lay_out(places, at, leader_words=WORDS)
    assert sorted(m.place.code for m in plan.marks) == sorted(p.code for p in places)
    for m in plan.marks:
        assert m.left >= 0 and m.bar_x + 5 <= plan.width and m.top >= 0 and m.bottom <= plan.rows_end
        if m.place.side == "upper":
            assert m.bottom < plan.strip_top
        else:
            assert m.top > plan.strip_bottom
    marks = sorted(plan.marks, key=lambda m: m.left)
    for i, one in enumerate(marks):
        for other in marks[i + 1 :]:
            if other.left >= one.bar_x:
                break
            assert other.bottom <= one.top or other.top >= one.bottom, (one.place.code, other.place.code)


@given(dies())
def test_figures_and_codes_stand_clear_of_every_mark(die):
    plan = lay_out(*die, leader_words=WORDS)
    for m in plan.marks:
        length = 6.4 * len(m.code)
        left, right = (
            (m.label_x - length / 2, m.label_x + length / 2) if m.label_below else (m.label_x - length, m.label_x)
        )
        for other in plan.marks:
            if other is m:
                continue
            over = (
                left < other.right and right > other.left and other.top < m.code_y - 1 and other.bottom > m.code_y - 8
            )
            assert not over, (m.place.code, other.place.code)


@given(dies())
def test_the_line_to_the_limiting_edge_crosses_no_other_mark(die):
    plan = lay_out(*die, leader_words=WORDS)
    if plan.limiting is None:
        assert plan.leader is None
        return
    points = points_of(plan.leader.path)
    length = 6.7 * max(len(w) for w in WORDS)
    end = plan.leader.x + (length if plan.leader.anchor == "start" else -length)
    assert min(end, plan.leader.x) >= 0 and max(end, plan.leader.x) <= plan.width + 1, "its words stay on the drawing"
    for (x1, y1), (x2, y2) in itertools.pairwise(points):
        for m in plan.marks:
            if m is plan.limiting:
                continue
            misses = max(x1, x2) <= m.left or min(x1, x2) >= m.right or max(y1, y2) <= m.top or min(y1, y2) >= m.bottom
            assert misses, (plan.leader.path, m.place.code)


def points_of(path: str) -> list[tuple[float, float]]:
    points, x, y = [], 0.0, 0.0
    for letter, numbers in re.findall(r"([MHV])([-\d. ]+)", path):
        values = [float(v) for v in numbers.split()]
        x, y = values if letter == "M" else (values[0], y) if letter == "H" else (x, values[0])
        points.append((x, y))
    return points


def test_the_limiting_edge_below_the_strip_leads_down():
    plan = lay_out([place("1-AD", "1", "lower", limits=True), place("1-A", "1")], stations(1), leader_words=WORDS)
    assert plan.leader.y > plan.rows_end and plan.height > plan.leader.y + 16 * (len(WORDS) - 1)


@pytest.mark.parametrize(
    ("n", "each", "dense", "wide"),
    [(1, 2, False, False), (7, 3, False, False), (10, 3, False, True), (20, 3, True, True)],
)
def test_many_stations_take_the_whole_width_and_very_many_get_small_marks(n, each, dense, wide):
    places = [place(f"{s}-{i}", str(s), "upper" if i else "lower") for s in range(1, n + 1) for i in range(each)]
    plan = lay_out(places, stations(n))
    assert (plan.dense, plan.wide) == (dense, wide)
    assert plan.width <= WHOLE_WIDTH + 1
    assert (plan.marks[0].h <= DENSE.mark) == dense


def test_the_strip_shows_what_was_cut_before():
    kinds = {"1": "pierce_punch", "2": "notch_punch", "3": "forming_punch"}
    places = [
        PlanPosition(code=f"{s}-A", kind=k, shape="round", side="upper", station=s, cuts=True) for s, k in kinds.items()
    ]
    columns = lay_out(places, stations(3)).columns
    assert [(c.holes, c.slots, c.bends) for c in columns] == [
        (True, False, False),
        (True, True, False),
        (True, True, True),
    ]
