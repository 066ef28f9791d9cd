"""The plots of edges and of measured wear. Every line differs by its stroke or its mark, not by colour alone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from diestore.drawing import plots
from diestore.drawing.plots import Ink, blank, round_ticks, svg
from maintenance.forecasts.curves import Band

MARKS = {"dull": "v", "chipped": "X", "short": "o", "open": "D"}
HITS = gettext_lazy("hits since sharpened")


@dataclass(frozen=True, kw_only=True)
class MeasuredCycle:
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

    with rc_context(plots.SETTINGS):
        figure, axes = blank(x=str(HITS), y=_("still sharp, %"))
        if such is not None:
            axes.fill_between(such.x, 100 * such.low, 100 * such.high, color=Ink.BAND_2.colour, linewidth=0)
            axes.plot(such.x, 100 * such.y, color=Ink.LINE_2.colour)
        if own is not None:
            axes.plot(own.x, 100 * own.y, color=Ink.LINE_1.colour)
        if fitted is not None:
            axes.fill_betweenx(100 * fitted.y, fitted.low, fitted.high, color=Ink.BAND_1.colour, linewidth=0)
            axes.plot(fitted.x, 100 * fitted.y, color=Ink.FINE.colour)
        if steps is not None:
            low, high = 100 * steps.low, 100 * steps.high
            axes.fill_between(steps.x, low, high, step="post", color=Ink.BAND_3.colour, linewidth=0)
            axes.plot(steps.x, 100 * steps.y, color=Ink.STEPS.colour, drawstyle="steps-post")
        axes.axhline(50, color=Ink.HALF.colour)
        axes.set_xlim(0, until)
        axes.set_ylim(0, 103)
        axes.set_yticks([0, 10, 25, 50, 75, 90, 100])
        round_ticks(axes.xaxis)
        return svg(figure, title)


def readings(cycles: Sequence[MeasuredCycle], *, title: str, name: str, limit: Level | None = None):
    """What was measured against the hits on the edge, a line for each cycle; the one under way heavy."""
    from matplotlib import rc_context

    with rc_context(plots.SETTINGS):
        figure, axes = blank(height=370, x=str(HITS), y=name)
        for one in sorted(cycles, key=lambda c: c.css == "open"):
            now = one.css == "open"
            mark = (Ink.MARK_1 if now else Ink.PAST_OPEN if one.css == "short" else Ink.PAST_MARK).colour
            axes.plot(
                one.hits, one.values, color=(Ink.LINE_1 if now else Ink.PAST).colour, marker=MARKS[one.css],
                markersize=10 if now else 7, markerfacecolor=mark, markeredgecolor=mark,
            )  # fmt: skip
        _level(axes, limit)
        axes.set_xlim(left=0)
        axes.set_ylim(bottom=0)
        round_ticks(axes.xaxis)
        round_ticks(axes.yaxis, most=6)
        return svg(figure, title)


def wear(
    now: MeasuredCycle, *, title: str, name: str, line: Band | None, limit: Level | None, hits_now: float,
):  # fmt: skip
    """Readings of one piece over its life, the line through them with the band of a next reading, and the limit."""
    from matplotlib import rc_context

    with rc_context(plots.SETTINGS):
        figure, axes = blank(height=390, x=_("hits over its life"), y=name)
        if line is not None:
            axes.fill_between(line.x, line.low, line.high, color=Ink.BAND_1.colour, linewidth=0)
            axes.plot(line.x, line.y, color=Ink.LINE_1.colour)
        dot = Ink.DOT.colour
        axes.plot(now.hits, now.values, linestyle="none", marker="o", markersize=7, mfc=dot, mec=dot, color=dot)
        axes.axvline(hits_now, color=Ink.UPRIGHT.colour)
        _level(axes, limit)
        axes.set_xlim(left=0)
        late = hits_now > 0.9 * axes.get_xlim()[1]
        axes.annotate(
            _("now"), (hits_now, 0.5), xycoords=("data", "axes fraction"), xytext=(-8 if late else 8, 0),
            textcoords="offset points", ha="right" if late else "left", color=Ink.WORD.colour,
        )  # fmt: skip
        round_ticks(axes.xaxis)
        round_ticks(axes.yaxis, most=6)
        return svg(figure, title)


def _level(axes, limit: Level | None) -> None:
    if limit is None:
        return
    axes.axhline(limit.value, color=Ink.LEVEL.colour)
    axes.annotate(
        limit.words, (0.012, limit.value), xycoords=("axes fraction", "data"), xytext=(0, 5),
        textcoords="offset points", color=Ink.WORD.colour, va="bottom",
    )  # fmt: skip
    low, high = axes.get_ylim()
    room = 0.12 * (max(high, limit.value) - min(low, limit.value))
    axes.set_ylim(min(low, limit.value - room), max(high, limit.value + room))
