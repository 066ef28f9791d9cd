"""The heights of a die: figures of the trade, dies worked by hand, and laws of shims and grinds."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from maintenance.policy import height_ledger, height_targets
from maintenance.policy.height_ledger import Act, Fitted, Measured, Right, Role, Seat, Way, ledger
from maintenance.policy.heights import LEVEL_MM, Entry, HeightError, Lack

MM_PER_INCH = 25.4
amounts = st.integers(0, 3000).map(lambda n: n / 1000)


def seat(code: str, length: float | None, *entries: Entry, role: Role = Role.PUNCH, upper: bool = True,
         since: float = -math.inf, new: float | None = None, **more) -> Seat:  # fmt: skip
    piece = Fitted(since=since, until=None, new_mm=length, entries=entries)
    group = "1" if role is Role.PUNCH else ""
    return Seat(**{"code": code, "role": role, "is_upper": upper, "group": group, "fitted": (piece,),
                   "new_mm": length if new is None else new} | more)  # fmt: skip


def section(code: str, length: float | None, *entries: Entry, **more) -> Seat:
    return seat(code, length, *entries, role=Role.DIE, upper=False, **more)


def rows(made: height_ledger.Ledger) -> dict[str, height_ledger.Row]:
    return {row.seat.code: row for row in made.rows}


# --- the die ----------------------------------------------------------------------------------------------------------


def ground_die(*, shim: bool = False, form: bool = False, **more) -> height_ledger.Ledger:
    """Punches ground 0.15, die sections 0.10 after a set-up at 250 mm."""

    def work(mm):
        return [Entry(at=5, off_mm=mm), *([Entry(at=6, under_mm=mm)] if shim else [])]

    seats = [seat("1-A", 71.0, *work(0.15)), seat("1-B", 71.0, *work(0.15)), section("1-AD", 25.0, *work(0.10)),
             section("1-BD", 25.0, *work(0.10))]  # fmt: skip
    if form:
        seats += [seat("4-A", None, role=Role.FORM, partner="4-AD"), seat("4-AD", None, role=Role.FORM, upper=False)]
    right = Right(at=1, shut_height_mm=250.0, blocks={"SB-1": (0.254, 0.254)})
    return ledger(seats, thickness_mm=2.0, right=right, **more)


def test_the_shut_height_after_punches_and_die_were_ground():
    """250.0 mm, punches ground 0.15, die 0.10, no shims: 249.75; shims of the same amounts bring it back."""
    # Press-tool glossary (first clause); that a shim restores it: from memory [T6-08]
    made = ground_die()
    assert made.shut.new_mm == pytest.approx(249.75, abs=1e-12)
    assert (made.shut.punches_mm, made.shut.die_mm) == pytest.approx((-0.15, -0.10))
    assert [(w.act, round(w.mm, 9), w.codes) for w in made.restore] == [
        (Act.SHIM, 0.15, ("1-A",)), (Act.SHIM, 0.15, ("1-B",)), (Act.SHIM, 0.1, ("1-AD",)),
        (Act.SHIM, 0.1, ("1-BD",)),
    ]  # fmt: skip
    shimmed = ground_die(shim=True)
    assert shimmed.shut.new_mm == pytest.approx(250.0, abs=1e-12) and not shimmed.restore
    assert height_ledger.shut_height_mm(250.0, -0.15, -0.10) == pytest.approx(249.75, abs=1e-12)


def test_stop_blocks_come_down_with_the_shut_height():
    """Blocks 0.010 in clear; the die closes 0.25 mm lower: 0.004 mm is left, and 0.25 has to come off each."""
    # Die shop article on limit stops [T6-07]
    assert pytest.approx(0.010 * MM_PER_INCH, abs=1e-12) == height_ledger.BLOCKS_CLEAR_MM
    (block,) = ground_die().blocks
    assert block.clear_mm == pytest.approx(0.004, abs=1e-9)
    assert block.lower_mm == pytest.approx(0.25, abs=1e-9)
    (block,) = ground_die(shim=True).blocks
    assert (block.clear_mm, block.lower_mm) == (pytest.approx(0.254), 0.0)


def test_forms_close_too_far_when_the_shut_height_follows_the_cut():
    made = ground_die(form=True)
    assert [(f.codes, round(f.closer_mm, 9)) for f in made.forming] == [(("4-A", "4-AD"), 0.25)]
    assert made.must_restore
    assert not ground_die(form=True, shim=True).must_restore
    assert not ground_die().must_restore


def test_a_pilot_stands_a_stock_thickness_ahead_of_the_longest_punch():
    """Stock 1.5 mm, punches 71.0, pilot 71.9: 0.9 ahead, so a shim of 0.6."""
    # Tool and die training notes on pilots: about one stock thickness proud of the punch face [T6-05]
    seats = [seat("1-A", 71.0), seat("1-B", 71.0), seat("2-P", 71.9, role=Role.PILOT)]
    made = ledger(seats, thickness_mm=1.5)
    assert made.leads[0].mm == pytest.approx(0.9) and made.leads[0].short_mm == pytest.approx(0.6)
    assert [(w.act, round(w.mm, 9), w.codes) for w in made.lead_up] == [(Act.SHIM, 0.6, ("2-P",))]
    # The punches ground by 0.6: it leads by 1.5, and needs nothing.
    seats = [seat("1-A", 71.0, Entry(at=1, off_mm=0.6)), seats[2]]
    assert ledger(seats, thickness_mm=1.5).leads[0].short_mm == pytest.approx(0.0, abs=1e-9)


def test_punches_enter_the_die_by_half_to_one_millimetre_or_thickness():
    # Toolroom practice, from memory [T6-10]
    assert height_ledger.entry_range_mm(1.0) == (0.5, 1.0)
    assert height_ledger.entry_range_mm(0.4) == (0.2, 1.0)
    assert height_ledger.entry_range_mm(2.0) == (0.5, 2.0)
    measured = Measured(at=1, mm=0.8)
    seats = [seat("1-A", 71.0, Entry(at=5, off_mm=0.15), entry=measured), seat("1-B", 71.0, Entry(at=5, off_mm=0.15)),
             seat("1-C", 71.0, Entry(at=5, off_mm=0.35)), seat("3-A", 69.5, group="2"),
             section("1-AD", 25.0)]  # fmt: skip
    found = {code: row.entry_mm for code, row in rows(ledger(seats, thickness_mm=1.0)).items()}
    # The shut height follows the first group, so 1-A goes in as before; 1-C 0.20 less; 3-A, not ground, comes 0.15 on.
    assert found["1-A"] == pytest.approx(0.8) and found["1-C"] == pytest.approx(0.6)
    assert found["3-A"] == pytest.approx(0.8 - 1.5 + 0.15)
    assert found["1-AD"] is None


def test_a_short_piece_is_shimmed_and_the_other_way_is_told():
    made = ledger([seat("a", 70.0), seat("b", 70.0), seat("c", 69.8, new=70.0)], thickness_mm=1.0)
    row = rows(made)["c"]
    assert (row.way.act, round(row.way.mm, 9), row.way.codes) == (Act.SHIM, 0.2, ("c",))
    assert (row.other.act, round(row.other.mm, 9), row.other.codes) == (Act.GRIND, 0.2, ("a", "b"))
    assert not rows(made)["a"].is_out


@pytest.mark.parametrize(
    ("proud", "spacer", "allowance", "first", "second"),
    [
        (0.2, 0.0, 4.0, (Act.GRIND, ("c",)), (Act.SHIM, ("a", "b"))),  # a little: off it
        (2.0, 0.0, 4.0, (Act.SHIM, ("a", "b")), (Act.GRIND, ("c",))),  # half of its life: the others out
        (2.0, 0.0, 1.0, (Act.SHIM, ("a", "b")), None),  # more than it may be ground
        (0.5, 0.6, 4.0, (Act.UNSHIM, ("c",)), (Act.SHIM, ("a", "b"))),  # its own spacers
    ],
)
def test_a_new_piece_in_a_ground_set(proud, spacer, allowance, first, second):
    ground = [seat(code, 71.0, Entry(at=1, off_mm=2.0)) for code in "ab"]
    piece = [Entry(at=3, under_mm=spacer)] if spacer else []
    made = ledger([*ground, seat("c", 69.0 + proud - spacer, *piece, since=2, new=71.0, allowance_mm=allowance)],
                  thickness_mm=1.0, usual_grind_mm=0.12)  # fmt: skip
    row = rows(made)["c"]
    assert row.out_mm == pytest.approx(proud)
    assert (row.way.act, row.way.codes) == first and row.way.mm == pytest.approx(proud)
    assert (None if row.other is None else (row.other.act, row.other.codes)) == second


def test_groups_are_staggered_as_they_were_or_it_is_told():
    seats = [seat("1-A", 71.0, Entry(at=2, off_mm=1.0)), seat("3-A", 69.5, group="2")]
    first, second = ledger(seats, thickness_mm=1.5).groups
    assert (first.name, second.name) == ("1", "2")
    assert second.step_mm == pytest.approx(0.5) and second.step_then_mm == pytest.approx(1.5)
    assert second.step_is_out and not first.step_is_out


def test_a_piece_of_another_build_is_not_held_against_its_group_until_its_seat_is_entered():
    seats = [seat("1-A", 71.0), seat("1-B", 71.0), seat("5-A", 75.0)]
    assert rows(ledger(seats, thickness_mm=1.0))["5-A"].lack is Lack.SEAT
    assert Seat(code="1-A", role=Role.PUNCH, is_upper=True).standing().lack is Lack.EMPTY
    seats = [*(replace(s, seat_mm=4.0) for s in seats[:2]), replace(seats[2], seat_mm=0.0)]
    made = ledger(seats, thickness_mm=1.0)
    assert made.groups[0].level_mm == 75.0 and not any(row.is_out or row.lack for row in made.rows)
    pilot = seat("2-P", 71.0, role=Role.PILOT)
    assert rows(ledger([*seats, pilot], thickness_mm=1.0))["2-P"].lack is Lack.SEAT
    assert ledger([*seats, replace(pilot, seat_mm=5.2)], thickness_mm=1.0).leads[0].mm == pytest.approx(1.2)


def test_what_has_room_stops_grinding_without_a_shim():
    """A stripper with 0.9 mm of room at the set-up; 0.25 came off since: 0.65 is left. Shimmed, all of it is."""

    def die(*more):
        stripper = Seat(code="SP", role=Role.OTHER, is_upper=True, room=Measured(at=1, mm=0.9))
        return ledger([seat("1-A", 71.0, *more, allowance_mm=3.0), section("1-AD", 25.0, *more), stripper],
                      thickness_mm=1.0, right=Right(at=1))  # fmt: skip

    made = die(Entry(at=2, off_mm=0.125))
    assert made.limit.code == "SP" and made.limit.mm == pytest.approx(0.65)
    left = height_targets.left(rows(made)["1-A"], made)
    assert (left.own_mm, left.stops) == (3.0, "SP")
    assert left.unshimmed_mm == pytest.approx(0.65)
    assert die(Entry(at=2, off_mm=0.125, under_mm=0.125)).limit.mm == pytest.approx(0.9)
    assert die(Entry(at=2, off_mm=0.5)).must_restore


def test_a_shim_thicker_than_the_opening_is_refused():
    with pytest.raises(HeightError, match="does not go into the shut height"):
        ledger([seat("1-A", 71.0, Entry(at=5, under_mm=300.0)), section("1-AD", 25.0)], thickness_mm=1.0,
               right=Right(at=1, shut_height_mm=250.0))  # fmt: skip
    with pytest.raises(HeightError, match="no thickness"):
        ledger([], thickness_mm=0.0)
    with pytest.raises(HeightError, match="Type the shut height"):
        height_ledger.shut_height_mm(float("nan"))
    with pytest.raises(HeightError, match="Two places are called 1-A"):
        ledger([seat("1-A", 71.0), seat("1-A", 71.0)], thickness_mm=1.0)


@given(off=st.lists(amounts, min_size=2, max_size=6), faces=st.lists(amounts, min_size=1, max_size=4))
def test_shims_for_what_came_off_bring_everything_back(off, faces):
    """However unevenly a set was ground: doing what the list says leaves nothing out and the shut height as it was."""

    def die(shims):
        def work(code, mm):
            return [Entry(at=5, off_mm=mm), *(Entry(at=6, under_mm=s) for s in shims.get(code, ()))]

        seats = [seat(f"{n}-A", 71.0, *work(f"{n}-A", mm)) for n, mm in enumerate(off)]
        seats += [section(f"{n}-AD", 25.0, *work(f"{n}-AD", mm)) for n, mm in enumerate(faces)]
        return ledger(seats, thickness_mm=1.0, right=Right(at=1, shut_height_mm=250.0))

    before = die({})
    assert all(way.act is Act.SHIM for way in before.restore)  # all came down
    after = die({way.codes[0]: [way.mm] for way in before.restore})
    assert not any(row.is_out for row in after.rows)
    assert after.shut.new_mm == pytest.approx(250.0, abs=LEVEL_MM * 2 + 1e-9)


@given(off=st.lists(amounts, min_size=2, max_size=6))
def test_the_shims_of_the_list_make_a_group_level(off):
    assume(max(off) - min(off) < 2.9)

    def die(extra):
        return ledger([seat(f"{n}", 71.0, Entry(at=1, off_mm=mm), *extra.get(f"{n}", ())) for n, mm in enumerate(off)],
                      thickness_mm=1.0, usual_grind_mm=9.0)  # fmt: skip

    def done(way: Way) -> Entry:
        return Entry(at=2, off_mm=way.mm if way.act is Act.GRIND else 0.0,
                     under_mm={Act.SHIM: way.mm, Act.UNSHIM: -way.mm, Act.GRIND: 0.0}[way.act])  # fmt: skip

    extra = {code: [done(way)] for way in die({}).level_up for code in way.codes}
    assert not any(row.is_out for row in die(extra).rows)


def test_a_place_changed_by_its_entries_where_its_length_is_not_known():
    one = seat("4-A", None, Entry(at=2, off_mm=0.3), Entry(at=4, under_mm=0.1), role=Role.FORM)
    assert height_ledger.change_mm(one, 1) == pytest.approx(-0.2)
    assert height_ledger.change_mm(one, 3) == pytest.approx(0.1)
    assert height_ledger.change_mm(one, None) is None
    other = replace(one, fitted=(Fitted(since=3, until=None, new_mm=None),))
    assert height_ledger.change_mm(other, 1) is None
