"""A long spreadsheet through the page of a running service: all of it in, others save meanwhile, memory bounded.

A hundred thousand rows: `python -m tests.benchmarks.books`.
"""

from __future__ import annotations

import pytest

from . import long_book

ROWS = 8_000  # more than are loaded in place


@pytest.mark.walk
def test_a_long_sheet_comes_in_while_others_save(site):
    web = site.web("127.0.0.1", "--workers=1")
    web.wait()
    told = long_book.brought(site, web, ROWS)
    print(told)
    assert told.memory_mb < 150
    if not site.is_postgresql:
        assert told.saves >= 3 and told.longest_wait_s < told.brought_s / 3, told
    assert "Traceback" not in site.said()
