"""Changes found in a die's log, and what ran before and after, by hand."""

import numpy as np
import pytest

from maintenance.clockwork.rows import CutRow, PieceRow, PositionRow, ReplacementRow, StockRow
from maintenance.forecasts import made_changes
from maintenance.life.cycles import DULL, SHARP
from tests.clockwork.test_cycles import DAY, first, log, run, work

NO_SHARES = np.zeros(2)
TO = ReplacementRow(at=8.5 * DAY, sequence=0, key="r", position=1, piece=2, why="ground out")
STEELS = {1: PieceRow(id=1, tool_steel="D2", hardness_hrc=60), 2: PieceRow(id=2, tool_steel="PM-M4", hardness_hrc=63)}
PLACES = {
    1: PositionRow(id=1, code="1-A", kind="pierce_punch", side="upper"),
    2: PositionRow(id=2, code="1-AD", kind="die_button", side="lower"),
    3: PositionRow(id=3, code="2-A", kind="pierce_punch", side="upper"),
}
WITH_OTHERS = {
    "positions": PLACES,
    "cuts": (
        CutRow(upper=1, lower=2, length_mm=20, gap_mm=0.08),
        CutRow(upper=3, lower=None, length_mm=20, gap_mm=0.08),
    ),
    "replacements": (first(), first(2, 11), first(3, 12), TO),
    "pieces": STEELS | {11: PieceRow(id=11, tool_steel="D2"), 12: PieceRow(id=12, tool_steel="D2")},
}


def changes(**more):
    return made_changes.of_die(log(**more), 20 * DAY, NO_SHARES)


def told(lives):
    return [(float(h), int(e)) for h, e in zip(lives.hits, lives.ended, strict=True)]


def test_a_piece_of_another_steel_is_a_change_with_its_intervals_on_either_side():
    works = (work(3.5, "dull"), work(6.5, "dull"), work(9.5, "dull"))
    (made,) = changes(replacements=(first(), TO), pieces=STEELS, works=works)
    assert made.words == "D2 of 60 HRC to PM-M4 of 63 HRC"
    assert made.at == 8.5 * DAY
    (place,) = made.places
    assert told(place.lives_before) == [(3000, DULL), (3000, DULL), (2000, SHARP)]
    assert told(place.lives_after) == [(1000, DULL), (1000, SHARP)]
    assert (place.before.steel, place.after.steel) == ("D2", "PM")
    assert made.hits_since == 2000
    assert made.hits_a_year_before == pytest.approx(8000 / (7.5 * DAY) * 365 * DAY)  # since its first run


@pytest.mark.parametrize(
    "another",
    [
        PieceRow(id=2, tool_steel="D2", hardness_hrc=60),
        PieceRow(
            id=2, tool_steel="1.2379", hardness_hrc=60.5
        ),  # the same steel by its number, as hard as a tester tells
        PieceRow(id=2, tool_steel="", hardness_hrc=None),  # not known: the record cannot say
        PieceRow(id=2, tool_steel="D2", coating="uncoated", hardness_hrc=60),
    ],
)
def test_a_piece_like_the_one_before_is_no_change(another):
    assert changes(replacements=(first(), TO), pieces={**STEELS, 2: another}, works=(work(3.5, "dull"),)) == []


def test_hardness_at_a_replacement_and_a_coat_put_on_later():
    harder = {**STEELS, 2: PieceRow(id=2, tool_steel="D2", hardness_hrc=62)}
    (made,) = changes(replacements=(first(), TO), pieces=harder)
    assert made.words == "60 HRC to 62 HRC"
    coated = work(5.5, "other", operation="recoated", coating_after="TiN")
    (made,) = changes(works=(coated, work(7.5, "dull")))
    assert made.words == "bare to TiN"
    (place,) = made.places
    assert told(place.lives_before) == [(5000, SHARP)]
    assert place.lives_after.from_hits.tolist() == [5000, 0]  # a coat renews nothing: its hits run on


def test_a_gap_holds_from_the_day_that_the_register_names_and_for_the_pair():
    cuts = (
        CutRow(upper=1, lower=2, length_mm=20, gap_mm=0.05, valid_to=5.5 * DAY),
        CutRow(upper=1, lower=2, length_mm=20, gap_mm=0.09, valid_from=5.5 * DAY),
    )
    works = [work(day, "dull", position=place) for day in (2.5, 5.5, 8.5) for place in (1, 2)]
    more = {**WITH_OTHERS, "cuts": cuts, "replacements": (first(), first(2, 11)), "works": tuple(works)}
    (made,) = changes(**more)
    assert made.words == "gap 5 % to 9 % a side" and made.at == 5.5 * DAY
    assert [place.code for place in made.places] == ["1-A", "1-AD"]
    assert [place.after.gap_pct for place in made.places] == pytest.approx([9.0, 9.0])
    assert made.doubts == ()


def test_a_gap_entered_at_one_edge_of_a_pair_only_is_said():
    cuts = (
        CutRow(upper=1, lower=None, length_mm=20, gap_mm=0.05, valid_to=5.5 * DAY),
        CutRow(upper=1, lower=None, length_mm=20, gap_mm=0.09, valid_from=5.5 * DAY),
        CutRow(upper=None, lower=2, length_mm=20, gap_mm=0.05),
    )
    works = [work(day, "dull", position=place) for day in (2.5, 5.5, 8.5) for place in (1, 2)]
    more = {**WITH_OTHERS, "cuts": cuts, "replacements": (first(), first(2, 11)), "works": tuple(works)}
    (made,) = changes(**more)
    assert [place.code for place in made.places] == ["1-A"]
    assert made.doubts == (
        "The gap was changed at 1-A alone; 1-AD, which cuts against it, still has the old one. "
        "A gap belongs to the pair: correct one of them.",
    )


def test_other_places_stand_beside_it_and_the_partner_does_not():
    works = tuple(work(day, "dull", position=place) for day in (3.5, 6.5) for place in (1, 3))
    (made,) = changes(**WITH_OTHERS, works=works)
    ((before, after),) = made.others  # 2-A; 1-AD cuts against the changed punch
    # under way when it was changed, at day 8.5: two thousand hits before, from two to four thousand after
    assert told(before) == [(3000, DULL), (3000, DULL), (2000, SHARP)]
    assert told(after) == [(4000, SHARP)] and after.from_hits.tolist() == [2000]


def test_the_same_at_several_places_on_one_day_is_one_change_and_two_sorts_are_two():
    second = ReplacementRow(at=8.6 * DAY, sequence=0, key="s", position=3, piece=3, why="ground out")
    alike = {**WITH_OTHERS, "replacements": (*WITH_OTHERS["replacements"], second)}
    pieces = WITH_OTHERS["pieces"] | {12: PieceRow(id=12, tool_steel="D2", hardness_hrc=60)}
    pm = PieceRow(id=3, tool_steel="PM-M4", hardness_hrc=63)
    (made,) = changes(**alike | {"pieces": pieces | {3: pm}})
    assert [place.code for place in made.places] == ["1-A", "2-A"]
    both = changes(**alike | {"pieces": pieces | {3: PieceRow(id=3, tool_steel="D2", coating="TiN", hardness_hrc=60)}})
    assert [made.words for made in both] == ["D2 of 60 HRC to PM-M4 of 63 HRC", "bare to TiN"]
    assert all("Something else was changed on this die on the same day" in made.doubts[0] for made in both)


def test_two_sorts_at_one_place_cannot_be_told_apart():
    coated = {**STEELS, 2: PieceRow(id=2, tool_steel="PM-M4", coating="TiN", hardness_hrc=63)}
    (made,) = changes(replacements=(first(), TO), pieces=coated)
    assert made.words == "D2 of 60 HRC to PM-M4 of 63 HRC, bare to TiN"
    assert made.doubts[0].startswith("Changed together: steel and coating.")


def test_another_strip_stock_is_said_and_is_not_the_changes():
    stocks = {
        1: StockRow(material="low-carbon steel", tensile_mpa=340, thickness_mm=1.0),
        2: StockRow(material="stainless 304", tensile_mpa=620, thickness_mm=0.8),
    }
    runs = tuple(run(day, 1000, stock=1 if day < 8.5 else 2) for day in range(1, 11))
    (made,) = changes(replacements=(first(), TO), pieces=STEELS, stocks=stocks, runs=runs)
    assert made.doubts == (
        "The strip stock changed too, from low-carbon steel 1 mm, 340 MPa to stainless 304 0.8 mm, 620 MPa: "
        "part of the effect is the stock's.",
    )
    assert made.places[0].after.thickness_mm == 1.0  # what is promised is of the change alone


def test_a_change_of_stock_alone_is_no_change_of_the_die():
    stocks = {
        1: StockRow(material="low-carbon steel", tensile_mpa=340, thickness_mm=1.0),
        2: StockRow(material="low-carbon steel", tensile_mpa=340, thickness_mm=1.2),
    }
    runs = tuple(run(day, 1000, stock=1 if day < 6 else 2) for day in range(1, 11))
    assert changes(stocks=stocks, runs=runs, works=(work(5.5, "dull"),)) == []
