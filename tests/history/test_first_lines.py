"""What a table has said before: the same answers as a dictionary that keeps everything."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from maintenance.history.first_lines import FirstLines

KEYS = st.sampled_from(["a", "b", "ä|b", "", "'; DROP TABLE said", "a" * 150])
BATCHES = st.lists(st.lists(st.tuples(KEYS, st.integers(-(2**63), 2**63 - 1)), max_size=8), max_size=6)


@settings(max_examples=100, deadline=None)
@given(BATCHES)
def test_as_a_dictionary(batches):
    said, known, line = FirstLines(), {}, 1
    for batch in batches:
        rows = []
        for key, content in batch:
            line += 1
            rows.append((key, line, content))
            known.setdefault(key, (line, content))
        assert said.first(rows) == [known[key] for key, _, _ in rows]
