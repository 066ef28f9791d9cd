"""PURE. Every past range as a bar in the order of its date, and a dot where the edge really went dull."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

from diestore.drawing.scales import Ratio, Tick, short
from diestore.texts import gettext as _

WIDTH, LEFT, RIGHT, TOP, FOOT, BELOW = 1_120.0, 64.0, 8.0, 26.0, 300.0, 44.0
ROOM = 1.25  # above the highest and under the lowest, as a ratio
GAP = 1.6  # between the bars of two dates, in bars


@dataclass(frozen=True)
class Bar:
    """One range: from top to foot; the dot where it ended, and whether that was dull or chipped (else ground sharp, or
    it still runs)."""

    x: float
    top: float
    foot: float
    dot: float
    went: bool
    missed: bool
    words: str
    name: str


@dataclass(frozen=True)
class Strip:
    bars: tuple[Bar, ...]
    wide: float
    up: list[Tick]
    dates: list[Tick]
    width: float = WIDTH
    height: float = FOOT + BELOW
    left: float = LEFT
    right: float = WIDTH - RIGHT
    top: float = TOP
    foot: float = FOOT


def middle(low: float, high: float) -> float:
    """Where a dot stands for an end between two looks: as many times above the first as below the second."""
    return math.sqrt(max(low, 1.0) * max(high, 1.0)) if low > 0 else max(high, 1.0)


def laid_out(ranges: Sequence[dict], day) -> Strip | None:
    """ranges: as a look back keeps them, by date. day: writes a date. None where there is nothing to draw."""
    if not ranges:
        return None
    ends = [max(value, 1.0) for r in ranges for value in (r["low"], r["high"], middle(*r["came"]))]
    up = Ratio(min(ends) / ROOM, max(ends) * ROOM, FOOT, TOP)
    groups = [(at, list(rows)) for at, rows in groupby(ranges, key=lambda r: r["at"])]
    step = (WIDTH - LEFT - RIGHT) / (len(ranges) + GAP * len(groups))
    bars, dates, x = [], [], LEFT + step * GAP / 2
    for at, rows in groups:
        dates.append(Tick(round(x + step * len(rows) / 2, 1), day(at)))
        for row in sorted(rows, key=lambda r: r["code"]):
            bars.append(_bar(row, x + step / 2, up, day(at)))
            x += step
        x += step * GAP
    return Strip(tuple(bars), round(max(step * 0.55, 1.0), 1), up.ticks(6, words=short), dates)


def _bar(row: dict, x: float, up: Ratio, said_on: str) -> Bar:
    came = middle(*row["came"])
    ended = _("dull or chipped") if row["went"] else _("ground sharp or still running")
    held = _("missed") if row["missed"] else _("held")
    words = _("{code}, {day}: {low:,} to {high:,} hits; {ended} at about {came:,.0f}: {held}")
    return Bar(
        x=round(x, 1),
        top=round(up.at(row["high"]), 1),
        foot=round(up.at(row["low"]), 1),
        dot=round(up.at(came), 1),
        went=row["went"],
        missed=bool(row["missed"]),
        words=words.format(
            code=row["code"], day=said_on, low=row["low"], high=row["high"], ended=ended, came=came, held=held
        ),
        name=row["code"],
    )
