"""The plan of the bench: 500 works over twelve weeks, laid out at once and searched. Goals: 0.1 s and 20 s.

    python -m tests.benchmarks.bench_plan [works]

Seconds are of the processor; beside them how many sums of a million squares they are, timed in the same run, since
those are what `tests/policy/test_bench.py` goes by.
"""

from __future__ import annotations

import sys

from maintenance.policy.bench import earliest_due, search
from tests.policy.test_bench import a_years_toolroom

from .engine import seconds
from .table import amount, heading, line


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    works, bench = a_years_toolroom(count)
    unit, _ = seconds(lambda: sum(n * n for n in range(1_000_000)), 3)
    heading(f"plan of the bench: {count} works, four people, {bench.days} days")
    first, plan = seconds(lambda: earliest_due(works, bench), 3)
    line("by earliest due date", amount(first), f"{first / unit:.2f} sums", goal="0.1 s", met=first <= 0.1)
    took, found = seconds(lambda: search(works, bench))
    line("searched", amount(took), f"{took / unit:.0f} sums", goal="20 s", met=took <= 20)
    saved = 100 * found.saved / plan.cost if plan.cost else 0.0
    line("days late, weighted", f"{found.plan.cost:g}", f"{plan.cost:g} by earliest due date: {saved:.0f} % less")


if __name__ == "__main__":
    main()
