"""The plots of cost: against the volume, and by month."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from diestore.drawing import plots
from diestore.drawing.plots import Ink, blank, round_ticks, svg


@dataclass(frozen=True, kw_only=True)
class CostCurve:
    """What a build costs by volume, with its band. x rising, all above nought. dashed: the build beside it."""

    name: str
    x: Sequence[float]
    y: Sequence[float]
    low: Sequence[float]
    high: Sequence[float]
    dashed: bool = False


@dataclass(frozen=True, kw_only=True)
class Volume:
    """A volume that is named: a line straight up, with a word."""

    x: float
    word: str


def against_volume(
    curves: Sequence[CostCurve], *, x_label: str, y_label: str, title: str, named: Sequence[Volume] = ()
):
    """Both axes in even steps of the logarithm."""
    from matplotlib import rc_context

    with rc_context(plots.SETTINGS):
        figure, axes = blank(height=450, x=x_label, y=y_label)
        for curve in curves:
            line, band = (Ink.LINE_2, Ink.BAND_2) if curve.dashed else (Ink.LINE_1, Ink.BAND_1)
            axes.fill_between(curve.x, curve.low, curve.high, color=band.colour, linewidth=0)
            axes.plot(curve.x, curve.y, color=line.colour)
        first, last = curves[0].x[0], curves[0].x[-1]
        axes.set_xscale("log")
        axes.set_yscale("log")
        axes.set_xlim(first, last)
        round_ticks(axes.xaxis, by_ratio=True)
        round_ticks(axes.yaxis, by_ratio=True)
        for volume in named:
            if first < volume.x < last:
                axes.axvline(volume.x, color=Ink.UPRIGHT.colour)
                right = volume.x > (first * last) ** 0.5
                axes.annotate(
                    volume.word,
                    (volume.x, 0.97),
                    xycoords=("data", "axes fraction"),
                    xytext=(-8 if right else 8, 0),
                    textcoords="offset points",
                    ha="right" if right else "left",
                    va="top",
                    color=Ink.WORD.colour,
                )
        return svg(figure, title)


def against_promise(
    hits: Sequence[float], money: Sequence[float], bands: Sequence[tuple[float, float]], *, asked: float, y_label: str,
    title: str,
):  # fmt: skip
    """What a promise costs against the strokes promised, with its band; the one that is asked about stands upright."""
    from matplotlib import rc_context

    with rc_context(plots.SETTINGS):
        figure, axes = blank(height=340, x=_("hits promised"), y=y_label)
        low, high = zip(*bands, strict=True)
        axes.fill_between(hits, low, high, color=Ink.BAND_1.colour, linewidth=0)
        axes.plot(hits, money, color=Ink.LINE_1.colour)
        axes.set_xlim(0, hits[-1])
        axes.set_ylim(0, 1.06 * max(*high, 1.0))
        round_ticks(axes.xaxis)
        round_ticks(axes.yaxis)
        axes.axvline(asked, color=Ink.UPRIGHT.colour)
        axes.annotate(
            _("as asked"), (asked, 0.97), xycoords=("data", "axes fraction"), xytext=(-8, 0),
            textcoords="offset points", ha="right", va="top", color=Ink.WORD.colour,
        )  # fmt: skip
        return svg(figure, title)


@dataclass(frozen=True, kw_only=True)
class MonthBar:
    """What a month is expected to cost, element by element from below, and where 8 in 10 lives fall. word: its tick."""

    parts: tuple[float, ...]
    low: float
    high: float
    word: str = ""


def by_month(months: Sequence[MonthBar], *, level: float | None, y_label: str, title: str):
    """Bars in a row, each with its band as a line. level: what a month costs in the long run."""
    from matplotlib import rc_context
    from matplotlib.ticker import FixedLocator, NullLocator

    across = range(len(months))
    with rc_context(plots.SETTINGS):
        figure, axes = blank(height=380, x="", y=y_label)
        below = [0.0] * len(months)
        for n, ink in enumerate((Ink.BAR_1, Ink.BAR_2, Ink.BAR_3)):
            heights = [month.parts[n] for month in months]
            axes.bar(across, heights, width=0.84, bottom=below, color=ink.colour, linewidth=0)
            below = [a + b for a, b in zip(below, heights, strict=True)]
        axes.vlines(across, [m.low for m in months], [m.high for m in months], color=Ink.PAST.colour)
        if level is not None:
            axes.axhline(level, color=Ink.LEVEL.colour)
        axes.set_xlim(-0.6, len(months) - 0.4)
        axes.set_ylim(0, 1.06 * max(max(m.high for m in months), max(below), level or 0.0, 1.0))
        axes.grid(False, axis="x")
        axes.set_axisbelow(True)
        round_ticks(axes.yaxis)
        named = [n for n, month in enumerate(months) if month.word]
        axes.xaxis.set_major_locator(FixedLocator(named))
        axes.xaxis.set_minor_locator(NullLocator())
        axes.set_xticklabels([months[n].word for n in named])
        return svg(figure, title)


@dataclass(frozen=True, kw_only=True)
class YearBar:
    """What a year more costs: two elements and all the rest, and where 8 in 10 lives fall; level: what a new one costs
    a year. word: its tick."""

    parts: tuple[float, float]
    rest: float
    low: float
    high: float
    level: float
    word: str


def by_year(years: Sequence[YearBar], *, y_label: str, title: str):
    """Bars of the old one, each with its band, under the steps of a new one."""
    from matplotlib import rc_context
    from matplotlib.ticker import FixedLocator, NullLocator

    across = range(len(years))
    with rc_context(plots.SETTINGS):
        figure, axes = blank(height=380, x="year until", y=y_label)
        below = [0.0] * len(years)
        for n, ink in enumerate((Ink.BAR_1, Ink.BAR_2, Ink.BAR_3)):
            heights = [year.parts[n] if n < 2 else year.rest for year in years]
            axes.bar(across, heights, width=0.7, bottom=below, color=ink.colour, linewidth=0)
            below = [a + b for a, b in zip(below, heights, strict=True)]
        axes.vlines(across, [y.low for y in years], [y.high for y in years], color=Ink.PAST.colour)
        levels = [year.level for year in years]
        axes.hlines(levels, [n - 0.5 for n in across], [n + 0.5 for n in across], color=Ink.LINE_2.colour)
        axes.set_xlim(-0.6, len(years) - 0.4)
        axes.set_ylim(0, 1.06 * max(max(y.high for y in years), max(below), max(levels), 1.0))
        axes.grid(False, axis="x")
        axes.set_axisbelow(True)
        round_ticks(axes.yaxis)
        axes.xaxis.set_major_locator(FixedLocator(list(across)))
        axes.xaxis.set_minor_locator(NullLocator())
        axes.set_xticklabels([year.word for year in years])
        return svg(figure, title)


@dataclass(frozen=True, kw_only=True)
class SpentMonth:
    """What a month took, group by group from below, as used up; and what was paid in it. word: its tick."""

    used: tuple[float, float, float]
    paid: float
    word: str = ""


def spent_by_month(months: Sequence[SpentMonth], *, y_label: str, title: str):
    """Bars of what was used up, each with a dot where what was paid in that month stands."""
    from matplotlib import rc_context
    from matplotlib.ticker import FixedLocator, NullLocator

    across = range(len(months))
    with rc_context(plots.SETTINGS):
        figure, axes = blank(height=300, x="", y=y_label)
        up, down = [0.0] * len(months), [0.0] * len(months)
        for n, ink in enumerate((Ink.BAR_1, Ink.BAR_2, Ink.BAR_3)):
            heights = [month.used[n] for month in months]
            below = [up[i] if height >= 0 else down[i] for i, height in enumerate(heights)]
            axes.bar(across, heights, width=0.84, bottom=below, color=ink.colour, linewidth=0)
            up = [u + max(h, 0.0) for u, h in zip(up, heights, strict=True)]
            down = [d + min(h, 0.0) for d, h in zip(down, heights, strict=True)]
        paid = [month.paid for month in months]
        axes.plot(across, paid, "o", color=Ink.DOT.colour, markersize=6)
        least, most = min(*down, *paid, 0.0), max(*up, *paid, 1.0)
        axes.set_xlim(-0.6, len(months) - 0.4)
        axes.set_ylim(1.06 * least, 1.06 * most)
        axes.grid(False, axis="x")
        axes.set_axisbelow(True)
        round_ticks(axes.yaxis)
        named = [n for n, month in enumerate(months) if month.word]
        axes.xaxis.set_major_locator(FixedLocator(named))
        axes.xaxis.set_minor_locator(NullLocator())
        axes.set_xticklabels([months[n].word for n in named])
        return svg(figure, title)
