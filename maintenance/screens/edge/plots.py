"""The plots of edges and of measured wear. Every line differs by its stroke or its mark, not by colour alone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from diestore.drawing import FIRST, INK, INK_2, SECOND, SETTINGS, blank, svg
from maintenance.forecasts.curves import Band

DASHED, DOTTED = (0, (6, 3)), (0, (1.5, 2.5))
MARKS = {"dull": "v", "chipped": "X", "short": "o", "open": "D"}
SLIM = (0.075, 0.15, 0.91, 0.8)


@dataclass(frozen=True, kw_only=True)
class Measured:
    """Readings that belong together, in the user's unit, by hits. css: how their cycle ended, see MARKS."""

    hits: Sequence[float]
    values: Sequence[float]
    css: str


@dataclass(frozen=True, kw_only=True)
class Level:
    """A level to come to, with its words."""

    value: float
    words: str


def still_sharp(
    *,
    title: str,
    until: float,
    such: Band | None = None,
    own: Band | None = None,
    steps: Band | None = None,
    fitted: Band | None = None,
):
    """Share still sharp against hits since sharpened: such an edge here, this edge, its own record, a fit to that."""
    from matplotlib import rc_context

    with rc_context(SETTINGS):
        figure, axes = blank(9.2, 4.0, SLIM)
        if such is not None:
            axes.fill_between(such.x, 100 * such.low, 100 * such.high, color=SECOND, alpha=0.16, linewidth=0)
            axes.plot(such.x, 100 * such.y, color=SECOND, linewidth=2.2, linestyle=DASHED)
        if own is not None:
            axes.plot(own.x, 100 * own.y, color=FIRST, linewidth=2.6)
        if fitted is not None:
            axes.fill_betweenx(100 * fitted.y, fitted.low, fitted.high, color=FIRST, alpha=0.13, linewidth=0)
            axes.plot(fitted.x, 100 * fitted.y, color=FIRST, linewidth=1.6, linestyle=DOTTED)
        if steps is not None:
            low, high = 100 * steps.low, 100 * steps.high
            axes.fill_between(steps.x, low, high, step="post", color=INK_2, alpha=0.14, linewidth=0)
            axes.plot(steps.x, 100 * steps.y, color=INK, linewidth=1.6, drawstyle="steps-post")
        axes.axhline(50, color=INK_2, linewidth=0.9, linestyle=DOTTED)
        axes.set_xlim(0, until)
        axes.set_ylim(0, 103)
        axes.set_yticks([0, 10, 25, 50, 75, 90, 100])
        axes.set_xlabel("hits since sharpened", color=INK_2)
        axes.set_ylabel("still sharp, %", color=INK_2)
        _hits(axes.xaxis)
        return svg(figure, title)


def readings(cycles: Sequence[Measured], *, title: str, name: str, limit: Level | None = None):
    """What was measured against the hits on the edge, a line for each cycle; the one under way heavy."""
    from matplotlib import rc_context

    with rc_context(SETTINGS):
        figure, axes = blank(9.2, 3.4, (0.075, 0.17, 0.91, 0.78))
        for one in sorted(cycles, key=lambda c: c.css == "open"):
            now = one.css == "open"
            axes.plot(
                one.hits, one.values, color=FIRST if now else INK_2, linewidth=2.4 if now else 0.9,
                alpha=1.0 if now else 0.75, marker=MARKS[one.css], markersize=7 if now else 5,
                markerfacecolor="none" if one.css == "short" else None,
            )  # fmt: skip
        _level(axes, limit)
        axes.set_xlim(left=0)
        axes.set_ylim(bottom=0)
        axes.set_xlabel("hits since sharpened", color=INK_2)
        axes.set_ylabel(name, color=INK_2)
        _hits(axes.xaxis)
        return svg(figure, title)


def wear(
    now: Measured, *, title: str, name: str, line: Band | None, limit: Level | None, hits_now: float,
    crossing: tuple[float, float] | None = None, small: bool = False,
):  # fmt: skip
    """Readings of one piece over its life, the line through them with the band of a next reading, and the limit."""
    from matplotlib import rc_context

    with rc_context(SETTINGS):
        size = (4.6, 2.5, (0.15, 0.21, 0.82, 0.74)) if small else (9.2, 3.6, (0.085, 0.16, 0.9, 0.79))
        figure, axes = blank(*size)
        if line is not None:
            axes.fill_between(line.x, line.low, line.high, color=FIRST, alpha=0.16, linewidth=0)
            axes.plot(line.x, line.y, color=FIRST, linewidth=2.0)
        axes.plot(now.hits, now.values, color=INK, linestyle="none", marker="o", markersize=5)
        axes.axvline(hits_now, color=INK, linewidth=1.1, linestyle=DOTTED)
        top = axes.get_ylim()[1]
        axes.annotate("now", (hits_now, top), xytext=(4, -10), textcoords="offset points", color=INK)
        _level(axes, limit)
        if crossing is not None and limit is not None:
            axes.plot(crossing, [limit.value] * 2, color=INK, linewidth=3.2, solid_capstyle="butt")
        axes.set_xlim(left=0)
        axes.set_xlabel("hits over its life", color=INK_2)
        axes.set_ylabel(name, color=INK_2)
        _hits(axes.xaxis, most=4 if small else 8)
        return svg(figure, title)


def _level(axes, limit: Level | None) -> None:
    if limit is None:
        return
    axes.axhline(limit.value, color=INK, linewidth=1.4, linestyle=DASHED)
    axes.annotate(
        limit.words, (0.012, limit.value), xycoords=("axes fraction", "data"), xytext=(0, 4),
        textcoords="offset points", color=INK, va="bottom",
    )  # fmt: skip
    low, high = axes.get_ylim()
    room = 0.12 * (max(high, limit.value) - min(low, limit.value))
    axes.set_ylim(min(low, limit.value - room), max(high, limit.value + room))


def _hits(axis, most: int = 8) -> None:
    from matplotlib.ticker import FuncFormatter, MaxNLocator

    axis.set_major_locator(MaxNLocator(nbins=most))
    axis.set_major_formatter(FuncFormatter(lambda v, _: f"{v:,.10g}"))
