"""PURE. Hits and counts in words that are said aloud in a toolroom."""

from __future__ import annotations

from diestore.texts import gettext as _


def hits(n: float | None) -> str:
    """Hits to two or three figures that count, as nobody knows them better: 8,900; 41,000; 1.25 million."""
    if n is None:
        return _("not known")
    if n < 100:
        return f"{round(n)}"
    digits = 10 ** (len(str(int(n))) - 2) if n < 1e5 else 10 ** (len(str(int(n))) - 3)
    return f"{round(n / digits) * digits:,}"


def none(n: int) -> str:
    return _("none") if n == 0 else f"{n:,}"
