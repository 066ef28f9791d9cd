"""A long load on SQLite: others save meanwhile, and what comes of it is what a load in place makes. With real files."""

from __future__ import annotations

import pytest

from fixtures.made_fleet import simulate_fleet

# Called while the folder is read: a save of somebody else, in a connection of its own that waits for nobody.
MEANWHILE = """
import sqlite3
from django.conf import settings
from maintenance.history import beside, load as loading
LATE = {late!r}
told = {{"saved": 0, "held_up": 0}}

def progress(total):
    read = [0]
    def tell(bytes_read):
        read[0] += bytes_read
        if read[0] > total / 2 and told["saved"] + told["held_up"] < {times}:
            other = sqlite3.connect(settings.DATABASES["default"]["NAME"], timeout=0.1)
            try:
                with other:
                    other.execute(LATE)
                told["saved"] += 1
            except sqlite3.OperationalError as error:
                assert "locked" in str(error), error
                told["held_up"] += 1
            finally:
                other.close()
            read[0] = 0
    return tell

loading.LONG_BYTES = {long}
loaded = loading.load({folder!r}, allow_future=True, progress=progress)
told["added"] = {{what: n for what, n in loaded.counts.added.items() if n}}
"""
PARTY = "INSERT INTO diestore_party (code, name, role) VALUES ('late-' || hex(randomblob(4)), '', 'customer')"


@pytest.fixture
def fleet(tmp_path):
    simulate_fleet(tmp_path / "fleet", dies=8, seed=3)
    return tmp_path / "fleet"


@pytest.fixture
def two_sites(new_site):
    made = new_site(), new_site()
    if made[0].is_postgresql:
        pytest.skip("PostgreSQL lets others write meanwhile")
    return made


WHEN_WRITTEN = {"history_date", "recorded_at", "placed_at", "made_at", "created_at", "seen_at", "changed_at"}


def rows(site, table: str) -> list[tuple]:
    """All rows of a table in their order. A key is the place of its row: numbers differ from load to load."""
    keys = {column: of for _, _, of, column, *_ in site.sql(f"PRAGMA foreign_key_list({table})")}
    keys = {column: of for column, of in keys.items() if of != "diestore_party"}
    columns = [name for _, name, _, _, _, is_key in site.sql(f"PRAGMA table_info({table})") if not is_key]
    columns = [c for c in columns if c not in WHEN_WRITTEN and (c != "at" or "change" not in table)]
    columns = [c for c in columns if not (c == "id" and "historical" in table)]
    asked = [
        f'(SELECT count(*) FROM {keys[c]} AS k WHERE k.id <= t."{c}")' if c in keys else f't."{c}"' for c in columns
    ]
    return site.sql(f"SELECT {', '.join(asked) or 'count(*)'} FROM {table} AS t ORDER BY t.rowid")


def test_others_save_while_a_long_load_runs_and_it_makes_what_a_load_in_place_makes(two_sites, fleet):
    site, other = two_sites
    told = site.do(MEANWHILE.format(late=PARTY, folder=str(fleet), times=1, long=0))
    assert told["saved"] == 1 and told["held_up"] == 0
    in_place = other.do(MEANWHILE.format(late=PARTY, folder=str(fleet), times=1, long=10**12))
    assert in_place["held_up"] == 1  # so it is this that lets others in
    assert told["added"] == in_place["added"]
    tables = [name for (name,) in site.sql("SELECT name FROM sqlite_master WHERE type = 'table'")]
    tables = [t for t in tables if t.startswith(("diestore_", "maintenance_")) and t != "diestore_party"]
    assert len(tables) > 30
    for table in tables:
        assert rows(site, table) == rows(other, table), table
    assert site.sql("PRAGMA foreign_key_check") == [] and site.sql("PRAGMA integrity_check") == [("ok",)]
    assert site.number("SELECT count(*) FROM diestore_party WHERE code LIKE 'late-%'") == 1
    assert not list(site.database_file.parent.glob(".load-*"))
    again = site.do(MEANWHILE.format(late=PARTY, folder=str(fleet), times=0, long=0))
    assert again["added"] == {}
    for table in ("diestore_die", "maintenance_run", "maintenance_benchwork"):  # numbers set aside are given back
        last = site.number(f"SELECT COALESCE(MAX(id), 0) FROM {table}")
        assert site.number(f"SELECT seq FROM sqlite_sequence WHERE name = '{table}'") == last, table


def test_where_another_changes_the_same_row_meanwhile_the_load_is_done_again(two_sites, fleet):
    site, _ = two_sites
    site.do(MEANWHILE.format(late=PARTY, folder=str(fleet), times=0, long=0))
    dies = (fleet / "dies.csv").read_text().replace("in service", "stored")
    columns = dies.splitlines()[0].split(",")
    assert "strokes_per_minute" in columns
    changed = [dies.splitlines()[0]]
    for line in dies.splitlines()[1:]:
        cells = line.split(",")
        cells[columns.index("strokes_per_minute")] = "77"
        changed.append(",".join(cells))
    (fleet / "dies.csv").write_text("\n".join(changed) + "\n")
    late = "UPDATE diestore_die SET description = 'by another' WHERE id = (SELECT MIN(id) FROM diestore_die)"
    site.do(MEANWHILE.format(late=late, folder=str(fleet), times=1, long=0))
    assert site.number("SELECT count(*) FROM diestore_die WHERE strokes_per_minute = 77") == 8
    kept = site.sql("SELECT description FROM diestore_die ORDER BY id")[0][0]
    assert kept == "by another" or "description" in columns  # his word stands unless the folder has one


def test_a_refused_load_leaves_nothing_behind(two_sites, fleet):
    site, _ = two_sites
    with (fleet / "runs.csv").open("a") as file:
        file.write("NOBODY,2026-01-01T00:00:00+00:00\n")
    with pytest.raises(AssertionError, match="HistoryRefused"):
        site.do(MEANWHILE.format(late=PARTY, folder=str(fleet), times=0, long=0))
    assert site.number("SELECT count(*) FROM diestore_die") == 0
    assert not list(site.database_file.parent.glob(".load-*"))
