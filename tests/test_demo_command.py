"""`manage.py demo`: a database of its own, twice in a row, clear sentences."""

import os
import socket
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest
from django.conf import settings

pytestmark = pytest.mark.no_database


def demo(folder: Path, *more: str, **environment: str) -> subprocess.CompletedProcess:
    return subprocess.run(
        [sys.executable, "manage.py", "demo", "--folder", str(folder), *more],
        cwd=settings.BASE_DIR,
        env={**os.environ, **environment},
        capture_output=True,
        text=True,
        timeout=240,
    )


def ask(folder: Path, question: str) -> list[tuple]:
    connection = sqlite3.connect(folder / "demo.sqlite3")
    try:
        return connection.execute(question).fetchall()
    finally:
        connection.close()


def test_twice_in_a_row_and_never_in_the_shops_own_database(tmp_path: Path):
    own = tmp_path / "own.sqlite3"
    first = demo(tmp_path / "demo", "--no-serve", DATABASE_URL=f"sqlite:///{own}")
    assert first.returncode == 0, first.stderr
    assert not own.exists()
    assert "Loading three years of records" in first.stdout
    for head in ("Next dies due", "Spares short", "Cost per thousand parts"):
        assert head in first.stdout
    dies = ask(tmp_path / "demo", "SELECT count(*) FROM diestore_die")
    users = ask(tmp_path / "demo", "SELECT username FROM auth_user ORDER BY username")
    assert dies == [(13,)]
    assert [name for (name,) in users] == ["admin", "buyer", "lead", "sales", "setter", "tablet", "toolmaker"]

    second = demo(tmp_path / "demo", "--no-serve", DATABASE_URL=f"sqlite:///{own}")
    assert second.returncode == 0, second.stderr
    assert "Loading" not in second.stdout
    told = first.stdout[first.stdout.index("Next dies due") :]
    assert told in second.stdout, "kept, it says the same"
    assert ask(tmp_path / "demo", "SELECT count(*) FROM maintenance_fleetfit") == [(1,)]


DIES = (
    "die,stock_material,stock_tensile_mpa,stock_thickness_mm,strokes_per_minute,parts_per_hit\nT-1,brass,380,0.8,90,1\n"
)
COMPONENTS = (
    "die,station,position,kind,tool_steel,cut_length_mm,clearance_pct_per_side\nT-1,1,1-A,pierce punch,D2,18,7\n"
)
RUN = "T-1,2026-03-0{n}T06:00:00+00:00,2026-03-0{n}T09:00:00+00:00,9000\n"


def test_made_anew_when_broken_off_or_when_the_tables_changed(tmp_path: Path):
    tables = tmp_path / "tables"
    tables.mkdir()
    (tmp_path / "demo").mkdir()
    (tmp_path / "demo" / "demo.sqlite3").write_bytes(b"half a file")
    (tables / "dies.csv").write_text(DIES)
    (tables / "components.csv").write_text(COMPONENTS)
    for number in (5, 3):
        runs = "".join(RUN.format(n=n) for n in range(1, number + 1))
        (tables / "runs.csv").write_text("die,started,ended,hits\n" + runs)
        made = demo(tmp_path / "demo", "--no-serve", "--fixtures", str(tables))
        assert made.returncode == 0, made.stderr
        assert ask(tmp_path / "demo", "SELECT count(*) FROM maintenance_run") == [(number,)]


def test_a_busy_port_is_told_in_a_sentence(tmp_path: Path):
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        told = demo(tmp_path / "demo", PORT=str(port))
    assert told.returncode == 1
    assert told.stderr.startswith(f"CommandError: Port {port} is in use")
    assert f"such as PORT={port + 1}." in told.stderr
    assert "Traceback" not in told.stderr


@pytest.mark.parametrize(("port", "sentence"), [("abc", "Write a number"), ("70000", "between 1 and 65535")])
def test_a_port_that_is_none(tmp_path: Path, port: str, sentence: str):
    told = demo(tmp_path / "demo", PORT=port)
    assert told.returncode == 1
    assert sentence in told.stderr
    assert "Traceback" not in told.stderr


def test_no_tables_to_show(tmp_path: Path):
    told = demo(tmp_path / "demo", "--no-serve", "--fixtures", str(tmp_path / "nowhere"))
    assert told.returncode == 1
    assert "There are no tables in" in told.stderr
