"""Files of counts, mangled as history folders are: read, or refused with sentences, and nothing half taken.

A few hundred files in the suite; ten thousand with

    pytest tests/security/test_fuzz_counters.py --hypothesis-profile=search
"""

from __future__ import annotations

import datetime as dt
import tempfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st

from maintenance.counters import files
from maintenance.counters.files import FileRefused, read
from maintenance.models import CounterReading
from tests.counters import shop
from tests.history.shop import scratch

from .mangling import mangled

CASES = 10_000 if settings.get_current_profile_name() == "search" else 250
NAME = "monday.csv"
ROWS = [["press", "at", "total", "stock", "id"]]
ROWS += [["P1", shop.at(10 * n).isoformat(), str(600 * n), "yes" if n % 2 else "", ""] for n in range(6)]
SOUND = {NAME: "".join(",".join(row) + "\n" for row in ROWS).encode()}
FUZZ = settings(
    max_examples=CASES,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow, HealthCheck.data_too_large],
)


def check_refusal(why: FileRefused) -> None:
    assert 1 <= len(why.sentences) <= files.SAID_AT_MOST + 1
    for sentence in why.sentences:
        assert sentence.rstrip()[-1] in ".?!)" and len(sentence) < 700, sentence
        assert not any(sign in sentence for sign in "\0\x1b\x7f\u202e\n") and "object at 0x" not in sentence


@pytest.mark.no_database
def test_the_sound_file_is_read():
    found = read(SOUND[NAME])
    assert [message.total for _, message in found] == [600 * n for n in range(6)]
    assert [line for line, _ in found] == [2, 3, 4, 5, 6, 7]


@pytest.mark.no_database
@given(st.data())
@FUZZ
def test_a_mangled_file_is_read_or_refused_in_sentences(data):
    content = data.draw(mangled(SOUND)).get(NAME)
    if content is None:
        return
    try:
        found = read(content)
    except FileRefused as why:
        event("refused")
        check_refusal(why)
    else:
        event("read")
        for line, message in found:
            assert line >= 1 and bool(message.press) != bool(message.die) and message.total >= 0
            assert message.at.tzinfo is dt.UTC and "\0" not in message.id + message.press + message.die


@pytest.mark.django_db
@given(st.data())
@settings(FUZZ, max_examples=max(40, CASES // 10))
def test_a_mangled_file_is_taken_whole_or_not_at_all(data):
    content = data.draw(mangled(SOUND)).get(NAME)
    if content is None:
        return
    with scratch(), tempfile.TemporaryDirectory() as folder:
        shop.press()
        device = files.device_for_files(shop.press().plant, "files")
        path = Path(folder) / NAME
        path.write_bytes(content)
        try:
            told = files.take_file(path, device)
        except FileRefused as why:
            check_refusal(why)
            assert not CounterReading.objects.exists()
        else:
            assert CounterReading.objects.count() == sum(row.what == "taken" for row in told) > 0
