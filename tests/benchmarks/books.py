"""A spreadsheet of a hundred thousand rows through the page: `python -m tests.benchmarks.books [ROWS]`.

On SQLite, in a folder that goes afterwards; seconds and the web process's memory.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

from tests.service import long_book
from tests.service.running import Site


def main() -> None:
    rows = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    with tempfile.TemporaryDirectory() as folder:
        site = Site(f"sqlite:///{folder}/shop.sqlite3", Path(folder))
        site.manage("migrate", "--verbosity=0")
        try:
            web = site.web("127.0.0.1", "--workers=1")
            web.wait()
            told = long_book.brought(site, web, rows)
        finally:
            site.end()
    print(f"{rows:,} rows: read, answered and looked at in {told.looked_s:.0f} s, in after {told.brought_s:.0f} s more")
    print(f"others saved {told.saves} times meanwhile, the longest wait was {told.longest_wait_s:.1f} s")
    print(f"the web process held {told.memory_mb:.0f} MB more than before at the most")


if __name__ == "__main__":
    main()
