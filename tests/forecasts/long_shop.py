"""A shop with years of records, made with rows alone so that it is quick: what forecasts are looked back on with."""

from __future__ import annotations

import datetime as dt

import numpy as np

from maintenance.log import write
from maintenance.models import Replacement, Run, Work
from tests import factories as make

RUNS_A_WEEK, HITS = 2, 4_000
CODES = ("1-A", "1-B")


def shop(
    dies: int = 12,
    weeks: int = 130,
    *,
    seed: int = 1,
    usual: float = 45_000,
    shape: float = 2.5,
    halved: int = 0,
    halved_from_week: int | None = None,
) -> list:
    """Dies that run twice a week; each edge is looked at after every run, and the set is ground when one is dull.

    Lives are Weibull, of a usual length of their own for every die; those of the first `halved` are halved from a week.
    """
    rng = np.random.default_rng(seed)
    made, runs, works = [], [], []
    by = make.actor().columns()
    for n in range(dies):
        die = make.die(f"H-{n:03d}")
        places = [make.position(die, code) for code in CODES]
        made.append(die)
        scale = usual * np.exp(rng.normal(0, 0.25))
        life, on_it, variant = scale * rng.weibull(shape, len(places)), 0, write.default_variant(die)
        for k in range(weeks * RUNS_A_WEEK):
            started = make.moment(3.5 * k + 0.5 + n * 0.001)
            ended = started + dt.timedelta(hours=5)
            runs.append(Run(die=die, variant=variant, stock=die.usual_stock, started=started, at=ended, hits=HITS,
                            recorded_at=ended, key=f"run {n} {k}", **by))  # fmt: skip
            faster = n < halved and halved_from_week is not None and k >= halved_from_week * RUNS_A_WEEK
            on_it += HITS * (2 if faster else 1)
            dull = life <= on_it
            if dull.any():
                at = ended + dt.timedelta(hours=2)
                works += [
                    Work(position=place, at=at, recorded_at=at, operation="ground", why="dull" if gone else "with set",
                         found="dull" if gone else "sharp", set_key=f"set {n} {k}", key=f"work {n} {k} {place.code}",
                         **by)
                    for place, gone in zip(places, dull, strict=True)
                ]  # fmt: skip
                life, on_it = scale * rng.weibull(shape, len(places)), 0
    Run.objects.bulk_create(runs)
    Work.objects.bulk_create(works)
    Replacement.objects.update(recorded_at=make.START)
    return made
