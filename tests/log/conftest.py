"""What tests of the log share."""

from __future__ import annotations

import pytest

FORECASTS_FOLLOW = {"test_changes", "test_moves"}  # what they hold is that a write is followed


@pytest.fixture(autouse=True)
def quick_writes(request):
    if request.path.stem not in FORECASTS_FOLLOW:
        request.getfixturevalue("no_forecasts")
