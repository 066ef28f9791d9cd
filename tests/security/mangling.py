"""CSV files mangled in every way that a spreadsheet, an editor, a broken disk or somebody's malice does it.

`mangled(files)` draws a folder near to a sound one: a few of its files changed in a few places, so that the reader gets
past its first checks and its later ones are reached too.
"""

from __future__ import annotations

import csv
import io

from hypothesis import strategies as st

VALUES = (
    "", " ", "nan", "NaN", "inf", "-inf", "1e400", "-1e400", "1e-400", "1e308", "-1e308", "1e-308",
    "5e-324", str(2**31-1), str(2**53+1), "-0", "-1", "0", "1", "2", "9" * 18, "9" * 19,
    "9" * 40, "9" * 400, "-" + "9" * 30, str(2**31), str(2**63), str(2**63-1), "1.5", "1,5", "1_000", "1 000", "0x10",
    "٣", "½", "1e3", "True", "yes", "no", "null", "None", "N/A", "?", "-", "'", "''", "'=1", "=1+1", "+1", "@x",
    "\t=1", "=cmd|'/c x'!A0", "2023-02-30", "2023-02-28", "2023-01-01T25:00", "2023-01-01T00:00:00",
    "2023-01-01T00:00:00+00:00", "2023-01-01T00:00:00+99:00", "9999-12-31T23:59:59-12:00", "0001-01-01",
    "0001-01-01T00:00:00+14:00", "10000-01-01", "1949-12-31T00:00:00+00:00", "2999-01-01T00:00:00+00:00", "20230101",
    "01.02.2023", "1/2/2023", "2023-W01-1", "now", "2023-03-26T02:30:00", "2023-01-01T00:00:60+00:00", ";", '";"',
    "1-A;1-A", "1-A;nowhere", ";;;", '"', '""', '"x', "a\nb", "a\r\nb", "\x1b[2J", "\x7f", "\x85", "\u2028", "\u202e",
    "\ufeff", "\ufffe", "e\u0301", "é", "漢", "🔩", "\U0010ffff", "x" * 10_000, "x" * 10_001, "../../etc/passwd",
    "<script>", "{{ 7*7 }}", "%s%n", "' OR 1=1 --", "main", "dull", "first", "Dull ", "DULL", "pierce punch",
    "pierce_punch", "H-900", "H-901", "1-A", "nowhere", "ground", "count", "shelf", "counted", "new", "unknown",
)  # fmt: skip
LINE_ENDS = (b"\r\n", b"\r", b"\n\r", b"\r\r\n", b"\x85", b"\x0b", b"\x0c", b"\n\n", "\u2028".encode())
ENCODINGS = ("utf-16", "utf-16-le", "utf-32", "latin-1", "cp1252", "cp437", "utf-7", "utf-8-sig")


def rows_of(content: bytes) -> list[list[str]]:
    return list(csv.reader(io.StringIO(content.decode(), newline="")))


def as_bytes(rows: list[list[str]]) -> bytes:
    text = io.StringIO(newline="")
    csv.writer(text, lineterminator="\n").writerows(rows)
    return text.getvalue().encode("utf-8", "surrogatepass")


def _cell(draw, content: bytes) -> bytes:
    rows = rows_of(content)
    row = rows[draw(st.integers(min(1, len(rows) - 1), len(rows) - 1))]
    if row:
        row[draw(st.integers(0, len(row) - 1))] = draw(
            st.one_of(st.sampled_from(VALUES), st.text(max_size=20).map(_sendable))
        )
    return as_bytes(rows)


def _sendable(text: str) -> str:
    return text.encode("utf-8", "replace").decode()


def _column(draw, content: bytes) -> bytes:
    """One value down a whole column."""
    rows = rows_of(content)
    place, value = draw(st.integers(0, len(rows[0]) - 1)), draw(st.sampled_from(VALUES))
    return as_bytes([rows[0], *([*row[:place], value, *row[place + 1 :]] for row in rows[1:])])


def _header(draw, content: bytes) -> bytes:
    rows = rows_of(content)
    place = draw(st.integers(0, len(rows[0]) - 1))
    rows[0][place] = draw(
        st.sampled_from((*rows[0], "", " ", rows[0][place].upper(), f" {rows[0][place]} ", "x", "\ufeffdie", "é" * 99))
    )
    return as_bytes(rows)


def _headless(draw, content: bytes) -> bytes:
    return as_bytes(rows_of(content)[1:])


def _drop_column(draw, content: bytes) -> bytes:
    rows = rows_of(content)
    place = draw(st.integers(0, len(rows[0]) - 1))
    return as_bytes([row[:place] + row[place + 1 :] for row in rows])


def _shuffled_columns(draw, content: bytes) -> bytes:
    rows = rows_of(content)
    order = draw(st.permutations(range(len(rows[0]))))
    return as_bytes([[row[n] for n in order] for row in rows])


def _repeat(draw, content: bytes) -> bytes:
    """A row again, at another place: a key twice."""
    rows = rows_of(content)
    row = rows[draw(st.integers(0, len(rows) - 1))]
    rows.insert(draw(st.integers(0, len(rows))), list(row))
    return as_bytes(rows)


def _ragged(draw, content: bytes) -> bytes:
    rows = rows_of(content)
    row = rows[draw(st.integers(0, len(rows) - 1))]
    if draw(st.booleans()):
        row.extend([""] * draw(st.integers(1, 3)))
    else:
        del row[draw(st.integers(0, max(0, len(row) - 1))) :]
    return as_bytes(rows)


def _shuffled_rows(draw, content: bytes) -> bytes:
    head, *rest = rows_of(content)
    return as_bytes([head, *draw(st.permutations(rest))])


def _bytes(draw, content: bytes) -> bytes:
    """Bytes put in, taken out or written over, anywhere."""
    place = draw(st.integers(0, len(content)))
    new = draw(
        st.one_of(
            st.binary(max_size=8), st.sampled_from((b"\0", b'"', b",", b"\n", b"\r", b"\xff\xfe", b"\xef\xbb\xbf"))
        )
    )
    return content[:place] + new + content[place + draw(st.integers(0, 20)) :]


def _cut_off(draw, content: bytes) -> bytes:
    return content[: draw(st.integers(0, len(content)))]


def _line_ends(draw, content: bytes) -> bytes:
    ends = draw(st.lists(st.sampled_from((b"\n", *LINE_ENDS)), min_size=1, max_size=4))
    lines = content.split(b"\n")
    return b"".join(line + ends[n % len(ends)] for n, line in enumerate(lines[:-1])) + lines[-1]


def _encoded(draw, content: bytes) -> bytes:
    return content.decode("utf-8", "replace").encode(draw(st.sampled_from(ENCODINGS)), "replace")


def _parted(draw, content: bytes) -> bytes:
    return content.replace(b",", draw(st.sampled_from((b";", b"\t", b"|", b", "))))


def _long(draw, content: bytes) -> bytes:
    """A field that is longer than anybody reads."""
    place = draw(st.integers(0, len(content)))
    return (
        content[:place]
        + draw(st.sampled_from((b"x", b" ", b"9", b",", b'""'))) * draw(st.sampled_from((9_000, 11_000, 1_100_000)))
        + content[place:]
    )


def _other(draw, content: bytes) -> bytes:
    return draw(
        st.one_of(
            st.just(b""),
            st.just(b"\n"),
            st.binary(max_size=300),
            st.text(max_size=200).map(lambda t: t.encode("utf-8", "replace")),
        )
    )


NEEDS_TEXT = (
    _cell,
    _cell,
    _cell,
    _cell,
    _column,
    _header,
    _headless,
    _drop_column,
    _shuffled_columns,
    _repeat,
    _ragged,
    _shuffled_rows,
)
ANY_BYTES = (_bytes, _bytes, _cut_off, _line_ends, _encoded, _parted, _long, _other)


@st.composite
def mangled(draw, files: dict[str, bytes]) -> dict[str, bytes | None]:
    """The files with one to four changes; None: there is a folder of that name instead."""
    made: dict[str, bytes | None] = dict(files)
    for _ in range(draw(st.integers(1, 4))):
        name = draw(st.sampled_from(sorted(files)))
        content = made.get(name)
        if content is None:
            continue
        what = draw(st.sampled_from((*NEEDS_TEXT, *ANY_BYTES, "gone", "folder", "swapped")))
        if what == "gone":
            del made[name]
        elif what == "folder":
            made[name] = None
        elif what == "swapped":
            made[name] = files[draw(st.sampled_from(sorted(files)))]
        elif what in ANY_BYTES or _is_table(content):
            made[name] = what(draw, content)
    return made


def _is_table(content: bytes) -> bool:
    try:
        rows = rows_of(content)
    except (UnicodeDecodeError, csv.Error):
        return False
    return bool(rows) and bool(rows[0]) and all(len(row) == len(rows[0]) for row in rows)
