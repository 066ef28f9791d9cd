"""PURE. Keys of rows as addresses and forms carry them: digits, and none that a database could not hold."""

from __future__ import annotations

MOST = 2**63 - 1  # a bigint of either database
LONGEST = len(str(MOST))


def row_key(text: str | None) -> int | None:
    """The key in a text that a browser sent, None where it cannot be one."""
    if not text or len(text) > LONGEST or not (text.isascii() and text.isdigit()):
        return None
    return int(text) if int(text) <= MOST else None


class RowKey:
    """`<key:pk>` in an address: one that no row can have is no address of ours (404)."""

    regex = f"[0-9]{{1,{LONGEST}}}"

    def to_python(self, value: str) -> int:
        key = row_key(value)
        if key is None:
            raise ValueError(value)
        return key

    def to_url(self, value: object) -> str:
        return str(value)
