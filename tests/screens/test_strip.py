"""The strip on which a die is typed: everything in its place, nothing over something else, to scale where known."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from maintenance.screens.die_card.strip import SPOT, WHOLE, StripPlace, lay_out

pytestmark = pytest.mark.no_database


def place(key, station, side="upper", **more):
    return StripPlace(key=key, code=f"{station}-{key}", shape=more.pop("shape", "round"), side=side, station=station,
                      cuts=more.pop("cuts", True), **more)  # fmt: skip


def stations(n):
    return [(i, str(i), "pierce") for i in range(1, n + 1)]


def boxes_meet(a, b) -> bool:
    return abs(a.x - b.x) < (a.size + b.size) / 2 - 0.01 and abs(a.y - b.y) < (a.size + b.size) / 2 - 0.01


@st.composite
def dies(draw, some_known: bool):
    n = draw(st.integers(0, 20))
    made, key = [], itertools.count(1)
    for s in [*range(1, n + 1), None]:
        for side in ("upper", "lower"):
            for _ in range(draw(st.integers(0, 6))):
                at = {}
                if s is not None and some_known and draw(st.booleans()):
                    at = {"x_mm": 60.0 * s + draw(st.integers(-20, 20)), "y_mm": float(draw(st.integers(-40, 40)))}
                made.append(place(next(key), s, side, cuts=draw(st.booleans()), **at))
    return made, stations(n)


@given(dies(False))
def test_without_coordinates_nothing_stands_over_something_else(die):
    places, along = die
    d = lay_out(places, along)
    assert len(d.marks) == len(places) and len(d.spots) == 2 * (len(along) + 1)
    for a, b in itertools.combinations(d.marks, 2):
        assert not boxes_meet(a, b), (a.place, b.place)


@given(dies(True))
@settings(max_examples=60)
def test_every_mark_stands_on_its_side_of_its_station_and_on_the_paper(die):
    places, along = die
    d = lay_out(places, along)
    columns = {column.key: column for column in [*d.columns, d.die_set]}
    assert d.width <= max(WHOLE, 26 + 8 + 64 * len(along) + 400)
    for mark in d.marks:
        column = columns[mark.place.station]
        assert column.left - 1 <= mark.left and mark.right <= column.left + column.width + 1
        if mark.place.side == "upper":
            assert mark.top >= 0 and mark.bottom <= d.strip_top
        else:
            assert d.strip_bottom <= mark.top and mark.bottom <= d.height
    for spot in d.spots:
        assert spot.width >= SPOT and spot.height >= SPOT, "what a finger needs"


def test_known_places_stand_to_scale_along_and_across():
    known = [
        place(1, 1, x_mm=20.0, y_mm=16.0), place(2, 1, x_mm=32.0, y_mm=38.0), place(3, 3, x_mm=160.0, y_mm=0.0),
        place(4, 4, x_mm=224.0, y_mm=-40.0), place(5, 2),
    ]  # fmt: skip
    d = lay_out(known, stations(5))
    at = {mark.place.key: mark for mark in d.marks}
    unit = d.mm_to_scale
    assert unit is not None
    assert at[2].x - at[1].x == pytest.approx(12 * unit) and at[1].y - at[2].y == pytest.approx(22 * unit)
    assert at[3].y - at[2].y == pytest.approx(38 * unit) and at[4].y - at[3].y == pytest.approx(40 * unit)
    assert lay_out([known[4]], stations(5)).mm_to_scale is None


def test_two_at_one_point_stand_beside_one_another():
    d = lay_out([place(1, 1, x_mm=30.0, y_mm=0.0), place(2, 1, x_mm=30.0, y_mm=0.0)], stations(2))
    assert not boxes_meet(*d.marks)
