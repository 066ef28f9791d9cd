"""A die from above: what is cut where it stands, what the strip carries on, and that none of it is lost on the way."""

import csv
import itertools
import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diestore.drawing.strip_cuts import BEND, END, NOTCH, OUTLINES, NoPlan, Place, contour_of, lay_out, pitch_of
from diestore.handbook.kinds import KINDS

pytestmark = pytest.mark.no_database
SHOP = Path(__file__).parents[2] / "fixtures" / "demo-shop"
CUTTING = ("pierce_punch", "pilot_pierce_punch", "semi_pierce_punch", "shape_punch", "notch_punch", "trim_punch")


def place(code: str, station: int | None, x: float | None, y: float | None, **more) -> Place:
    told = {"kind": "pierce_punch", "side": "upper", "length_mm": 18.85} | more
    return Place(code=code, station=station, x_mm=x, y_mm=y, **told)


def stations(n: int) -> list[tuple[int, str, str]]:
    return [(i, str(i), "pierce") for i in range(1, n + 1)]


@st.composite
def dies(draw):
    """Stations one pitch apart, with punches that stand up to half a pitch off their middles."""
    n, pitch = draw(st.integers(2, 20)), draw(st.floats(5, 120))
    start, forward = draw(st.floats(-500, 500)), draw(st.booleans())
    made = []
    for s in range(1, n + 1):
        for i in range(draw(st.integers(1, 3))):
            x = start + pitch * (s + draw(st.floats(-0.1, 0.1)) * (i > 0))
            made.append(
                place(f"{s}-{i}", s, x if forward else -x, draw(st.floats(-40, 40)),
                      kind=draw(st.sampled_from(CUTTING)), length_mm=draw(st.floats(3, 90)))
            )  # fmt: skip
    if draw(st.booleans()):
        made.append(place(f"{n}-E", n, start + pitch * n if forward else -start - pitch * n, 0, kind="cut_off_punch"))
    return made, n, pitch


@given(dies())
def test_the_strip_moves_on_one_pitch_a_hit_and_no_cut_is_lost_downstream(die):
    places, n, pitch = die
    strip = lay_out(places, stations(n), pitch_mm=pitch, width_mm=100)
    for p in places:
        if p.kind == "cut_off_punch":
            continue
        mine = sorted((c for c in strip.contours if c.code == p.code), key=lambda c: c.hits_ago)
        assert [c.hits_ago for c in mine] == list(range(len(mine))), "each hit since has left it somewhere"
        for c in mine:
            assert c.x == pytest.approx(mine[0].x + c.hits_ago * strip.pitch, abs=1e-6)
            assert (c.y, c.w, c.h, c.outline) == (mine[0].y, mine[0].w, mine[0].h, mine[0].outline)
        # Told naively: of every station further on there is one, and one on the part.
        down = [s for s in strip.stations if s.sequence > p.station and mine[0].x < strip.end]
        for s in down:
            shift = (s.sequence - p.station) * pitch
            if mine[0].x + shift - mine[0].w / 2 < strip.part.right - 1e-6:
                assert any(abs(c.x - mine[0].x - shift) < 1e-6 for c in mine), (p.code, s.code)
        before_part = mine[-1].box.left + strip.pitch
        assert before_part >= strip.part.right - 1e-6, "the next would lie behind the part"


@given(dies())
def test_what_lies_on_the_part_is_all_that_the_stations_before_it_cut(die):
    places, n, pitch = die
    strip = lay_out(places, stations(n), pitch_mm=pitch, width_mm=100)
    whole = [c for c in strip.contours if strip.part.left <= c.box.left and c.box.right <= strip.part.right]
    assert len({c.code for c in whole}) == len(whole), "of each cut at most one is whole on a part of one pitch"
    assert strip.part.width == pytest.approx(strip.pitch) and strip.part.left == strip.end


@given(dies())
def test_the_shoe_holds_every_place_and_stations_stand_a_pitch_apart(die):
    places, n, pitch = die
    strip = lay_out(places, stations(n), pitch_mm=pitch, width_mm=60)
    assert set(strip.places) == {p.code for p in places}
    for x, y in strip.places.values():
        assert strip.shoe.left < x < strip.shoe.right and strip.shoe.low < y < strip.shoe.high
    xs = [s.x for s in strip.stations]
    assert all(b - a == pytest.approx(pitch) for a, b in itertools.pairwise(xs))
    assert all(abs(strip.offset(p.code, p.station)) <= pitch for p in places)


@given(dies())
def test_the_pitch_is_found_from_the_places_where_it_is_not_entered(die):
    places, _, pitch = die
    assert abs(pitch_of(places)) == pytest.approx(pitch, rel=0.11)  # half of three punches stands a tenth off at most


@given(st.sampled_from([*CUTTING, "die_section", "cut_off_punch"]), st.floats(2, 300), st.floats(-45, 45))
def test_every_outline_has_the_length_of_edge_that_the_register_says(kind, length, y):
    made = contour_of(place("1-A", 1, 0, y, kind=kind, length_mm=length), 40.0, -50.0, 50.0)
    assert made.edge_mm == pytest.approx(length)
    assert made.w > 0 and made.h > 0
    if made.outline == NOTCH:
        assert max(abs(made.box.high), abs(made.box.low)) == pytest.approx(50.0), "it opens to the side of the strip"


def test_every_kind_that_cuts_has_an_outline():
    assert {key for key, kind in KINDS.items() if kind.cuts} <= set(OUTLINES) <= set(KINDS)


def test_a_round_hole_has_the_diameter_of_its_punch():
    """The demo's pilot pierce punch of 6 mm cuts 18.8 mm of edge: circumference = pi times diameter."""
    made = contour_of(place("1-A", 1, 0, 0, length_mm=18.8), 64.0, -46.0, 46.0)
    assert made.w == made.h == pytest.approx(6.0, abs=0.02)
    assert contour_of(place("1-A", 1, 0, 0, length_mm=math.pi * 10), 64.0, -46.0, 46.0).w == pytest.approx(10.0)


def test_inserts_that_are_not_in_the_die_cut_nothing_into_its_strip():
    strip = lay_out([place("1-A", 1, 0, 0, idle=True), place("2-A", 2, 30, 0), place("3-A", 3, 60, 5)], stations(3))
    assert [c.hits_ago for c in strip.contours if c.code == "1-A"] == [0]
    assert len([c for c in strip.contours if c.code == "2-A"]) > 1


def test_a_die_side_is_drawn_where_no_punch_stands_over_it():
    punch = place("1-A", 1, 0, 0)
    under, alone = (place(f"1-{n}D", 1, 0, y, kind="die_button", side="lower") for n, y in (("A", 0), ("B", 12)))
    strip = lay_out([punch, under, alone, place("2-A", 2, 30, 0)], stations(2))
    assert {c.code for c in strip.cut_here} == {"1-A", "1-BD", "2-A"}


def test_a_strip_that_runs_to_smaller_x_is_drawn_to_the_right_all_the_same():
    there = [place(f"{n}-A", n, 30.0 * n, 5) for n in (1, 2, 3)]
    back = [place(f"{n}-A", n, -30.0 * n, -5) for n in (1, 2, 3)]
    one, other = lay_out(there, stations(3), pitch_mm=30), lay_out(back, stations(3), pitch_mm=30)
    assert one.contours == other.contours and one.places == other.places


@pytest.mark.parametrize(
    ("places", "why"),
    [
        ([], "No place of a station"),
        ([place("1-A", 1, None, 3)], "x and y of 1-A"),
        ([place("1-A", 1, 5, 3)], "pitch is not entered"),
        ([place("1-A", 1, 0, 0), place("2-A", 2, 40, 0), place("2-B", 2, 400, 0), place("2-C", 2, 40, 1)], "2-B stand"),
    ],
)
def test_what_cannot_be_drawn_to_scale_says_why(places, why):
    with pytest.raises(NoPlan, match=why):
        lay_out(places, stations(2))


def test_every_die_of_the_demo_shop_is_drawn_from_its_register():
    """x, y of all its places, as the history folder says them; the figures of K-104 are worked out by hand from it."""

    def rows(name: str):
        return list(csv.DictReader((SHOP / f"{name}.csv").open(encoding="utf-8")))

    number = lambda text: float(text) if text else None  # noqa: E731
    sequence = {(r["die"], r["station"]): int(r["sequence"]) for r in rows("stations")}
    drawn = {}
    for die in rows("dies"):
        code = die["die"]
        places = [
            place(r["position"], sequence.get((code, r["station"])), number(r["x_mm"]), number(r["y_mm"]),
                  kind=r["kind"].replace(" ", "_").replace("-", "_"), side=r["side"],
                  length_mm=number(r["cut_length_mm"]))
            for r in rows("components") if r["die"] == code
        ]  # fmt: skip
        told = [(n, s, "") for (of, s), n in sequence.items() if of == code]
        drawn[code] = lay_out(
            places, told, pitch_mm=number(die["feed_pitch_mm"]), width_mm=number(die["strip_width_mm"])
        )
        assert len(drawn[code].places) == len(places)
    strip = drawn["K-104"]
    assert strip.pitch == 64 and strip.box.height == 92 and strip.end == 352
    assert [c.x for c in strip.contours if c.code == "3-A"] == [160, 224, 288, 352, 416], "a slot, a pitch further each"
    assert {c.code for c in strip.contours if c.outline == BEND} == {"5-A", "5-B"}
    assert [c.code for c in strip.contours if c.outline == END] == ["6-A"]
    assert drawn["K-163"].pitch == pytest.approx(abs(pitch_of([p for p in _of("K-163", rows, sequence)])))


def _of(code: str, rows, sequence):
    return [
        place(r["position"], sequence[(code, r["station"])], float(r["x_mm"]), float(r["y_mm"]))
        for r in rows("components") if r["die"] == code and r["station"]
    ]  # fmt: skip
