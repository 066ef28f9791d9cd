"""Laws over random shops: what a load may not depend on, and what no input may bring about."""

from __future__ import annotations

import csv
import io
import random
import tempfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from diestore.register.models import Die
from maintenance.history.cells import line_of, written
from maintenance.history.columns import TABLES
from maintenance.history.load import load
from maintenance.history.problems import HistoryRefused
from tests.history.folders import COMPONENTS, DIES, component, write
from tests.history.shop import as_written, cycles, empty_the_database, fittings, scratch

pytestmark = pytest.mark.django_db
FEW = settings(
    max_examples=12, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
MANY = settings(FEW, max_examples=60)

# Text that may stand in a cell: all but what PostgreSQL and UTF-8 cannot hold.
TEXT = st.text(st.characters(exclude_categories=("Cs",), exclude_characters="\0"), max_size=30)
POSITIONS = ("1-A", "1-B", "3-A")


def moment(minutes: int) -> str:
    day, rest = divmod(minutes, 1440)
    return f"2023-{1 + day // 28:02d}-{1 + day % 28:02d}T{rest // 60:02d}:{rest % 60:02d}:00+00:00"


@st.composite
def shops(draw) -> dict[str, list[dict[str, str]]]:
    """The tables of a small shop that loads: disjoint runs, work and readings at any time, between and inside them."""
    starts = sorted(draw(st.sets(st.integers(0, 300), min_size=1, max_size=8)))
    runs = [
        {
            "die": "H-201",
            "started": moment(1000 * s),
            "ended": moment(1000 * s + draw(st.integers(1, 1000))),
            "hits": str(draw(st.integers(1, 10**8))),
            "note": draw(TEXT),
            "coil": draw(st.sampled_from(["", "coil 1", "=coil"])),
            "person": draw(st.sampled_from(["", "Ina T.", "O'Neil, B."])),
        }
        for s in starts
    ]
    times = st.integers(0, 400_000)
    grinds = [
        {
            "die": "H-201",
            "position": draw(st.sampled_from(POSITIONS)),
            "at": moment(t),
            "removed_mm": draw(st.sampled_from(["", "0.1", "0.125", "1e-3"])),
            "reason": draw(st.sampled_from(["dull", "chipped", "with set", "planned", "other"])),
            "found": draw(st.sampled_from(["", "sharp", "dull", "chipped", "not looked"])),
        }
        for t in sorted(draw(st.sets(times, max_size=8)))
    ]
    changes = [
        {
            "die": "H-201",
            "position": draw(st.sampled_from([*POSITIONS, "2-A"])),
            "at": moment(t),
            "reason": draw(st.sampled_from(["dull", "broken", "ground out"])),
            "tool_steel": draw(st.sampled_from(["", "", "M2"])),
        }
        for t in sorted(draw(st.sets(times, max_size=4)))
    ]
    readings = [
        {
            "die": "H-201",
            "position": draw(st.sampled_from(["", *POSITIONS])),
            "at": moment(t),
            "quantity": draw(st.sampled_from(["burr height", "wear land", "strip height"])),
            "value": str(draw(st.integers(0, 10**6))),
            "unit": draw(st.sampled_from(["um", "mm", "thou", "in"])),
        }
        for t in sorted(draw(st.sets(times, max_size=5)))
    ]
    tables = {"runs": runs, "sharpenings": grinds, "replacements": changes, "readings": readings}
    return {"dies": DIES, "components": COMPONENTS, **{name: rows for name, rows in tables.items() if rows}}


def load_in(tables: dict[str, list[dict[str, str]]]):
    with tempfile.TemporaryDirectory() as folder:
        return load(write(Path(folder), **tables))


def state() -> tuple:
    return as_written(), fittings(), cycles()


@given(shops())
@FEW
def test_out_in_and_out_again_is_the_same(tables):
    with scratch():
        load_in(tables)
        before = state()
        empty_the_database()
        with tempfile.TemporaryDirectory() as folder:
            for name, text in before[0].items():
                (Path(folder) / name).write_text(text, encoding="utf-8", newline="")
            load(folder)
        assert state() == before


@pytest.mark.walk
@given(shops(), st.randoms(use_true_random=False))
@FEW
def test_neither_the_order_of_rows_nor_loading_in_two_parts_matters(tables, chance: random.Random):
    with scratch():
        load_in(tables)
        whole = state()
    shuffled = {name: chance.sample(rows, len(rows)) for name, rows in tables.items()}
    with scratch():
        load_in(shuffled)
        assert state() == whole
    # A new piece is like the one before it, so another steel has to be told no later than what follows from it.
    kept_whole = {"dies", "components"}
    if any(row["tool_steel"] for row in tables.get("replacements", ())):
        kept_whole.add("replacements")
    one, two = {}, {}
    for name, rows in shuffled.items():
        cut = chance.randint(0, len(rows))
        one[name], two[name] = (rows, rows) if name in kept_whole else (rows[:cut], rows[cut:])
    with scratch():
        for part in (one, two):
            load_in({name: rows for name, rows in part.items() if rows})
        assert state() == whole


@given(shops())
@FEW
def test_loading_again_adds_nothing(tables):
    with scratch():
        load_in(tables)
        before = state()
        loaded = load_in(tables)
        assert state() == before
        assert not any(loaded.counts.added.values()) and not any(loaded.counts.changed.values())


GARBAGE = st.one_of(
    TEXT,
    st.sampled_from(
        ["NaN", "-1", "1e400", "9" * 400, "0x10", "1_000", "½", "٣", "2023-02-30", "2023-01-01T25:00", "\x1b[2J", "'",
         "=1+1",
         "9999-12-31T23:59:59-12:00", "0001-01-01", "true", "None", ";", '";"', "\r\n", "\u202e", "1" * 10_001]
    ),
)  # fmt: skip


@pytest.mark.walk
@given(shops(), GARBAGE, st.data())
@MANY
def test_garbage_in_a_cell_is_taken_or_refused_and_nothing_else(tables, garbage, data):
    with scratch():
        name = data.draw(st.sampled_from(sorted(tables)))
        row = data.draw(st.integers(0, len(tables[name]) - 1))
        table = next(t for t in TABLES if t.file == f"{name}.csv")
        column = data.draw(st.sampled_from([c.name for c in table.columns]))
        rows = [dict(r) for r in tables[name]]
        rows[row][column] = garbage
        try:
            load_in(tables | {name: rows})
        except HistoryRefused as refused:
            assert refused.problems and str(refused).endswith("Nothing was saved.")
            assert not Die.objects.exists()
        else:
            before = state()
            load_in(tables | {name: rows})
            assert state() == before


@given(st.binary(max_size=400), st.sampled_from(["dies", "components", "runs"]))
@MANY
def test_any_bytes_are_taken_or_refused(content, name):
    with scratch(), tempfile.TemporaryDirectory() as folder:
        write(Path(folder), dies=DIES, components=[component("1-A")])
        header = (Path(folder) / f"{name}.csv").read_bytes().splitlines(True)[0] if name != "runs" else b"die,hits,x\n"
        (Path(folder) / f"{name}.csv").write_bytes(header + content)
        try:
            load(folder)
        except HistoryRefused:
            assert not Die.objects.exists()


@given(st.lists(TEXT, min_size=1, max_size=6))
@settings(max_examples=200, deadline=None, derandomize=True)
def test_a_line_holds_its_cells(cells):
    """Against the csv module's own reader."""
    assert list(csv.reader(io.StringIO(line_of(cells), newline=""), strict=True)) == [cells]


@given(st.floats(allow_nan=False, allow_infinity=False))
@settings(max_examples=200, deadline=None, derandomize=True)
def test_a_written_number_is_that_number(value):
    assert float(written(value)) == value
