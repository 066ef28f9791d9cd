"""The plots of an outlined tool: cost against volume and against the burr limit, money by year, and what matters."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from diestore.drawing import plots, scales
from diestore.drawing.plots import Ink, blank, round_ticks, svg

LINES = (Ink.LINE_1, Ink.LINE_2, Ink.LINE_3, Ink.LINE_4, Ink.LINE_5)
HEIGHT = 400
BAR_HEIGHT, BAR_LEFT = 30, 400


@dataclass(frozen=True, kw_only=True)
class Line:
    """number: of the way, written at its end. low, high: a band about it; empty: none."""

    number: int
    x: Sequence[float]
    y: Sequence[float]
    low: Sequence[float] = ()
    high: Sequence[float] = ()


@dataclass(frozen=True, kw_only=True)
class Named:
    """A value across that has a name: a line straight up, with a word."""

    x: float
    word: str


def against(
    lines: Sequence[Line],
    *,
    x_label: str,
    y_label: str,
    title: str,
    by_ratio: bool = False,
    named: Sequence[Named] = (),
    bands: bool = True,
):
    """Lines with their numbers at the right end. by_ratio: both ways in even steps of the logarithm."""
    from matplotlib import rc_context

    with rc_context(plots.SETTINGS):
        figure, axes = blank(height=HEIGHT, x=x_label, y=y_label)
        if bands:
            for line, ink in zip(lines[:2], (Ink.BAND_1, Ink.BAND_2), strict=False):
                if line.low:
                    axes.fill_between(line.x, line.low, line.high, color=ink.colour, linewidth=0)
        for line in lines:
            axes.plot(line.x, line.y, color=LINES[line.number - 1].colour)
        if by_ratio:
            axes.set_xscale("log")
        axes.set_xlim(lines[0].x[0], lines[0].x[-1])
        most, least = (of(of(line.y) for line in lines) for of in (max, min))
        by_ratio_up = by_ratio and least > 0
        if by_ratio_up:
            axes.set_yscale("log")
            axes.set_ylim(least / 1.25, most * 1.1)
        else:
            axes.set_ylim(0, 1.05 * most if most > 0 else 1)
        round_ticks(axes.xaxis, by_ratio=by_ratio)
        round_ticks(axes.yaxis, by_ratio=by_ratio_up)
        _numbers(axes, lines)
        first, last = lines[0].x[0], lines[0].x[-1]
        for n, one in enumerate(named):
            if first < one.x < last:
                axes.axvline(one.x, color=Ink.UPRIGHT.colour)
                right = one.x > ((first * last) ** 0.5 if by_ratio else (first + last) / 2)
                axes.annotate(
                    one.word,
                    (one.x, 0.97 - 0.07 * n),
                    xycoords=("data", "axes fraction"),
                    xytext=(-8 if right else 8, 0),
                    textcoords="offset points",
                    ha="right" if right else "left",
                    va="top",
                    color=Ink.WORD.colour,
                )
        return svg(figure, title)


def _numbers(axes, lines: Sequence[Line]) -> None:
    """The number of each way beside its end, one above the other where ends meet."""
    to_share, below = axes.transData + axes.transAxes.inverted(), float("-inf")
    ends = [(float(to_share.transform((line.x[-1], line.y[-1]))[1]), line.number) for line in lines]
    for share, number in sorted(ends):
        below = max(share, below + 0.055)
        axes.annotate(
            str(number),
            (1, below),
            xycoords="axes fraction",
            xytext=(6, 0),
            textcoords="offset points",
            va="center",
            color=Ink.WORD.colour,
            annotation_clip=False,
        )


@dataclass(frozen=True, kw_only=True)
class Swing:
    """low, high: the answer at either end of an assumption; words_low, words_high: the ends."""

    words: str
    low: float
    high: float
    words_low: str
    words_high: str


def swings(bars: Sequence[Swing], *, middle: float, x_label: str, title: str):
    """The widest on top: from the answer as it stands to where each assumption takes it."""
    from matplotlib import rc_context
    from matplotlib.ticker import FixedLocator

    with rc_context(plots.SETTINGS):
        figure, axes = blank(height=BAR_HEIGHT * len(bars) + 90, x=x_label, y="")
        box = axes.get_position()
        axes.set_position((BAR_LEFT / plots.WIDTH, box.y0, box.x1 - BAR_LEFT / plots.WIDTH, box.height))
        axes.xaxis.set_label_coords(0.5, (26 - plots.BOTTOM) / (box.height * (BAR_HEIGHT * len(bars) + 90)))
        for n, bar in enumerate(bars):
            for end, ink in ((bar.low, Ink.BAR_2), (bar.high, Ink.BAR_1)):
                axes.barh(-n, end - middle, left=middle, height=0.62, color=ink.colour, linewidth=0)
        ends = [v for bar in bars for v in (bar.low, bar.high)] + [middle, 0.0]
        margin = 0.16 * (max(ends) - min(ends) or 1)
        axes.set_xlim(min(ends) - margin, max(ends) + margin)
        for n, bar in enumerate(bars):
            for end, words in ((bar.low, bar.words_low), (bar.high, bar.words_high)):
                left = end < middle or (end == middle and bar.high > middle and words == bar.words_low)
                axes.annotate(
                    words,
                    (end, -n),
                    xytext=(-5 if left else 5, 0),
                    textcoords="offset points",
                    va="center",
                    ha="right" if left else "left",
                    color=Ink.QUIET.colour,
                )
        axes.axvline(middle, color=Ink.AXIS.colour)
        axes.axvline(0, color=Ink.UPRIGHT.colour)
        axes.set_ylim(-len(bars) + 0.4, 0.6)
        axes.grid(False, axis="y")
        round_ticks(axes.xaxis, most=scales.MOST - 2)
        axes.yaxis.set_major_locator(FixedLocator([-n for n in range(len(bars))]))
        axes.set_yticklabels([bar.words for bar in bars])
        return svg(figure, title)
