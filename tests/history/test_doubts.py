"""What forms stop, a folder does not take in silence: refused where it cannot be, doubted where it hardly can."""

from __future__ import annotations

import datetime as dt

import pytest
from django.core.management import CommandError, call_command

from diestore.register.models import Die
from maintenance.history.load import load
from maintenance.history.problems import HistoryRefused
from maintenance.log import doubts
from maintenance.models import Run, StockMovement
from tests.history import folders

RUN = folders.run("2024-01-08T06:00:00+00:00", "2024-01-08T14:00:00+00:00", 30_000)
SPARE = {"spare": "PP-6", "on_hand": "10", "on_order": "0", "lead_days": "7", "unit_price": "4"}


@pytest.mark.no_database
def test_sentences_are_empty_where_there_is_no_doubt():
    shift = dt.timedelta(hours=8)
    assert doubts.of_hits(28_800, shift, 60) == doubts.of_hits(57_600, shift, 60) == ""
    assert doubts.of_hits(57_601, shift, 60) and doubts.of_hits(14_399, shift, 60)
    assert doubts.of_hits(14_399, shift, 60, least=False) == ""
    assert not any((doubts.of_gap_pct(6), doubts.of_thickness(1.2), doubts.of_steel("D-2"), doubts.of_steel("")))
    assert not any((doubts.of_stop(60), doubts.of_allowance(6, 6), doubts.of_allowance(15, None)))


def said_of(loaded) -> list[str]:
    return [str(doubt) for doubt in loaded.doubts]


@pytest.mark.django_db
def test_a_sound_folder_is_not_doubted(load_tables):
    assert said_of(load_tables(runs=[RUN], sharpenings=[folders.ground("1-A", "2024-01-08T15:00:00+00:00")])) == []


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("tables", "said"),
    [
        ({"runs": [RUN | {"hits": "2600000"}]}, "runs.csv, line 2, hits: In 8 h this die makes about 38,400 hits"),
        (
            {"runs": [RUN], "sharpenings": [folders.ground("1-A", "2024-01-09T06:00:00+00:00", removed_mm="15")]},
            "sharpenings.csv, line 2, removed_mm: 15 mm off is more than the whole grind allowance of the piece, 4 mm.",
        ),
        (
            {"runs": [RUN], "sharpenings": [folders.ground("1-A", "2023-12-01T06:00:00+00:00")]},
            "sharpenings.csv, line 2, at: It was ground on 1 Dec 2023, 06:00, before the records of this die begin",
        ),
        (
            {"runs": [RUN], "dies": [folders.DIES[0] | {"stock_thickness_mm": "0.060"}]},
            "dies.csv, line 2, stock_thickness_mm: 0.06 mm is very thin for strip. If it is 0.06 in, write 1.524.",
        ),
        (
            {"runs": [RUN], "components": [folders.component("1-A", clearance_pct_per_side="0.09")]},
            "components.csv, line 2, clearance_pct_per_side: A gap of 0.09 % of the thickness is hardly one.",
        ),
        (
            {"runs": [RUN], "components": [folders.component("1-A", tool_steel="DD2")]},
            "components.csv, line 2, tool_steel: The handbook holds no steel 'DD2', so it tells "
            "nothing of the life. Is it D2",
        ),
        ({}, "runs.csv: There are no runs, here or in the records"),
    ],
)
def test_what_hardly_can_be_is_doubted_and_taken(load_tables, tables, said):
    loaded = load_tables(**tables)
    assert any(doubt.startswith(said) for doubt in said_of(loaded)), said_of(loaded)
    assert Die.objects.exists()


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("tables", "said"),
    [
        (
            {"runs": [RUN | {"hits": "26.000"}]},
            "runs.csv, line 2, hits: '26.000' could be 26,000 or 26. Write 26000, or 26.",
        ),
        ({"components": [folders.component("1-A", hardness_hrc="HRC 60")]}, "'HRC 60' is not a number. Write 60 alone"),
        ({"components": [folders.component("1-A", hardness_hrc="60-62")]}, "Write one number: of 60 to 62 the middle."),
        (
            {"components": [folders.component("1-A", clearance_pct_per_side="6 %")]},
            "'6 %' is not a number. Write 6 alone",
        ),
        ({"components": [folders.component("1-A", length_mm="0.060 in")]}, "Write 0.060 alone: the unit stands in the"),
        ({"runs": [RUN, {"die": "Total", "hits": "30000"}]}, "runs.csv, line 3: This looks like a sum of other rows."),
    ],
)
def test_what_cannot_be_read_says_what_to_write(load_tables, tables, said):
    with pytest.raises(HistoryRefused) as refused:
        load_tables(**tables)
    assert said in str(refused.value) and not Die.objects.exists()


@pytest.mark.django_db
def test_five_errors_in_four_tables_are_told_at_once(load_tables):
    with pytest.raises(HistoryRefused) as refused:
        load_tables(
            dies=[folders.DIES[0] | {"stock_thickness_mm": "thin"}],
            components=[folders.component("1-A", hardness_hrc="HRC 60"), folders.component("1-B", length_mm="long")],
            runs=[RUN | {"hits": "many"}],
            orders=[{"die": "H-201", "order": "26-1", "parts": "5", "due": "soon"}],
        )
    files = [problem.file for problem in refused.value.problems]
    assert files == ["dies.csv", "components.csv", "components.csv", "orders.csv", "runs.csv"]


@pytest.mark.django_db
def test_a_column_of_another_name_is_named(load_tables):
    die = dict(folders.DIES[0])
    die["strokes_minute"] = die.pop("strokes_per_minute")
    with pytest.raises(
        HistoryRefused, match=r"Not known: strokes_minute\. Is strokes_minute meant for strokes_per_minute"
    ):
        load_tables(dies=[die])


@pytest.mark.django_db
def test_semicolons_are_told(tmp_path):
    folder = folders.sound(tmp_path)
    (folder / "runs.csv").write_text("die;started;ended;hits\nH-201;2024-01-08;2024-01-09;1,5\n", encoding="utf-8")
    with pytest.raises(HistoryRefused, match="parted by semicolons: save it anew, decimals with a point"):
        load(folder)


@pytest.mark.django_db
def test_a_file_is_known_whatever_its_capitals(tmp_path):
    folder = folders.sound(tmp_path, runs=[RUN])
    (folder / "dies.csv").rename(folder / "Dies.csv")
    (folder / "runs.csv").rename(folder / "RUNS.CSV")
    load(folder)
    assert Die.objects.count() == 1 and Run.objects.count() == 1


@pytest.mark.django_db
def test_an_old_list_of_spares_does_not_set_the_shelf_back(load_tables):
    load_tables(runs=[RUN], spares=[SPARE])
    item = StockMovement.objects.get().item
    StockMovement.objects.create(
        item=item,
        plant=StockMovement.objects.get().plant,
        quantity=5,
        kind="delivered",
        place="shelf",
        at=dt.datetime(2024, 1, 7, tzinfo=dt.UTC),
        through="form",
        key="came",
    )
    loaded = load_tables(bare=True, spares=[SPARE])
    assert sum(StockMovement.objects.values_list("quantity", flat=True)) == 15
    assert said_of(loaded)[-1] == (
        "spares.csv, line 2, on_hand: PP-6: 15 on the shelf by the record, 10 in the file, "
        "which does not say when they "
        "were counted. Left as it is; write counted_at to have it set."
    )
    dated = load_tables(bare=True, spares=[SPARE | {"counted_at": "2024-04-01T12:00:00+00:00"}])
    assert sum(StockMovement.objects.values_list("quantity", flat=True)) == 10
    assert "PP-6: 15 on the shelf by the record, 10 in the file, as of 1 Apr 2024" in " ".join(dated.notes)


@pytest.mark.django_db
def test_a_dry_run_saves_nothing_and_lists_what_is_doubtful(tmp_path, capsys):
    folder = folders.sound(tmp_path, runs=[RUN | {"hits": "2600000"}])
    call_command("load_history", str(folder), "--dry-run")
    said = capsys.readouterr().out
    assert "Doubtful, 1 in all:" in said and "2,600,000 is more than double" in said
    assert "This was a dry run: nothing was saved." in said and not Die.objects.exists() and not Run.objects.exists()
    (folder / "runs.csv").write_text("die,hits\n", encoding="utf-8")
    with pytest.raises(CommandError, match="lacks the columns started, ended"):
        call_command("load_history", str(folder), "--dry-run")
