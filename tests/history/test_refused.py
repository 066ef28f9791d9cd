"""A folder that cannot be right: a sentence with file, line and column, nothing saved, no traceback."""

from __future__ import annotations

import datetime as dt

import pytest
from django.core.management import CommandError, call_command

from diestore.register.models import Die, Plant
from maintenance.history.load import load
from maintenance.history.problems import AT_MOST, HistoryRefused
from maintenance.log import write
from maintenance.log.rules import EntryRefused
from maintenance.models import Run
from tests import factories as make
from tests.history import folders
from tests.history.folders import COMPONENTS, DIES, component, ground, run, sound

A, B, C, D = (f"2024-01-05T{hour:02d}:00:00+00:00" for hour in (6, 9, 12, 15))
READING = {"die": "H-201", "position": "1-A", "at": A, "quantity": "burr height", "value": "31", "unit": "um"}
ORDER = {"die": "H-201", "order": "24-1", "parts": "500", "due": "2024-04-06"}
NEXT_YEAR = (dt.datetime.now(dt.UTC) + dt.timedelta(days=370)).isoformat()
STRUCK = {"struck_at": A, "struck_by": "Ina T.", "struck_reason": "a slip"}
PIECE = {"piece": "p1", "mark": "A1"}


def of(position: str, at: str, reason: str = "broken", **more: str) -> dict[str, str]:
    return {"die": "H-201", "position": position, "at": at, "reason": reason} | more


CHANGE = {
    "amendment": "a", "table": "diestore.cut", "row": "H-201;1-A", "called": "1-A of H-201", "sort": "changed",
    "recorded_at": A, "reason": "opened",
}  # fmt: skip
COLUMN = {"amendment": "a", "column": "gap_mm", "label": "gap", "was": "0.1", "now": "0.2"}
CASES = {
    "a heading that a terminal would obey": (
        {"shop": [{"\x1b[2J": "Quillfen"}]},
        "shop.csv, line 1: It lacks the columns name, currency, time_zone, units. Not known: '\\x1b[2j'.",
    ),
    "a clock of nowhere": (
        {"shop": [{"name": "Q", "currency": "EUR", "time_zone": "Europe/Nowhere", "units": "metric"}]},
        "shop.csv, line 2, time_zone: There is no time zone 'Europe/Nowhere'. Write it like Europe/Berlin.",
    ),
    "two shops": (
        {"shop": 2 * [{"name": "Q", "currency": "EUR", "time_zone": "UTC", "units": "metric"}]},
        "shop.csv, line 3: The shop stands in line 2 already.",
    ),
    "a year of a part twice": (
        {"volumes": 2 * [{"part": "P", "year": "2024", "parts": "5"}]},
        "volumes.csv, line 3: P in 2024 stands in line 2 already.",
    ),
    "a change of no table": (
        {"amendments": [CHANGE | {"table": "auth.user"}]},
        "amendments.csv, line 2, table: There is no table 'auth.user' of the register.",
    ),
    "a change without a reason": (
        {"amendments": [CHANGE | {"reason": ""}]},
        "amendments.csv, line 2, reason: A change has a reason.",
    ),
    "a change told twice": (
        {"amendments": [CHANGE, CHANGE]},
        "amendments.csv, line 3, amendment: This stands in line 2 already.",
    ),
    "a change struck out and not why": (
        {"amendments": [CHANGE | {"struck_at": A}]},
        "amendments.csv, line 2, struck_at: A change that was struck out says when and why",
    ),
    "a column that is none": (
        {"amendments": [CHANGE], "amended": [COLUMN | {"column": "history"}]},
        "amended.csv, line 2, column: diestore.cut has no column 'history'.",
    ),
    "a value that cannot stand there": (
        {"amendments": [CHANGE], "amended": [COLUMN | {"was": "wide"}]},
        "amended.csv, line 2, was: 'wide' cannot stand in gap_mm.",
    ),
    "a list that is none": (
        {"amendments": [CHANGE], "amended": [COLUMN | {"column": "upper", "now": '"H-201'}]},
        "amended.csv, line 2, now: This is not a list. Put ; between its items.",
    ),
    "a column of a change that is not told": (
        {"amendments": [CHANGE], "amended": [COLUMN | {"amendment": "b"}]},
        "amended.csv, line 2, amendment: amendments.csv has no change of that name.",
    ),
    "a column of a change twice": (
        {"amendments": [CHANGE], "amended": [COLUMN, COLUMN]},
        "amended.csv, line 3, column: The column gap_mm of this change stands in the file twice.",
    ),
    "unknown die": ({"runs": [run(A, B, die="H-210")]}, "runs.csv, line 2, die: There is no die 'H-210'. Is it H-201?"),
    "unknown position": (
        {"sharpenings": [ground("9-A", A)]},
        "sharpenings.csv, line 2, position: H-201 has no position '9-A'.",
    ),
    "a limit without what it is of": (
        {"components": [component("2-A", "pilot", wear_limit="5.9")]},
        "components.csv, line 2, measured: What is measured and its limit belong together.",
    ),
    "what is measured without a limit": (
        {"components": [component("2-A", "pilot", measured="diameter")]},
        "components.csv, line 2, wear_limit: What is measured and its limit belong together.",
    ),
    "a limit of what can have none": (
        {"components": [component("2-A", "pilot", measured="colour", wear_limit="3")]},
        "components.csv, line 2, measured: colour cannot have a limit. Write one of: bore clearance,",
    ),
    "negative hits": ({"runs": [run(A, B, -5)]}, "runs.csv, line 2, hits: -5 cannot be: 1 is the least."),
    "no hits": ({"runs": [run(A, B, 0)]}, "hits: 0 cannot be"),
    "a billion hits and more": (
        {"runs": [run(A, B, 10**12)]},
        "hits: 1,000,000,000,000 cannot be: 100,000,000 is the most",
    ),
    "hits beyond any number": ({"runs": [run(A, B, "9" * 5000)]}, "hits: '9999"),
    "hits in letters": ({"runs": [run(A, B, "many")]}, "hits: 'many' is not a whole number."),
    "half a hit": ({"runs": [run(A, B, "10.5")]}, "hits: '10.5' is not a whole number."),
    "thousands with a comma": ({"runs": [run(A, B, "10,500")]}, "hits: '10,500' is not a whole number. Write a point"),
    "not a number": (
        {"sharpenings": [ground("1-A", A, removed_mm="NaN")]},
        "removed_mm: 'NaN' is not a number. Leave the cell empty",
    ),
    "raised by grinding": (
        {
            "other_work": [
                {
                    "die": "H-201",
                    "position": "1-A",
                    "at": A,
                    "operation": "repaired",
                    "reason": "other",
                    "raised_mm": "1",
                }
            ]
        },
        "other_work.csv, line 2, raised_mm: No piece stands higher by being repaired: only a spacer does that.",
    ),
    "infinite": ({"dies": [DIES[0] | {"strokes_per_minute": "inf"}]}, "strokes_per_minute: 'inf' is not a number."),
    "too large for a number": ({"dies": [DIES[0] | {"strokes_per_minute": "1e999"}]}, "'1e999' is too large."),
    "thickness nought": ({"dies": [DIES[0] | {"stock_thickness_mm": "0"}]}, "stock_thickness_mm: 0 cannot be"),
    "end before start": (
        {"runs": [run(B, A)]},
        "runs.csv, line 2, ended: The run ends 5 Jan 2024, 06:00, before it starts",
    ),
    "end at start": ({"runs": [run(A, A)]}, "before it starts"),
    "overlapping runs": (
        {"runs": [run(A, C), run(B, D)]},
        "runs.csv, line 3, started: The run of H-201 from 5 Jan 2024, 09:00 to 5 Jan 2024, 15:00 overlaps the one from "
        "5 Jan 2024, 06:00 to 5 Jan 2024, 12:00 in line 2.",
    ),
    "a run inside a run": ({"runs": [run(B, C), run(A, D)]}, "line 3, started"),
    "the same run told twice": (
        {"runs": [run(A, B, 10), run(A, B, 11)]},
        "runs.csv, line 3: Line 2 tells the run of H-201",
    ),
    "the same key for two entries": (
        {"runs": [run(A, B, entry_id="k"), run(C, D, entry_id="k")]},
        "runs.csv, line 3, entry_id: Line 2 tells",
    ),
    "a run in the future": ({"runs": [run(A, NEXT_YEAR)]}, "is still to come. Enter when it happened."),
    "a run in the Middle Ages": ({"runs": [run("1066-10-14T09:00:00+00:00", B)]}, "is too long ago. Check the year."),
    "at the end of time": ({"runs": [run("0001-01-01T00:00:00+14:00", B)]}, "line 2, started"),
    "a date as a spreadsheet counts it": ({"runs": [run("45296.25", B)]}, "started: '45296.25' is not a time."),
    "the day before the month": ({"runs": [run("05.01.2024 06:00", B)]}, "is not a time. Write it like"),
    "a missing cell": ({"runs": [run(A, B, "")]}, "runs.csv, line 2, hits: This cell must not be empty."),
    "an unknown unit": (
        {"readings": [READING | {"unit": "furlong"}]},
        "readings.csv, line 2, unit: 'furlong' is not a unit for the burr height; write",
    ),
    "a unit of something else": (
        {"readings": [READING | {"unit": "kN"}]},
        "unit: 'kN' is not a unit for the burr height",
    ),
    "a reading that is no number": ({"readings": [READING | {"value": "high"}]}, "readings.csv, line 2, value:"),
    "a reading that is not finite": ({"readings": [READING | {"value": "nan"}]}, "readings.csv, line 2, value:"),
    "a reading below nought": (
        {"readings": [READING | {"value": "-3"}]},
        "value: The burr height is -3; it must be nought",
    ),
    "a reading with two values": (
        {"readings": [READING | {"value_si": "1"}]},
        "value_si: 31 um is 3.1e-05 in SI units",
    ),
    "a quantity at length": ({"readings": [READING | {"quantity": "b" * 61}]}, "quantity: 'bbb"),
    "sharpened before it was fitted": (
        {"components": [component("1-A", fitted=B)], "sharpenings": [ground("1-A", A)]},
        "sharpenings.csv, line 2, at: 1-A of H-201 was fitted on 5 Jan 2024, 09:00, after this. Check the date.",
    ),
    "replaced before it was fitted": (
        {"components": [component("1-A", fitted=B)], "replacements": [of("1-A", A)]},
        "replacements.csv, line 2, at: 1-A of H-201 was fitted on 5 Jan 2024, 09:00, after this.",
    ),
    "sharpened where nothing sits": (
        {"replacements": [of("1-A", A, take_out="yes")], "sharpenings": [ground("1-A", B)]},
        "at: Nothing sat in 1-A of H-201 on 5 Jan 2024, 09:00.",
    ),
    "replaced where nothing ever sat": (
        {"components": [component("1-A", empty_at_start="yes")], "replacements": [of("1-A", A)]},
        "replacements.csv, line 2, at: Nothing sat in 1-A",
    ),
    "measured before it was fitted": (
        {"components": [component("1-A", fitted=B)], "readings": [READING]},
        "readings.csv, line 2, at: 1-A of H-201 was fitted",
    ),
    "a pilot is not ground": (
        {"sharpenings": [ground("2-A", A)]},
        "sharpenings.csv, line 2, position: 2-A is a pilot, which is not ground.",
    ),
    "one piece in two places": (
        {
            "components": [component("1-A", piece="p1"), component("1-B")],
            "replacements": [of("1-B", A, piece="p1")],
        },
        "replacements.csv, line 2, piece: The piece 'p1' cannot go into 1-B of H-201: it sits in 1-A of H-201",
    ),
    "one piece first in two places": (
        {"components": [component("1-A", piece="p1"), component("1-B", piece="p1")]},
        "components.csv, line 3, piece: The piece 'p1' cannot go into 1-B",
    ),
    "two marks": (
        {"components": [component("1-A", mark="A1"), component("1-B", mark="A1")]},
        "components.csv, line 3, mark: Another piece has the mark A1 already.",
    ),
    "one piece told in two ways": (
        {"components": [component("1-A", piece="p1")], "pieces": [PIECE | {"tool_steel": "M2"}]},
        "pieces.csv, line 2, mark: components.csv, line 2 describes the piece 'p1' otherwise.",
    ),
    "an unknown piece": ({"replacements": [of("1-A", A, piece="p9")]}, "piece: There is no piece with the key 'p9'."),
    "positions twice": (
        {"components": [component("1-A"), component("1-A")]},
        "components.csv, line 3: Position 1-A of H-201 stands in line 2 already.",
    ),
    "dies twice": ({"dies": DIES * 2}, "dies.csv, line 3: H-201 stands in line 2 already."),
    "an unknown kind": (
        {"components": [component("1-A", "pierc punch")]},
        "components.csv, line 2, kind: 'pierc punch' is not a kind of component. Did you mean pierce punch",
    ),
    "a reason that is none": (
        {"sharpenings": [ground("1-A", A, reason="worn")]},
        "reason: 'worn' is not one of: dull, chipped, with set, planned, engineering change, other.",
    ),
    "younger than its last sharpening": (
        {"components": [component("1-A", opening_life_hits="10", opening_hits_since_sharpening="11")]},
        "opening_hits_since_sharpening: 11 hits since it was sharpened are more than the 10 of its whole life.",
    ),
    "an order of an unknown part": (
        {"dies": [DIES[0] | {"parts_per_hit": "0"}], "orders": [ORDER]},
        "orders.csv, line 2, die: H-201 makes no part; name the one",
    ),
    "an order for which of the parts": (
        {
            "parts_per_hit": [{"die": "H-201", "part": p, "parts_per_hit": "1"} for p in ("left", "right")],
            "orders": [ORDER],
        },
        "orders.csv, line 2, die: H-201 makes several parts; name the one",
    ),
    "a due date that is none": ({"orders": [ORDER | {"due": "next week"}]}, "due: 'next week' is not a date."),
    "a run for an unknown order": ({"runs": [run(A, B, order="24-9")]}, "order: There is no order '24-9'."),
    "a run of unknown inserts": ({"runs": [run(A, B, variant="long")]}, "variant: H-201 has no set of inserts 'long'."),
    "a run of unknown stock": ({"runs": [run(A, B, stock="tin")]}, "stock: There is no stock 'tin'."),
    "struck out by nobody": (
        {"runs": [run(A, B, struck_at=C)]},
        "struck_at: A struck-out row says when, by whom and why",
    ),
    "replaced by what is not there": (
        {"runs": [run(A, B, **STRUCK, replaced_by="k9")]},
        "runs.csv, line 2, replaced_by: There is no entry called 'k9'.",
    ),
    "more hits taken off than made": (
        {
            "runs": [run(A, B, 100)],
            "corrections": [{"die": "H-201", "at": C, "hits": "-101", "with_stock": "yes", "reason": "miscount"}],
        },
        "corrections.csv, line 2, hits: 101 hits cannot be taken off: only 100 are logged for H-201",
    ),
    "a correction by nought": (
        {"corrections": [{"die": "H-201", "at": C, "hits": "0", "with_stock": "no", "reason": "none"}]},
        "not nought",
    ),
    "a stop for no cause": (
        {"stops": [{"die": "H-201", "at": A, "cause": "lunch", "minutes": "30"}]},
        "stops.csv, line 2, cause: 'lunch' is not one of",
    ),
    "money with five decimals": (
        {"spares": [{"spare": "P", "on_hand": "1", "on_order": "0", "lead_days": "1", "unit_price": "0.00001"}]},
        "unit_price: '0.00001' has more than four decimals.",
    ),
    "a cut of nothing": (
        {"cuts": [{"die": "H-201", "cut": "hole", "length_mm": "10"}]},
        "cuts.csv, line 2, upper: Name the position of its punch",
    ),
    "a stock that is another": (
        {
            "strip_stock": [{"stock": "S", "material": "brass", "tensile_mpa": "400", "thickness_mm": "1"}],
            "dies": [DIES[0] | {"stock": "S"}],
        },
        "dies.csv, line 2, stock: The stock S is brass, 400 MPa, 1 mm; this row says low-carbon steel, 340 MPa",
    ),
    "two plants": (
        {"plants": [{"plant": "a"}, {"plant": "b"}]},
        "plants.csv, line 3, plant: A folder is of one plant.",
    ),
    "a missing column": (
        {"runs": [{"die": "H-201", "started": A, "ended": B}]},
        "runs.csv, line 1: It lacks the column hits. The first line must name the columns.",
    ),
    "a cell too long": (
        {"runs": [run(A, B, note="x" * 10_001)]},
        "runs.csv, line 2, note: A cell of 10,001 characters",
    ),
    "a cell of five megabytes": (
        {"runs": [run(A, B, note="x" * 5_000_000)]},
        "runs.csv, line 2: More than 1,000,000 bytes in one line.",
    ),
}


@pytest.mark.parametrize("name", CASES)
def test_refused_with_a_sentence(name, tmp_path, db):
    tables, sentence = CASES[name]
    folder = sound(tmp_path / "folder", **tables)
    with pytest.raises(CommandError) as refused:
        call_command("load_history", folder)
    text = str(refused.value)
    assert sentence in text
    assert text.endswith("Nothing was saved.") and refused.value.returncode == 1
    assert len(text) < 5_000 and text.replace("\n", "").isprintable()
    assert not Plant.objects.exists() and not Die.objects.exists() and not Run.objects.exists()


RUNS_HEADER = b"die,started,ended,hits,note\n"
GOOD = f"H-201,{A},{B},100,".encode()
RAW = {
    "wrong encoding": (
        RUNS_HEADER + GOOD + b"fine\n" + GOOD + b"gr\xfcn\n",
        "runs.csv, line 3: This line is not UTF-8",
    ),
    "UTF-16": ("die,started".encode("utf-16"), "runs.csv, line 1: This is UTF-16, not UTF-8."),
    "a NUL byte": (RUNS_HEADER + GOOD + b"a\0b\n", "runs.csv, line 2: There is a NUL byte in this line."),
    "empty": (b"", "runs.csv: It is empty; the first line must name the columns."),
    "only blank lines": (b"\n\n", "runs.csv: It is empty"),
    "no header": (GOOD + b"x\n", "runs.csv, line 1: It lacks the columns die, started, ended, hits."),
    "semicolons": (RUNS_HEADER.replace(b",", b";"), "Columns are parted by commas."),
    "a column twice": (b"die,die,started,ended,hits\n", "runs.csv, line 1: It has the column die twice."),
    "a quote left open": (
        RUNS_HEADER + GOOD + b'"open\n' + GOOD + b"x\n",
        "line 2: A quote is opened in this row and not",
    ),
    "quotes in the wrong place": (RUNS_HEADER + GOOD + b'"a"b\n', "runs.csv, line 2: The quotes or line ends"),
    "a comma too many": (RUNS_HEADER + GOOD + b"a,b\n", "runs.csv, line 2: This row has 6 cells, the header row 5."),
    "a cell too few": (RUNS_HEADER + b"H-201\n", "runs.csv, line 2: This row has 1 cells, the header row 5."),
    "line ends of old": (RUNS_HEADER.replace(b"\n", b"\r") + GOOD + b"\r", "runs.csv, line 1"),
}


@pytest.mark.parametrize("name", RAW)
def test_files_that_are_no_tables(name, tmp_path, db):
    content, sentence = RAW[name]
    folder = sound(tmp_path / "folder")
    (folder / "runs.csv").write_bytes(content)
    with pytest.raises(CommandError) as refused:
        call_command("load_history", folder)
    assert sentence in str(refused.value)
    assert not Die.objects.exists()


def test_lines_count_from_where_a_row_begins(tmp_path, db):
    rows = [run(A, B, note="over\nthree\nlines"), run(C, D, -1)]
    with pytest.raises(HistoryRefused, match=r"runs\.csv, line 5, hits"):
        load(sound(tmp_path / "f", runs=rows))


def test_every_problem_is_told_up_to_the_most(tmp_path, db):
    rows = [run(A, B, -1) for _ in range(3)]
    with pytest.raises(HistoryRefused) as refused:
        load(sound(tmp_path / "a", runs=rows, sharpenings=[ground("2-A", A), ground("9-Z", A)]))
    assert [(p.file, p.line) for p in refused.value.problems] == [
        ("runs.csv", 2),
        ("runs.csv", 3),
        ("runs.csv", 4),
        ("sharpenings.csv", 3),
        ("sharpenings.csv", 2),
    ]
    with pytest.raises(HistoryRefused) as refused:
        load(sound(tmp_path / "b", runs=[run(A, B, -1) for _ in range(50)]))
    assert len(refused.value.problems) == AT_MOST
    assert "After 20 problems the rest was not looked at." in str(refused.value)


def test_every_time_in_a_refusal_is_the_shops_own(tmp_path, db, settings):
    """Whatever zone a folder is written in. Vienna is an hour ahead of UTC in winter (Central European Time)."""
    settings.TIME_ZONE = "Europe/Vienna"
    with pytest.raises(HistoryRefused) as refused:
        load(sound(tmp_path / "a", runs=[run(A, C), run(B, "2024-01-05T20:30:00+05:30")]))
    assert (
        "The run of H-201 from 5 Jan 2024, 10:00 to 5 Jan 2024, 16:00 overlaps the one from 5 Jan 2024, 07:00 to "
        "5 Jan 2024, 13:00 in line 2."
    ) in str(refused.value)
    with pytest.raises(HistoryRefused, match=r"ends 5 Jan 2024, 07:00, before it starts \(5 Jan 2024, 10:00\)"):
        load(sound(tmp_path / "b", runs=[run(B, A)]))
    load(sound(tmp_path / "c", runs=[run(A, C)]))
    die = Die.objects.get(code="H-201")
    start, end = (dt.datetime.fromisoformat(text) for text in (B, D))
    with pytest.raises(EntryRefused, match="has a run from 5 Jan 2024, 07:00 to 5 Jan 2024, 13:00 already"):
        write.log_run(by=make.actor(), die=die, started=start, ended=end, hits=100)


def test_no_such_folder_a_file_and_an_empty_folder(tmp_path, db):
    (tmp_path / "file").write_text("x")
    (tmp_path / "empty").mkdir()
    for name, sentence in (
        ("missing", "There is no such folder."),
        ("file", "This is a file; a folder is needed."),
        ("empty", "None of the files of a history folder is in it"),
    ):
        with pytest.raises(CommandError, match=sentence):
            call_command("load_history", tmp_path / name)


def test_one_bad_row_undoes_a_load_into_records_that_stand(tmp_path, db):
    load(sound(tmp_path / "a", runs=[run(A, B, 100)]))
    with pytest.raises(HistoryRefused):
        load(sound(tmp_path / "b", runs=[run(C, D, 100)], readings=[READING | {"unit": "ell"}]))
    assert [r.hits for r in Run.objects.all()] == [100]
    with pytest.raises(
        HistoryRefused, match=r"overlaps the one from 5 Jan 2024, 06:00 to 5 Jan 2024, 09:00 in the record"
    ):
        load(sound(tmp_path / "c", runs=[run("2024-01-05T08:00:00Z", C, 100)]))


def test_times_to_come_are_taken_where_that_is_said(tmp_path, db):
    folder = sound(tmp_path / "a", runs=[run(A, NEXT_YEAR, 100)])
    call_command("load_history", folder, allow_future=True, verbosity=0)
    assert Run.objects.count() == 1


def test_what_the_database_itself_refuses_is_a_sentence_too(tmp_path, db):
    load(sound(tmp_path / "a", components=[component("1-A", piece="p1")]))
    with pytest.raises(HistoryRefused, match="The database refuses this"):
        load(sound(tmp_path / "b", components=[component("1-A", piece="p1")]), plant="another")
    assert Plant.objects.count() == 1


def test_write_refuses_a_folder_that_holds_tables(tmp_path, db):
    load(sound(tmp_path / "a"))
    with pytest.raises(CommandError, match=r"holds dies\.csv already"):
        call_command("write_history", tmp_path / "a")
    call_command("write_history", tmp_path / "a", overwrite=True, verbosity=0)
    (tmp_path / "file").write_text("x")
    with pytest.raises(CommandError, match="cannot be written"):
        call_command("write_history", tmp_path / "file" / "below")


def test_overwriting_takes_away_tables_that_have_no_row_now(tmp_path, db):
    load(folders.sound(tmp_path / "a", components=COMPONENTS))
    stale = folders.write(tmp_path / "b", stops=[{"die": "H-201"}], notes=[{"mine": "kept"}])
    call_command("write_history", stale, overwrite=True, verbosity=0)
    assert not (stale / "stops.csv").exists() and (stale / "notes.csv").exists()


@pytest.mark.parametrize("text", ["2024-03-31T02:30:00", "2024-10-27T02:30:00", "2024-10-27 02:00"])
def test_an_hour_that_summer_time_leaves_out_or_has_twice_is_no_time(db, tmp_path, settings, text):
    """In Vienna the clocks go forward at 2 on 31 March 2024 and back at 3 on 27 October (tz database, rule EU)."""
    settings.TIME_ZONE = "Europe/Vienna"
    begin = "2024-01-05T06:00:00+00:00"
    with pytest.raises(HistoryRefused, match=r"line 2, ended: .* the clocks changed in that hour. Write the offset"):
        load(sound(tmp_path / "a", runs=[run(begin, text)]))
    assert not Run.objects.exists()
    beside = [
        run("2024-03-31T01:59:00", "2024-03-31T03:00:00"),
        run("2024-10-27T01:59:00", "2024-10-27T02:30:00+01:00"),
    ]
    load(sound(tmp_path / "b", runs=beside))
    assert [(r.at - r.started).total_seconds() / 60 for r in Run.objects.order_by("at")] == [1, 91]
