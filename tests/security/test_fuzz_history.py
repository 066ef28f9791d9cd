"""Whatever stands in a history folder: it is loaded, or refused with sentences that name file and line.

A few hundred folders in the suite; ten thousand with

    pytest tests/security/test_fuzz_history.py --hypothesis-profile=search
"""

from __future__ import annotations

import tempfile
from pathlib import Path

import pytest
from django.apps import apps
from django.contrib.auth.models import User
from django.core.management import CommandError, call_command
from django.db import connection
from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st

from diestore.access.models import Shop
from diestore.register import actions
from diestore.register.models import Cut, Part, Volume
from maintenance.history.columns import TABLES
from maintenance.history.load import load
from maintenance.history.problems import AT_MOST, HistoryRefused
from maintenance.log import write
from maintenance.models import Event, fresh_key
from tests import factories as make
from tests.history.shop import as_written, scratch
from tests.pages import money_shop

from .mangling import mangled

pytestmark = pytest.mark.django_db
CASES = 10_000 if settings.get_current_profile_name() == "search" else 150
FUZZ = settings(
    max_examples=CASES,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow, HealthCheck.data_too_large],
)
KNOWN = {table.file for table in TABLES}
_sound: dict[str, bytes] = {}


def sound_files() -> dict[str, bytes]:
    """Every table of a small shop in which everything has happened once, as the service writes it."""
    if not _sound:
        with scratch():
            item = money_shop.spare("PP-6.0-M2", on_hand=2)
            die = money_shop.worked_die("H-900", item, cycles=1)
            money_shop.rates()
            make.order(die)
            at = die.positions.get(code="1-A")
            by = make.actor()
            write.log_stop(by=by, die=die, at=make.moment(3), cause="burr", minutes=20)
            write.log_incident(by=by, die=die, at=make.moment(4), sort="misfeed", positions=[at])
            write.log_hit_correction(by=by, die=die, at=make.moment(5), hits=40, with_stock=False, reason="setting up")
            write.log_replacement(by=by, position=at, at=make.moment(20), why="broken", from_shelf=True)
            write.log_reading(
                by=by, position=at, at=make.moment(21), quantity="burr height", value_si=5e-5, typed_value="50",
                typed_unit="um",
            )  # fmt: skip
            twice = write.log_stop(by=by, die=die, at=make.moment(6), cause="slug", minutes=2, note="=1+1")
            write.strike_out(by=by, entry=twice, reason="logged twice")
            root = User.objects.create_superuser("root")
            actions.amend(by=root, row=Cut.objects.first(), values={"gap_mm": 0.07}, at=make.moment(9), reason="opened")
            actions.correct(by=root, row=at, values={"station": None, "x_mm": 12.5}, reason="=a slip")
            Volume.objects.create(part=Part.objects.first(), year=2024, parts=50_000)
            Shop.objects.create(name="Quillfen", time_zone="Europe/Berlin")
            _sound.update({name: text.encode() for name, text in as_written().items()})
    return _sound


def everything() -> int:
    """How many rows stand in the tables of ours, in one question."""
    configs = [apps.get_app_config(name) for name in ("diestore", "maintenance")]
    models = [m for config in configs for m in config.get_models(include_auto_created=True)]
    counts = (f"(SELECT COUNT(*) FROM {connection.ops.quote_name(m._meta.db_table)})" for m in models)
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT {' + '.join(counts)}")
        return cursor.fetchone()[0]


def put(folder: Path, files: dict[str, bytes | None]) -> Path:
    for name, content in files.items():
        if content is None:
            (folder / name).mkdir()
        else:
            (folder / name).write_bytes(content)
    return folder


def check_refusal(refused: HistoryRefused) -> None:
    assert 1 <= len(refused.problems) <= AT_MOST
    assert str(refused).endswith("Nothing was saved.")
    for problem in refused.problems:
        assert problem.reason.strip() and problem.reason.rstrip()[-1] in ".?!)", problem
        assert len(problem.reason) < 700 and "\0" not in problem.reason and "Traceback" not in problem.reason
        assert problem.line >= 0 and "object at 0x" not in problem.reason
        assert not any(sign in str(problem) for sign in "\x1b\x7f\u202e"), "a terminal would do what it says"


def test_the_sound_folder_loads_and_has_every_table():
    files = sound_files()
    assert len(files) > 15
    with scratch(), tempfile.TemporaryDirectory() as folder:
        assert any(load(put(Path(folder), files)).counts.added.values())


@given(st.data())
@FUZZ
def test_a_mangled_folder_is_loaded_or_refused_whole_with_file_and_line(data):
    files = data.draw(mangled(sound_files()))
    with scratch(), tempfile.TemporaryDirectory() as folder:
        assert everything() == 0
        try:
            load(put(Path(folder), files), plant=data.draw(st.sampled_from([None, None, "main", "other"])))
        except HistoryRefused as refused:
            check_refusal(refused)
            assert everything() == 0, "nothing half-loaded"
            in_files = [p for p in refused.problems if p.file in KNOWN]
            event("refused" if in_files else "refused as a whole")
            assert in_files or set(files) & KNOWN == set() or "contradicts" in str(refused) or "plant" in str(refused)
        else:
            event("loaded")
            assert everything() > 0


@pytest.mark.walk
@given(st.data())
@settings(FUZZ, max_examples=CASES // 5)
def test_a_folder_over_records_that_stand_changes_nothing_where_it_is_refused(data):
    files = data.draw(mangled(sound_files()))
    with scratch(), tempfile.TemporaryDirectory() as folder, tempfile.TemporaryDirectory() as first:
        load(put(Path(first), sound_files()))
        before = as_written()
        try:
            load(put(Path(folder), files))
        except HistoryRefused as refused:
            check_refusal(refused)
            assert as_written() == before
        else:
            assert everything() > 0


@given(st.data())
@settings(FUZZ, max_examples=max(10, CASES // 15))
def test_after_a_damaged_folder_was_refused_the_undamaged_one_loads_as_ever(data):
    """The control beside the damage: a refusal leaves nothing behind that the next load could trip over."""
    files = data.draw(mangled(sound_files()))
    with scratch(), tempfile.TemporaryDirectory() as folder, tempfile.TemporaryDirectory() as control:
        put(Path(control), sound_files())
        try:
            load(put(Path(folder), files))
        except HistoryRefused:
            event("refused")
            load(Path(control))
            assert {name: text.encode() for name, text in as_written().items()} == sound_files()


@given(st.data())
@settings(FUZZ, max_examples=max(10, CASES // 100))
def test_the_command_says_what_the_reader_says_and_shows_no_traceback(data):
    files = data.draw(mangled(sound_files()))
    with scratch(), tempfile.TemporaryDirectory() as folder:
        try:
            call_command("load_history", str(put(Path(folder), files)), verbosity=0)
        except CommandError as error:
            assert str(error).endswith("Nothing was saved.")


def test_no_key_of_the_events_is_longer_than_its_column():
    """A key is made of what stands in the cells; the longest that are allowed have to fit."""
    assert Event._meta.get_field("key").max_length >= len(fresh_key())
