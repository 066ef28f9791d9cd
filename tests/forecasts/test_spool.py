"""A list on the disk is a list."""

import pytest

from maintenance.forecasts.spool import OnDisk, batches


def test_it_holds_what_was_put_in_and_is_read_by_several_at_a_time():
    items = [{"n": n, "more": "x" * (n % 7 * 1_000)} for n in range(50)]
    held = OnDisk(items[:20])
    held.extend(items[20:])
    assert len(held) == 50 and list(held) == items and list(held) == items
    assert [(a["n"], b["n"]) for a, b in zip(held, held, strict=True)] == [(n, n) for n in range(50)]
    reading = iter(held)
    first = next(reading)
    held.append("late")
    assert first == items[0] and list(reading) == [*items[1:], "late"]
    assert list(OnDisk()) == []


@pytest.mark.parametrize("size", [1, 3, 10, 11])
def test_batches_hold_everything_once(size):
    found = list(batches(OnDisk(range(10)), size))
    assert [n for some in found for n in some] == list(range(10))
    assert all(len(some) == size for some in found[:-1]) and 0 < len(found[-1]) <= size
    assert list(batches([], 3)) == []
