"""A few hundred spreadsheets at random; ten thousand by `python -m tests.workbooks.fuzz`."""

from __future__ import annotations

import pytest

from tests import factories as make

from .fuzz import go_through

MANY = 120


@pytest.mark.walk
@pytest.mark.django_db
def test_no_spreadsheet_breaks_anything_or_is_half_saved():
    with make.nothing_follows():
        came = go_through(range(MANY), make.plant())
    assert sum(came.values()) == MANY and came["in"] > MANY / 10 and came["wrong"] > 2, came
