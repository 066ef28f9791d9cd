"""Files of counts: each read once, taken whole or refused whole with sentences, whatever is in them."""

from __future__ import annotations

import os

import pytest
from django.core.management import CommandError, call_command
from hypothesis import example, given, settings
from hypothesis import strategies as st

from diestore.register.models import Die
from maintenance.counters import files, settle
from maintenance.counters.files import FileRefused, read
from maintenance.models import CounterReading
from tests import factories as make
from tests.counters import shop

CASES = int(os.environ.get("FUZZ_EXAMPLES", "2500"))
HEAD = "press,at,total,stock,id\n"


def write(folder, name, text):
    path = folder / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def rows(minutes, press="P1"):
    return "".join(f"{press},{shop.at(m).isoformat()},{60 * m},,\n" for m in minutes)


def take(folder, **more):
    call_command("read_count_files", folder, verbosity=0, **more)


@pytest.fixture
def press(db):
    return shop.press()


@pytest.mark.django_db
def test_a_file_is_read_once_and_counts_as_messages_do(press, tmp_path):
    shop.set_die(make.die(), until=200)
    write(tmp_path, "monday.csv", HEAD + rows(range(20)))
    take(tmp_path)
    assert shop.runs() == [("H-900", 19 * 60, 0, 19)]
    assert sorted(p.name for p in tmp_path.rglob("*.csv")) == ["monday.csv"]
    assert (tmp_path / "done" / "monday.csv").exists()
    take(tmp_path)
    write(tmp_path, "monday.csv", HEAD + rows(range(30)))  # the same name, with what is known and ten more
    take(tmp_path)
    assert shop.runs() == [("H-900", 29 * 60, 0, 29)]
    assert CounterReading.objects.count() == 30
    assert {p.name for p in (tmp_path / "done").iterdir()} == {"monday.csv", "monday 2.csv"}


@pytest.mark.django_db
def test_a_file_is_refused_whole(press, tmp_path):
    write(tmp_path, "a.csv", HEAD + rows(range(5)) + "P1,yesterday,5,,\nP1,2026-01-05T09:00,x,,\n")
    write(tmp_path, "b.csv", HEAD + rows(range(5)) + rows([6], press="P9"))
    write(tmp_path, "c.csv", HEAD + rows(range(3)))
    with pytest.raises(CommandError, match="2 refused"):
        take(tmp_path)
    assert CounterReading.objects.count() == 3
    told = (tmp_path / "refused" / "a.csv.txt").read_text()
    assert "Line 7: 'yesterday' is not a date and time" in told
    assert "Line 8: the total 'x' is not a whole number." in told
    assert (tmp_path / "refused" / "b.csv.txt").read_text() == "Line 7: There is no press P9 in this plant.\n"


@pytest.mark.django_db
def test_a_file_that_was_taken_but_not_moved_adds_nothing(press, tmp_path):
    """As after a power cut between the two."""
    device = files.device_for_files(press.plant, "counter files")
    files.take_file(write(tmp_path, "a.csv", HEAD + rows(range(9))), device)
    take(tmp_path)
    assert CounterReading.objects.count() == 9
    assert device.token_hash is None


@pytest.mark.django_db
def test_files_and_messages_come_to_the_same(press, tmp_path):
    shop.set_die(make.die())
    box = shop.device().device
    write(
        tmp_path,
        "a.csv",
        "die;at;total\n" + "".join(f"H-900;{shop.at(m):%Y-%m-%d %H:%M:%S};{60 * m}\n" for m in range(9)),
    )
    take(tmp_path)
    shop.send(box, {m: 60 * m for m in range(9)})
    settle.settle_waiting()
    assert sum(run[1] for run in shop.runs()) + sum(c.hits for c in Die.objects.get().open_counts.all()) == 480


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "press is missing"),
        (b"press,at\n", "total is missing"),
        (b"press,at,total\n", "no count in the file"),
        (b"press,at,total,colour\nP1,2026-01-05T08:00Z,1,red\n", "no column 'colour'"),
        (b"press,press,at,total\n", "same name"),
        (b"press,at,total\nP1,2026-01-05T08:00Z,1,2\n", "more cells"),
        (b"press,at,total\nP1,2026-01-05T08:00Z\n", "not a whole number"),
        (b"press,die,at,total\nP1,D1,2026-01-05T08:00Z,1\n", "one of the two"),
        (b"press,at,total\n\xff\xfe,2026-01-05T08:00Z,1\n", "not UTF-8"),
        (b"press,at,total\nP1,2026-01-05T08:00Z,\x001\n", "no text"),
        (b"press,at,total\nP1,0001-01-01T00:00Z,1\n", "year 1 cannot be"),
        (b"press,at,total\nP1,2026-13-01T00:00Z,1\n", "not a date and time"),
        (b"press,at,total\nP1,2026-01-05T08:00Z,9999999999999999\n", "cannot be"),
        ("press,at,total\nP1,2026-01-05T08:00Z,\u0661\n".encode(), "not a whole number"),
        (b"press,at,total,stock\nP1,2026-01-05T08:00Z,1,maybe\n", "yes or no"),
        (b"press,at,total\n" + b"P" * 61 + b",2026-01-05T08:00Z,1\n", "60 letters"),
        (b"press,at,total\n" + b"x" * 200_000 + b"\n", "no CSV"),
    ],
)  # fmt: skip
def test_what_is_wrong_with_a_file_is_said(content, says):
    with pytest.raises(FileRefused) as refused:
        read(content)
    assert any(says in sentence for sentence in refused.value.sentences), refused.value.sentences


def test_an_hour_that_comes_twice_needs_its_time_zone(settings):
    settings.TIME_ZONE = "Europe/Vienna"
    line = "press,at,total\nP1,{},1\n"
    with pytest.raises(FileRefused, match="clocks changed"):
        read(line.format("2026-10-25T02:30:00").encode())
    ((_, message),) = read(line.format("2026-10-25T02:30:00+01:00").encode())
    assert message.at.hour == 1
    ((_, message),) = read(line.format("2026-07-01 08:00").encode())
    assert message.at.hour == 6  # UTC; summer time in Vienna is two hours before it


CELL = st.one_of(
    st.text(max_size=12),
    st.sampled_from(
        ["P1", "2026-01-05T08:00:00Z", "2026-01-05 08:00", "12", "-1", "1e5", "yes", '"', "\r", "é", "9" * 30]
    ),
)
TABLE = st.lists(st.lists(CELL, max_size=6), max_size=6).map(
    lambda rows: "\n".join(",".join(cells) for cells in rows).encode("utf-8", "surrogatepass")
)
HEADS = st.sampled_from([b"", HEAD.encode(), b"die;at;total\n", b"\xef\xbb\xbfpress,at,total\r\n", b"at,total\n"])


@settings(max_examples=CASES)
@given(HEADS, st.one_of(TABLE, st.binary(max_size=200)))
@example(b"", b'press,at,total\n"')
def test_any_file_is_read_or_refused_with_sentences(head, body):
    """No traceback, whatever the file holds. FUZZ_EXAMPLES=20000 looks further."""
    try:
        found = read(head + body)
    except FileRefused as refused:
        assert refused.sentences
        assert all(len(sentence) < 400 for sentence in refused.sentences)
    else:
        assert all(message.total >= 0 and message.id and message.at.tzinfo for _, message in found)
