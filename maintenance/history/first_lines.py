"""What a table of a folder has said so far, however long it is: no memory that grows with its rows."""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Iterable

CACHE_KIB = 32_768


class FirstLines:
    """key -> line and content, in a temporary file that goes with it: millions of keys would fill the memory.

    Keys are told apart by 128 bits of their digest.
    """

    def __init__(self) -> None:
        self._file = sqlite3.connect("", isolation_level=None)  # a temporary database of its own, on disk
        self._file.execute("PRAGMA journal_mode = OFF")
        self._file.execute(f"PRAGMA cache_size = -{CACHE_KIB}")
        self._file.execute("CREATE TABLE said (name BLOB PRIMARY KEY, line INTEGER, content INTEGER) WITHOUT ROWID")

    def first(self, rows: Iterable[tuple[str, int, int]]) -> list[tuple[int, int]]:
        """Of each (key, line, content) the line and content with which its key was said for the first time."""
        rows = [(hashlib.blake2b(key.encode(), digest_size=16).digest(), line, content) for key, line, content in rows]
        self._file.executemany("INSERT OR IGNORE INTO said VALUES (?, ?, ?)", rows)
        marks = ", ".join("?" * len(rows))
        names = [name for name, _, _ in rows]
        rows = self._file.execute(f"SELECT name, line, content FROM said WHERE name IN ({marks})", names)
        known = {name: (line, content) for name, line, content in rows}
        return [known[name] for name in names]
