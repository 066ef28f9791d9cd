"""The intervals of an edge, each a line as long as it ran with a mark of how it ended, on the axis of hits of the plot
of shares still sharp. Geometry only; the template draws."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from diestore.drawing import plots
from diestore.drawing.scales import Even, Tick
from maintenance.wording import numbers

from . import page

WIDTH = float(plots.WIDTH)
LEFT, RIGHT, TOP, ROW = float(plots.LEFT), WIDTH - plots.RIGHT, 30.0, 16.0  # the same axis as the plot below it
TICKS_AT_MOST = 6


@dataclass(frozen=True, kw_only=True)
class EndMark:
    """One interval. x: where it ended. label: its day; words: how it ended, where that is more than being cut short."""

    cycle: page.EdgeCycle
    x: float
    y: float
    label: str
    words: str
    title: str
    change: str  # how it is built from here on, where that is new

    @property
    def css(self) -> str:
        return self.cycle.css

    @property
    def words_left(self) -> bool:
        """Words past the end of the axis would leave the paper."""
        return self.x > RIGHT - 150


@dataclass(frozen=True, kw_only=True)
class Ends:
    marks: list[EndMark]
    ticks: list[Tick]
    usual_x: float | None
    usual_label: str
    expected_x: float | None
    expected_label: str
    base: float
    width: float = WIDTH
    left: float = LEFT
    right: float = RIGHT

    @property
    def height(self) -> float:
        return self.base + 30


def lay_out_ends(edge: page.EdgeState, cycles: list[page.EdgeCycle], until: float | None = None) -> Ends:
    """In order of time, downwards. until: the hits at which the axis ends."""
    usual = edge.fresh.usual_hits if edge.fresh else None
    expected = edge.expected.usual_hits if edge.expected else None
    most = 1.06 * max([c.hits for c in cycles] + [usual or 0, expected or 0, 1])
    along = Even(0, max(until or 0.0, most), LEFT, RIGHT)
    marks = [
        EndMark(
            cycle=one,
            x=along.at(one.hits),
            y=TOP + ROW * (i + 0.5),
            label="" if one.css == page.UNDER_WAY else _short_day(one.at),
            words="" if one.css == page.CUT_SHORT else one.word,
            title=_title(one),
            change=_change_words(one.cycle.build) if one.new_build else "",
        )
        for i, one in enumerate(cycles)
    ]
    return Ends(
        marks=marks,
        ticks=[tick for tick in along.ticks(TICKS_AT_MOST) if tick.value],
        usual_x=None if usual is None else along.at(usual),
        usual_label=_("this edge: half last longer than {hits}").format(hits=numbers.hits(usual)) if usual else "",
        expected_x=None if expected is None else along.at(expected),
        expected_label=_("an edge like this here: {hits}").format(hits=numbers.hits(expected)) if expected else "",
        base=TOP + ROW * len(cycles) + 4,
    )


def _title(one: page.EdgeCycle) -> str:
    bits = [
        (_("{n:,} hits and what was on it before") if one.cycle.unknown_age else _("{n:,} hits")).format(n=one.hits),
        one.ended,
        _day(one.at),
        _("job {number}").format(number=one.order) if one.order else "",
    ]
    return ", ".join(bit for bit in bits if bit)


def _change_words(build) -> str:
    hardness = "" if build.hardness_hrc is None else f"{build.hardness_hrc:g}"
    return " ".join(bit for bit in (build.tool_steel, build.coating, hardness) if bit) or _("built differently")


def _day(moment) -> str:
    return date_format(timezone.localtime(moment), "j M Y")


def _short_day(moment) -> str:
    return date_format(timezone.localtime(moment), "j M y")
