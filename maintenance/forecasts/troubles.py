"""What mishaps and stops for burr tell of the edges of a die. Glue without database or mathematics.

A piece that a mishap damaged was chipped by then, unless somebody looked at it afterwards and found it otherwise.

A stop for burr without a place says that some edge of the die was dull by then: it went dull in (look before, stop].
Where the sharpening that followed names one edge as dull or chipped, that is the one; where it names several, each went
at some time since the look before the stop. Where nobody looked, or nothing was done yet, one edge stands for the stop:
the one that has run furthest of what the handbook expects of it (as in life/habits.py of sets called dull as a whole).
Where all that followed were found sharp, the stop is not believed; where one of the edges is of unknown age, nobody can
say which it was, and nothing is taken from it.

An edge that is still in the die has then two rows: one that ended, and one that goes on from where it is now, which
tells nothing by itself: its forecast is of the edge as if it were still sharp, and the page says what is wrong with it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from maintenance.clockwork.cycles import Cycle, Trouble
from maintenance.life import prior
from maintenance.life.cycles import EdgeSpec
from maintenance.life.edges import Edges

Rows = list[tuple[int, Cycle]]


def resolved(specs: Sequence[EdgeSpec], rows: Rows) -> Rows:
    """The rows (number of the edge, cycle) of one die with what its troubles tell, in the order given."""
    if not any(cycle.troubles for _, cycle in rows):
        return rows
    ends: dict[int, tuple[str, int, int]] = {}  # row -> how it ended, in (lower, by]
    since: dict[int, int] = {}  # row -> the earliest look since which it went
    for i, (_, cycle) in enumerate(rows):
        mine = next((one for one in cycle.troubles if one.of_piece), None)
        is_chipped = cycle.ended_as == "chipped" or (cycle.ended_as == "sharp" and not cycle.looked)
        if mine is not None and is_chipped and _tells(cycle, mine):
            ends[i] = "chipped", mine.lower_hits, mine.by_hits
    stops = sorted({one.at for _, cycle in rows for one in cycle.troubles if not one.of_piece})
    for at in stops:
        _of_stop(specs, rows, at, ends, since)
    made: Rows = []
    for i, (edge, cycle) in enumerate(rows):
        if i in ends:
            how, lower, by = ends[i]
            over = replace(cycle, ended_as=how, lower_hits=lower, hits=by, open=False, troubles=())
            if cycle.open:
                over = replace(over, ended=next(one.at for one in cycle.troubles if one.by_hits == by), readings=())
                made += [(edge, over), (edge, replace(cycle, from_hits=cycle.hits, lower_hits=cycle.hits))]
            else:
                kept = tuple(reading for reading in cycle.readings if reading[0] <= by)
                made.append((edge, replace(over, readings=kept)))
        elif i in since:
            made.append((edge, replace(cycle, lower_hits=min(cycle.lower_hits, since[i]))))
        else:
            made.append((edge, cycle))
    return made


def _tells(cycle: Cycle, trouble: Trouble) -> bool:
    return cycle.from_hits <= trouble.lower_hits < trouble.by_hits <= cycle.hits


def _of_stop(
    specs: Sequence[EdgeSpec], rows: Rows, at: float, ends: dict[int, tuple[str, int, int]], since: dict[int, int]
) -> None:
    there = {i: one for i, (_, c) in enumerate(rows) for one in c.troubles if one.at == at and not one.of_piece}
    if any(i in ends and ends[i][2] <= one.by_hits for i, one in there.items()):
        return  # what was wrong before was wrong still
    first = min((rows[i][1].ended for i in there if not rows[i][1].open), default=None)
    seen = [i for i in there if first is None or (rows[i][1].ended == first and not rows[i][1].open)]
    named = [i for i in seen if rows[i][1].ended_as in ("dull", "chipped")]
    if len(named) == 1:
        (i,) = named
        if _tells(rows[i][1], there[i]):
            ends[i] = rows[i][1].ended_as, there[i].lower_hits, there[i].by_hits
    elif named:
        for i in named:
            since[i] = max(min(since.get(i, there[i].lower_hits), there[i].lower_hits), rows[i][1].from_hits)
    elif not any(rows[i][1].unknown_age for i in there):
        perhaps = [i for i in seen if not rows[i][1].looked and _tells(rows[i][1], there[i])]
        if perhaps:
            i = max(perhaps, key=lambda i: (_share_run(specs[rows[i][0]], there[i].by_hits), -rows[i][0]))
            ends[i] = "dull", there[i].lower_hits, there[i].by_hits


def _share_run(spec: EdgeSpec, hits: int) -> float:
    """ln of the hits over those that the wear model expects before it learns anything."""
    expected = prior.design(Edges.of([spec])) @ prior.MEAN
    return round(float(np.log(hits) - expected[0]), 9)
