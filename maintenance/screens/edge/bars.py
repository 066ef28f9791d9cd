"""The cycles of an edge as bars. Geometry only; the template draws."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils import timezone

from diestore.drawing.scales import Even, Tick
from maintenance.wording import numbers

from . import page

WIDTH, LEFT, RIGHT, TOP, BASE, LABELS = 1150.0, 76.0, 1076.0, 46.0, 206.0, 128.0
TICKS_AT_MOST = 6
WIDEST_SLOT, FIGURES_FROM = 92.0, 50.0  # room of a bar, in pixels, from which its hits stand above it
UNKNOWN_BEFORE = " and what was on it before"


@dataclass(frozen=True, kw_only=True)
class CycleBar:
    """One cycle as it is drawn: x, y of its top left, its size, and its mark's middle."""

    cycle: page.EdgeCycle
    x: float
    y: float
    w: float
    h: float
    figure: str
    label: str
    title: str
    change: str  # how it is built from here on, where that is new

    @property
    def css(self) -> str:
        return self.cycle.css

    @property
    def mid(self) -> float:
        return self.x + self.w / 2

    @property
    def slot_left(self) -> float:
        return self.x - 3

    @property
    def broken_top(self) -> str:
        """The outline of a bar whose top is broken off."""
        bit = self.w / 4
        return (
            f"M{self.x:.1f} {BASE:.1f}V{self.y + 5:.1f}l{bit:.1f} -7l{bit:.1f} 7l{bit:.1f} -7l{bit:.1f} 7"
            f"V{BASE:.1f}z"
        )  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class CycleBars:
    bars: list[CycleBar]
    ticks: list[Tick]
    usual_y: float | None
    usual_label: str
    expected_y: float | None
    expected_label: str
    fill: bool  # from one end to the other, so that the latest stand at the right
    width: float = WIDTH
    left: float = LEFT
    right: float = RIGHT
    base: float = BASE
    height: float = BASE + LABELS


def lay_out_bars(edge: page.EdgeState, cycles: list[page.EdgeCycle]) -> CycleBars:
    """Where the bars of some cycles stand, in order of time. Geometry only; the template draws."""
    usual = edge.fresh.usual_hits if edge.fresh else None
    expected = edge.expected.usual_hits if edge.expected else None
    most = 1.06 * max([c.hits for c in cycles] + [usual or 0, expected or 0, 1])
    slot = min((RIGHT - LEFT) / len(cycles), WIDEST_SLOT)
    scale = Even(0, most, BASE, TOP)
    bars = []
    for i, one in enumerate(cycles):
        h = max(BASE - scale.at(one.hits), 2.0)
        bars.append(
            CycleBar(
                cycle=one,
                x=LEFT + slot * i + 3,
                y=BASE - h,
                w=max(slot - 6, 3.0),
                h=h,
                figure=numbers.hits(one.hits) + (" +" if one.cycle.unknown_age else "") if slot >= FIGURES_FROM else "",
                label=f"{one.word} {_short_day(one.at)}",
                title=_bar_title(one),
                change=_change_words(one.cycle.build) if one.new_build else "",
            )
        )
    return CycleBars(
        bars=bars,
        ticks=[tick for tick in scale.ticks(TICKS_AT_MOST) if tick.value],
        usual_y=None if usual is None else scale.at(usual),
        usual_label=f"this edge: half last longer than {numbers.hits(usual)}" if usual else "",
        expected_y=None if expected is None else scale.at(expected),
        expected_label=f"such an edge here: {numbers.hits(expected)}" if expected else "",
        fill=slot < WIDEST_SLOT,
    )


def _bar_title(one: page.EdgeCycle) -> str:
    bits = [
        f"{one.hits:,} hits" + (UNKNOWN_BEFORE if one.cycle.unknown_age else ""),
        one.ended,
        _day(one.at),
        f"order {one.order}" if one.order else "",
    ]
    return ", ".join(bit for bit in bits if bit)


def _change_words(build) -> str:
    hardness = "" if build.hardness_hrc is None else f"{build.hardness_hrc:g}"
    return " ".join(bit for bit in (build.tool_steel, build.coating, hardness) if bit) or "built otherwise"


def _day(moment) -> str:
    return f"{timezone.localtime(moment):%d %b %Y}".lstrip("0")


def _short_day(moment) -> str:
    return f"{timezone.localtime(moment):%d %b %y}".lstrip("0")
