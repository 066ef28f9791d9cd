"""What loading a folder means: defaults, things that are shared, things that stand already."""

from __future__ import annotations

import datetime as dt

import pytest
from django.core.management import call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext

from diestore.access.models import Person
from diestore.register.models import Cut, Die, Item, Output, Piece, Plant, Position, Station, Stock
from maintenance.history.load import load
from maintenance.history.problems import HistoryRefused
from maintenance.log import changes, listing, write
from maintenance.models import DieForecast, Fitting, Order, Reading, Replacement, Run, StockMovement, Work
from tests.history.folders import COMPONENTS, DIES, component, ground, run, sound
from tests.history.shop import as_written, cycles, empty_the_database, fittings

RUNS = [
    run("2024-01-05T06:00:00+00:00", "2024-01-05T12:00:00+00:00", 20_000),
    run("2024-01-06T06:00:00+00:00", "2024-01-06T12:00:00+00:00", 21_000),
]
GROUND = [ground("1-A", "2024-01-07T08:00:00+00:00"), ground("1-B", "2024-01-07T08:00:00+00:00", reason="with set")]
BROKEN = {"die": "H-201", "position": "1-A", "at": "2024-01-08T08:00:00+00:00", "reason": "broken"}


def utc(*parts: int) -> dt.datetime:
    return dt.datetime(*parts, tzinfo=dt.UTC)


def standing(model):
    return model.objects.standing()


# --- the plain tables -----------------------------------------------------------------------------------------------


def test_a_plain_folder_fills_the_register_and_the_log(load_tables):
    loaded = load_tables(runs=RUNS, sharpenings=GROUND)
    assert loaded.plant.code == "main"
    die = Die.objects.get()
    assert (die.usual_stock.material, die.usual_stock.thickness_mm, die.strokes_per_minute) == (
        "low-carbon steel",
        1.2,
        80,
    )
    assert [v.code for v in die.variants.all()] == ["standard"]
    output = Output.objects.get()
    assert (output.part.number, output.parts_per_hit) == ("H-201", 1)
    assert [(s.code, s.sequence) for s in Station.objects.all()] == [("1", 1), ("2", 2), ("3", 3)]
    assert Run.objects.get(hits=21_000).at == utc(2024, 1, 6, 12)
    assert Run.objects.first().stock == die.usual_stock
    assert {w.why for w in Work.objects.all()} == {"dull", "with set"}


def test_what_broke_was_found_broken_and_what_was_loaded_before_that_rule_stands(load_tables):
    chipped = ground("1-B", "2024-01-07T08:00:00+00:00", reason="chipped", found="not looked")
    tables = {"runs": RUNS, "sharpenings": [chipped], "replacements": [BROKEN]}
    load_tables(**tables)
    assert Replacement.objects.get(why="broken").found == "broken" and Work.objects.get().found == "chipped"
    Replacement.objects.filter(why="broken").update(found="")
    Work.objects.update(found="not looked")
    load_tables(**tables)
    assert Replacement.objects.get(why="broken").found == "" and Work.objects.get().found == "not looked"


def test_the_gap_is_kept_in_mm_of_the_thickness_then(load_tables):
    load_tables()
    assert Cut.objects.get(code="1-A").gap_mm == pytest.approx(0.09 * 1.2)
    # The die runs thinner stock from now on: the gap in its steel is what it was, though the folder says 9 % still.
    load_tables(dies=[DIES[0] | {"stock_thickness_mm": "1.0"}])
    assert Cut.objects.get(code="1-A").gap_mm == pytest.approx(0.09 * 1.2)
    assert Stock.objects.count() == 2
    load_tables(
        dies=[DIES[0] | {"stock_thickness_mm": "1.0"}], components=[component("1-A", clearance_pct_per_side="8")]
    )
    assert Cut.objects.get(code="1-A").gap_mm == pytest.approx(0.08 * 1.0)


def test_dies_of_one_stock_share_it(load_tables):
    load_tables(dies=[DIES[0], DIES[0] | {"die": "H-202"}], components=COMPONENTS)
    assert Stock.objects.count() == 1


def test_an_opening_that_is_not_told_is_unknown(load_tables):
    load_tables(
        components=[component("1-A", opening=""), component("1-B", opening="counted", opening_life_hits="5000")]
    )
    opened = {p.fitted_by.get().position.code: (p.opening, p.opening_life_hits) for p in Piece.objects.all()}
    assert opened == {"1-A": ("unknown", None), "1-B": ("counted", 5000)}


def test_the_first_piece_sat_there_before_every_record(load_tables):
    load_tables(runs=RUNS)
    assert all(f.since is None and f.until is None for f in Fitting.objects.all())
    assert Replacement.objects.filter(since_start=True, why="first").count() == 4


def test_a_side_follows_from_the_kind_unless_told(load_tables):
    load_tables(components=[component("1-A"), component("1-D", "die button"), component("2-A", side="lower")])
    assert {p.code: p.side for p in Position.objects.all()} == {"1-A": "upper", "1-D": "lower", "2-A": "lower"}
    assert Cut.objects.get(code="1-D").lower.code == "1-D" and Cut.objects.get(code="1-D").upper is None


def test_a_replacement_brings_a_new_piece_like_the_old(load_tables):
    load_tables(runs=RUNS, replacements=[BROKEN])
    old, new = Fitting.objects.filter(position__code="1-A")
    assert (old.until, old.fate, new.since) == (utc(2024, 1, 8, 8), "broken", utc(2024, 1, 8, 8))
    assert (new.piece.tool_steel, new.piece.grind_allowance_mm, new.piece.opening) == ("D2", 4, "new")


def test_a_replacement_can_bring_another_steel(load_tables):
    load_tables(replacements=[BROKEN | {"tool_steel": "M2", "mark": "A7"}])
    piece = Piece.objects.get(mark="A7")
    assert (piece.tool_steel, piece.grind_allowance_mm) == ("M2", 4)


def test_a_spare_is_filled_from_the_components_that_agree(load_tables):
    rows = [component("1-A", spare="PP"), component("1-B", spare="PP", hardness_hrc="61")]
    rows[0]["hardness_hrc"] = "60"
    load_tables(components=rows, spares=[spare("PP", 2)])
    item = Item.objects.get()
    assert (item.kind, item.tool_steel, item.hardness_hrc) == ("pierce_punch", "D2", None)
    assert Position.objects.get(code="1-A").item == item


def test_cuts_of_their_own_table_have_both_sides(load_tables):
    rows = [component("1-A"), component("1-D", "die button")]
    cut = {"die": "H-201", "cut": "hole", "upper": "1-A", "lower": "1-D", "length_mm": "18.8", "gap_mm": "0.1"}
    load_tables(components=rows, cuts=[cut])
    assert [(c.code, c.upper.code, c.lower.code) for c in Cut.objects.all()] == [("hole", "1-A", "1-D")]


def test_a_reading_is_kept_in_si_and_as_typed(load_tables):
    row = {"die": "H-201", "position": "1-A", "at": "2024-01-06T12:00:00+00:00", "quantity": "burr height"}
    load_tables(readings=[row | {"value": "2.4", "unit": "thou"}, row | {"value": "66", "unit": "um"}])
    # 1 in = 25.4 mm exactly (international yard and pound agreement, 1959), so 2.4 thou are 60.96 micrometres
    thou, um = Reading.objects.order_by("value_si")
    assert thou.value_si == pytest.approx(60.96e-6, rel=1e-12) and (thou.typed_value, thou.typed_unit) == (
        "2.4",
        "thou",
    )
    assert um.value_si == pytest.approx(66e-6, rel=1e-12)


def test_orders_name_the_only_part_of_their_die(load_tables):
    load_tables(orders=[{"die": "H-201", "order": "26-1", "parts": "500", "due": "2026-04-06"}])
    order = Order.objects.get()
    assert (order.part.number, order.die.code, order.parts, order.due) == ("H-201", "H-201", 500, dt.date(2026, 4, 6))


def test_recorded_when_it_happened_unless_told(load_tables):
    load_tables(runs=[RUNS[0], RUNS[1] | {"recorded_at": "2024-01-09T10:00:00+00:00"}])
    assert [r.recorded_at for r in Run.objects.order_by("at")] == [utc(2024, 1, 5, 12), utc(2024, 1, 9, 10)]
    assert {r.through for r in Run.objects.all()} == {"import"}


def test_a_set_ground_together_is_one_entry_to_strike_out(load_tables):
    load_tables(sharpenings=GROUND)
    by = write.Actor(person=Person.objects.create(plant=Plant.objects.get(), name="Ina T."))
    assert len(write.strike_out(by=by, entry=Work.objects.first(), reason="wrong die")) == 2


# --- times, texts, names ----------------------------------------------------------------------------------------------


def test_times_without_offset_are_of_the_shop(load_tables, settings):
    settings.TIME_ZONE = "Europe/Vienna"
    loaded = load_tables(runs=[run("2024-01-05 06:00", "2024-01-05T12:00:00", 5000)])
    # Vienna is an hour ahead of UTC in winter: from memory, and in the time zone database
    assert Run.objects.get().started == utc(2024, 1, 5, 5)
    assert any("2 times have no offset" in note and "Europe/Vienna" in note for note in loaded.notes)


def test_a_byte_order_mark_and_crlf_are_taken(load_tables, tmp_path, db):
    load_tables()
    folder = tmp_path / "bom"
    folder.mkdir()
    text = "die,started,ended,hits\r\nH-201,2024-01-05T06:00:00Z,2024-01-05T12:00:00Z,20000\r\n\r\n"
    (folder / "runs.csv").write_bytes(b"\xef\xbb\xbf" + text.encode())
    call_command("load_history", folder, verbosity=0)
    assert Run.objects.get().hits == 20_000


def test_what_is_not_known_is_told_and_left_aside(load_tables, tmp_path):
    loaded = load_tables(runs=[RUNS[0] | {"operator's mood": "good"}], wishes=[{"wish": "a new press"}])
    assert any("runs.csv" in n and "operator's mood" in n for n in loaded.notes)
    assert any(n.startswith("wishes.csv") for n in loaded.notes)


def test_people_named_in_a_row_are_added_and_told(load_tables):
    loaded = load_tables(runs=[RUNS[0] | {"person": "Ina T.", "press": "P9"}])
    assert Run.objects.get().person.name == "Ina T."
    assert any("people: Ina T." in n for n in loaded.notes) and any("presses: P9" in n for n in loaded.notes)


def test_a_sign_in_that_is_not_here_cannot_be_used(load_tables):
    load_tables(runs=[RUNS[0] | {"sign_in": "ina"}])
    user = Run.objects.get().user
    assert user.username == "ina" and not user.is_active and not user.has_usable_password()


def test_text_that_a_spreadsheet_would_run_comes_back_as_it_was(load_tables):
    notes = ["=1+1", "-3", "'=x", "'", "''", "@a", "+", "plain", '"quoted", with comma', "two\r\nlines", " spaced "]
    rows = [
        run(f"2024-01-{day:02d}T06:00:00Z", f"2024-01-{day:02d}T07:00:00Z", note=note)
        for day, note in enumerate(notes, 1)
    ]
    load_tables(runs=rows)
    held = [r.note for r in Run.objects.order_by("at")]
    # typed "'=x" is how a folder writes =x, so that no spreadsheet runs it; "''" is how it writes '
    assert held == [
        "=1+1",
        "-3",
        "=x",
        "'",
        "'",
        "@a",
        "+",
        "plain",
        '"quoted", with comma',
        "two\r\nlines",
        " spaced ",
    ]
    text = as_written()["runs.csv"]
    assert "'=1+1" in text and ",-3," in text and "'@a" in text
    before = as_written()
    load_tables(runs=rows)
    assert as_written() == before


SHARED = {"press": "P1"}
OTHER = [*DIES, DIES[0] | {"die": "H-202"}]


@pytest.mark.parametrize(
    ("begins", "noted"),
    [("2020-01-06T11:00:00+00:00", True), ("2020-01-06T12:00:00+00:00", False)],
    ids=["over", "after"],
)
def test_two_dies_in_one_press_at_one_time_are_taken_and_told(load_tables, begins, noted):
    """Records on paper are written down roughly: both count, and nobody has to leave half a day out."""
    first = run("2020-01-06T06:00:00+00:00", "2020-01-06T12:00:40+00:00", **SHARED)
    second = run(begins, "2020-01-06T15:00:00+00:00", die="H-202", **SHARED)
    loaded = load_tables(dies=OTHER, runs=[first])
    assert not [note for note in loaded.notes if "same press" in note]
    loaded = load_tables(dies=OTHER, runs=[first, second])
    notes = [note for note in loaded.notes if "same press" in note]
    assert Run.objects.count() == 2 and bool(notes) == noted
    if noted:
        assert notes == [
            "runs.csv: 1 run is of a time at which another die ran in the same press; both count. H-202 from 6 Jan "
            "2020, 11:00: H-201 ran in press P1 from 6 Jan 2020, 06:00 to 6 Jan 2020, 12:00, so H-202 cannot have "
            "run there too: a press runs one die at a time. Check the press and the times."
        ]
    again = load_tables(dies=OTHER, runs=[first, second])
    assert not [note for note in again.notes if "same press" in note]  # said once


def test_a_folder_says_once_which_dies_it_changed(load_tables):
    sent = []

    def hear(sender, *, dies, items, by_night, **more):
        sent.append((set(Die.objects.filter(pk__in=dies).values_list("code", flat=True)), by_night))

    changes.dies_changed.connect(hear)
    try:
        load_tables(dies=OTHER, runs=RUNS)
        assert sent == [({"H-201", "H-202"}, True)]
        load_tables(dies=OTHER, runs=RUNS)
        assert len(sent) == 1  # nothing was new
        more = run("2020-03-06T06:00:00+00:00", "2020-03-06T12:00:00+00:00", die="H-202")
        load_tables(dies=OTHER, runs=[*RUNS, more])
        load_tables(dies=OTHER, sharpenings=[ground("1-A", "2020-05-01T06:00:00+00:00")])
        load_tables(dies=[OTHER[0], OTHER[1] | {"strokes_per_minute": "70"}])
        struck = {"struck_at": "2020-05-02T06:00:00+00:00", "struck_by": "Ina T.", "struck_reason": "twice"}
        load_tables(dies=[OTHER[0], OTHER[1] | {"strokes_per_minute": "70"}], runs=[RUNS[0] | struck])
        assert [codes for codes, _ in sent[1:]] == [{"H-202"}, {"H-201"}, {"H-202"}, {"H-201"}]
    finally:
        changes.dies_changed.disconnect(hear)
    assert not DieForecast.objects.exists()  # the night's work


# --- again ------------------------------------------------------------------------------------------------------------


def test_the_same_folder_again_adds_nothing(load_tables):
    tables = {"runs": RUNS, "sharpenings": GROUND, "replacements": [BROKEN], "spares": [spare("PP", 3)]}
    load_tables(**tables)
    before = as_written(), fittings()
    loaded = load_tables(**tables)
    assert not any(loaded.counts.added.values()) and not any(loaded.counts.changed.values())
    assert (as_written(), fittings()) == before


def test_rows_that_stand_twice_count_once_and_are_told(load_tables):
    loaded = load_tables(runs=[RUNS[0], RUNS[0], RUNS[1]])
    assert Run.objects.count() == 2
    assert any("runs.csv: 1 row" in n and "line 3" in n for n in loaded.notes)


@pytest.mark.parametrize("at_once", [1, 2, 3, 1000])
def test_a_sharpening_is_one_line_wherever_its_rows_stand(load_tables, monkeypatch, at_once):
    monkeypatch.setattr("maintenance.history.entries.BATCH", at_once)
    days = ("2024-01-07T08:00:00+00:00", "2024-01-09T08:00:00+00:00")
    load_tables(sharpenings=[ground(position, at) for position in ("1-A", "1-B") for at in days])
    load_tables(sharpenings=[ground("3-A", at) for at in days])  # more of the same sets, by a later folder
    firsts = {w.set_key: w.pk for w in Work.objects.order_by("-pk")}
    assert len(firsts) == 2 and Work.objects.count() == 6
    assert {w.pk for w in Work.objects.filter(heads_set=True)} == set(firsts.values())


@pytest.mark.parametrize("at_once", [1, 2, 1000])
def test_what_a_row_says_again_is_found_over_any_distance(load_tables, monkeypatch, at_once):
    monkeypatch.setattr("maintenance.history.entries.BATCH", at_once)
    loaded = load_tables(runs=[RUNS[0], RUNS[1], RUNS[0]])
    assert Run.objects.count() == 2
    assert any("runs.csv: 1 row" in n and "line 4" in n for n in loaded.notes)
    empty_the_database()
    with pytest.raises(HistoryRefused, match=r"runs.csv, line 4.*Line 2 tells"):
        load_tables(runs=[RUNS[0], RUNS[1], RUNS[0] | {"hits": "1"}])


def test_an_entry_made_at_a_form_is_the_same_entry(load_tables):
    load_tables()
    die = Die.objects.get()
    write.log_run(by=write.Actor(), die=die, started=utc(2024, 1, 5, 6), ended=utc(2024, 1, 5, 12), hits=20_000)
    position = die.positions.get(code="1-A")
    piece = write.SharpenedPiece(position=position, why="dull", removed_mm=0.1)
    write.log_sharpening(by=write.Actor(), die=die, at=utc(2024, 1, 7, 8), pieces=[piece])
    loaded = load_tables(runs=RUNS, sharpenings=GROUND)
    assert Run.objects.count() == 2 and Work.objects.count() == 2
    assert loaded.counts.stood["runs"] == 1 and loaded.counts.stood["sharpenings"] == 1


def test_other_content_for_the_same_entry_is_refused(load_tables):
    load_tables(runs=RUNS)
    with pytest.raises(HistoryRefused, match=r"runs.csv, line 2, hits: The run of H-201 .* hits 20,000, not 20,001"):
        load_tables(runs=[RUNS[0] | {"hits": "20001"}])
    assert Run.objects.count() == 2


def test_what_is_struck_out_stays_so_and_its_correction_loads(load_tables):
    load_tables(runs=RUNS)
    by = write.Actor(person=Person.objects.create(plant=Plant.objects.get(), name="Ina T."))
    write.strike_out(by=by, entry=Run.objects.get(hits=20_000), reason="wrong counter")
    loaded = load_tables(runs=RUNS)
    assert standing(Run).count() == 1 and not any(loaded.counts.added.values())
    right = [RUNS[0] | {"hits": "2000"}]
    load_tables(runs=right)
    assert sorted(r.hits for r in standing(Run)) == [2_000, 21_000]
    load_tables(runs=right)
    load_tables(runs=RUNS)  # the old folder again: the struck-out entry is known, the new one stands
    assert sorted(r.hits for r in standing(Run)) == [2_000, 21_000] and Run.objects.count() == 3


def test_a_strike_out_in_the_folder_is_taken_over(load_tables):
    load_tables(runs=RUNS, replacements=[BROKEN])
    struck = {"struck_at": "2024-01-09T08:00:00Z", "struck_by": "Ina T.", "struck_reason": "another die"}
    right = run("2024-01-05T07:00:00Z", "2024-01-05T13:00:00Z", 500)
    load_tables(runs=[right, RUNS[0] | struck], replacements=[BROKEN | struck])
    assert sorted(r.hits for r in standing(Run)) == [500, 21_000]
    assert Fitting.objects.get(position__code="1-A").until is None


def test_register_rows_are_changed_to_what_the_cells_say_and_told(load_tables):
    load_tables()
    loaded = load_tables(dies=[DIES[0] | {"description": "", "strokes_per_minute": "90", "status": "in repair"}])
    die = Die.objects.get()
    assert (die.description, die.strokes_per_minute, die.status) == ("hinge leaf", 90, "in repair")
    assert any("strokes_per_minute: 80.0 is now 90.0" in n for n in loaded.notes)
    assert die.history.count() == 2


def test_two_parts_loaded_one_after_the_other_are_the_whole(load_tables):
    load_tables(runs=RUNS, sharpenings=GROUND, replacements=[BROKEN])
    whole = as_written(), cycles()
    empty_the_database()
    load_tables(runs=RUNS[1:], sharpenings=GROUND[:1])
    load_tables(runs=RUNS[:1], sharpenings=GROUND[1:], replacements=[BROKEN])
    assert (as_written(), cycles()) == whole


# --- the shelf --------------------------------------------------------------------------------------------------------


def spare(code: str, on_hand: int, on_order: int = 0, **more: str) -> dict[str, str]:
    row = {"spare": code, "on_hand": str(on_hand), "on_order": str(on_order), "lead_days": "21", "unit_price": "38.5"}
    return row | more


def on_shelf() -> int:
    return sum(m.quantity for m in standing(StockMovement) if m.place == "shelf")


def test_the_shelf_is_counted_once_for_what_the_folder_says(load_tables):
    load_tables(runs=RUNS, spares=[spare("PP", 3, 2)])
    assert {(m.kind, m.place, m.quantity, m.at) for m in StockMovement.objects.all()} == {
        ("count", "shelf", 3, utc(2024, 1, 6, 12)),
        ("ordered", "on order", 2, utc(2024, 1, 6, 12)),
    }
    item = Item.objects.get()
    StockMovement.objects.create(
        plant=Plant.objects.get(), item=item, quantity=-1, kind="fitted", at=utc(2024, 2, 1), key="taken"
    )
    load_tables(runs=RUNS, spares=[spare("PP", 3, 2)])  # what was taken since stays taken
    assert on_shelf() == 2
    load_tables(runs=RUNS, spares=[spare("PP", 5, 2)])  # a new number is a new count
    assert on_shelf() == 4
    load_tables(runs=RUNS, spares=[spare("PP", 3, 2)])
    assert on_shelf() == 2


def test_a_count_that_was_struck_out_is_not_revived(load_tables):
    load_tables(runs=RUNS, spares=[spare("PP", 3)])
    by = write.Actor(person=Person.objects.create(plant=Plant.objects.get(), name="Ina T."))
    write.strike_out(by=by, entry=StockMovement.objects.get(), reason="counted the wrong box")
    load_tables(runs=RUNS, spares=[spare("PP", 3)])
    assert on_shelf() == 0


def test_movements_that_make_up_the_count_leave_nothing_to_enter(load_tables):
    rows = [
        {"spare": "PP", "at": "2024-01-01T08:00:00Z", "quantity": "4", "kind": "delivered"},
        {"spare": "PP", "at": "2024-01-02T08:00:00Z", "quantity": "-1", "kind": "fitted"},
    ]
    load_tables(spares=[spare("PP", 3)], shelf_moves=rows)
    assert StockMovement.objects.count() == 2 and on_shelf() == 3


def test_a_list_of_spares_alone_is_taken_once(load_tables):
    load_tables(spares=[spare("PP", 3)], bare=True)
    item = Item.objects.get()
    StockMovement.objects.create(plant=Plant.objects.get(), item=item, quantity=-1, kind="fitted", at=utc(2024, 2, 1))
    load_tables(spares=[spare("PP", 3)], bare=True)
    assert on_shelf() == 2


# --- plants -----------------------------------------------------------------------------------------------------------


def test_the_plant_is_the_one_named_or_told_or_the_only_one(tmp_path, db):
    folder = sound(tmp_path / "a", plants=[{"plant": "north", "name": "North works"}])
    assert load(folder).plant.name == "North works"
    assert load(sound(tmp_path / "b")).plant.code == "north"
    assert load(sound(tmp_path / "c"), plant="south").plant.code == "south"
    with pytest.raises(HistoryRefused, match="several plants; name one with --plant: north, south"):
        load(sound(tmp_path / "d"))
    assert Die.objects.count() == 2


def test_queries_do_not_grow_with_the_rows(load_tables):
    def days(month: int, n: int) -> list[dict[str, str]]:
        return [
            run(f"2023-{month:02d}-{d:02d}T06:00:00Z", f"2023-{month:02d}-{d:02d}T07:00:00Z") for d in range(1, n + 1)
        ]

    load_tables(runs=RUNS)
    counts = []
    for month, n in ((3, 3), (4, 28)):
        with CaptureQueriesContext(connection) as caught:
            load_tables(runs=days(month, n))
        counts.append(len(caught))
    assert counts[0] == counts[1]


@pytest.mark.skipif(connection.vendor != "postgresql", reason="SQLite keeps no such counts unless it is asked to")
def test_postgresql_plans_by_what_was_loaded(load_tables):
    load_tables(runs=RUNS, sharpenings=GROUND)
    with connection.cursor() as cursor:
        for model in (Run, Work, Replacement, Piece):
            cursor.execute("SELECT reltuples FROM pg_class WHERE relname = %s", [model._meta.db_table])
            assert cursor.fetchone() == (model.objects.count(),)


def test_a_sharpening_loaded_is_one_line_in_the_list(tmp_path, db):
    load(sound(tmp_path, runs=RUNS, sharpenings=GROUND))
    assert Work.objects.count() == 2
    assert listing.index(sort="work").count() == Work.objects.values("set_key").distinct().count() == 1
