"""PURE (numpy, scipy). What to do with a die and what that is worth: run or sharpen, which edges, what to measure.

    costs = Costs(teardown=160, grind=[14, 14, 9], dull=420, pull=90, chip_rate=2e-7, look_hits=10_000)
    now, fresh = Lives.of_levels(...), Lives.of_levels(...)      # from stored forecasts, chips taken off
    usual = of_die(fresh, costs)                                 # T* and g, the cost a hit in the long run
    decision = decide(now, fresh, costs, 60_000)                 # options of one order, the best first
    pull_at(now, costs, usual.rate, looks(60_000, 10_000))       # the same in short, for plans over many orders
    now.after(20_000), mixture(now, fresh, ground)               # the die later, and once some edges were ground
    choice = worth_grinding(now, fresh, costs, usual)            # while the die is apart
    course = pulls.of_die("K-1", now, fresh, costs, jobs, weeks=8)    # all its jobs ahead, planned exactly
    plan = pulls.choose(courses, bench_hours)                        # over dies, within the hours of each week
    while_apart(now, fresh, costs, usual, edge=2, on_it_hits=31_000, reading_sd=0.2)    # worth of a reading

- lives.py        the chance that edges, and the first of a die's edges, last so many hits more
- costs.py        what decisions cost
- replacement.py  age, block and periodic replacement; the interval of a die of many edges
- orders.py       run an order on, or sharpen first; pulls inside it
- sets.py         which edges to grind while the die is apart
- pulls.py        when to pull which die in the weeks ahead, over all jobs and bench hours
- measuring.py    what a reading is worth
- stop_blocks.py  whether the die is home: crushed solder read at its stop blocks
- heights.py      how long and how high a piece stands after its entries, and what stands out of its group
- height_ledger.py  the heights of a die: what is out, the shim that puts it right, the shut height that follows
- height_targets.py  a piece once it is ground, and what is left to grind
- replay.py       decisions of the past again: what was done over what was advised, in bounds
- inspections.py  when the next look at a die, a press or a grinder is due
- bench.py        who works on which die when

Hits are plain strokes of the die, money in any one currency. May import nothing of the house.
"""

from .costs import Costs, CostsRefused
from .lives import Lives, LivesRefused, mixture
from .measuring import ReadingWorth, at_start, while_apart
from .orders import Decision, Option, Path, Verdict, decide, looks, pull_at, run_or_sharpen
from .replacement import DieInterval, Policy, of_die
from .sets import GrindChoice, worth_grinding

__all__ = [
    "Costs",
    "CostsRefused",
    "Decision",
    "DieInterval",
    "GrindChoice",
    "Lives",
    "LivesRefused",
    "Option",
    "Path",
    "Policy",
    "ReadingWorth",
    "Verdict",
    "at_start",
    "decide",
    "looks",
    "mixture",
    "of_die",
    "pull_at",
    "run_or_sharpen",
    "while_apart",
    "worth_grinding",
]
