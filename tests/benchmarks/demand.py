"""How often the 90 % limits of a spare's demand over its lead time hold, on many made-up shops.

    python -m tests.benchmarks.demand [shops]

Prints the share within, by all items and by the size of what came, with its standard error; limits: 87 to 93 %.
"""

from __future__ import annotations

import sys
import time

import numpy as np

from tests.purchasing.coverage import scored


def main() -> None:
    shops = int(sys.argv[1]) if len(sys.argv) > 1 else 30
    start = time.perf_counter()
    found = scored(shops=shops, seed=1)
    n = len(found.place)
    print(f"{n:,} items of {shops} shops in {time.perf_counter() - start:.0f} s")
    print(
        f"within the 90 % limits: {found.held():.3f} +- {np.sqrt(0.09 / n):.3f}; Poisson: {found.held(plain=True):.3f}"
    )
    below, above = (found.place < 0.05).mean(), (found.place > 0.95).mean()
    print(f"below {below:.3f}, above {above:.3f}; mean use {found.use.mean():.2f}")
    print(f"{(found.use <= 2).mean():.0%} of two or less")


if __name__ == "__main__":
    main()
