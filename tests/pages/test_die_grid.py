"""The places of a die in their grid, and what it makes: only what was typed over is written, all of it or nothing."""

from __future__ import annotations

import pytest

from diestore.register.models import Amendment, Cut, Piece, Position
from maintenance.models import Replacement
from tests import factories as make

from .as_read import as_read
from .typed_die import address, at, change, cutting, new_die, place, run_in, send

pytestmark = pytest.mark.django_db


@pytest.fixture
def lead(as_role):
    return as_role("lead")


@pytest.fixture
def die():
    return new_die()


@pytest.fixture
def running(die, lead):
    return run_in(lead, die)


# --- in the grid ------------------------------------------------------------------------------------------------------


def grid_of(client, die, **query):
    return client.get(address(die), query).context["grid"]


def cell(die, place, name) -> str:
    return f"at{die.positions.get(code=place).pk}-{name}"


def typed(client, die, cells, *, opened=None, **why):
    """What a browser sends of the grid: every cell as it stands, and those typed over. opened: a grid of before."""
    grid = opened or grid_of(client, die)
    sent = {c.key: c.text for row in grid.rows for c in row.cells if c.is_typed}
    sent |= {"meant": grid.meant, "opened": grid.opened, "before": grid.before}
    sent |= {cell(die, place, name): text for (place, name), text in cells.items()}
    return send(client, die, "grid", **sent, **{f"grid-{name}": value for name, value in why.items()})


def test_cells_of_several_places_are_changed_at_once_with_one_day_and_reason(lead, running):
    cells = {("1-A", "gap"): "9", ("1-A", "x"): "14", ("1-AD", "y"): "0.5 in", ("1-A", "height_group"): "2"}
    answer = typed(lead, running, cells, how="since", at=at(13), reason="as measured")
    assert "Saved: 4 cells of 2 positions." in as_read(answer)
    assert [round(g, 3) for g in Cut.objects.order_by("pk").values_list("gap_mm", flat=True)] == [0.03, 0.135]
    one, other = (running.positions.get(code=code) for code in ("1-A", "1-AD"))
    assert (one.x_mm, one.height_group, other.y_mm) == (14, "2", 12.7)
    told = Amendment.objects.values_list("table", "sort", "reason", "at")
    assert set(told) == {(f"diestore.{table}", "changed", "as measured", make.moment(13))
                         for table in ("cut", "position")}  # fmt: skip
    assert len(told) == 3, "one for each row that is otherwise, none for what was left alone"


def test_a_typing_error_in_the_grid_and_another_piece(lead, running):
    typed(lead, running, {("1-A", "gap"): "9"}, how="never", reason="wrong sheet")
    assert (Cut.objects.get().gap_mm, Amendment.objects.get().sort) == (0.135, "corrected")
    typed(lead, running, {("1-A", "tool_steel"): "PM-M4"}, how="since", at=at(31), reason="lasts longer")
    entry = Replacement.objects.get(why="other")
    assert (entry.position.code, entry.piece_in.tool_steel, entry.note) == ("1-A", "PM-M4", "lasts longer")


def stands() -> tuple:
    return list(Position.objects.values()), list(Cut.objects.values()), Amendment.objects.count()


def test_what_is_wrong_with_a_cell_of_the_grid_is_said_at_it_and_nothing_is_saved(lead, running):
    before = stands()
    for cells, says in (
        ({("1-A", "gap"): "wide"}, "does not begin with a number"),
        ({("1-A", "gap"): "9 N"}, "is not a unit"),
        ({("1-A", "cut_length"): ""}, "A cut has a length"),
        ({("1-A", "cut_length"): "-3"}, "cannot be"),
        ({("1-A", "hardness"): "600"}, "cannot be"),
        ({("1-A", "share"): "300"}, "from 0.01 to 100"),
        ({("1-A", "item"): "no such"}, "There is no spare no such"),
        ({("1-A", "station"): "9"}, "There is no station 9. Its stations: 1, 2, 3"),
        ({("1-A", "code"): ""}, "It needs a name"),
        ({("1-A", "code"): "1-ad"}, "There is a place 1-ad already"),
        ({("1-A", "code"): "X", ("1-AD", "code"): "x"}, "There is a place"),
        ({("1-A", "height_group"): "g" * 41}, "20 are the most"),
    ):
        answer = typed(lead, running, {("1-AD", "x"): "33"} | cells, how="never", reason="x")
        grid = answer.context["grid"]
        (place, name), text = next(iter(cells.items()))
        key = cell(running, place, name)
        assert says in grid.wrong[key] and says in as_read(answer)
        assert f'aria-describedby="{key}-wrong"' in as_read(answer)
        kept = {c.key: c.text for row in grid.rows for c in row.cells}
        assert kept[key] == text and kept[cell(running, "1-AD", "x")] == "33"
        assert stands() == before


def test_all_that_is_wrong_in_the_grid_is_said_at_once(lead, running):
    cells = {("1-A", "gap"): "wide", ("1-AD", "hardness"): "hard", ("1-AD", "x"): "1e9"}
    grid = typed(lead, running, cells, how="never", reason="x").context["grid"]
    assert sorted(grid.wrong) == sorted(cell(running, *key) for key in cells)


def test_a_change_in_the_grid_has_a_day_and_a_reason(lead, running):
    before = stands()
    for cells, why, says in (
        ({}, {"how": "never", "reason": "x"}, "No cell is other than it was"),
        ({("1-A", "gap"): "9"}, {"how": "since", "at": at(13), "reason": ""}, "Say why"),
        ({("1-A", "gap"): "9"}, {"how": "since", "at": "", "reason": "x"}, "Say since when"),
        ({("1-A", "gap"): "9"}, {"how": "since", "at": "2090-01-01T00:00", "reason": "x"}, "still to come"),
        ({("1-A", "code"): "1-Z"}, {"how": "since", "at": at(13), "reason": "x"}, "only be corrected"),
        ({("1-A", "share"): "50"}, {"how": "since", "at": at(13), "reason": "x"}, "were counted with what stands"),
    ):
        assert says in as_read(typed(lead, running, cells, **why)), says
        assert stands() == before


def test_of_a_die_that_never_ran_the_grid_asks_for_no_day(lead, die):
    send(lead, die, "place", **cutting(die))
    typed(lead, die, {("1-A", "gap"): "8", ("1-A", "tool_steel"): "D2", ("1-AD", "station"): "2"})
    assert Cut.objects.get().gap_mm == 0.12
    assert Piece.objects.get(fittings__position__code="1-A").tool_steel == "D2"
    assert die.positions.get(code="1-AD").station.code == "2" and Replacement.objects.count() == 2


def test_two_in_one_grid_keep_what_each_typed_and_the_second_is_told(lead, running):
    opened = grid_of(lead, running)
    typed(lead, running, {("1-A", "gap"): "9"}, opened=opened, how="never", reason="first")
    answer = typed(lead, running, {("1-AD", "x"): "30"}, opened=opened, how="never", reason="second")
    assert Cut.objects.get().gap_mm == 0.135, "what the first changed is not put back"
    assert running.positions.get(code="1-AD").x_mm == 30
    assert "Meanwhile lead changed 1-A of K-1: gap from 0.030 mm to 0.135 mm." in as_read(answer)


def test_two_at_one_cell_the_second_decides_after_he_was_told(lead, running):
    opened = grid_of(lead, running)
    typed(lead, running, {("1-A", "gap"): "9"}, opened=opened, how="never", reason="first")
    answer = typed(lead, running, {("1-A", "gap"): "8"}, opened=opened, how="never", reason="second")
    assert Cut.objects.get().gap_mm == 0.135
    words = as_read(answer)
    assert "Somebody changed this from 2 to 9 while you had it open. Save again to put 8 there." in words
    assert "gap 0.030 mm → 0.135 mm" in words
    typed(lead, running, {("1-A", "gap"): "8"}, opened=answer.context["grid"], how="never", reason="second")
    assert Cut.objects.get().gap_mm == 0.12


def test_what_was_typed_for_a_place_that_ended_meanwhile_is_not_lost_without_a_word(lead, running):
    opened, key = grid_of(lead, running), cell(running, "1-A", "gap")
    of = running.positions.get(code="1-A")
    send(lead, running, "end", place=of.pk, **{"end-at": at(31), "end-reason": "hole no longer needed",
                                             "end-piece": "scrapped"})  # fmt: skip
    sent = {"meant": opened.meant, "opened": opened.opened, "before": opened.before, key: "9", "grid-how": "never"}
    answer = send(lead, running, "grid", **sent, **{"grid-reason": "x"})
    assert "1 cell that you changed is no longer there" in as_read(answer)
    assert round(Cut.objects.get().gap_mm, 3) == 0.03


def test_a_grid_that_no_browser_sends_breaks_nothing(lead, die):
    send(lead, die, "place", **cutting(die))
    before = stands()
    for sent in ("", "[", "[]", "7", '{"at1-gap": [1]}', "[" * 9_000):
        answer = send(lead, die, "grid", **{"before": sent, "opened": "x" * 30, "meant": "furlong", "at0-gap": "1",
                                            "at-": "2", "grid-how": "never", "grid-reason": "x"})  # fmt: skip
        assert answer.status_code == 200 and stands() == before


def test_gaps_are_shown_in_the_unit_that_is_asked_for(lead, running):
    def gap(**query):
        grid = grid_of(lead, running, **query)
        return next(c.text for row in grid.rows for c in row.cells if c.key == cell(running, "1-A", "gap"))

    assert [gap(), gap(gaps="mm in all"), gap(), gap(gaps="nonsense")] == ["2", "0.06", "0.06", "0.06"]
    typed(lead, running, {("1-A", "gap"): "0.24"}, how="never", reason="x")
    assert Cut.objects.get().gap_mm == 0.12


def test_the_grid_doubts_while_it_is_typed_and_saves_nothing(lead, running):
    sent = {"meant": "% a side", cell(running, "1-A", "gap"): "30", cell(running, "1-A", "hardness"): "50"}
    words = as_read(send(lead, running, "grid doubts", **sent))
    assert "30 % a side is more than is usual" in words and "50 HRC is softer than M2" in words
    assert "2 % a side" not in words, "what was doubted before is not said again"
    assert not Amendment.objects.exists()


def test_what_a_place_is_its_inserts_and_its_wear_are_put_right_on_its_form(lead, running):
    send(lead, running, "ticket", **{"ticket-since_start": "start", "ticket-since": "", "ticket-reason": "left out"})
    send(lead, running, "place", **place(running, "stripper_spring", station=""))
    wide = running.variants.create(code="wide")
    change(lead, running, "SS-1", wear_of="spring force", wear_limit="800 N", how="since", at=at(31), reason="maker")
    spring = running.positions.get(code="SS-1")
    assert (spring.wear_of, spring.wear_limit) == ("spring force", 800)
    assert "Say what is measured" in as_read(
        change(lead, running, "SS-1", wear_of="", wear_limit="700 N", how="never", reason="x")
    )
    answer = change(lead, running, kind="trim_punch", how="since", at=at(31), reason="x")
    assert "were counted with what stands" in as_read(answer)
    change(lead, running, kind="trim_punch", variants=str(wide.pk), how="never", reason="it was never another")
    one = running.positions.get(code="1-A")
    assert one.kind == "trim_punch" and one.variants.get() == wide


# --- what it makes ----------------------------------------------------------------------------------------------------


def make_of(die):
    return sorted((o.variant.code, str(o.part), o.parts_per_hit) for v in die.variants.all() for o in v.outputs.all())


def test_what_a_die_makes_and_its_inserts_are_typed_on_its_card(lead, die):
    die.variants.create(code="standard", is_default=True)
    send(lead, die, "makes", **{"makes-part": "AB-1", "makes-hit": "2"})
    assert make_of(die) == [("standard", "AB-1", 2)]
    refused = send(lead, die, "makes", **{"makes-another": "wide", "makes-part": "ab-1"})
    assert "already exists" in as_read(refused) and die.variants.count() == 1, "all or nothing"
    send(lead, die, "makes", **{"makes-another": "wide"})
    wide = die.variants.get(code="wide")
    output = die.variants.get(code="standard").outputs.get()
    send(lead, die, "makes", **{"makes-part": "AB-2", "makes-of": wide.pk, f"makes-hit{output.pk}": "1",
                                "makes-usual": wide.pk, f"makes-name{wide.pk}": "wide slot"})  # fmt: skip
    assert make_of(die) == [("standard", "AB-1", 1), ("wide slot", "AB-2", 1)]
    assert die.variants.get(is_default=True).pk == wide.pk
    standard = die.variants.get(code="standard")
    refused = send(lead, die, "makes", **{f"makes-out{standard.pk}": "on", "makes-part": "AB-3"})
    assert "Parts are made with standard" in as_read(refused) and make_of(die)[-1][1] == "AB-2", "all or nothing"
    send(lead, die, "makes", **{f"makes-gone{output.pk}": "on"})
    send(lead, die, "makes", **{f"makes-out{standard.pk}": "on"})
    assert make_of(die) == [("wide slot", "AB-2", 1)] and die.variants.get().pk == wide.pk


def test_what_a_die_that_has_run_makes_is_put_right_with_a_reason(lead, running):
    output = running.variants.get().outputs.create(part=make.Part.objects.create(number="AB-1"), parts_per_hit=1)
    for sent, says in (
        ({f"makes-hit{output.pk}": "2"}, "Say why"),
        ({f"makes-hit{output.pk}": "0", "makes-reason": "x"}, "cannot be"),
        ({f"makes-hit{output.pk}": "two", "makes-reason": "x"}, "Type digits only"),
        ({"makes-hit": "2"}, "Say which part"),
        ({}, "Nothing here is other than it was"),
    ):
        assert says in as_read(send(lead, running, "makes", **sent)), says
    assert make_of(running) == [("standard", "AB-1", 1)] and not Amendment.objects.exists()
    send(lead, running, "makes", **{f"makes-hit{output.pk}": "2", "makes-reason": "two from the start"})
    assert make_of(running) == [("standard", "AB-1", 2)]
    made = Amendment.objects.get()
    assert (made.sort, made.reason, made.die) == ("corrected", "two from the start", running)
    late = {f"makes-hit{output.pk}": "3", "makes-reason": "x", "makes-opened": made.pk - 1}
    assert "While this was open" in as_read(send(lead, running, "makes", **late))
    send(lead, running, "strike", amendment=made.pk, **{"strike-reason": "one after all"})
    assert make_of(running) == [("standard", "AB-1", 1)]
