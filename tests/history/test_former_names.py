"""Folders by the names of earlier versions are read for good; what is written has the names of today alone."""

from __future__ import annotations

import pytest

from diestore.register.models import Plant
from maintenance.history.columns import TABLES
from maintenance.history.load import load
from maintenance.history.problems import HistoryRefused
from maintenance.history.write import FolderTaken, write
from tests.history import folders, old_names
from tests.history.shop import as_written, empty_the_database
from tests.history.test_round_trip import everything

A, B = "2024-01-01T06:00:00+00:00", "2024-01-01T12:00:00+00:00"


def test_a_folder_by_its_old_names_makes_the_same_records(db, tmp_path):
    everything()
    write(tmp_path, Plant.objects.get())
    before = as_written()
    heads = {name: text.partition("\n")[0].split(",") for name, text in before.items() if name.endswith(".csv")}
    renamed = old_names.named_as_before(tmp_path)
    assert {(file, "") for file in old_names.FILES} | set(old_names.COLUMNS) <= renamed
    assert {name for _, name in renamed} >= set(old_names.EVERYWHERE)
    empty_the_database()
    loaded = load(tmp_path, allow_future=True)
    assert as_written() == before
    assert any("parties.csv is firms.csv" in note for note in loaded.notes)
    gone = {(t, old_names.old(t, c)) for t, c in renamed if c}
    assert not gone & {(name, column) for name, head in heads.items() for column in head}
    assert not set(old_names.FILES.values()) & set(before)


def test_every_name_of_today_is_in_some_table():
    columns = {(table.file, c.name) for table in TABLES for c in table.columns}
    assert set(old_names.COLUMNS) <= columns and set(old_names.EVERYWHERE) <= {name for _, name in columns}
    assert set(old_names.FILES) <= {table.file for table in TABLES}


def test_old_and_new_name_of_one_file_are_refused(db, tmp_path):
    row = [{"die": "H-201", "at": B, "what": "misfeed"}]
    folder = folders.sound(tmp_path, runs=[folders.run(A, B)], mishaps=row, incidents=row)
    with pytest.raises(HistoryRefused) as refused:
        load(folder)
    said = "incidents.csv: There is mishaps.csv too: incidents.csv is called mishaps.csv now. Leave one of the two"
    assert said in str(refused.value)


def test_old_and_new_name_of_one_column_are_refused(load_tables):
    with pytest.raises(HistoryRefused, match=r"runs.csv, line 1: It has lot and coil, which lot is called now"):
        load_tables(runs=[folders.run(A, B, lot="7", coil="8")])


def test_what_is_wrong_is_told_by_the_names_that_the_folder_has(load_tables):
    with pytest.raises(HistoryRefused) as refused:
        load_tables(runs=[folders.run(A, B, basis="guessed")], incidents=[{"die": "H-202", "at": B, "sort": "misfeed"}])
    assert "runs.csv, line 2, basis: 'guessed' is not one of" in str(refused.value)
    assert "incidents.csv, line 2, die: There is no die 'H-202'" in str(refused.value)


def test_a_column_of_another_table_is_no_old_name(load_tables):
    """`sequence` of stations.csv is its own, and `sort` of runs.csv was never a column."""
    loaded = load_tables(
        runs=[folders.run(A, B, sort="x")], stations=[{"die": "H-201", "station": "1", "sequence": "10"}]
    )
    assert "runs.csv: columns that are not known were left aside: sort." in loaded.notes
    assert not any("earlier version" in note for note in loaded.notes)


def test_writing_anew_takes_the_old_files_away(load_tables, tmp_path):
    load_tables(runs=[folders.run(A, B)], firms=[{"firm": "QF", "role": "customer"}])
    out = tmp_path / "out"
    folders.write(out, parties=[{"party": "QF", "role": "customer"}], rates=[{"kind": "press hour"}])
    with pytest.raises(FolderTaken, match=r"parties.csv already"):
        write(out, Plant.objects.get())
    write(out, Plant.objects.get(), overwrite=True)
    assert (out / "firms.csv").exists() and not set(old_names.FILES.values()) & {p.name for p in out.iterdir()}
