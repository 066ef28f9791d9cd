"""The plots of the reports."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from diestore.drawing import FIRST, INK, INK_2, SECOND, SETTINGS, blank, svg


@dataclass(frozen=True, kw_only=True)
class PlotLine:
    """A line with its band. x rising, all above nought."""

    name: str
    x: Sequence[float]
    y: Sequence[float]
    low: Sequence[float]
    high: Sequence[float]
    dashed: bool = False


@dataclass(frozen=True, kw_only=True)
class Mark:
    """A line straight up, with a word."""

    x: float
    word: str


def against_volume(lines: Sequence[PlotLine], *, x_label: str, y_label: str, title: str, marks: Sequence[Mark] = ()):
    """Both axes in even steps of the logarithm: a cost that falls with the volume."""
    from matplotlib import rc_context
    from matplotlib.ticker import FuncFormatter, LogLocator, NullLocator

    with rc_context(SETTINGS):
        figure, axes = blank()
        for line, colour in zip(lines, (FIRST, SECOND), strict=False):
            axes.fill_between(line.x, line.low, line.high, color=colour, alpha=0.16, linewidth=0)
            axes.plot(line.x, line.y, color=colour, linewidth=2.2, linestyle=(0, (6, 3)) if line.dashed else "-")
        axes.set_xscale("log")
        axes.set_yscale("log")
        axes.set_xlim(lines[0].x[0], lines[0].x[-1])
        axes.set_xlabel(x_label, color=INK_2)
        axes.set_ylabel(y_label, color=INK_2)
        for axis in (axes.xaxis, axes.yaxis):
            axis.set_major_formatter(FuncFormatter(lambda v, _: f"{v:,.10g}"))
            axis.set_major_locator(LogLocator(base=10, subs=(1, 2, 5)))
            axis.set_minor_locator(NullLocator())  # drawn, they take two fifths of the time
        for mark in marks:
            if lines[0].x[0] < mark.x < lines[0].x[-1]:
                axes.axvline(mark.x, color=INK, linewidth=1.1, linestyle=(0, (2, 3)))
                right = mark.x > (lines[0].x[0] * lines[0].x[-1]) ** 0.5
                axes.annotate(
                    mark.word,
                    (mark.x, 0.97),
                    xycoords=("data", "axes fraction"),
                    xytext=(-6 if right else 6, 0),
                    textcoords="offset points",
                    ha="right" if right else "left",
                    va="top",
                    color=INK,
                )
        return svg(figure, title)
