from __future__ import annotations

import pytest

from maintenance.history.load import load
from tests.history import folders


@pytest.fixture
def load_tables(tmp_path, db):
    """Load a folder with one die and the tables given: `load_tables(runs=[...])`. Each call is a folder of its own."""
    count = 0

    def do(*, bare: bool = False, **tables):
        nonlocal count
        count += 1
        make = folders.write if bare else folders.sound
        return load(make(tmp_path / f"folder{count}", **tables))

    return do
